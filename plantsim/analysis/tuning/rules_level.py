"""Averaging level control: the tank takes the surges, the flow behind it stays smooth.

The level is the measurement [m], the flow out of the tank (or into it) the output [m3/s]. A controller of the
flow out acts directly, so its gain here is below 0: the process gain is -1/A.
"""

from __future__ import annotations

import math

from plantsim.analysis.tuning.models import Integrating, TuningError
from plantsim.analysis.tuning.settings import Settings


def _check(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise TuningError(
                f"Averaging level control needs a {name.replace('_', ' ')} above 0, not {value:g}."
            )


def level_process(area: float, outflow: bool = True, dead_time: float = 0.0) -> Integrating:
    """A tank as integrating process: k = -1/A for the flow out, 1/A for the flow in.

    Parameters
    ----------
    area : float
        Free surface [m2]
    outflow : bool
        Whether the controller moves the flow out of the tank.
    dead_time : float
        Dead time [s]

    Returns
    -------
    Integrating
        Process from flow to level [m/m3]
    """
    _check(area=area)
    return Integrating((-1.0 if outflow else 1.0) / area, dead_time)


def averaging_level(
    area: float, flow_step: float, level_allowed: float, kind: str = "PI", outflow: bool = True
) -> Settings:
    """Slowest level control that keeps the level within bounds after the greatest step of flow.

    PI, critically damped: |Kc| = (2/e) dF/dL = 0.736 dF/dL, Ti = 4 A/|Kc|; the level is farthest off at 2 A/|Kc|.
    P alone: |Kc| = dF/dL, the level returns with A/|Kc| and stays off while the flow does.

    Parameters
    ----------
    area : float
        Free surface A [m2]
    flow_step : float
        Greatest sudden change of the flow not controlled, dF [m3/s]
    level_allowed : float
        Greatest change of level allowed, dL [m]
    kind : str
        "PI" or "P".
    outflow : bool
        Whether the controller moves the flow out of the tank (gain below 0, direct action).

    Returns
    -------
    Settings
        Settings of the ISA standard form [m2/s, s]

    Notes
    -----
    For an upright tank, one step at a time, and a dead time far below Ti; no flow limit is reached. Overflow and
    low-level protection must not depend on this controller.

    References
    ----------
    T. E. Marlin, Process Control, 2nd ed., ch. 18 (PI; from memory, derived again here); B. W. Bequette, Process
    Control: Modeling, Design and Simulation, module 10 (P).
    """
    _check(area=area, flow_step=flow_step, level_allowed=level_allowed)
    sign = -1.0 if outflow else 1.0
    if kind == "P":
        Kc = flow_step / level_allowed
        source = "B. W. Bequette, Process Control, module 10"
        notes = (f"level settles with a time constant of {area / Kc:.6g} s",)
        return Settings(sign * Kc, rule="averaging level P", source=source, notes=notes)
    if kind != "PI":
        raise TuningError(f"Averaging level control is P or PI, not {kind!r}.")
    Kc = 2.0 / math.e * flow_step / level_allowed
    source = "T. E. Marlin, Process Control, ch. 18"
    notes = (f"level farthest off {2.0 * area / Kc:.6g} s after a step",)
    return Settings(sign * Kc, 4.0 * area / Kc, rule="averaging level PI", source=source, notes=notes)


def smooth_level(model: Integrating, output_change: float, measured_allowed: float) -> Settings:
    """SIMC for the smoothest control of an integrating process: |Kc| = |du|/|dy|, Ti = 4/(k Kc).

    Parameters
    ----------
    model : Integrating
        Process.
    output_change : float
        Change of output needed for the greatest load, du [input-unit]
    measured_allowed : float
        Greatest change of the measurement allowed, dy [output-unit]

    Returns
    -------
    Settings
        PI settings of the ISA standard form.

    Notes
    -----
    Warns when the gain is above the tight SIMC limit 1/(2 k L): the wish cannot be met with margin.

    References
    ----------
    S. Skogestad, Ind. Eng. Chem. Res. 45 (2006) 7817-7822 (from memory).
    """
    _check(output_change=abs(output_change), measured_allowed=abs(measured_allowed))
    size = abs(output_change) / abs(measured_allowed)
    warnings = []
    if size * abs(model.k) * 2.0 * (model.L + model.T) > 1.0:
        warnings.append(
            "The dead time is too long for this wish: the gain is above the limit of tight SIMC, 1/(2 k L)."
        )
    source = "S. Skogestad, Ind. Eng. Chem. Res. 45 (2006) 7817-7822"
    Kc, Ti = math.copysign(size, model.k), 4.0 / (abs(model.k) * size)
    return Settings(Kc, Ti, rule="SIMC smooth PI", source=source, warnings=tuple(warnings))
