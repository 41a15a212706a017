"""A clarifier whose layers are stepped once in several ticks: nothing lost between, the same answer in the limit."""

from __future__ import annotations

import numpy as np
import pytest
from test_clarifier import FEED, OVER, UNDER, Tank

from plantsim.records import FINES, HEAT, LEDGER_SIGN, NS, OUT_SPILL, POLY_SPENT, VOLUME, WARN_COURANT


def fed(every: int, **fields: float) -> Tank:
    """A tank with feed, and enough polymer to build a bed."""
    tank = Tank(every=every, **fields)
    tank.feed(0.05)
    return tank


@pytest.mark.parametrize("overflow", [OVER, -1])
def test_everything_closes_at_every_tick_of_the_wait(overflow: int) -> None:
    """Tick by tick through waits, draws, rain and reactions: what crossed the boundary is in the tank or its ledger."""
    tank = fed(4, overflow=overflow)
    tank.arena.weather["rain"] = 1e-5
    rng = np.random.default_rng(4)
    start = tank.store()
    met = set()
    for _ in range(2000):
        if rng.random() < 0.1:
            tank.feed(float(rng.choice([0.0, 0.02, 0.06])), fines=float(rng.uniform(0.0, 60.0)))
        assert tank.run(1, float(rng.choice([0.0, 0.01]))) & WARN_COURANT == 0
        met.add(int(tank.state("waited")))
        ledger = tank.arena.ledger
        crossed = tank.passed[FEED] - tank.passed[UNDER] + (ledger * LEDGER_SIGN[:, None]).sum(0)
        if overflow == OVER:
            crossed -= tank.passed[OVER]
        through = np.abs(tank.passed).sum(0) + np.abs(ledger).sum(0) + start
        gap = np.abs(tank.store() - start - crossed)
        assert np.all(gap[: POLY_SPENT + 1] <= 1e-12 * through[: POLY_SPENT + 1])
    assert met == {0, 1, 2, 3}
    assert (tank.passed[OVER, VOLUME] if overflow == OVER else tank.arena.ledger[OUT_SPILL, VOLUME]) > 0.0


def test_the_water_over_the_weir_is_even_between_two_steps_of_the_layers() -> None:
    tank = fed(5)
    tank.run(100)
    rows = []
    for _ in range(10):
        tank.run(1)
        rows.append(tank.arena.streams[OVER].copy())
    assert np.ptp(np.array(rows[:5]), axis=0).max() == 0.0
    assert rows[0][VOLUME] == pytest.approx(0.05, rel=1e-3)


def profile(every: int) -> tuple[np.ndarray, float]:
    """Solids [kg/m3] after six hours of feed and draw, and the turbidity [NTU]."""
    tank = fed(every)
    tank.run(6 * 3600, 0.004)
    return tank.component(FINES).copy(), tank.state("turbidity")


def test_the_answer_is_of_first_order_in_the_step_of_the_layers() -> None:
    """Twice the ticks to a step, twice the small difference from a step in every tick."""
    exact, clear = profile(1)
    gaps = []
    for every in (4, 8):
        solids, turbidity = profile(every)
        gaps.append(np.abs(solids - exact).sum() / exact.sum())
        assert turbidity == pytest.approx(clear, rel=0.01)
    assert gaps[0] < 2e-3
    assert gaps[1] / gaps[0] == pytest.approx(7.0 / 3.0, rel=0.35)


def test_a_tank_paced_by_its_layers_keeps_water_clean_and_cool() -> None:
    """Clear water in, clear water out: a wait makes no solids and no heat."""
    tank = Tank(every=4, ambient_rate=0.0)
    tank.feed(0.05, coarse=0.0, fines=0.0, colloid=0.0, clay=0.0, coag=0.0, poly=0.0)
    tank.run(1001)
    np.testing.assert_allclose(tank.component(HEAT), 15.0, rtol=1e-12)
    row = tank.store()
    row[[VOLUME, HEAT]] = 0.0
    assert np.all(row == np.zeros(NS))
