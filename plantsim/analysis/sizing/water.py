"""Water balance of a closed wash-water circuit and the make-up it needs, month by month."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from plantsim.analysis.sizing.result import BALANCE, Line, NotSized, Plot, Result, Sheet, inputs, positive

DAY = 86400.0
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class Climate:
    """Twelve numbers each, January first: temperature [degC], rain and open-water evaporation of the month [m]."""

    temperature: tuple[float, ...]
    rain: tuple[float, ...]
    evaporation: tuple[float, ...]

    def __post_init__(self) -> None:
        for name in ("temperature", "rain", "evaporation"):
            row = getattr(self, name)
            if len(row) != 12:
                raise NotSized(f"found {len(row)} months of {name}; allowed: 12")
            if name != "temperature" and min(row) < 0.0:
                raise NotSized(f"found {name} below 0; allowed: 0 or more")


@dataclass(frozen=True)
class WaterDuty:
    """What the water circuit does.

    Attributes
    ----------
    hours : float
        Running time of a week, [s]
    production : float
        Dry feed washed, [kg/s]
    wash_ratio : float
        Wash water per dry feed, [m3/kg]
    moisture : float
        Water leaving with the product per dry feed, [kg/kg]
    feed_moisture : float
        Water coming with the feed per dry feed, [kg/kg]
    solids_rate : float
        Dry solids to the mud, [kg/s]
    underflow_solids : float
        Dry solids per volume of underflow, [kg/m3]
    solids_density : float
        [kg/m3]
    returned : float
        Part of the underflow's water that comes back from the cells or the press, [-]
    open_area : float
        Open tanks and clarifiers, [m2]
    leaks : float
        Leaks and spray, [m3/s]
    supply : float
        Make-up flow that is there, [m3/s]; 0: to be found
    """

    hours: float
    production: float
    wash_ratio: float
    moisture: float
    solids_rate: float
    underflow_solids: float
    solids_density: float = 2650.0
    feed_moisture: float = 0.0
    returned: float = 0.0
    open_area: float = 0.0
    leaks: float = 0.0
    supply: float = 0.0

    def __post_init__(self) -> None:
        positive(running_time=self.hours, production=self.production, wash_ratio=self.wash_ratio,
                 solids_rate=self.solids_rate, underflow_solids=self.underflow_solids)  # fmt: skip
        if self.hours > 7 * DAY:
            raise NotSized(f"found {self.hours / 3600:g} running hours in a week; allowed: at most 168")
        if not 0.0 <= self.returned <= 1.0:
            raise NotSized(f"found a returned part of {self.returned:g}; allowed: from 0 to 1")
        if self.underflow_solids >= self.solids_density:
            raise NotSized("found an underflow as dense as its solids; allowed: thinner")


def underflow_water(solids_rate: float, solids: float, solids_density: float) -> float:
    """Water in the underflow [m3/s], :math:`m(1/C - 1/\\rho_s)`."""
    return solids_rate * (1.0 / solids - 1.0 / solids_density)


def monthly_makeup(duty: WaterDuty, climate: Climate) -> list[float]:
    """Make-up of each month [m3]; below 0 there is water too much."""
    with_mud = underflow_water(duty.solids_rate, duty.underflow_solids, duty.solids_density) * (1.0 - duty.returned)
    net_product = duty.production * (duty.moisture - duty.feed_moisture) / 1000.0
    out = []
    for k, days in enumerate(MONTH_DAYS):
        running = duty.hours * days / 7.0
        sky = duty.open_area * (climate.evaporation[k] - climate.rain[k])
        out.append((with_mud + net_product) * running + duty.leaks * days * DAY + sky)
    return out


def size_water(duty: WaterDuty, climate: Climate) -> Sheet:
    """Where the water goes, and the make-up by month.

    Parameters
    ----------
    duty : WaterDuty
        The circuit.
    climate : Climate
        Rain and open-water evaporation by month.
    """
    sheet = Sheet("Water", cautions=[
        "Mean months: a dry spell takes more, a storm brings water that has to be held or let off by a permit.",
        "A discharge permit is met by sampling, not by this page.",
    ])  # fmt: skip
    wash = duty.production * duty.wash_ratio
    in_mud = underflow_water(duty.solids_rate, duty.underflow_solids, duty.solids_density)
    net = in_mud * (1.0 - duty.returned)
    product = duty.production * duty.moisture / 1000.0
    brought = duty.production * duty.feed_moisture / 1000.0
    loss = net + product + duty.leaks - brought
    rate = ("dry feed washed", duty.production, "kg/s", "t/h")
    sheet.add(
        Result("wash_water", "wash water while running", wash, "m3/s", "Q = m w",
               inputs(rate, ("wash ratio w", duty.wash_ratio, "m3/kg", "m3/t")), BALANCE, (), "m3/h"),
        Result("mud_water", "water in the underflow", in_mud, "m3/s", "q = m_s (1/C_u - 1/rho_s)",
               inputs(("solids m_s", duty.solids_rate, "kg/s", "t/h"),
                      ("underflow C_u", duty.underflow_solids, "kg/m3", "g/L"),
                      ("solids density rho_s", duty.solids_density, "kg/m3", "kg/m3")), BALANCE,
               ("a thinner underflow loses water fast: this is the largest lever",), "m3/h"),
        Result("mud_loss", "of it not coming back", net, "m3/s", "q (1 - r)",
               inputs(("water in the underflow q", in_mud, "m3/s", "m3/h"), ("returned r", duty.returned, "-")),
               BALANCE, ("cells return little while it freezes or when the weir is left shut",), "m3/h"),
        Result("product_loss", "water leaving with the product", product, "m3/s", "q = m w_p/rho_w",
               inputs(rate, ("moisture w_p", duty.moisture, "-")), BALANCE, (), "m3/h"),
        Result("loss", "net loss while running, sky aside", loss, "m3/s", "mud + product + leaks - feed moisture",
               inputs(("mud", net, "m3/s", "m3/h"), ("product", product, "m3/s", "m3/h"),
                      ("leaks", duty.leaks, "m3/s", "m3/h"), ("with the feed", brought, "m3/s", "m3/h")), BALANCE, (),
               "m3/h"),
        Result("recovery", "wash water recovered", 1.0 - (net + product) / wash, "-", "1 - (mud + product)/wash",
               inputs(("wash water", wash, "m3/s", "m3/h")), BALANCE, (), "%"),
    )  # fmt: skip
    months = monthly_makeup(duty, climate)
    for k, volume in enumerate(months):
        sheet.add(Result(f"makeup_{k + 1:02d}", f"make-up in {MONTHS[k]}", volume, "m3",
                         "loss running time + A (E - R)",
                         inputs(("running time", duty.hours * MONTH_DAYS[k] / 7.0, "s", "h"),
                                ("open area A", duty.open_area, "m2", "m2"),
                                ("evaporation E", climate.evaporation[k], "m", "mm"),
                                ("rain R", climate.rain[k], "m", "mm")),
                         f"{BALANCE}; evaporation by FAO-56 Penman-Monteith and open water", (), "m3",
                         "water too much: hold it or let it off by permit" if volume < 0.0 else ""))  # fmt: skip
    worst = max(range(12), key=lambda k: months[k] / MONTH_DAYS[k])
    running = duty.hours * MONTH_DAYS[worst] / 7.0
    need = months[worst] / running
    holds = None if duty.supply <= 0.0 else duty.supply >= need
    sheet.add(Result("makeup_flow", "make-up flow while running in the driest month", need, "m3/s", "q = V/t",
                     inputs(("make-up", months[worst], "m3", "m3"), ("running time", running, "s", "h"),
                            ("supply", duty.supply, "m3/s", "m3/h")), BALANCE,
                     ("refill after a spill or a washed-out tank comes on top",), "m3/h",
                     f"governed by {MONTHS[worst]}" + ("" if holds is None else
                     f"; the supply is {'enough' if holds else 'too small'}"), holds))  # fmt: skip
    sheet.add(Result("makeup_year", "make-up in a year", sum(months), "m3", "sum of the months", (), BALANCE, (), "m3"))
    sheet.plots.append(month_plot("makeup", "make-up by month", "make-up", "m3", "m3", {"make-up": months}))
    return sheet


def month_plot(key: str, title: str, name: str, unit: str, shown: str, rows: dict[str, Sequence[float]]) -> Plot:
    """A plot over the twelve months."""
    x = tuple(float(k) for k in range(1, 13))
    return Plot(key, title, "month", "-", "", name, unit, shown,
                tuple(Line(words, x, tuple(map(float, row)), False) for words, row in rows.items()))  # fmt: skip
