"""A pulse through a running line leaves it when the line's volume has gone by, and `transit` says so.

Plug flow: residence time is volume over flow (Levenspiel, Chemical Reaction Engineering, 3rd ed. 1999, ch. 5).
"""

from __future__ import annotations

import numpy as np
import pytest
from plants import HOUR, named
from pumped import PARCELS, VOLUME, column_of, long_line, order

from plantsim import records
from plantsim.sim.simulation import Simulation


def watch(model, sim, until: int, *paths: str) -> np.ndarray:
    """Step on second by second; rows of what stands at each path after each step."""
    rows = []
    for second in range(sim.tick + 1, until + 1):
        sim.run(second)
        rows.append([float(second), *(model.value(path) for path in paths)])
    return np.array(rows)


def centre(time: np.ndarray, weight: np.ndarray) -> float:
    return float((time * weight).sum() / weight.sum())


@pytest.fixture(scope="module")
def pulse():
    """The coagulant pump runs for one minute, from 1800 s on, into a line in steady flow."""
    model, sim = long_line(20.0, True)
    order(model, YC_101=1.0)
    sim.run(1800.0)
    order(model, YC_111=1.0)
    during = watch(model, sim, 1860, "line.flow", "line.out_coag", "line.transit", "dose.dose")
    order(model, YC_111=0.0)
    after = watch(model, sim, 3200, "line.flow", "line.out_coag", "line.transit", "dose.dose")
    return np.vstack([during, after])


def test_a_pulse_arrives_after_volume_over_flow(pulse):
    time, flow, out, _, dose = pulse.T
    passage = VOLUME / flow.mean()
    assert np.ptp(flow) < 1e-3 * flow.mean()
    travelled = centre(time, out) - centre(time, dose)
    assert travelled == pytest.approx(passage, rel=0.01)
    assert abs(travelled - passage) < passage / PARCELS


def test_the_pulse_keeps_its_minute_and_its_mass(pulse):
    """Nothing smears it but the parcels at its two ends."""
    time, flow, out, _, dose = pulse.T
    inside = time[out > 0.5 * out.max()]
    parcel = VOLUME / PARCELS / flow.mean()
    assert abs(np.ptp(inside) + 1.0 - 60.0) <= 2.0 * parcel
    assert (out * flow).sum() == pytest.approx(dose.sum(), rel=1e-9)
    assert time[out > 0.0].min() > time[dose > 0.0].max(), "nothing runs ahead of it"


def test_the_reported_transit_is_that_time(pulse):
    time, flow, out, transit, _dose = pulse.T
    at_arrival = transit[np.argmin(abs(time - centre(time, out)))]
    assert at_arrival == pytest.approx(VOLUME / flow.mean(), rel=0.005)


def test_when_the_flow_changes_on_the_way_it_is_the_volume_that_counts():
    model, sim = long_line(20.0, True)
    order(model, YC_101=1.0)
    sim.run(1800.0)
    order(model, YC_111=1.0)
    rows = [watch(model, sim, 1860, "line.flow", "line.out_coag", "line.transit", "dose.dose")]
    order(model, YC_111=0.0)
    rows.append(watch(model, sim, 2000, "line.flow", "line.out_coag", "line.transit", "dose.dose"))
    order(model, SC_101=82.0)
    rows.append(watch(model, sim, 4500, "line.flow", "line.out_coag", "line.transit", "dose.dose"))
    time, flow, out, transit, dose = np.vstack(rows).T
    gone = np.cumsum(flow)
    left, entered = centre(time, out), centre(time, dose)
    between = np.interp(left, time, gone) - np.interp(entered, time, gone)
    assert between == pytest.approx(VOLUME, abs=VOLUME / PARCELS)
    assert transit[np.argmin(abs(time - left))] == pytest.approx(left - entered, rel=0.01)
    assert left - entered > 1.1 * VOLUME / flow[0], "the slow part lengthened it"


def test_a_full_line_delivers_at_once_a_drained_one_after_its_refill_time():
    def first_delivery(check_valve: bool) -> tuple[float, float, float]:
        model, sim = long_line(20.0, check_valve)
        order(model, YC_101=1.0)
        sim.run(1800.0)
        order(model, YC_101=0.0)
        sim.run(3 * HOUR)
        empty = VOLUME - column_of(model)
        order(model, YC_101=1.0)
        rows = watch(model, sim, int(3 * HOUR) + 1500, "line.flow", "line.delivered")
        begins = int(np.argmax(rows[:, 2] > 0.0))
        return empty, rows[begins, 0] - 3 * HOUR, float(rows[: begins + 1, 1].sum()) - rows[begins, 2]

    empty, wait, _ = first_delivery(True)
    assert empty == pytest.approx(0.0, abs=1e-9)
    assert wait <= 6.0, "the time in which the pump comes up to the lift"
    empty, wait, pumped = first_delivery(False)
    assert empty > 0.85 * VOLUME
    assert pumped == pytest.approx(empty, rel=1e-6), "first water comes when just the empty part is refilled"
    assert wait > 300.0


def test_a_pulse_put_into_the_sump_of_the_running_demo_leaves_its_line_one_transit_later():
    """Two runs of the same day, one with 2 kg more coagulant in the sump: their difference is the pulse.

    The sump spreads it; its first kilogram leaves the line when the line's volume has gone by since that
    kilogram entered. The dosing skid is air-locked for the hour, so that its control cannot answer the pulse.
    """

    def run(extra: float) -> np.ndarray:
        model = named("gravel-pit", "site.quiet=yes")
        sim = Simulation(model, 1)
        sim.run(7 * HOUR)
        model.arena.vessel_s["content"][model.units["sump"][1], records.COAG] += extra
        model.arena.doser_f["air_lock"][model.units["coagulant"][1]] = 1
        offer = int(model.arena.line_p["offer"][model.units["sump-line"][1]])
        rows = []
        for second in range(int(7 * HOUR) + 2, int(8.0 * HOUR), 2):
            sim.run(second)
            row = model.arena.offers[offer]
            rows.append([second, row[records.COAG] + row[records.COAG_BOUND], model.value("sump-line.flow"),
                         model.value("sump-line.out_coag"), model.value("sump-line.transit")])  # fmt: skip
        return np.array(rows)

    plain, dosed = run(0.0), run(2.0)
    time, flow = plain[:, 0], plain[:, 2]
    assert flow.min() > 0.03, "the line runs all the time"
    entering = (dosed[:, 1] - plain[:, 1]) * flow
    leaving = (dosed[:, 3] - plain[:, 3]) * flow
    assert entering.sum() * 2.0 == pytest.approx(2.0, rel=0.02), "nearly all of it has passed"
    assert leaving.sum() == pytest.approx(entering.sum(), rel=0.02)
    gone = np.cumsum(flow) * 2.0
    halves = []
    for pulse in (entering, leaving):
        passed = np.cumsum(pulse) * 2.0
        halves.append((np.interp(1.0, passed, gone), np.interp(1.0, passed, time)))
    volume = named("gravel-pit").arena.plug_p["volume"][0]
    assert halves[1][0] - halves[0][0] == pytest.approx(volume, rel=0.01)
    reported = np.interp(halves[1][1], time, plain[:, 4])
    assert halves[1][1] - halves[0][1] == pytest.approx(reported, rel=0.01)
