"""Plug flow and dispersion against closed solutions: exact delay, Ogata-Banks, closed vessel, tanks in series."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import erfc, erfcx, gammainc

from plantsim.arena import Arena
from plantsim.jit import entry
from plantsim.kernels.plug import disperse, inlet_row, plug_rows, pop, push
from plantsim.records import COARSE, VOLUME


@entry
def _flow(n, volume, feed, out, held, half, p, s, parcels, streams, material, ledger):
    """Push `volume` n times at the concentrations `feed`, let the same volume leave; notes what left and what
    is held beyond parcel `half`, counted from the inlet."""
    for i in range(n):
        inlet = inlet_row(p)
        for k in range(1, 11):
            parcels[inlet, k] = 0.0
        parcels[inlet, VOLUME] = volume
        parcels[inlet, COARSE] = volume * feed[i]
        push(p, s, parcels, float(i))
        disperse(p, s, parcels, volume)
        for k in range(11):
            streams[0, k] = 0.0
        if s.filled > p.volume:
            pop(p, s, parcels, s.filled - p.volume, streams, 0, 1.0, False, float(i), material, ledger)
        out[i] = streams[0, COARSE]
        total = 0.0
        place = s.head
        for _ in range(s.count - half):
            total += parcels[p.pool + place, VOLUME] * parcels[p.pool + place, COARSE]
            place += 1
            if place == p.rows - 1:
                place = 0
        held[i] = total


def flow(volume, parcel, step, feed, mixing=0.0, half=0):
    """What leaves with each step, and what is held beyond `half` parcels from the inlet."""
    rows = plug_rows(volume, parcel)
    a = Arena(dict(plug_p=1, plug_s=1, parcels=rows, streams=1))
    for name, value in dict(rows=rows, volume=volume, parcel=parcel, mixing=mixing).items():
        a.plug_p[name][0] = value
    feed = np.asarray(feed, float)
    clean = np.zeros(math.ceil(volume / step) + 1)
    feed = np.concatenate((clean, feed))
    out, held = np.zeros(len(feed)), np.zeros(len(feed))
    _flow(
        len(feed), step, feed, out, held, half, a.plug_p[0], a.plug_s[0], a.parcels, a.streams, a.material[0],
        a.ledger,
    )  # fmt: skip
    return out[len(clean) :], held[len(clean) :]


@pytest.mark.parametrize("volume", [10.0, 100.0, 1000.0])
@pytest.mark.parametrize("step", [0.0317, 0.1, 0.271])
def test_pulse_arrives_after_the_volume_and_is_not_smeared(volume, step):
    # plug flow: delay = volume / flow (Levenspiel, Chemical Reaction Engineering, ch. 13; from memory)
    parcel = 0.5
    n = math.ceil(1.5 * volume / step)
    feed = np.zeros(n)
    feed[3] = 1.0
    out, _ = flow(volume, parcel, step, feed)
    assert out.sum() == pytest.approx(step, rel=1e-12)
    at = (np.flatnonzero(out > 0.0) - 3) * step  # displaced volume since the pulse entered
    # within one parcel of the volume, and the rounding up of both to whole steps; no wider for a longer line
    assert volume - parcel - 2 * step <= at.min() and at.max() <= volume + parcel + 2 * step
    assert at.max() - at.min() <= 2.0 * parcel + step
    mean = (out * (np.arange(n) - 3)).sum() * step / out.sum()
    assert mean == pytest.approx(volume, abs=0.5 * parcel + step)


def test_front_is_within_one_parcel():
    parcel, step, volume = 0.5, 0.07, 200.0
    out, _ = flow(volume, parcel, step, np.ones(4000))
    part = out / step
    blurred = np.flatnonzero((part > 1e-12) & (part < 1.0 - 1e-12))
    assert len(blurred) * step <= parcel + step
    assert abs(np.flatnonzero(part > 0.5)[0] * step - volume) <= parcel


def ogata_banks(theta, peclet):
    """Ogata & Banks 1961, USGS Professional Paper 411-A: C/C0 at x for the time theta = t v / x."""
    scale = 2.0 * np.sqrt(theta / peclet)
    ahead, behind = (1.0 - theta) / scale, (1.0 + theta) / scale
    # exp(Pe) erfc(b) = exp(Pe - b^2) erfcx(b), without overflow
    return 0.5 * (erfc(ahead) + np.exp(peclet - behind**2) * erfcx(behind))


def test_ogata_banks_by_itself():
    # values recomputed from the published equation: Pe 10 at theta 0.5, 1, 2; Pe 200 at 0.9, 1, 1.1
    assert ogata_banks(np.array([0.5, 1.0, 2.0]), 10.0) == pytest.approx([0.080067, 0.585289, 0.966220], abs=1e-6)
    assert ogata_banks(np.array([0.9, 1.0, 1.1]), 200.0) == pytest.approx([0.157321, 0.519898, 0.842438], abs=1e-6)


def breakthrough(n, peclet):
    """Flux at mid-length of a long plug, by what is held beyond it; n parcels up to there."""
    parcel = 1.0 / n
    _, held = flow(3.0, parcel, parcel, np.ones(2 * n), mixing=n / peclet, half=n)
    passed = np.concatenate(([0.0], held))
    return (np.arange(2 * n) + 0.5) / n, np.diff(passed) * n


def test_dispersion_converges_to_ogata_banks():
    # The concentration in the flux through a plane, with the flux given at the inlet, is Ogata & Banks' solution
    # (Kreft & Zuber 1978, Chem. Eng. Sci. 33, 1471-1480).
    peclet = 1000.0
    counts = np.array([20, 40, 80])
    errors = []
    for n in counts:
        theta, flux = breakthrough(n, peclet)
        errors.append(np.abs(flux - ogata_banks(theta, peclet)).max())
    assert errors[-1] < 0.002
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders.min() > 1.9, (errors, orders)
    # The truncation error of the explicit scheme with exact advection is D dx^2 (1/12 - mixing/2) times the fourth
    # derivative (Smith, Numerical Solution of Partial Differential Equations, 1985, ch. 2; from memory): second
    # order in the parcel count, and best at mixing = 1/6
    scaled = np.array(errors) * counts**2 / (1.0 - 6.0 * counts / peclet)
    assert scaled == pytest.approx([scaled.mean()] * 3, rel=0.1)


def test_dispersion_is_best_at_a_mixing_of_one_sixth():
    # the same law at Pe 200: the error is least near n = 33 (fourth order there) and small up to the stability bound
    errors = {}
    for n in (20, 33, 80, 95):
        theta, flux = breakthrough(n, 200.0)
        errors[n] = np.abs(flux - ogata_banks(theta, 200.0)).max()
    assert errors[33] < 0.25 * errors[20] and errors[33] < 0.8 * errors[80]
    assert max(errors[80], errors[95]) < 1.5e-3


def test_dispersion_at_high_peclet_number():
    # Pe 2000 at theta 0.98, 1, 1.02: 0.266593, 0.506306, 0.739599
    theta, flux = breakthrough(800, 2000.0)
    got = np.interp([0.98, 1.0, 1.02], theta, flux)
    assert got == pytest.approx([0.266593, 0.506306, 0.739599], abs=2e-3)


@pytest.mark.parametrize("peclet", [20.0, 100.0])
def test_residence_times_of_the_closed_vessel_and_tanks_in_series(peclet):
    # Levenspiel, Chemical Reaction Engineering, ch. 13 (from memory): closed to dispersion at both ends the variance
    # over the mean squared is 2/Pe - 2 (1 - exp(-Pe)) / Pe^2; as many tanks in series as its inverse
    n = int(0.45 * peclet)
    feed = np.zeros(8 * n)
    feed[0] = 1.0
    out, _ = flow(1.0, 1.0 / n, 1.0 / n, feed, mixing=n / peclet)
    # parcel i enters over the step i and leaves over the step j: a stay of j - i steps
    theta = np.arange(len(out)) / n
    share = out / out.sum()
    assert out.sum() * n == pytest.approx(1.0, abs=1e-9)
    mean = (share * theta).sum()
    variance = (share * (theta - mean) ** 2).sum()
    closed = 2.0 / peclet - 2.0 * (1.0 - math.exp(-peclet)) / peclet**2
    assert mean == pytest.approx(1.0, abs=0.6 / n)
    assert variance == pytest.approx(closed, rel=2.0 / n)
    tanks = 1.0 / closed
    cumulated = np.cumsum(share)
    for at in (0.8, 1.0, 1.2, 1.5):
        expected = gammainc(tanks, tanks * at)
        assert np.interp(at, theta + 0.5 / n, cumulated) == pytest.approx(expected, abs=0.02 + 0.3 / n)
