"""Chemical stores, polymer plant and pumps against published guidance, balances by hand and a filter integrated."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from plantsim.analysis.sizing import chemicals as ch
from plantsim.analysis.sizing import polymer as pl
from plantsim.analysis.sizing.result import NotSized

H = 3600.0
DUTY = ch.ChemicalsDuty(
    flow=(200 / H, 350 / H), solids_rate=(5 / 3.6, 20 / 3.6), hours=14 * H, coagulant_dose=(0.02, 0.06),
    polymer_dose=(40e-6, 100e-6))  # fmt: skip


# ---------------------------------------------------------------------------------------------- published guidance
@pytest.mark.parametrize("grams, millilitres, percent", [
    (0.5, 200.0, 0.25),  # laboratory stock by published guidance on dry polymers: 0.5 g in 200 mL, 0.25 %
    (2.5, 500.0, 0.5),  # laboratory stock, 2.5 g in 500 mL, 0.5 %
])  # fmt: skip
def test_laboratory_stocks(grams, millilitres, percent):
    batch = pl.polymer_per_batch(1e-6 * millilitres, 10.0 * percent)  # 1 % is 10 g/L
    assert 1e3 * batch.value == pytest.approx(grams)
    assert batch.verdict.startswith("within")


def test_strengths_outside_the_guidance_are_said():
    # make-down 0.1 to 0.5 %, dosed at 0.05 to 0.1 % after dilution: published guidance on dry polymers
    assert pl.polymer_per_batch(1.0, 6.0).verdict.startswith("outside")
    water, dosed = pl.dilution_water(0.8 / H, 5.0, 5.0)
    assert dosed.value == pytest.approx(5.0 / 6.0) and dosed.holds and water.text() == "4 m3/h"
    _, thin = pl.dilution_water(0.8 / H, 2.5, 10.0)
    assert not thin.holds and thin.verdict.startswith("outside")


@pytest.mark.parametrize("mix_min, fine", [(30, False), (40, True), (60, True)])
def test_mixing_time(mix_min, fine):
    # 40 to 60 min with the stirrer running: published guidance of two suppliers of dry polymer
    assert pl.batch_cycle(1.6, 6 / H, 600.0, 60.0 * mix_min, 6 / H).holds == fine


@pytest.mark.parametrize("kind, hours", [("anionic", 8.0), ("cationic", 6.0)])
def test_life_of_solutions(kind, hours):
    # 8 h anionic, 6 h cationic at room temperature: published guidance on dry polymers
    flow = 1.0 / H
    assert pl.stock_age(1.0, hours - 1.001, flow, kind).holds
    assert not pl.stock_age(1.0, hours - 0.999, flow, kind).holds


def test_doses_of_nine_mines():
    # Static flocculation at nine mines, Adv. Civil Eng. 2022, 5449032, Table 1: 7.5 to 30 g/t of dry solids.
    doses = [20, 20, 30, 10, 15, 10, 10, 10, 7.5]
    rates = [pl.polymer_rate(1e-6 * d, 1000.0 / H).value * H * 1e3 for d in doses]  # of 1 t/h, in g/h
    np.testing.assert_allclose(rates, doses)
    low, high = min(doses), max(doses)
    turndown = ch.pump_range("p", "pump", low, high)[1]
    assert turndown.value == pytest.approx(5.0) and turndown.holds  # (30/0.8)/7.5


def test_alkalinity_used_by_alum():
    # 0.45 mg as CaCO3 per mg of alum (worked answer, 5 %); Davis, ch. 6
    used = ch.alkalinity_used(40e-3)
    assert used.value == pytest.approx(0.45 * 40e-3, rel=0.01)
    assert ch.alkalinity_used(40e-3, 20e-3).holds and not ch.alkalinity_used(40e-3, 10e-3).holds
    assert "pH falls" in ch.alkalinity_used(40e-3, 10e-3).verdict


# ---------------------------------------------------------------------------------------------- balances by hand
def test_coagulant_by_hand():
    # 60 g/m3 of 350 m3/h is 21 kg/h, over 1350 g/L 15.56 L/h; 14 h a day for 14 days is 3.05 m3
    rate = ch.product_rate("r", "used", 0.06, 350 / H)
    neat = ch.neat_flow("q", "neat", rate.value, 1350.0)
    assert rate.text() == "21 kg/h" and neat.text() == "15.56 L/h"
    store = ch.store_volume(neat.value, 14 * H, 14.0, 2.0, 1.0)
    assert store.value == pytest.approx(21 / 1350 * 14 * 14, rel=1e-9) and "days wanted" in store.verdict
    big = ch.store_volume(neat.value, 14 * H, 14.0, 5.0, 20.0)
    assert big.value == pytest.approx(20.0 + 21 / 1350 * 14 * 5) and "delivery" in big.verdict
    assert ch.store_days(store.value, neat.value, 14 * H).text() == "14 d"


def test_polymer_plant_by_hand():
    # 100 g/t of 20 t/h is 2 kg/h; at 2.5 g/L 800 L/h; two hours 1.6 m3; 16 min fill, 45 min mix, 16 min transfer
    polymer = pl.polymer_rate(100e-6, 20 / 3.6)
    stock = ch.neat_flow("s", "stock", polymer.value, 2.5)
    batch = pl.batch_volume(stock.value, 2 * H)
    cycle = pl.batch_cycle(batch.value, 6 / H, 600.0, 2700.0, 6 / H)
    assert (polymer.text(), stock.text(), batch.text(), cycle.text()) == ("2 kg/h", "800 L/h", "1.6 m3", "77 min")
    # powder fed longer than the fill takes: it counts
    assert pl.batch_cycle(0.5, 6 / H, 600.0, 2700.0, 6 / H).value == pytest.approx(600 + 2700 + 300)
    day = pl.batches_per_day(stock.value, batch.value, cycle.value, 14 * H)
    assert day.value == 7 and day.holds  # 11.2 m3 a day in batches of 1.6
    assert pl.mixing_tanks(stock.value, batch.value, cycle.value).value == 1
    # half an hour a batch from one tank of 77 min cannot keep up: three tanks
    small = pl.batch_volume(stock.value, 0.5 * H)
    assert small.verdict.startswith("outside")
    slow = pl.batch_cycle(small.value, 6 / H, 600.0, 3600.0, 6 / H)
    assert pl.mixing_tanks(stock.value, small.value, slow.value).value == 3
    assert not pl.batches_per_day(stock.value, small.value, slow.value, 14 * H).holds


def test_day_tank_never_runs_dry_nor_over():
    # one batch tank at work: a batch starts when what is drawable covers just the use of one cycle
    stock, batch, cycle = 0.8 / H, 1.6, 77 * 60.0
    tank = pl.day_tank(stock, batch, cycle, 0.25).value
    level, ready, dt, low, high = tank, None, 10.0, math.inf, 0.0
    for k in range(int(72 * H / dt)):
        level -= stock * dt
        if ready is None and level - 0.25 * tank <= stock * cycle:
            ready = k * dt + cycle
        if ready is not None and k * dt >= ready:
            level, ready = level + batch, None
        if k * dt > 24 * H:
            low, high = min(low, level), max(high, level)
    assert low >= 0.25 * tank - 2 * stock * dt
    assert high <= tank
    assert pl.day_tank(stock, batch, cycle, 0.0).value == pytest.approx(batch + stock * cycle)


def test_pump_range():
    capacity, turndown = ch.pump_range("c", "pump", 3e-3 / H, 16e-3 / H)
    assert capacity.text() == "20 L/h" and turndown.value == pytest.approx(20 / 3)
    _, wide = ch.pump_range("c", "pump", 1e-3 / H, 16e-3 / H)
    assert not wide.holds and "two pumps" in wide.verdict


def test_filter_interval_against_the_integrated_filter():
    # flow q0/(1 + m/mh) through the filter, all solids of it held; time until the flow is 75 and 50 % of the clean one
    load, flow, solids = 20.0, 8 / H, 0.2

    def held(t, m):
        return [solids * flow / (1 + m[0] / load)]

    for share in (0.75, 0.5):

        def reached(t, m, share=share):
            return 1 / (1 + m[0] / load) - share

        reached.terminal = True
        found = solve_ivp(held, (0, 1e6), [0.0], events=reached, rtol=1e-9, atol=1e-9)
        assert ch.filter_interval(load, flow, solids, share).value == pytest.approx(found.t_events[0][0], rel=1e-6)


# ---------------------------------------------------------------------------------------------- the whole sheet
def test_the_sheet_hangs_together():
    sheet = ch.size_chemicals(DUTY)
    assert sheet["stock_flow"].value == pytest.approx(0.8 / H)
    assert sheet["dilution_water"].value == pytest.approx(10 * sheet["stock_flow"].value)
    assert sheet["polymer_pump_capacity"].value == pytest.approx(sheet["stock_flow"].value / 0.8)
    # lowest dose of the least load: 40 g/t of 5 t/h is a tenth of the highest; with the margin 12.5:1
    assert sheet["polymer_pump_turndown"].value == pytest.approx(12.5)
    assert {r.key for r in sheet.failing()} == {"stock_age", "polymer_pump_turndown", "dosed_strength"}
    assert any("safety data sheets" in caution for caution in sheet.cautions)
    for result in sheet.results:
        assert result.formula and result.source and result.inputs


@pytest.mark.parametrize("change, words", [
    ({"flow": (350 / H, 200 / H)}, "found flow from 0.0972222 down to 0.0555556; allowed: least first"),
    ({"hours": 0.0}, "found hours 0; allowed: above 0"),
    ({"polymer_dose": (0.0, 0.0)}, "found dose 0; allowed: above 0"),
    ({"dilution_solids": -1.0}, "found solids -1; allowed: above 0"),
    ({"polymer_kind": "nonionc"}, "found polymer kind 'nonionc'; allowed: anionic, cationic"),
])  # fmt: skip
def test_bad_duties(change, words):
    from dataclasses import replace

    with pytest.raises(NotSized) as caught:
        ch.size_chemicals(replace(DUTY, **change))
    assert str(caught.value) == words


def test_bad_single_numbers():
    with pytest.raises(NotSized, match="found a least flow of 2 m3/s above the most, 1"):
        ch.pump_range("p", "pump", 2.0, 1.0)
    with pytest.raises(NotSized, match="found a spare of 1; allowed: from 0 to below 1"):
        pl.day_tank(1.0, 1.0, 1.0, 1.0)
    with pytest.raises(NotSized, match="found a share of 1 of the clean flow"):
        ch.filter_interval(20.0, 1.0, 0.1, 1.0)
    with pytest.raises(NotSized, match="found dose nan"):
        ch.product_rate("p", "p", math.nan, 1.0)
