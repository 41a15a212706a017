"""Classic tuning rules: Ziegler-Nichols, Cohen-Coon, Chien-Hrones-Reswick, ITAE, Tyreus-Luyben.

All give settings of the ISA standard form. Ranges of validity are those commonly quoted (from memory) unless a
source is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from plantsim.analysis.tuning.models import FOPDT, Integrating, TuningError
from plantsim.analysis.tuning.settings import Settings


@dataclass(frozen=True)
class Ultimate:
    """Ultimate point: the proportional gain at which the loop swings for ever, and the period of the swing.

    Parameters
    ----------
    Ku : float
        Ultimate gain, with the sign of the process gain [input-unit/output-unit]
    Pu : float
        Ultimate period [s]
    """

    Ku: float
    Pu: float

    def __post_init__(self) -> None:
        if self.Ku == 0.0 or not self.Pu > 0.0:
            raise TuningError(f"An ultimate point has a gain other than 0 and a period above 0, not {self}.")


def refuse_kind(rule: str, kind: str, allowed: str) -> None:
    """Refuse a kind of controller that the rule has no row for.

    Parameters
    ----------
    rule : str
        Name of the rule.
    kind : str
        Kind asked for.
    allowed : str
        Kinds with a row, one space between.
    """
    if kind not in allowed.split():
        raise TuningError(
            f"{rule} has no settings for {kind!r}; it has them for {', '.join(allowed.split())}."
        )


def need_dead_time(rule: str, L: float) -> None:
    """Refuse a process without dead time where the rule would give an infinite gain.

    Parameters
    ----------
    rule : str
        Name of the rule.
    L : float
        Dead time [s]
    """
    if L <= 0.0:
        raise TuningError(
            f"{rule} divides by the dead time, which is 0 here: use a rule with a chosen closed-loop time."
        )


def _ratio_warning(rule: str, model: FOPDT, low: float, high: float) -> tuple[str, ...]:
    ratio = model.L / model.T
    if low <= ratio <= high:
        return ()
    return (f"{rule} is meant for L/T of {low:g} to {high:g}; here L/T is {ratio:.3g}.",)


ZN = "J. G. Ziegler and N. B. Nichols, Trans. ASME 64 (1942) 759-768"


def ziegler_nichols_step(model: FOPDT | Integrating, kind: str = "PI") -> Settings:
    """Ziegler-Nichols step method: P 1/a; PI 0.9/a, L/0.3; PID 1.2/a, 2 L, L/2, with a = K L/T or k L.

    Parameters
    ----------
    model : FOPDT or Integrating
        Process, or the steepest tangent of its step response (`Process.tangent`).
    kind : str
        "P", "PI" or "PID".

    Returns
    -------
    Settings
        Settings of the ISA standard form.

    Notes
    -----
    Quarter-decay settings: Ms is 2 to 3, too lively for most plants. Commonly quoted range L/T 0.1 to 1. The
    integral time of PI is the original L/0.3; many books round it to 3 L.

    References
    ----------
    J. G. Ziegler and N. B. Nichols, Trans. ASME 64 (1942) 759-768.
    """
    rule = "Ziegler-Nichols step"
    refuse_kind(rule, kind, "P PI PID")
    need_dead_time(rule, model.L)
    L = model.L
    a = model.K * L / model.T if isinstance(model, FOPDT) else model.k * L
    warnings = _ratio_warning(rule, model, 0.1, 1.0) if isinstance(model, FOPDT) else ()
    Kc, Ti, Td = {"P": (1.0, None, 0.0), "PI": (0.9, L / 0.3, 0.0), "PID": (1.2, 2.0 * L, 0.5 * L)}[kind]
    return _settings(Kc / a, Ti, Td, rule, kind, ZN, ("quarter decay: lively, little margin",), warnings)


def _settings(
    Kc: float, Ti: float | None, Td: float, rule: str, kind: str, source: str,
    notes: tuple[str, ...] = (), warnings: tuple[str, ...] = (),
) -> Settings:  # fmt: skip
    name = f"{rule} {kind}"
    return Settings(
        Kc, math.inf if Ti is None else Ti, Td, rule=name, source=source, notes=notes, warnings=warnings
    )


def ziegler_nichols_loop(ultimate: Ultimate, kind: str = "PI") -> Settings:
    """Ziegler-Nichols ultimate method: P 0.5 Ku; PI 0.45 Ku, Pu/1.2; PID 0.6 Ku, Pu/2, Pu/8.

    Parameters
    ----------
    ultimate : Ultimate
        Ultimate gain and period, from a model or a relay test.
    kind : str
        "P", "PI" or "PID".

    Returns
    -------
    Settings
        Settings of the ISA standard form.

    Notes
    -----
    Quarter-decay settings; poor for processes of mostly dead time, where PI acts too slowly and PID too fast.

    References
    ----------
    J. G. Ziegler and N. B. Nichols, Trans. ASME 64 (1942) 759-768.
    """
    rule = "Ziegler-Nichols ultimate"
    refuse_kind(rule, kind, "P PI PID")
    Ku, Pu = ultimate.Ku, ultimate.Pu
    Kc, Ti, Td = {"P": (0.5, None, 0.0), "PI": (0.45, Pu / 1.2, 0.0), "PID": (0.6, 0.5 * Pu, 0.125 * Pu)}[
        kind
    ]
    return _settings(Kc * Ku, Ti, Td, rule, kind, ZN, ("quarter decay: lively, little margin",))


def tyreus_luyben(ultimate: Ultimate, kind: str = "PI") -> Settings:
    """Tyreus-Luyben: PI Ku/3.2, 2.2 Pu; PID Ku/2.2, 2.2 Pu, Pu/6.3.

    Parameters
    ----------
    ultimate : Ultimate
        Ultimate gain and period.
    kind : str
        "PI" or "PID".

    Returns
    -------
    Settings
        Settings of the ISA standard form.

    Notes
    -----
    Made for integrating and lag-dominant processes with dead time; sluggish where dead time rules.

    References
    ----------
    B. D. Tyreus and W. L. Luyben, Ind. Eng. Chem. Res. 31 (1992) 2625-2628.
    """
    rule = "Tyreus-Luyben"
    refuse_kind(rule, kind, "PI PID")
    Ku, Pu = ultimate.Ku, ultimate.Pu
    source = "B. D. Tyreus and W. L. Luyben, Ind. Eng. Chem. Res. 31 (1992) 2625-2628"
    notes = ("for integrating or lag-dominant processes; sluggish where dead time rules",)
    if kind == "PI":
        return _settings(Ku / 3.2, 2.2 * Pu, 0.0, rule, kind, source, notes)
    return _settings(Ku / 2.2, 2.2 * Pu, Pu / 6.3, rule, kind, source, notes)


def cohen_coon(model: FOPDT, kind: str = "PI") -> Settings:
    """Cohen-Coon, r = L/T: PI (0.9 + r/12)/(K r), L (30 + 3 r)/(9 + 20 r), and rows for P, PD and PID.

    Parameters
    ----------
    model : FOPDT
        Process.
    kind : str
        "P", "PI", "PD" or "PID".

    Returns
    -------
    Settings
        Settings of the ISA standard form.

    Notes
    -----
    Quarter decay; commonly quoted range L/T 0.1 to 1. Written in a and L/(L + T) the PI gain is
    0.9/a (1 + 0.092 L/T); the 0.92 found in many reprints is a misprint.

    References
    ----------
    G. H. Cohen and G. A. Coon, Trans. ASME 75 (1953) 827-834 (gain of PI from memory).
    """
    rule = "Cohen-Coon"
    refuse_kind(rule, kind, "P PI PD PID")
    need_dead_time(rule, model.L)
    L, r = model.L, model.L / model.T
    Kc, Ti, Td = {
        "P": (1.0 + r / 3.0, None, 0.0),
        "PI": (0.9 + r / 12.0, L * (30.0 + 3.0 * r) / (9.0 + 20.0 * r), 0.0),
        "PD": (1.25 + r / 6.0, None, L * (6.0 - 2.0 * r) / (22.0 + 3.0 * r)),
        "PID": (4.0 / 3.0 + r / 4.0, L * (32.0 + 6.0 * r) / (13.0 + 8.0 * r), 4.0 * L / (11.0 + 2.0 * r)),
    }[kind]
    if Td < 0.0:
        raise TuningError(
            f"Cohen-Coon gives PD no derivative time above 0 when L/T is above 3 (here {r:.3g})."
        )
    source = "G. H. Cohen and G. A. Coon, Trans. ASME 75 (1953) 827-834"
    warnings = _ratio_warning(rule, model, 0.1, 1.0)
    notes = ("quarter decay: lively, little margin",)
    return _settings(Kc / (model.K * r), Ti, Td, rule, kind, source, notes, warnings)


def chien_hrones_reswick(
    model: FOPDT | Integrating, kind: str = "PI", aim: str = "load", overshoot: int = 0
) -> Settings:
    """Chien-Hrones-Reswick: gains in 1/a, times in L (load) or T (set point), for 0 or 20 % overshoot.

    Parameters
    ----------
    model : FOPDT or Integrating
        Process; set-point settings need the time constant, so FOPDT.
    kind : str
        "P", "PI" or "PID".
    aim : str
        "load" (regulator) or "setpoint" (servo).
    overshoot : int
        0 or 20 [%]

    Returns
    -------
    Settings
        Settings of the ISA standard form.

    Notes
    -----
    Commonly quoted range: T/L above 3 (PID), 7.5 (PI), 10 (P); below it the response overshoots more.

    References
    ----------
    K. L. Chien, J. A. Hrones and J. B. Reswick, Trans. ASME 74 (1952) 175-185 (coefficients from memory).
    """
    rule = "Chien-Hrones-Reswick"
    refuse_kind(rule, kind, "P PI PID")
    need_dead_time(rule, model.L)
    if aim not in ("load", "setpoint") or overshoot not in (0, 20):
        raise TuningError("Chien-Hrones-Reswick has settings for load or setpoint, with 0 or 20 % overshoot.")
    L = model.L
    warnings: tuple[str, ...]
    if isinstance(model, FOPDT):
        a, T = model.K * L / model.T, model.T
        floor = {"P": 10.0, "PI": 7.5, "PID": 3.0}[kind]
        warnings = ()
        if floor * L > T:
            warnings = (f"{rule} {kind} is meant for T/L of {floor:g} or more; here {T / L:.3g}.",)
    elif aim == "setpoint":
        raise TuningError(
            "Chien-Hrones-Reswick for set points needs a time constant; an integrating process has none."
        )
    else:
        a, T, warnings = model.k * L, 0.0, ()
    table = {
        ("load", 0): {"P": (0.3, None, 0.0), "PI": (0.6, 4.0 * L, 0.0), "PID": (0.95, 2.4 * L, 0.42 * L)},
        ("load", 20): {"P": (0.7, None, 0.0), "PI": (0.7, 2.3 * L, 0.0), "PID": (1.2, 2.0 * L, 0.42 * L)},
        ("setpoint", 0): {"P": (0.3, None, 0.0), "PI": (0.35, 1.2 * T, 0.0), "PID": (0.6, T, 0.5 * L)},
        ("setpoint", 20): {"P": (0.7, None, 0.0), "PI": (0.6, T, 0.0), "PID": (0.95, 1.4 * T, 0.47 * L)},
    }
    Kc, Ti, Td = table[aim, overshoot][kind]
    words = "load" if aim == "load" else "set point"
    source = "K. L. Chien, J. A. Hrones and J. B. Reswick, Trans. ASME 74 (1952) 175-185"
    return _settings(Kc / a, Ti, Td, f"{rule} {words} {overshoot} %", kind, source, (), warnings)


def itae(model: FOPDT, kind: str = "PI", aim: str = "load") -> Settings:
    """Least integral of time and absolute error: powers of r = L/T fitted by Smith and Corripio.

    Parameters
    ----------
    model : FOPDT
        Process.
    kind : str
        "PI" or "PID".
    aim : str
        "load" or "setpoint".

    Returns
    -------
    Settings
        Settings of the ISA standard form.

    Notes
    -----
    Fitted for L/T of 0.1 to 1. Optimal for one kind of upset at one operating point; margins are not looked after.

    References
    ----------
    C. A. Smith and A. B. Corripio, Principles and Practice of Automatic Process Control, 2nd ed., 1997;
    D. E. Seborg, T. F. Edgar and D. A. Mellichamp, Process Dynamics and Control, table 11.3.
    """
    rule = "ITAE"
    refuse_kind(rule, kind, "PI PID")
    need_dead_time(rule, model.L)
    if aim not in ("load", "setpoint"):
        raise TuningError("ITAE has settings for load or setpoint.")
    T, r = model.T, model.L / model.T
    if aim == "load" and kind == "PI":
        Kc, rate, Td = 0.859 * r**-0.977, 0.674 * r**-0.680, 0.0
    elif aim == "load":
        Kc, rate, Td = 1.357 * r**-0.947, 0.842 * r**-0.738, 0.381 * T * r**0.995
    elif kind == "PI":
        Kc, rate, Td = 0.586 * r**-0.916, 1.03 - 0.165 * r, 0.0
    else:
        Kc, rate, Td = 0.965 * r**-0.85, 0.796 - 0.1465 * r, 0.308 * T * r**0.929
    if rate <= 0.0:
        raise TuningError(f"The ITAE fit for set points gives no integral time when L/T is {r:.3g}.")
    source = (
        "C. A. Smith and A. B. Corripio (1997); D. E. Seborg et al., Process Dynamics and Control, table 11.3"
    )
    words = "load" if aim == "load" else "set point"
    warnings = _ratio_warning(rule, model, 0.1, 1.0)
    return _settings(Kc / model.K, T / rate, Td, f"{rule} {words}", kind, source, (), warnings)
