"""The core of the gravel pit as ordinary differential equations, for a library integrator to solve.

It covers the sump (volume and solids), the pump line (rigid column, pumps on their curve, parcels of its length) and
the clarifier's layers (settling, compression, bulk flow) with one class of solids, from the same tables and the same
starting state as the kernel's washing shift. It leaves out what a right-hand side cannot hold or would only slow
down: control programs, instruments, motors, chemistry, dosing, the mud line, cells and weather. A step of the kernel
does all of that too, so the comparison is in favour of the library.

The tolerance is not chosen but found: the loosest one whose error at the end is no greater than the error of the
kernel's own scheme (Euler, 1 s, the layers once in so many steps) on these very equations.
"""

from __future__ import annotations

import math
import time
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from .plants import Shift

HOUR = 3600.0
TOLERANCES = (1e-1, 3e-2, 1e-2, 3e-3, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7)
_G = 9.80665


class Core:
    """Equations and starting state, taken from the memory of a shift."""

    def __init__(self, shift: Shift) -> None:
        a = shift.arena
        p, s = a.clarifier_p[0], a.clarifier_s[0]
        line, plug = a.line_p[0], a.plug_p[int(a.line_p[0]["plug"])]
        n = self.n = int(p["layers"])
        tables = a.tables
        self.areas = tables[int(p["areas"]) : int(p["areas"]) + n + 1].copy()
        self.held = tables[int(p["volumes"]) : int(p["volumes"]) + n].copy()
        points = int(p["n_flux"])
        self.grid = np.linspace(0.0, float(p["c_max"]), points)
        self.flux = tables[int(p["flux"]) : int(p["flux"]) + points].copy()
        self.compression = tables[int(p["compression"]) : int(p["compression"]) + points].copy()
        self.c_hat, self.greatest = float(p["c_hat"]), float(self.flux.max())
        self.capture, self.height, self.feed_layer = float(p["capture"]), float(p["height"]), int(p["feed_layer"])
        self.every = max(1, int(p["every"]))
        self.factor = float(s["settling_factor"])
        self.draw = 0.5 * float(a.source_s["flow"][0]) * 0.12  # a steady underflow of an eighth of half the feed
        self.inflow, self.solids = float(a.source_s["flow"][0]), float(a.source_s["solids"][0])
        vessel = a.vessel_p[1]
        self.sump_area = float(vessel["floor_area"])
        pump = a.pump_p[0]
        first, k = int(pump["curve"]), int(pump["points"])
        self.curve = tables[first : first + 2 * k].reshape(2, k).copy()
        self.bore = 0.25 * math.pi * float(line["diameter"]) ** 2
        self.length, self.lift, self.minor = (float(line[f]) for f in ("length", "lift", "minor"))
        self.diameter = float(line["diameter"])
        self.friction = float(a.line_s["friction_factor"][0])
        self.parcels = math.ceil(float(plug["volume"]) / float(plug["parcel"]))
        self.parcel = float(plug["volume"]) / self.parcels
        content = a.vessel_s["content"][1]
        layers = a.layers[int(p["pool"]) : int(p["pool"]) + n]
        mean = float(content[1:4].sum() / content[0])
        self.start = np.concatenate([
            [content[0], content[1:4].sum(), max(float(a.line_s["flow"][0]), 0.05)],
            np.full(self.parcels, mean), layers,
        ])  # fmt: skip

    def speed(self, level: float) -> float:
        """Pump speed [-]: in proportion to the level, as the averaging control has it."""
        return min(max(0.85 + 0.15 * (level - 1.2), 0.8), 1.0)

    def line(self, level: float, flow: float) -> float:
        """Change of the line's flow [m3/s2]: two pumps alike against lift and friction."""
        n = self.speed(level)
        head = n * n * np.interp(0.5 * flow / n, self.curve[0], self.curve[1])
        v = flow / self.bore
        loss = (self.friction * self.length / self.diameter + self.minor) * v * abs(v) / (2.0 * _G)
        return float(_G * self.bore / self.length * (head + level - self.lift - loss))

    def settling(self, c: np.ndarray, feed: float, solids: float) -> np.ndarray:
        """Change of the layers' concentration [kg/(m3 s)]: Godunov's flux, compression, bulk flow upwind."""
        f = np.interp(c, self.grid, self.flux)
        stress = np.interp(c, self.grid, self.compression)
        low = np.minimum(c, self.c_hat)
        send = self.factor * np.where(c < self.c_hat, f, self.greatest) * low / (low + self.capture)
        take = self.factor * np.where(c > self.c_hat, f, self.greatest) * self.c_hat / (self.c_hat + self.capture)
        between = np.minimum(send[:-1], take[1:]) - self.factor * np.diff(stress) / self.height
        face = np.zeros(self.n + 1)
        face[1:-1] = between * self.areas[1:-1]
        up = feed - self.draw
        at = self.feed_layer
        face[: at + 1] -= up * c[: at + 1]
        face[at + 1 :] += self.draw * c[at:]
        change = face[:-1] - face[1:]
        change[at] += feed * solids
        return np.asarray(change / self.held)

    def rates(self, t: float, y: np.ndarray) -> np.ndarray:
        """The right-hand side."""
        volume, mass, flow = float(y[0]), float(y[1]), float(y[2])
        level = volume / self.sump_area
        parcels, layers = y[3 : 3 + self.parcels], y[3 + self.parcels :]
        change = np.empty_like(y)
        change[0] = self.inflow - flow
        change[1] = self.solids - flow * mass / volume
        change[2] = self.line(level, flow)
        before = np.concatenate([[mass / volume], parcels[:-1]])
        change[3 : 3 + self.parcels] = flow / self.parcel * (before - parcels)
        change[3 + self.parcels :] = self.settling(layers, flow, parcels[-1])
        return change

    def stepped(self, seconds: float, step: float, every: int) -> np.ndarray:
        """The kernel's scheme on these equations: Euler, the layers once in `every` steps, the losses implicit."""
        y = self.start.copy()
        fed = solids = 0.0
        for tick in range(round(seconds / step)):
            level = y[0] / self.sump_area
            flow, c = y[2], y[1] / y[0]
            n = self.speed(level)
            k = (self.friction * self.length / self.diameter + self.minor) / (2.0 * _G * self.bore**2)
            inertia = self.length / (_G * self.bore * step)
            head = n * n * np.interp(0.5 * flow / n, self.curve[0], self.curve[1])
            drive = head + level - self.lift + inertia * flow
            new = 2.0 * drive / (inertia + math.sqrt(inertia * inertia + 4.0 * k * drive))
            parcels = y[3 : 3 + self.parcels]
            fed += new * step
            solids += new * step * parcels[-1]
            before = np.concatenate([[c], parcels[:-1]])
            y[3 : 3 + self.parcels] += step * new / self.parcel * (before - parcels)
            y[0] += step * (self.inflow - new)
            y[1] += step * (self.solids - new * c)
            y[2] = new
            if (tick + 1) % every == 0:
                span = every * step
                y[3 + self.parcels :] += span * self.settling(y[3 + self.parcels :], fed / span, solids / fed)
                fed = solids = 0.0
        return y

    def error(self, y: np.ndarray, reference: np.ndarray) -> float:
        """Greatest of the relative differences of sump level, flow and the layers' solids."""
        parts = [y[0] / reference[0] - 1.0, y[2] / reference[2] - 1.0]
        layers = slice(3 + self.parcels, None)
        parts.append(np.abs(y[layers] - reference[layers]).sum() / reference[layers].sum())
        return float(np.max(np.abs(parts)))


def core_cost(shift: Shift, seconds: float = HOUR, repeats: int = 3) -> dict[str, Any]:
    """Cost of the core by LSODA for every step of the plant's it stands for, at the accuracy of the kernel's scheme."""
    core = Core(shift)

    def solve(tolerance: float) -> tuple[np.ndarray, int]:
        found = solve_ivp(
            core.rates, (0.0, seconds), core.start, method="LSODA", t_eval=[seconds], rtol=tolerance,
            atol=tolerance * 1e-2,
        )  # fmt: skip
        if not found.success:
            raise RuntimeError(f"LSODA gave up: {found.message}")
        return found.y[:, -1], int(found.nfev)

    reference, _ = solve(1e-9)
    own = core.error(core.stepped(seconds, shift.step, core.every), reference)
    for tolerance in TOLERANCES:
        y, calls = solve(tolerance)
        error = core.error(y, reference)
        if error <= own:
            break
    best = math.inf
    for _ in range(repeats):
        start = time.thread_time_ns()
        solve(tolerance)
        best = min(best, (time.thread_time_ns() - start) / (seconds / shift.step))
    return {
        "ns": best, "method": "LSODA", "tolerance": tolerance, "error": error, "error_of_the_kernels_scheme": own,
        "evaluations": calls, "states": len(core.start), "seconds": seconds,
        "covers": "sump, line and clarifier layers, one class of solids; no control, instruments, chemistry, cells",
    }  # fmt: skip
