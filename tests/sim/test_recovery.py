"""Water recovery of a plant in steady work against the mass balance by hand.

Hand balance (arithmetic on 20 t/h of solids of 2650 kg/m3 in 350 m3/h): mud of 45 % by mass is 32.0 m3/h and
takes 24.4 m3/h of water with it, so 92.9 % comes back; at 35, 40, 50 and 55 %: 89.2, 91.2, 94.2 and 95.2 %.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import pytest
from plants import DAY, column
from thickening import DENSITY, SOLIDS, WATER, recovery_by_hand, steady_plant, underflow_by_hand

from plantsim.analysis.closure import amounts, inventory
from plantsim.sim.simulation import Simulation

HAND = {0.35: (44.7, 89.2), 0.40: (37.5, 91.2), 0.45: (32.0, 92.9), 0.50: (27.5, 94.2), 0.55: (23.9, 95.2)}
"""Mass fraction of the mud: mud [m3/h], recovery [%]."""


@dataclass(frozen=True)
class Steady:
    """The last day of a plant in steady work."""

    fraction: float
    drawn: float
    recovery: float
    inventory_change: float


@functools.cache
def steady(aim: float) -> Steady:
    """Draw as much mud as the hand balance says, for long enough; look at the last day."""
    # a wide tank with a soft bed: thick enough for all of these without filling up
    model = steady_plant(underflow_by_hand(aim), stress=1.5, diameter=14.0)
    sim = Simulation(model)
    sim.run(9 * DAY)
    before, entered, held = _over_the_weir(sim), _entered(sim), inventory(model.arena)
    drawn, solids = model.value("clarifier.under_volume"), model.value("clarifier.under_solids")
    sim.run(10 * DAY)
    volume, mass = model.value("clarifier.under_volume") - drawn, model.value("clarifier.under_solids") - solids
    water = volume - mass / (1000.0 * DENSITY)
    return Steady(
        fraction=mass / (mass + 999.7 * water),
        drawn=volume / 24.0,
        recovery=(_over_the_weir(sim) - before) / (_entered(sim) - entered),
        inventory_change=abs(amounts(inventory(model.arena) - held, 1000.0 * DENSITY)["fines"]) / (SOLIDS * 24e3),
    )


def _over_the_weir(sim: Simulation) -> float:
    """Water over the weir so far [m3]."""
    return sim.model.value("clarifier.out_volume") - sim.model.value("clarifier.solids_lost") / (1000.0 * DENSITY)


def _entered(sim: Simulation) -> float:
    """Water that has come in so far, with the polymer's [m3]."""
    density = 1000.0 * DENSITY
    return sum(amounts(sim.model.arena.ledger[row], density)["water"] for row in range(4))


@pytest.mark.parametrize("fraction", HAND)
def test_the_hand_balance_is_the_published_one(fraction):
    mud, recovery = HAND[fraction]
    assert underflow_by_hand(fraction) == pytest.approx(mud, abs=0.06)
    assert 100.0 * recovery_by_hand(fraction) == pytest.approx(recovery, abs=0.06)


@pytest.mark.parametrize("fraction", HAND)
def test_the_plant_thickens_to_what_is_drawn(fraction):
    """In steady work the mud must carry all the solids, so its rate alone sets its thickness."""
    run = steady(fraction)
    assert run.inventory_change < 1e-3, "it is steady"
    assert run.drawn == pytest.approx(HAND[fraction][0], rel=0.01)
    assert run.fraction == pytest.approx(fraction, abs=0.004)


@pytest.mark.parametrize("fraction", HAND)
def test_the_water_that_comes_back_is_that_of_the_hand_balance(fraction):
    run = steady(fraction)
    assert run.recovery == pytest.approx(recovery_by_hand(run.fraction), abs=0.002)
    assert 100.0 * run.recovery == pytest.approx(HAND[fraction][1], abs=0.2)


def test_the_feed_is_the_reference_feed():
    sim = Simulation(steady_plant(32.0))
    sim.run(3600.0)
    flow, solids = column(sim, "wash.flow")[-1], column(sim, "wash.solids")[-1]
    assert flow * 3600.0 == pytest.approx(350.0, rel=1e-4)
    assert solids * 3.6 == pytest.approx(20.0, rel=1e-4)
    assert solids / flow == pytest.approx(57.1, abs=0.1)
    assert (flow - solids / 2650.0) * 3600.0 == pytest.approx(WATER, rel=1e-4)
