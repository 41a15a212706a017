"""Size of a polymer plant: batches of stock, mixing and day tanks, age of the stock, dilution water."""

from __future__ import annotations

import math

from plantsim.analysis.sizing.result import BALANCE, PRACTICE, NotSized, Result, inputs, positive

LIFE = {"anionic": 8 * 3600.0, "cationic": 6 * 3600.0}
"""Life of a polymer solution at room temperature [s], by published laboratory guidance on dry polymers."""


def polymer_rate(dose: float, solids_rate: float) -> Result:
    """Dry polymer used: dose per solids times solids.

    Parameters
    ----------
    dose : float
        Dry polymer per dry solids, [kg/kg]
    solids_rate : float
        Dry solids fed, [kg/s]
    """
    positive(dose=dose, solids_rate=solids_rate)
    return Result(
        "polymer_rate",
        "dry polymer used",
        dose * solids_rate,
        "kg/s",
        "m = D S",
        inputs(("dose D", dose, "kg/kg", "g/t"), ("solids S", solids_rate, "kg/s", "t/h")),
        BALANCE,
        (),
        "kg/h",
    )


def batch_volume(stock_flow: float, spell: float) -> Result:
    """Batch of stock that serves a spell of running; one to three hours are usual.

    Parameters
    ----------
    stock_flow : float
        Stock used at the highest dose, [m3/s]
    spell : float
        Time one batch shall last, [s]
    """
    positive(stock_flow=stock_flow, spell=spell)
    words = "within" if 3600.0 <= spell <= 3 * 3600.0 else "outside"
    return Result(
        "batch_volume",
        "batch of polymer stock",
        stock_flow * spell,
        "m3",
        "V_b = q t",
        inputs(("stock flow q", stock_flow, "m3/s", "L/h"), ("spell t", spell, "s", "h")),
        f"{BALANCE}; one to three hours a batch: {PRACTICE}",
        (),
        "m3",
        f"{words} the usual one to three hours a batch",
    )


def polymer_per_batch(volume: float, strength: float) -> Result:
    """Dry polymer weighed into one batch; 0.1 to 0.5 % by weight are usual.

    Parameters
    ----------
    volume : float
        Batch, [m3]
    strength : float
        Dry polymer per volume, [kg/m3]
    """
    positive(volume=volume, strength=strength)
    words = "within" if 1.0 <= strength <= 5.0 else "outside"
    return Result(
        "polymer_per_batch",
        "dry polymer in one batch",
        volume * strength,
        "kg",
        "m_b = V_b c",
        inputs(("batch V_b", volume, "m3", "m3"), ("strength c", strength, "kg/m3", "g/L")),
        f"{BALANCE}; 0.1 to 0.5 % by weight: published guidance on dry polymers",
        (),
        "kg",
        f"{words} the usual 1 to 5 g/L",
    )


def batch_cycle(volume: float, fill_flow: float, wet: float, mix: float, transfer_flow: float) -> Result:
    """Time from the start of one batch to the start of the next: fill and wet, mix and age, transfer.

    Parameters
    ----------
    volume : float
        Batch, [m3]
    fill_flow, transfer_flow : float
        Flows of water and of transfer, [m3/s]
    wet : float
        Feeding of powder; it runs while the tank fills, so the longer of both counts, [s]
    mix : float
        Mixing and ageing before transfer, [s]
    """
    positive(volume=volume, fill_flow=fill_flow, mix=mix, transfer_flow=transfer_flow)
    words = "within" if mix >= 40 * 60.0 else "below"
    return Result(
        "batch_cycle", "time of one batch", max(volume / fill_flow, wet) + mix + volume / transfer_flow, "s",
        "t_c = max(V_b/q_f, t_w) + t_m + V_b/q_t",
        inputs(("batch V_b", volume, "m3", "m3"), ("fill flow q_f", fill_flow, "m3/s", "m3/h"), ("powder feed t_w",
        wet, "s", "min"),
               ("mixing and ageing t_m", mix, "s", "min"), ("transfer flow q_t", transfer_flow, "m3/s", "m3/h")),
        "sum of the steps; 40 to 60 min of mixing and ageing: published guidance on dry polymers",
        ("cold water dissolves polymer more slowly: up to twice the time near 5 degC (common practice, no source)",),
        "min",
        f"mixing is {words} the usual 40 to 60 min" if words == "below" else "mixing of 40 min or more, as usual",
        mix >= 40 * 60.0,
    )  # fmt: skip


def batches_per_day(stock_flow: float, volume: float, cycle: float, hours: float) -> Result:
    """Batches in a running day, against those one tank can make while the plant runs.

    Parameters
    ----------
    stock_flow : float
        Stock used, [m3/s]
    volume : float
        Batch, [m3]
    cycle : float
        Time of one batch, [s]
    hours : float
        Running time of a day, [s]
    """
    positive(stock_flow=stock_flow, volume=volume, cycle=cycle, hours=hours)
    count = math.ceil(stock_flow * hours / volume - 1e-9)
    most = hours / cycle
    return Result("batches_per_day", "batches in a day", float(count), "-", "n = q h/V_b, rounded up",
                  inputs(("stock flow q", stock_flow, "m3/s", "L/h"), ("running time of a day h", hours, "s", "h"),
                         ("batch V_b", volume, "m3", "m3"), ("time of one batch t_c", cycle, "s", "min")), BALANCE, (),
                         "",
                  f"one mixing tank makes {most:.3g} while the plant runs", volume / cycle >= stock_flow)  # fmt: skip


def mixing_tanks(stock_flow: float, volume: float, cycle: float) -> Result:
    """Mixing tanks needed so that batches keep up with the use.

    Parameters
    ----------
    stock_flow : float
        Stock used, [m3/s]
    volume : float
        Batch, [m3]
    cycle : float
        Time of one batch, [s]
    """
    positive(stock_flow=stock_flow, volume=volume, cycle=cycle)
    return Result("mixing_tanks", "mixing tanks", float(math.ceil(stock_flow * cycle / volume - 1e-9)), "-",
                  "n = q t_c/V_b, rounded up",
                  inputs(("stock flow q", stock_flow, "m3/s", "L/h"), ("time of one batch t_c", cycle, "s", "min"),
                         ("batch V_b", volume, "m3", "m3")), BALANCE, (), "")  # fmt: skip


def day_tank(stock_flow: float, volume: float, cycle: float, spare: float = 0.25) -> Result:
    """Day tank that takes a whole batch while it still holds what is used until the next one is ready.

    Parameters
    ----------
    stock_flow : float
        Stock used, [m3/s]
    volume : float
        Batch, [m3]
    cycle : float
        Time of one batch, [s]
    spare : float
        Part of the tank kept for what cannot be drawn and for a late batch, [-]
    """
    positive(stock_flow=stock_flow, volume=volume, cycle=cycle)
    if not 0.0 <= spare < 1.0:
        raise NotSized(f"found a spare of {spare:g}; allowed: from 0 to below 1")
    return Result(
        "day_tank", "volume of the day tank", (volume + stock_flow * cycle) / (1.0 - spare), "m3",
        "V = (V_b + q t_c)/(1 - s)",
        inputs(("batch V_b", volume, "m3", "m3"), ("stock flow q", stock_flow, "m3/s", "L/h"),
               ("time of one batch t_c", cycle, "s", "min"), ("spare part s", spare, "-")),
        f"{BALANCE} (a batch is called when only the use of one batch time is left); spare: {PRACTICE}", (), "m3",
    )  # fmt: skip


def stock_age(volume: float, tank: float, stock_flow: float, kind: str = "anionic") -> Result:
    """Longest time stock stands before use, against its life at room temperature.

    Parameters
    ----------
    volume : float
        Batch, [m3]
    tank : float
        Day tank, [m3]
    stock_flow : float
        Stock used at the lowest dose, [m3/s]
    kind : str
        "anionic" (8 h) or "cationic" (6 h).
    """
    positive(volume=volume, tank=tank, stock_flow=stock_flow)
    if kind not in LIFE:
        raise NotSized(f"found polymer kind '{kind}'; allowed: {', '.join(LIFE)}")
    age = (volume + tank) / stock_flow
    return Result(
        "stock_age",
        "longest age of stock at the lowest use",
        age,
        "s",
        "t = (V_b + V)/q",
        inputs(
            ("batch V_b", volume, "m3", "m3"),
            ("day tank V", tank, "m3", "m3"),
            ("lowest stock flow q", stock_flow, "m3/s", "L/h"),
        ),
        f"{BALANCE}; life of {LIFE[kind] / 3600:g} h ({kind}): published guidance on dry polymers",
        ("life is shorter in hard, salty or iron-bearing water; stock over a weekend is to be thrown away",),
        "h",
        f"{'within' if age <= LIFE[kind] else 'beyond'} the life of {LIFE[kind] / 3600:g} h",
        age <= LIFE[kind],
    )


def dilution_water(stock_flow: float, strength: float, ratio: float) -> list[Result]:
    """Dilution water, and the strength it leaves; 0.03 to 0.1 % at the point of dosing are usual.

    Parameters
    ----------
    stock_flow : float
        Stock at the highest dose, [m3/s]
    strength : float
        Dry polymer in it, [kg/m3]
    ratio : float
        Water per stock; 5 to 15 are usual, [-]
    """
    positive(stock_flow=stock_flow, strength=strength, ratio=ratio)
    final = strength / (1.0 + ratio)
    inside = 0.3 <= final <= 1.0 + 1e-9
    return [
        Result("dilution_water", "dilution water", ratio * stock_flow, "m3/s", "q_w = R q",
               inputs(("ratio R", ratio, "-"), ("stock flow q", stock_flow, "m3/s", "L/h")),
               f"{BALANCE}; 5 to 15 of water per stock: {PRACTICE}",
               ("water from the clean tank brings its solids and leftover chemicals back; fresh water may be "
               "cold and hard",),
               "m3/h", f"{'within' if 5.0 <= ratio <= 15.0 else 'outside'} the usual 5 to 15"),
        Result("dosed_strength", "strength where it is dosed", final, "kg/m3", "c_d = c/(1 + R)",
               inputs(("stock strength c", strength, "kg/m3", "g/L"), ("ratio R", ratio, "-")),
               f"{BALANCE}; 0.03 to 0.1 % by weight: published guidance on dry polymers", (), "g/L",
               f"{'within' if inside else 'outside'} the usual 0.3 to 1 g/L", inside),
    ]  # fmt: skip
