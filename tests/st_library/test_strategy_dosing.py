"""Coagulant and polymer programs: hand figures of the dose, no dose without flow, freeze for one transit, trims."""

from __future__ import annotations

import math

import pytest
from strategy_rig import Bench


def test_coagulant_ratio_by_hand() -> None:
    # 40 g/m3 x 350 m3/h = 14 kg/h of product; at 1.35 kg/L 10.37 L/h; of a 30 L/h pump 34.57 %
    bench = Bench("coagulant_dose", trim=0).scan(flow=350.0)
    assert bench["run"] == 1 and bench["speed"] == pytest.approx(34.568, abs=1e-2)
    assert bench["transit"] == pytest.approx(60.0 / 350.0 * 3600.0, rel=1e-6)
    assert bench.scan(flow=175.0)["speed"] == pytest.approx(17.284, abs=1e-2)


def test_no_coagulant_without_flow() -> None:
    bench = Bench("coagulant_dose").scan(flow=350.0)
    assert bench.scan(flow=49.0)["run"] == 0 and bench["speed"] == 0.0 and bench["dose_now"] == 0.0
    assert bench.scan(flow=350.0, enable=0)["run"] == 0


@pytest.mark.parametrize(
    ("raw", "dose"), [(100.0, 20.0), (500.0, 20.0), (2750.0, 50.0), (5000.0, 80.0), (9000.0, 80.0)]
)
def test_coagulant_feedforward_by_raw_turbidity(raw: float, dose: float) -> None:
    bench = Bench("coagulant_dose", trim=0, feedforward=1).scan(flow=300.0, raw_turbidity=raw)
    assert bench["dose_now"] == pytest.approx(dose, rel=1e-6)


def test_coagulant_trim_is_frozen_for_one_transit_and_whenever_flow_is_low() -> None:
    # 60 m3 at 300 m3/h pass in 720 s
    bench = Bench("coagulant_dose", 2.0, flow=300.0, turbidity=150.0).scan()
    assert bench["frozen"] == 1
    took = bench.until(lambda b: b["frozen"] == 0, 900.0)
    assert took == pytest.approx(720.0, abs=4.0) and bench["trim_now"] == 0.0
    trim = bench.run(300.0)["trim_now"]
    assert 0.0 < trim <= 30.0
    bench.run(600.0, flow=0.0)
    assert bench["frozen"] == 1 and bench["trim_now"] == pytest.approx(trim, rel=1e-6)
    # the slug stood in the line: the clock is one of water, half the flow takes twice the time
    took = bench.set(flow=150.0).until(lambda b: b["frozen"] == 0, 2000.0)
    assert took == pytest.approx(1440.0, abs=6.0)
    assert bench["trim_now"] == pytest.approx(trim, abs=0.1)  # goes on from where it was, without a jump


def test_a_short_dip_of_flow_leaves_the_line_as_it_is() -> None:
    bench = Bench("coagulant_dose", 1.0, flow=300.0, turbidity=60.0).run(800.0)
    bench.run(20.0, flow=0.0)
    assert bench["frozen"] == 1
    assert bench.scan(flow=300.0)["frozen"] == 0
    bench.run(40.0, flow=0.0)
    assert bench.scan(flow=300.0)["frozen"] == 1


def test_coagulant_trim_keeps_its_limits_and_falls_back() -> None:
    bench = Bench("coagulant_dose", 10.0, flow=350.0, turbidity=800.0).run(4 * 3600.0)
    assert bench["trim_now"] == 30.0 and bench["dose_now"] == pytest.approx(52.0)
    bench.run(6 * 3600.0, turbidity=10.0)
    assert -30.0 <= bench["trim_now"] < 0.0
    bench.run(3600.0, meter_ok=0, turbidity=3000.0)
    assert bench["trim_now"] < 0.0  # a meter that is not trusted moves nothing


def test_coagulant_gain_falls_and_integral_slows_with_flow() -> None:
    # at half the reference flow the gain is 0.6 and the integral time doubled
    rise = {}
    for flow in (350.0, 175.0):
        bench = Bench("coagulant_dose", 10.0, flow=flow, turbidity=50.0).run(4000.0)
        bench.scan(turbidity=65.0)
        first = bench["trim_now"]
        rise[flow] = (first, bench.run(600.0)["trim_now"] - first)
    assert rise[350.0][0] == pytest.approx(30.0 / 150.0 * 15.0, abs=0.02)
    assert rise[175.0][0] / rise[350.0][0] == pytest.approx(0.6, abs=0.01)
    assert rise[175.0][1] / rise[350.0][1] == pytest.approx(0.6 * 0.5, abs=0.01)


def respond(smith: int, band: float) -> list[float]:
    """Overflow turbidity after a disturbance of +40 NTU: dead time 60 m3 of flow, lag 900 s, 2 NTU per % of trim."""
    bench = Bench("coagulant_dose", 20.0, flow=300.0, smith=smith, trim_band=band, reset_time=900.0, setpoint=50.0,
                  model_fall=60.0, flow_reference=300.0)  # fmt: skip
    line, fall, seen = [0.0] * 36, 0.0, []
    for k in range(1000):
        disturbance = 40.0 if k > 100 else 0.0
        turbidity = 50.0 + disturbance - fall
        bench.scan(turbidity=turbidity)
        line.append(bench["trim_now"])
        fall += (1.0 - math.exp(-20.0 / 900.0)) * (2.0 * line.pop(0) - fall)
        seen.append(turbidity)
    return seen


def test_smith_lets_the_trim_work_harder_through_the_dead_time() -> None:
    # PI gain 30/band % per NTU; on process gain 2 NTU/%, lag 900 s, dead time 720 s a loop gain of 2.4 swings
    # without the compensator (limit by the phase rule: about pi/2 x 900/720 = 2) and settles with it
    plain, compensated = respond(0, 25.0), respond(1, 25.0)
    swing = [max(s[700:]) - min(s[700:]) for s in (plain, compensated)]
    assert swing[0] > 20.0 > 1.0 > swing[1]
    assert compensated[-1] == pytest.approx(50.0, abs=0.5)


def test_polymer_dose_by_hand() -> None:
    # density 1035.5 kg/m3: (35.5)/(1 - 1/2.65) = 57.0 g/L; x 350 m3/h = 19.95 t/h; 50 g/t = 0.998 kg/h;
    # of 2.5 g/L stock 399 L/h; of a 1000 L/h pump 39.9 %
    bench = Bench("polymer_dose").scan(flow=350.0, density=1035.5)
    assert bench["solids"] == pytest.approx(19.955, abs=5e-3)
    assert bench["run"] == 1 and bench["speed"] == pytest.approx(39.91, abs=0.02)


def test_no_feed_no_polymer() -> None:
    bench = Bench("polymer_dose").run(10.0, flow=350.0)
    bench.run(4.0, flow=20.0)
    assert bench["run"] == 1
    bench.run(3.0)
    assert bench["run"] == 0 and bench["speed"] == 0.0
    assert bench.scan(flow=350.0)["run"] == 1
    assert bench.scan(ready=0)["run"] == 0
    assert bench.scan(ready=1, enable=0)["run"] == 0


def test_a_drifting_density_meter_cannot_take_the_dose_away() -> None:
    bench = Bench("polymer_dose").scan(flow=350.0, density=980.0)
    assert bench["solids"] == pytest.approx(3.5, rel=1e-6)
    assert bench.scan(density=1900.0)["solids"] == pytest.approx(42.0, rel=1e-6)


@pytest.mark.parametrize(("switch", "name", "dirty", "clean"), [
    ("trim_turbidity", "turbidity", 200.0, 5.0), ("trim_bed", "bed_level", 2.6, 0.6)])  # fmt: skip
def test_polymer_trim(switch: str, name: str, dirty: float, clean: float) -> None:
    bench = Bench("polymer_dose", 30.0, flow=350.0, **{switch: 1, name: dirty}).run(570.0)
    assert bench["trim_now"] == 0.0  # waits until the feed has settled
    bench.run(8 * 3600.0)
    assert bench["trim_now"] == 25.0 and bench["dose_now"] == pytest.approx(62.5)
    bench.run(16 * 3600.0, **{name: clean})
    assert bench["trim_now"] == -25.0 and bench["dose_now"] == pytest.approx(37.5)
    bench.set(dose_min=40.0).scan()
    assert bench["dose_now"] == 40.0


def test_polymer_batch_permission() -> None:
    bench = Bench("polymer_batch").scan(tank=60.0)
    assert bench["permit"] == 0 and bench["ready"] == 1
    assert bench.scan(tank=49.0)["permit"] == 1
    assert bench.scan(tank=69.0)["permit"] == 1
    assert bench.scan(tank=71.0)["permit"] == 0
    assert bench.scan(tank=40.0, water_level=0.5)["permit"] == 0
    assert bench.scan(water_level=0.9)["permit"] == 0
    assert bench.scan(water_level=1.1)["permit"] == 1
    assert bench.scan(store=5.0)["permit"] == 0 and bench["no_powder"] == 1
    assert bench.scan(store=50.0, tank=7.0)["ready"] == 0
    assert bench.scan(tank=19.0)["ready"] == 0
    assert bench.scan(tank=21.0)["ready"] == 1
