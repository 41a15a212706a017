"""The layered clarifier against published and closed-form cases: the whole compiled kernel, not its formulas.

Every case runs with `rigid` set: no reaction, settling factor 1, no channel, so that what is checked is the
flux solver, the compression and the balance of flows.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from plantsim.arena import Arena
from plantsim.jit import kernel
from plantsim.kernels import clarifier
from plantsim.physics.kynch import BatchSolution, batch_richardson_zaki, batch_vesilind
from plantsim.physics.stress import equilibrium_power
from plantsim.physics.thickening import limiting_flux_vesilind
from plantsim.plant.settling_table import SettlingTable, build_table, stress_slope, velocity_law
from plantsim.records import COARSE, FINES, NS, VOLUME

DAY = 86400.0
FEED, OVER, UNDER = 0, 1, 2
RHO = 2650.0
WATER = 998.2


@kernel
def _run(p, s, f, m, weather, motor_s, actuator_s, links, tables, streams, offers, layers, ledger, scratch,
         draw, dt, steps):  # fmt: skip
    flags = 0
    for _ in range(steps):
        clarifier.spill_clarifier(p, s, tables, streams, layers, dt)
        streams[2, 0] = draw
        for k in range(1, NS):
            streams[2, k] = draw * offers[0, k]
        flags |= clarifier.step_clarifier(
            p, s, f, m, weather, motor_s, actuator_s, links, tables, streams, offers, layers, ledger, scratch, dt
        )
    return flags


class Settler:
    """A plain settler of `n` layers from `table`, straight-walled."""

    def __init__(self, table: SettlingTable, n: int, height: float, area: float, feed_layer: int = 0) -> None:
        points = len(table.flux)
        self.table, self.n, self.dz, self.area = table, n, height / n, area
        self.arena = arena = Arena(
            {"clarifier_p": 1, "clarifier_s": 1, "clarifier_f": 1, "motor_s": 1, "actuator_s": 1, "links": 2,
             "tables": 2 * points + 2 * n + 1, "streams": 3, "offers": 1, "layers": NS * n}
        )  # fmt: skip
        volume = area * self.dz
        arena.links[:] = FEED, UNDER
        arena.tables[:] = np.concatenate(
            [table.flux, table.compression, np.full(n + 1, area), np.full(n, volume)]
        )
        record = {
            "n_inlets": 1, "outlets": 1, "n_outlets": 1, "overflow": OVER, "layers": n, "feed_layer": feed_layer,
            "areas": 2 * points, "volumes": 2 * points + n + 1, "height": self.dz, "compression": points,
            "n_flux": points, "c_max": table.c_max, "c_hat": table.c_hat, "c_gel": table.c_gel,
            "rake_motor": -1, "rake_lift": -1, "rigid": 1,
        }  # fmt: skip
        for field, value in record.items():
            arena.clarifier_p[field] = value
        arena.material["solids_density"] = RHO
        self.scratch = arena.plant().scratch

    def start(self, solids: np.ndarray | float) -> None:
        """Fill with `solids` [kg/m3], a fifth of it coarse: in a rigid settler the classes move alike."""
        row = np.zeros(NS)
        clarifier.fill_clarifier(
            self.arena.clarifier_p[0], self.arena.clarifier_s[0], self.arena.tables, self.arena.layers, row
        )
        profile = np.broadcast_to(solids, self.n)
        self.arena.layers[COARSE * self.n : (COARSE + 1) * self.n] = 0.2 * profile
        self.arena.layers[FINES * self.n : (FINES + 1) * self.n] = 0.8 * profile
        self.refresh()

    def refresh(self) -> None:
        a = self.arena
        clarifier.refresh_clarifier(
            a.clarifier_p[0], a.clarifier_s[0], a.material[0], a.tables, a.offers, a.layers
        )

    def feed(self, flow: float, solids: float) -> None:
        row = self.arena.streams[FEED]
        row[:] = 0.0
        row[VOLUME], row[COARSE], row[FINES] = flow, 0.2 * flow * solids, 0.8 * flow * solids

    def run(self, seconds: float, dt: float, draw: float = 0.0) -> int:
        a = self.arena
        return _run(
            a.clarifier_p[0], a.clarifier_s[0], a.clarifier_f[0], a.material[0], a.weather[0], a.motor_s,
            a.actuator_s, a.links, a.tables, a.streams, a.offers, a.layers, a.ledger, self.scratch,
            draw, dt, round(seconds / dt),
        )  # fmt: skip

    @property
    def solids(self) -> np.ndarray:
        """Coarse and fines of each layer, top first [kg/m3]."""
        layers = self.arena.layers
        return layers[COARSE * self.n : (COARSE + 1) * self.n] + layers[FINES * self.n : (FINES + 1) * self.n]

    def state(self, field: str) -> float:
        return float(self.arena.clarifier_s[field][0])


# --- BSM1 settler -----------------------------------------------------------------------------------------------
# J. Alex and others, Benchmark Simulation Model no. 1 (BSM1), IWA Task Group report (2008), sect. 2.3.3, with the
# velocity law of Takacs, Patry and Nolasco, Water Res. 25 (1991) 1263-1271: parameters as printed on the pages of
# the COST 624 working group; geometry, flows and the steady profile from memory, reproduced by an independent
# recomputation of the steady balance with the model's own flux rule.
BSM1_FEED = 3.269837
BSM1_PROFILE = np.array([12.4969, 18.1132, 29.5402, 68.9781] + [356.0747] * 5 + [6393.9844]) * 1e-3


@pytest.fixture(scope="module")
def bsm1() -> Settler:
    law = velocity_law(
        "takacs",
        {"v0": 474.0 / DAY, "r_h": 0.576, "r_p": 2.86, "c_min": 0.00228 * BSM1_FEED, "v_max": 250.0 / DAY},
        RHO,
    )
    # near the surface f is a square of C: the grid must be fine there for four figures
    return Settler(build_table(law, c_max=15.0, solids_density=RHO, points=150_001), 10, 4.0, 1500.0, 4)


@pytest.mark.parametrize("start", ["500", "10", "3000", "linear"])
def test_bsm1_steady_profile(bsm1: Settler, start: str) -> None:
    feed, under = 36892.0 / DAY, 18831.0 / DAY
    bsm1.start(np.linspace(0.01, 6.0, 10) if start == "linear" else float(start) * 1e-3)
    bsm1.feed(feed, BSM1_FEED)
    assert bsm1.run(20 * DAY, 40.0, under) == 0
    np.testing.assert_allclose(bsm1.solids, BSM1_PROFILE, rtol=1e-4)
    assert bsm1.state("overflow") == pytest.approx(18061.0 / DAY, rel=1e-12)
    # effluent and underflow together carry off what is fed
    out = bsm1.arena.streams[OVER, 1:3].sum() + bsm1.arena.streams[UNDER, 1:3].sum()
    assert out == pytest.approx(feed * BSM1_FEED, rel=1e-9)


# --- batch settling after Kynch ---------------------------------------------------------------------------------
# G. J. Kynch, Trans. Faraday Soc. 48 (1952) 166-176; waves as in Bustos, Concha, Buerger and Tory, Sedimentation
# and Thickening (Kluwer 1999). The particle of the second case is that of M. Rhodes, Introduction to Particle
# Technology, Ex. 3.1; that of the first of Coulson and Richardson vol. 2, Ex. 5.3. Heights are the closed form.
KYNCH = {
    "rz-dilute": (
        "richardson-zaki", {"v0": 8.72e-3, "n": 4.8}, 0.05 * RHO, 1.0, RHO,
        [(60.0, 1.0 - 6.81695e-3 * 60.0), (136.527, 0.069305), (273.05, 0.064176), (682.63, 0.059977)],
    ),
    "rz-thick": (
        "richardson-zaki", {"v0": 1.1e-3, "n": 4.65}, 0.20 * RHO, 0.5, RHO,
        [(400.0, 0.5 - 3.89728e-4 * 400.0), (864.025, 0.163266), (1728.05, 0.140159), (4320.1, 0.126204)],
    ),
    "vesilind": (
        "vesilind", {"v0": 7.0 / 3600, "r": 0.35}, 3.0, 1.0, 40.0,
        [(600.0, 1.0 - 2.449564 / 6), (0.308768 * 3600, 0.243652), (0.61754 * 3600, 0.185588),
         (1.54384 * 3600, 0.148369)],
    ),
}  # fmt: skip


def exact_batch(case: str) -> BatchSolution:
    _, params, c0, height, _, _ = KYNCH[case]
    if case == "vesilind":
        return batch_vesilind(c0, height, params["v0"], params["r"])
    return batch_richardson_zaki(c0 / RHO, height, params["v0"], params["n"])


def kynch_settler(case: str, n: int) -> Settler:
    law, params, _, height, c_max, _ = KYNCH[case]
    table = build_table(velocity_law(law, params, RHO), c_max=c_max, solids_density=RHO, points=4001)
    return Settler(table, n, height, 1.0)


def interface(settler: Settler, below: float) -> float:
    """Height at which solids pass half of what stands `below` the interface, linear between layers' middles."""
    c = settler.solids
    j = int(np.argmax(c > 0.5 * below))
    return settler.dz * (settler.n - j - 0.5 + (c[j] - 0.5 * below) / (c[j] - c[j - 1]))


@pytest.mark.parametrize("case", list(KYNCH))
def test_kynch_interface_falls_as_the_closed_form(case: str) -> None:
    _, _, c0, height, _, points = KYNCH[case]
    n = 200
    scale = RHO if case.startswith("rz") else 1.0  # volume fractions in the closed form of Richardson and Zaki
    settler = kynch_settler(case, n)
    settler.start(c0)
    dt = 0.8 * settler.table.largest_step(settler.dz)
    now = 0.0
    for time, expected in points:
        steps = math.ceil((time - now) / dt)
        assert settler.run(time - now, (time - now) / steps) == 0
        now = time
        assert exact_batch(case).interface_height(time) == pytest.approx(expected, abs=2e-6)
        # where the waves meet, what comes from the bottom counts as the side below
        below = exact_batch(case).interface_concentration(1.001 * time) * scale
        # at the corner of the path the smeared wave from below arrives early and blunts it
        corner = abs(time - exact_batch(case).t1) < 0.01 * time
        within = (3.0 if corner else 1.0) * settler.dz
        assert interface(settler, below) == pytest.approx(expected, abs=within), time
    assert settler.solids.sum() * settler.dz == pytest.approx(c0 * height, rel=1e-12)


def exact_profile(case: str, time: float, edges: np.ndarray) -> np.ndarray:
    """Cell means of Kynch's solution before the waves meet: clear, uniform, and the fan above the bottom."""
    _, params, c0, height, c_max, _ = KYNCH[case]
    law, exact = velocity_law(KYNCH[case][0], params, RHO), exact_batch(case)
    scale = RHO if case.startswith("rz") else 1.0
    top = height - exact.fall_velocity * time
    c = np.linspace(exact.C_star * scale, c_max, 20001)
    flux = np.array([x * law(x) for x in c])
    rise = -np.gradient(flux, c) * time  # height at which each concentration of the fan stands
    fine = (edges[:-1, None] * (1 - _MID) + edges[1:, None] * _MID).ravel()
    value = np.interp(fine, rise[::-1], c[::-1])
    value[fine > -exact.wave_velocity * time] = c0
    value[fine > top] = 0.0
    return value.reshape(len(edges) - 1, -1).mean(axis=1)


_MID = (np.arange(64) + 0.5) / 64


def test_kynch_profile_converges() -> None:
    """Error in the mean (L1) over 50, 100, 200 and 400 layers: a monotone scheme is of order 1/2 to 1 at jumps.

    The bound of order 1/2 is N. N. Kuznetsov, USSR Comput. Math. Math. Phys. 16 (1976) 105-119 (from memory).
    """
    case, time = "vesilind", 600.0
    _, _, c0, height, _, _ = KYNCH[case]
    errors = []
    for n in (50, 100, 200, 400):
        settler = kynch_settler(case, n)
        settler.start(c0)
        steps = math.ceil(time / (0.8 * settler.table.largest_step(settler.dz)))
        settler.run(time, time / steps)
        exact = exact_profile(case, time, np.linspace(height, 0.0, n + 1)[::-1])[::-1]
        errors.append(float(np.abs(settler.solids - exact).sum() * settler.dz / (c0 * height)))
    orders = [math.log2(errors[i] / errors[i + 1]) for i in range(3)]
    assert errors[-1] < 0.03
    assert all(0.5 < order < 1.1 for order in orders), (errors, orders)


# --- batch compression ------------------------------------------------------------------------------------------
# Rest state of a column under its own weight, effective stress sigma0 [(phi/phi_c)^k - 1]: closed form of the force
# balance d sigma_e/dz = d_rho g phi; parameters of the first case Buerger, Karlsen and Towers, SIAM J. Appl. Math. 65
# (2005) 882-940 (from memory), of the second of their kind. Bottom and bed height (g = 9.81) computed from it.
COMPRESSION = {
    "soft": (1.0, 0.1, 6.0, 1660.0, 0.05, 1.0, 0.305642, 0.195812, 1e-4, 5.0),
    "stiff": (100.0, 0.2, 8.0, 1650.0, 0.08, 6.0, 0.345162, 1.574467, 1e-4, 5.0),
}
G = 9.81


def compression_table(case: str) -> SettlingTable:
    sigma0, phi_c, k, d_rho, _, _, _, _, v0, n = COMPRESSION[case]
    gel = phi_c * RHO
    return build_table(
        velocity_law("richardson-zaki", {"v0": v0, "n": n}, RHO),
        c_max=0.5 * RHO,
        solids_density=RHO,
        fluid_density=RHO - d_rho,
        c_gel=gel,
        stress=stress_slope("power", {"sigma0": sigma0, "k": k}, gel, RHO),
        points=2001,
        gravity=G,
    )


def settle_to_rest(case: str, n: int) -> Settler:
    _, _, _, _, phi0, height, _, _, _, _ = COMPRESSION[case]
    settler = Settler(compression_table(case), n, height, 1.0)
    settler.start(phi0 * RHO)
    dt = 0.9 * settler.table.largest_step(settler.dz)
    for _ in range(200):
        before = settler.solids.copy()
        settler.run(2000 * dt, dt)
        if np.abs(settler.solids - before).max() < 1e-7 * RHO:
            return settler
    raise AssertionError("the column did not come to rest")


@pytest.mark.parametrize("case", list(COMPRESSION))
def test_compression_comes_to_its_closed_form(case: str) -> None:
    sigma0, phi_c, k, d_rho, phi0, height, phi_bottom, bed, _, _ = COMPRESSION[case]
    bottom, level = equilibrium_power(phi0, height, phi_c, sigma0, k, d_rho, G)
    assert (bottom, level) == pytest.approx((phi_bottom, bed), abs=2e-6)
    errors = []
    for n in (30, 60, 120):
        settler = settle_to_rest(case, n)
        phi = settler.solids / RHO
        errors.append(phi_bottom - phi[-1])
        assert settler.state("bed_level") == pytest.approx(bed, abs=settler.dz)
        # pressure of the submerged solids, all of them at rest on the bottom
        assert phi.sum() * settler.dz == pytest.approx(phi0 * height, rel=1e-12)
    assert all(error > 0.0 for error in errors)  # the lowest layer's middle lies above the bottom
    orders = [math.log2(errors[i] / errors[i + 1]) for i in range(2)]
    # the bed's top moves against the layers as they are refined, so single orders scatter about 1
    assert all(0.7 < order < 1.6 for order in orders), (errors, orders)
    assert sum(orders) / 2 == pytest.approx(1.0, abs=0.25)
    # two first-order values cancel their leading error
    assert 2.0 * (phi_bottom - errors[-1]) - (phi_bottom - errors[-2]) == pytest.approx(phi_bottom, rel=3e-3)


# --- limiting flux ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("part", "rises"), [(0.95, False), (1.05, True)])
def test_blanket_rises_only_beyond_the_limiting_flux(part: float, rises: bool) -> None:
    """Yoshioka and others, Chem. Eng. Jpn. 21 (1957) 66-74: no more solids pass than the least total flux.

    v0 = 7 m/h, r = 0.35 m3/kg, underflow 20 kg/m3: J_L = 2.048594 kg/(m2 h) at 16.54654 kg/m3 (closed form).
    Just below it a few layers at the bottom hold the step up to the underflow; above it a blanket rises from
    there by 0.05 J_L / (16.5 - 0.3) = 6.3 mm/h, to the feed 2 m above in some 13 days, and 20 kg/m3 go down.
    """
    v0, r, c_under = 7.0 / 3600, 0.35, 20.0
    c_limit, limit = limiting_flux_vesilind(v0, r, c_under)
    assert (c_limit, limit * 3600) == pytest.approx((16.54654, 2.048594), rel=1e-6)
    q = limit / c_under
    table = build_table(velocity_law("vesilind", {"v0": v0, "r": r}, RHO), c_max=60.0, solids_density=RHO)
    area, n = 10.0, 60
    settler = Settler(table, n, 3.0, area, feed_layer=20)
    settler.start(0.0)
    flow = 3.0 * q * area
    settler.feed(flow, part * limit * area / flow)
    dt = 0.8 * table.largest_step(settler.dz, 3.0 * q)
    settler.run(120 * 3600.0, dt, q * area)
    mass, blanket = settler.solids.sum(), int(np.argmax(settler.solids > 0.5 * c_limit))
    settler.run(20 * 3600.0, dt, q * area)
    gained = (settler.solids.sum() - mass) * settler.dz / (20 * 3600.0)  # kg/(m2 s)
    if not rises:
        assert settler.solids[21:52].max() < 0.02 * c_limit
        assert int(np.argmax(settler.solids > 0.5 * c_limit)) == blanket
        assert abs(gained) < 2e-3 * limit
        assert settler.state("underflow_solids") == pytest.approx(part * c_under, rel=5e-3)
    else:
        assert gained == pytest.approx((part - 1.0) * limit, rel=0.15)
        assert int(np.argmax(settler.solids > 0.5 * c_limit)) < blanket
        settler.run(360 * 3600.0, dt, q * area)
        assert settler.solids[22:].min() > 0.8 * c_limit
        assert settler.state("underflow_solids") == pytest.approx(c_under, rel=5e-3)
