"""The kernel's vessel against published values: tanks in series, the suppressed weir."""

import math

import numpy as np
import pytest

from plantsim import records as r
from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels.vessel import refresh_vessel, spill_vessel, step_vessel

# Step response of N equal stirred tanks in series at theta = t / (total residence time):
# F = 1 - exp(-N theta) sum_{i<N} (N theta)^i / i!, the regularised lower gamma function P(N, N theta)
# (Levenspiel, Chemical Reaction Engineering, chapter on the tanks-in-series model). Values computed to six
# digits from that function.
SERIES = [
    (1, 0.5, 0.393469), (1, 1.0, 0.632121), (1, 2.0, 0.864665),
    (2, 0.5, 0.264241), (2, 1.0, 0.593994), (2, 2.0, 0.908422),
    (5, 0.5, 0.108822), (5, 1.0, 0.559507), (5, 2.0, 0.970747),
    (10, 0.5, 0.031828), (10, 1.0, 0.542070), (10, 2.0, 0.995005),
    (50, 1.0, 0.518808),
]  # fmt: skip


@kernel
def run_series(n, steps, dt, flow, p, s, m, weather, links, tables, streams, offers, ledger):
    """Pass a flow through n vessels: stream i feeds vessel i and leaves vessel i - 1."""
    for _ in range(steps):
        for i in range(n):
            spill_vessel(p[i], s[i], m, streams, offers, dt)
            streams[i + 1, r.VOLUME] = flow
            for k in range(1, r.NS):
                streams[i + 1, k] = flow * offers[i, k]
        for i in range(n):
            step_vessel(p[i], s[i], m, weather, links, tables, streams, offers, ledger, dt)


def plant(n, **parameters):
    a = Arena(
        {"vessel_p": n, "vessel_s": n, "links": n + 1, "tables": 2, "streams": n + 1, "offers": n}
    )
    a.links[:] = np.arange(n + 1)
    a.tables[:] = [0.0, 2.0]
    a.material["solids_density"] = 2650.0
    p = a.vessel_p
    defaults = {
        "n_inlets": 1, "n_outlets": 1, "spill": -1, "spill_ledger": r.OUT_SPILL, "n_table": 2,
        "volume": 20.0, "weir_level": 2.0, "weir_factor": 1.84, "weir_width": 1.0, "mixing": 1.0,
    }  # fmt: skip
    for name, value in {**defaults, **parameters}.items():
        p[name] = value
    p["inlets"], p["outlets"], p["offer"] = np.arange(n), np.arange(n) + 1, np.arange(n)
    a.vessel_s["content"][:, r.VOLUME] = 10.0
    a.vessel_s["content"][:, r.HEAT] = 200.0
    for i in range(n):
        refresh_vessel(p[i], a.vessel_s[i], a.material[0], a.tables, a.offers)
    return a


def series(n, theta, dt):
    a = plant(n)
    flow = 0.1
    a.streams[0, r.VOLUME], a.streams[0, r.HEAT], a.streams[0, r.FINES] = flow, 20.0 * flow, flow
    steps = round(theta * n * 100.0 / dt)
    run_series(
        n, steps, dt, flow, a.vessel_p, a.vessel_s, a.material[0], a.weather[0], a.links, a.tables,
        a.streams, a.offers, a.ledger,
    )  # fmt: skip
    return a.vessel_s["solids"][-1]


@pytest.mark.parametrize("n, theta, value", SERIES)
def test_tanks_in_series(n, theta, value):
    """Extrapolated to no step from two steps (first order), the kernel gives the table to 1e-5."""
    coarse, fine = series(n, theta, 0.5), series(n, theta, 0.25)
    assert 2.0 * fine - coarse == pytest.approx(value, abs=1e-5)
    assert fine == pytest.approx(value, abs=2e-3)


# Suppressed rectangular weir, Francis SI: Q = 1.84 L H^1.5. H = 0.2 m over 1 m: 0.16457 m3/s. J. Lal,
# Hydraulics, Example 4.5 (p. 108), in feet: L = 7.573 ft, H = 1.2 ft, Francis 3.33: 33.15 cfs.
WEIRS = [
    (1.84, 1.0, 0.2, 0.16457, 1e-4),
    (3.33 * math.sqrt(0.3048), 7.573 * 0.3048, 1.2 * 0.3048, 33.15 * 0.3048**3, 1e-3),
]


@pytest.mark.parametrize("factor, width, head, flow, rel", WEIRS)
def test_steady_overflow_is_the_published_weir(factor, width, head, flow, rel):
    """Fed at the published flow, the level comes to rest at the published head over the crest."""
    a = plant(1, weir_level=1.0, weir_factor=factor, weir_width=width, n_outlets=0)
    a.streams[0, r.VOLUME], a.streams[0, r.HEAT] = flow, 20.0 * flow
    run_series(
        1, 4000, 1.0, 0.0, a.vessel_p, a.vessel_s, a.material[0], a.weather[0], a.links, a.tables,
        a.streams, a.offers, a.ledger,
    )  # fmt: skip
    assert a.vessel_s["level"][0] - 1.0 == pytest.approx(head, rel=rel)
    assert a.vessel_s["overflow"][0] == pytest.approx(flow, rel=1e-9)
    # and the flow at that head, from the kernel's law alone
    a.vessel_s["content"][0, r.VOLUME] = 10.0 * (1.0 + head)
    refresh_vessel(a.vessel_p[0], a.vessel_s[0], a.material[0], a.tables, a.offers)
    spill_vessel(a.vessel_p[0], a.vessel_s[0], a.material[0], a.streams, a.offers, 0.1)
    assert a.vessel_s["overflow"][0] == pytest.approx(flow, rel=rel)
