"""A splitter shares what comes in by weights and gate positions, and loses nothing."""

import numpy as np
import pytest

from plantsim import records as r
from plantsim.arena import Arena
from plantsim.kernels.splitter import step_splitter


def box(weights, inlets=2, positions=None):
    n = len(weights)
    a = Arena(
        {"splitter_p": 1, "splitter_s": 1, "links": inlets + 2 * n, "tables": n, "streams": inlets + n,
         "actuator_s": n}
    )  # fmt: skip
    a.links[: inlets + n] = np.arange(inlets + n)
    a.links[inlets + n :] = np.arange(n)
    a.tables[:] = weights
    for name, value in {
        "n_inlets": inlets, "outs": inlets, "n_outs": n,
        "actuators": inlets + n if positions is not None else -1,
    }.items():  # fmt: skip
        a.splitter_p[name] = value
    if positions is not None:
        a.actuator_s["position"] = positions
    a.streams[:inlets] = np.random.default_rng(1).uniform(0.1, 5.0, (inlets, r.NS))
    a.streams[inlets:] = 99.0  # what stood there before must not matter
    return a


def step(a):
    step_splitter(a.splitter_p[0], a.splitter_s[0], a.links, a.tables, a.actuator_s, a.streams)


@pytest.mark.parametrize("inlets", [1, 2, 3])
@pytest.mark.parametrize("weights, positions, shares", [
    ([1.0, 3.0], None, [0.25, 0.75]),
    ([2.0, 1.0, 1.0], None, [0.5, 0.25, 0.25]),
    ([1.0, 1.0], [1.0, 0.5], [2 / 3, 1 / 3]),
    ([1.0, 1.0], [0.0, 0.4], [0.0, 1.0]),
    ([1.0, 1.0], [0.0, 0.0], [1.0, 0.0]),
    ([0.0, 0.0], None, [1.0, 0.0]),
    ([5.0], None, [1.0]),
])  # fmt: skip
def test_shares(inlets, weights, positions, shares):
    a = box(weights, inlets, positions)
    total = a.streams[:inlets].sum(axis=0)
    step(a)
    outs = a.streams[inlets:]
    for out, share in zip(outs, shares, strict=True):
        assert out == pytest.approx(share * total, rel=1e-14)
    assert np.abs(outs.sum(axis=0) - total).max() <= 1e-15 * total.max() * 4
    assert a.splitter_s["flow"][0] == pytest.approx(total[r.VOLUME])


def test_stops_with_its_feed():
    a = box([1.0, 1.0])
    step(a)
    a.streams[:2] = 0.0
    step(a)
    assert (a.streams == 0.0).all() and a.splitter_s["flow"][0] == 0.0
