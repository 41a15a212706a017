"""Size of coagulant and polymer plant: stores, batches, day tank, dilution water, dosing pumps, filter.

Balances of mass and volume with margins of the trade. Take handling, storage and bunding from the safety data sheets
and local codes: coagulants are corrosive, spilt polymer is extremely slippery.
"""

from __future__ import annotations

from dataclasses import dataclass

from plantsim.analysis.sizing.polymer import (
    batch_cycle,
    batch_volume,
    batches_per_day,
    day_tank,
    dilution_water,
    mixing_tanks,
    polymer_per_batch,
    polymer_rate,
    stock_age,
)
from plantsim.analysis.sizing.result import BALANCE, PRACTICE, NotSized, Result, Sheet, inputs, positive
from plantsim.physics.flocculation import alkalinity_used_by_alum


# ---------------------------------------------------------------------------------------------- rates and stores
def product_rate(key: str, name: str, dose: float, flow: float) -> Result:
    """Product used: dose per volume times flow.

    Parameters
    ----------
    key, name : str
        For the sheet.
    dose : float
        Product per volume of water, [kg/m3]
    flow : float
        Water treated, [m3/s]
    """
    positive(dose=dose, flow=flow)
    return Result(
        key,
        name,
        dose * flow,
        "kg/s",
        "m = D Q",
        inputs(("dose D", dose, "kg/m3", "g/m3"), ("flow Q", flow, "m3/s", "m3/h")),
        BALANCE,
        (),
        "kg/h",
    )


def neat_flow(key: str, name: str, rate: float, strength: float) -> Result:
    """Flow of neat product or stock that carries a rate.

    Parameters
    ----------
    key, name : str
        For the sheet.
    rate : float
        Product, [kg/s]
    strength : float
        Product per volume, [kg/m3]
    """
    positive(rate=rate, strength=strength)
    return Result(
        key,
        name,
        rate / strength,
        "m3/s",
        "q = m/c",
        inputs(("rate m", rate, "kg/s", "kg/h"), ("strength c", strength, "kg/m3", "g/L")),
        BALANCE,
        (),
        "L/h",
    )


def store_volume(flow: float, hours: float, days: float, lead: float, delivery: float) -> Result:
    """Store of liquid product: the days wanted, and never less than a delivery on top of the lead time.

    Parameters
    ----------
    flow : float
        Neat product while the plant runs, [m3/s]
    hours : float
        Running time of a day, [s]
    days : float
        Days of running wanted in store, [-]
    lead : float
        Days from order to delivery, [-]
    delivery : float
        One delivery, [m3]
    """
    positive(flow=flow, hours=hours, days=days)
    daily = flow * hours
    by_days, by_delivery = daily * days, delivery + daily * lead
    return Result(
        "store_volume", "volume of the store", max(by_days, by_delivery), "m3", "V = max(q h n, V_d + q h n_l)",
        inputs(("neat flow q", flow, "m3/s", "L/h"), ("running time of a day h", hours, "s", "h"), ("days wanted n",
        days, "-"),
               ("lead days n_l", lead, "-"), ("delivery V_d", delivery, "m3", "m3")),
        PRACTICE, ("bund for the whole of the largest tank, with a margin by local code",), "m3",
        "governed by the days wanted" if by_days >= by_delivery else "governed by delivery and lead time",
    )  # fmt: skip


def store_days(store: float, flow: float, hours: float) -> Result:
    """Days of running a full store lasts.

    Parameters
    ----------
    store : float
        Usable volume, [m3]
    flow : float
        Neat product while the plant runs, [m3/s]
    hours : float
        Running time of a day, [s]
    """
    positive(store=store, flow=flow, hours=hours)
    return Result("store_days", "days a full store lasts", store / (flow * hours) * 86400.0, "s", "n = V/(q h)",
                  inputs(("store V", store, "m3", "m3"), ("neat flow q", flow, "m3/s", "L/h"),
                         ("running time of a day h", hours, "s", "h")), BALANCE, (), "d")  # fmt: skip


def pump_range(
    key: str, name: str, least: float, most: float, turndown: float = 10.0, margin: float = 0.8
) -> list[Result]:
    """Range a dosing pump must hold, and the capacity that puts the highest dose at a part of full speed.

    Parameters
    ----------
    key, name : str
        Of the pump: "coagulant", "coagulant pump".
    least, most : float
        Flow at the lowest dose and load, and at the highest, [m3/s]
    turndown : float
        Full flow over the least the pump holds within its accuracy, [-]
    margin : float
        Part of full flow at the highest dose, [-]
    """
    positive(least=least, most=most, turndown=turndown, margin=margin)
    if least > most:
        raise NotSized(f"found a least flow of {least:g} m3/s above the most, {most:g}; allowed: at most the most")
    capacity = most / margin
    need = capacity / least
    return [
        Result(f"{key}_capacity", f"capacity of the {name}", capacity, "m3/s",
        "q = q_max/0.8" if margin == 0.8 else "q = q_max/f",
               inputs(("highest flow q_max", most, "m3/s", "L/h"), ("part of full flow f", margin, "-")), PRACTICE,
               ("prove the delivery by a draw-down test with the product itself",), "L/h"),
        Result(f"{key}_turndown", f"turndown the {name} needs", need, "-", "q/q_min",
               inputs(("capacity q", capacity, "m3/s", "L/h"), ("lowest flow q_min", least, "m3/s", "L/h"),
                      ("turndown of the pump", turndown, "-")), f"definition; 10:1 of a speed-driven pump: {PRACTICE}",
                      (), "",
               f"{'within' if need <= turndown else 'beyond'} the {turndown:g}:1 of the pump"
               + ("" if need <= turndown else ": two pumps, or stroke and speed together"), need <= turndown),
    ]  # fmt: skip


def filter_interval(load: float, flow: float, solids: float, share: float = 0.75) -> Result:
    """Running time until a dilution filter has to be changed.

    The filter's flow falls as :math:`1/(1+m/m_h)` with what it holds, m_h being the solids that halve it.

    Parameters
    ----------
    load : float
        Solids that halve the flow, [kg]
    flow : float
        Dilution water, [m3/s]
    solids : float
        Suspended solids of that water, [kg/m3]
    share : float
        Part of the clean flow at which it is changed, [-]
    """
    positive(load=load, flow=flow, solids=solids)
    if not 0.0 < share < 1.0:
        raise NotSized(f"found a share of {share:g} of the clean flow; allowed: between 0 and 1")
    x = 1.0 / share - 1.0
    # what passes falls with what is held: dm/dt = c q/(1 + m/m_h), so m + m^2/(2 m_h) = c q t
    held = load * x
    interval = (held + held**2 / (2.0 * load)) / (flow * solids)
    return Result("filter_interval", "running time between filter changes", interval, "s",
                  "t = (m + m^2/(2 m_h))/(c q), m = m_h (1/f - 1)",
                  inputs(("solids that halve the flow m_h", load, "kg", "kg"), ("dilution water q", flow, "m3/s",
                  "m3/h"),
                         ("its solids c", solids, "kg/m3", "mg/L"), ("part of the clean flow f", share, "-")),
                  f"{BALANCE}; resistance in proportion to the solids held: {PRACTICE}",
                  ("a clogged filter shows first as rising polymer use and streaky flocs",), "h")  # fmt: skip


def alkalinity_used(dose: float, available: float | None = None) -> Result:
    """Alkalinity an alum dose uses up, as calcium carbonate.

    Parameters
    ----------
    dose : float
        Alum, Al2(SO4)3.18H2O, [kg/m3]
    available : float, optional
        Alkalinity of the water, as CaCO3, [kg/m3]
    """
    positive(dose=dose)
    used = alkalinity_used_by_alum(dose)
    items = [("alum D", dose, "kg/m3", "mg/L")]
    holds = None
    verdict = ""
    if available is not None:
        items.append(("alkalinity of the water", available, "kg/m3", "mg/L"))
        holds = used <= available
        verdict = "the water has enough" if holds else "the water lacks alkalinity: pH falls, test with lime or soda"
    return Result(
        "alkalinity_used",
        "alkalinity used by alum, as CaCO3",
        used,
        "kg/m3",
        "3 mol CaCO3 per mol alum: 0.45 D",
        inputs(*items),
        "stoichiometry: Davis, Water and Wastewater Engineering, ch. 6",
        (),
        "mg/L",
        verdict,
        holds,
    )


# ---------------------------------------------------------------------------------------------- all of it
@dataclass(frozen=True)
class ChemicalsDuty:
    """What the chemical plant has to serve; SI.

    Flows and solids are the least and greatest of a running plant, doses the lowest and highest of the tests.
    """

    flow: tuple[float, float]
    """Feed, least and greatest [m3/s]."""
    solids_rate: tuple[float, float]
    """Dry solids, least and greatest [kg/s]."""
    hours: float
    """Running time of a day [s]."""
    coagulant_dose: tuple[float, float]
    """Product per feed, lowest and highest [kg/m3]."""
    polymer_dose: tuple[float, float]
    """Dry polymer per solids, lowest and highest [kg/kg]."""
    coagulant_strength: float = 1350.0
    """Product per volume of the neat liquid [kg/m3]."""
    stock_strength: float = 2.5
    """Dry polymer per volume of stock [kg/m3]."""
    store_days: float = 14.0
    lead_days: float = 2.0
    delivery: float = 1.0
    """One delivery of coagulant [m3]."""
    batch_spell: float = 2 * 3600.0
    fill_flow: float = 6.0 / 3600.0
    transfer_flow: float = 6.0 / 3600.0
    wet_time: float = 600.0
    mix_time: float = 2700.0
    dilution_ratio: float = 10.0
    dilution_solids: float = 0.2
    """Suspended solids of the dilution water [kg/m3]."""
    filter_load: float = 20.0
    polymer_kind: str = "anionic"


def size_chemicals(duty: ChemicalsDuty) -> Sheet:
    """Size coagulant store, polymer plant, dilution water and dosing pumps.

    Parameters
    ----------
    duty : ChemicalsDuty
        What they have to serve.

    Returns
    -------
    Sheet
        Every number at the highest use, the ages at the lowest.

    Raises
    ------
    NotSized
        When a number of the duty is out of range.
    """
    for name in ("flow", "solids_rate", "coagulant_dose", "polymer_dose"):
        low, high = getattr(duty, name)
        if low > high:
            raise NotSized(f"found {name.replace('_', ' ')} from {low:g} down to {high:g}; allowed: least first")
    sheet = Sheet(
        "Chemicals",
        cautions=[
            "Handling, protection, storage and bunds by the safety data sheets and local codes.",
            "Doses are those of the tests: another face, season or product is another dose.",
        ],
    )
    coagulant = product_rate("coagulant_rate", "coagulant used", duty.coagulant_dose[1], duty.flow[1])
    neat = neat_flow("coagulant_flow", "flow of neat coagulant", coagulant.value, duty.coagulant_strength)
    store = store_volume(neat.value, duty.hours, duty.store_days, duty.lead_days, duty.delivery)
    sheet.add(coagulant, neat, store, store_days(store.value, neat.value, duty.hours))
    least = duty.coagulant_dose[0] * duty.flow[0] / duty.coagulant_strength
    sheet.add(*pump_range("coagulant_pump", "coagulant pump", least, neat.value))
    polymer = polymer_rate(duty.polymer_dose[1], duty.solids_rate[1])
    stock = neat_flow("stock_flow", "flow of polymer stock", polymer.value, duty.stock_strength)
    batch = batch_volume(stock.value, duty.batch_spell)
    cycle = batch_cycle(batch.value, duty.fill_flow, duty.wet_time, duty.mix_time, duty.transfer_flow)
    tanks = mixing_tanks(stock.value, batch.value, cycle.value)
    tank = day_tank(stock.value, batch.value, cycle.value)
    low_stock = duty.polymer_dose[0] * duty.solids_rate[0] / duty.stock_strength
    sheet.add(
        polymer,
        stock,
        batch,
        polymer_per_batch(batch.value, duty.stock_strength),
        cycle,
        batches_per_day(stock.value, batch.value, cycle.value, duty.hours),
        tanks,
        tank,
        stock_age(batch.value, tank.value, low_stock, duty.polymer_kind),
    )
    sheet.add(*pump_range("polymer_pump", "polymer pump", low_stock, stock.value))
    sheet.add(*dilution_water(stock.value, duty.stock_strength, duty.dilution_ratio))
    sheet.add(filter_interval(duty.filter_load, sheet["dilution_water"].value, duty.dilution_solids))
    return sheet
