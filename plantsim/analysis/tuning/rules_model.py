"""Tuning rules from a model and a wished closed-loop time: lambda, IMC, SIMC, improved SIMC, AMIGO.

All give settings of the ISA standard form; rules published for the series form are converted, and the series
values are kept in the notes.
"""

from __future__ import annotations

from plantsim.analysis.tuning.forms import Series, series_to_standard
from plantsim.analysis.tuning.half_rule import half_rule
from plantsim.analysis.tuning.models import (
    FOPDT,
    SOPDT,
    DoubleIntegrating,
    Integrating,
    Process,
    PureDelay,
    TuningError,
)
from plantsim.analysis.tuning.rules_classic import need_dead_time, refuse_kind
from plantsim.analysis.tuning.settings import Settings


def _positive(name: str, value: float) -> None:
    if not value > 0.0:
        raise TuningError(f"The closed-loop time {name} must be above 0, not {value:g} s.")


def lambda_tuning(model: FOPDT, lam: float) -> Settings:
    """Lambda or Dahlin tuning: Kc = T/(K (lambda + L)), Ti = T.

    Parameters
    ----------
    model : FOPDT
        Process.
    lam : float
        Closed-loop time constant; T to 3 T is usual [s]

    Returns
    -------
    Settings
        PI settings of the ISA standard form.

    Notes
    -----
    The lag is cancelled, so a load on a slow process is worked off only with its own time constant. A lambda
    below the dead time leaves little margin.

    References
    ----------
    E. B. Dahlin, Instruments and Control Systems 41 (1968) 77-83; D. E. Seborg et al., Process Dynamics and
    Control, direct synthesis.
    """
    _positive("lambda", lam)
    warnings = []
    if lam < model.L:
        warnings.append(f"lambda ({lam:g} s) is below the dead time ({model.L:g} s): little margin.")
    if 8.0 * (lam + model.L) < model.T:
        warnings.append(
            "The process is slow against the closed loop: loads linger; SIMC or integrating lambda acts faster."
        )
    source = "E. B. Dahlin (1968); D. E. Seborg et al., Process Dynamics and Control, direct synthesis"
    Kc = model.T / (model.K * (lam + model.L))
    notes = (f"lambda {lam:g} s",)
    return Settings(Kc, model.T, rule="lambda PI", source=source, notes=notes, warnings=tuple(warnings))


def lambda_integrating(model: Integrating, lam: float) -> Settings:
    """Lambda tuning of an integrating process: Kc = (2 lambda + L)/(k (lambda + L)^2), Ti = 2 lambda + L.

    Parameters
    ----------
    model : Integrating
        Process without lag.
    lam : float
        Arrest time: when a step load stops pushing the level away [s]

    Returns
    -------
    Settings
        PI settings of the ISA standard form.

    References
    ----------
    I.-L. Chien and P. S. Fruehauf, Chem. Eng. Prog. 86 (1990) no. 10, 33-41 (from memory).
    """
    _positive("lambda", lam)
    source = "I.-L. Chien and P. S. Fruehauf, Chem. Eng. Prog. 86 (1990) no. 10, 33-41"
    warnings = (
        []
        if lam >= model.L
        else [f"lambda ({lam:g} s) is below the dead time ({model.L:g} s): little margin."]
    )
    L, notes = model.L, [f"arrest time {lam:g} s"]
    if model.T > 0.0:
        L += model.T
        notes.append(f"the lag of {model.T:g} s was added to the dead time")
    Kc = (2.0 * lam + L) / (model.k * (lam + L) ** 2)
    rule = "lambda integrating PI"
    return Settings(Kc, 2.0 * lam + L, rule=rule, source=source, notes=tuple(notes), warnings=tuple(warnings))


def imc(model: FOPDT, kind: str = "PI", lam: float | None = None) -> Settings:
    """Internal model control: PI T/(K lambda), T; improved PI and PID with T + L/2; Td = T L/(2 T + L).

    Parameters
    ----------
    model : FOPDT
        Process.
    kind : str
        "PI", "improved PI" or "PID".
    lam : float, optional
        Filter time; by default the least that the source allows: the greater of 1.7 L (PID 0.8 L) and 0.2 T [s]

    Returns
    -------
    Settings
        Settings of the ISA standard form; gains (T + L/2)/(K lambda) and (T + L/2)/(K (lambda + L/2)).

    Notes
    -----
    Range: lambda above 1.7 L (PI) or 0.8 L (PID), and above 0.2 T.

    References
    ----------
    D. E. Rivera, M. Morari and S. Skogestad, Ind. Eng. Chem. Process Des. Dev. 25 (1986) 252-265 (from memory).
    """
    if kind not in ("PI", "improved PI", "PID"):
        raise TuningError(f"IMC has no settings for {kind!r}; it has them for PI, improved PI and PID.")
    T, L = model.T, model.L
    least = max((0.8 if kind == "PID" else 1.7) * L, 0.2 * T)
    lam = least if lam is None else lam
    _positive("lambda", lam)
    warnings: tuple[str, ...] = ()
    if lam < least * (1.0 - 1e-12):
        warnings = (f"IMC {kind} is meant for lambda of {least:.3g} s or more; here {lam:g} s.",)
    source = "D. E. Rivera, M. Morari and S. Skogestad, Ind. Eng. Chem. Process Des. Dev. 25 (1986) 252-265"
    notes = (f"lambda {lam:g} s",)
    if kind == "PID":
        Kc, Td = (T + 0.5 * L) / (model.K * (lam + 0.5 * L)), T * L / (2.0 * T + L)
        return Settings(Kc, T + 0.5 * L, Td, rule="IMC PID", source=source, notes=notes, warnings=warnings)
    Ti = T if kind == "PI" else T + 0.5 * L
    return Settings(
        Ti / (model.K * lam), Ti, rule=f"IMC {kind}", source=source, notes=notes, warnings=warnings
    )


SIMC = "S. Skogestad, J. Process Control 13 (2003) 291-309"


def _closed_loop_time(tauc: float | None, L: float) -> float:
    tauc = L if tauc is None else tauc
    if tauc < 0.0 or tauc + L <= 0.0:
        raise TuningError("Without dead time the closed-loop time tauc has no default: choose one above 0.")
    return tauc


def _from_series(given: Series, rule: str, source: str, notes: list[str], warnings: list[str]) -> Settings:
    q = series_to_standard(given)
    notes.append(
        f"published for the series form: Kc {given.Kc:.6g}, Ti {given.Ti:.6g} s, Td {given.Td:.6g} s"
    )
    return Settings(q.Kc, q.Ti, q.Td, rule=rule, source=source, notes=tuple(notes), warnings=tuple(warnings))


def simc_series(model: Process, tauc: float | None = None) -> Series:
    """SIMC settings in the series form they were published in.

    Parameters
    ----------
    model : FOPDT, SOPDT, Integrating or DoubleIntegrating
        Short model, such as `half_rule` gives.
    tauc : float, optional
        Closed-loop time; by default the dead time (tight control) [s]

    Returns
    -------
    Series
        Kc, Ti, Td of the series form.

    References
    ----------
    S. Skogestad, J. Process Control 13 (2003) 291-309.

    Examples
    --------
    >>> simc_series(SOPDT(1.0, 2.0, 1.2, 0.77))
    Series(Kc=1.2987012987012987, Ti=2.0, Td=1.2)
    """
    if not isinstance(model, FOPDT | SOPDT | Integrating | DoubleIntegrating):
        raise TuningError(
            f"SIMC has no series settings for {type(model).__name__}: reduce it by the half rule first."
        )
    total = _closed_loop_time(tauc, model.L) + model.L
    if isinstance(model, FOPDT):
        return Series(model.T / (model.K * total), min(model.T, 4.0 * total))
    if isinstance(model, SOPDT):
        return Series(model.T1 / (model.K * total), min(model.T1, 4.0 * total), model.T2)
    if isinstance(model, Integrating):
        return Series(1.0 / (model.k * total), 4.0 * total, model.T)
    return Series(0.25 / (model.k * total**2), 4.0 * total, 4.0 * total)


def simc(process: Process, tauc: float | None = None, kind: str | None = None, scan: float = 0.0) -> Settings:
    """SIMC: Kc = T1/(K (tauc + L)), Ti = min(T1, 4 (tauc + L)), Td = T2 (series form), converted to standard.

    Parameters
    ----------
    process : Process
        Short model, or with `kind` any process: it is reduced by the half rule.
    tauc : float, optional
        Closed-loop time; by default the dead time of the (reduced) model (tight control) [s]
    kind : str, optional
        "PI" or "PID": reduce to first or second order first.
    scan : float
        Time between scans, with `kind`; half of it counts as dead time [s]

    Returns
    -------
    Settings
        Settings of the ISA standard form; a pure delay gets a pure integral controller 1/(K (tauc + L)).

    Notes
    -----
    Derivative action pays where T2 is above the dead time. With tauc = L, Ms is about 1.6 (integrating: 1.7).

    References
    ----------
    S. Skogestad, J. Process Control 13 (2003) 291-309; table 4 has fifteen examples.
    """
    notes: list[str] = []
    warnings: list[str] = []
    model = process
    if kind is not None:
        refuse_kind("SIMC", kind, "PI PID")
        reduced = half_rule(process, 1 if kind == "PI" else 2, scan)
        model, notes = reduced.model, list(reduced.notes)
        if model != process:
            notes.append(f"reduced to {model}")
    if isinstance(model, PureDelay):
        tauc = _closed_loop_time(tauc, model.L)
        notes += [f"tauc {tauc:g} s", "pure integral control; improved SIMC gives PI settings"]
        Ki = 1.0 / (model.K * (tauc + model.L))
        return Settings(0.0, 0.0, rule="SIMC I", source=SIMC, notes=tuple(notes), integral_only=Ki)
    s = simc_series(model, tauc)
    L = model.factors().delay
    tauc = _closed_loop_time(tauc, L)
    notes.append(f"tauc {tauc:g} s")
    if tauc < L:
        warnings.append(f"tauc ({tauc:g} s) is below the dead time ({L:g} s): little margin.")
    if s.Td == 0.0:
        return Settings(s.Kc, s.Ti, rule="SIMC PI", source=SIMC, notes=tuple(notes), warnings=tuple(warnings))
    if not isinstance(model, DoubleIntegrating) and s.Td < L:
        warnings.append(
            f"The second lag ({s.Td:g} s) is below the dead time ({L:g} s): derivative action gains little."
        )
    return _from_series(s, "SIMC PID", SIMC, notes, warnings)


def improved_simc(model: FOPDT | PureDelay, kind: str = "PI", tauc: float | None = None) -> Settings:
    """Improved SIMC: PI with T + L/3 in place of T; PID as SIMC PI with Td = L/3 added (series form).

    Parameters
    ----------
    model : FOPDT or PureDelay
        Process.
    kind : str
        "PI" or "PID".
    tauc : float, optional
        Closed-loop time; by default the dead time (PI) or half of it (PID) [s]

    Returns
    -------
    Settings
        Settings of the ISA standard form.

    Notes
    -----
    Better than SIMC where the dead time rules; the same where the lag does. Tight PID with tauc = L/2 is from
    memory.

    References
    ----------
    C. Grimholt and S. Skogestad, IFAC Conf. PID'12, 2012; J. Process Control 70 (2018) 36-46.
    """
    refuse_kind("Improved SIMC", kind, "PI PID")
    need_dead_time("Improved SIMC", model.L)
    T, L = (model.T if isinstance(model, FOPDT) else 0.0), model.L
    if tauc is None:
        tauc = L if kind == "PI" else 0.5 * L
    total = _closed_loop_time(tauc, L) + L
    source = "C. Grimholt and S. Skogestad, IFAC PID'12 (2012); J. Process Control 70 (2018) 36-46"
    notes = [f"tauc {tauc:g} s"]
    if kind == "PI":
        T += L / 3.0
        Kc, Ti = T / (model.K * total), min(T, 4.0 * total)
        return Settings(Kc, Ti, rule="improved SIMC PI", source=source, notes=tuple(notes))
    if T == 0.0:
        # Ti' -> 0 with K'/Ti' = 1/(K total): (1/(K total s))(1 + Td' s) is a PI controller with Ti = Td'
        notes.append("no lag: the PID rule becomes PI")
        Kc = L / 3.0 / (model.K * total)
        return Settings(Kc, L / 3.0, rule="improved SIMC PID", source=source, notes=tuple(notes))
    given = Series(T / (model.K * total), min(T, 4.0 * total), L / 3.0)
    return _from_series(given, "improved SIMC PID", source, notes, [])


def amigo(model: FOPDT | Integrating, kind: str = "PI") -> Settings:
    """AMIGO: approximate M-constrained integral gain optimisation, Ms and Mt near 1.4.

    PI: Kc = 0.15/K + (0.35 - L T/(L + T)^2) T/(K L), Ti = 0.35 L + 13 L T^2/(T^2 + 12 L T + 7 L^2).
    PID: Kc = (0.2 + 0.45 T/L)/K, Ti = L (0.4 L + 0.8 T)/(L + 0.1 T), Td = 0.5 L T/(0.3 L + T).
    Integrating: PI 0.35/(k L), 13.4 L; PID 0.45/(k L), 8 L, 0.5 L.

    Parameters
    ----------
    model : FOPDT or Integrating
        Process; an integrating one without lag.
    kind : str
        "PI" or "PID".

    Returns
    -------
    Settings
        Settings of the ISA standard form, with set-point weight b = 0 where L < T, else 1.

    Notes
    -----
    For all ratios of dead time to lag; PID is cautious where the lag rules (L/(L + T) below about 0.3), since
    the model then says too little of the higher lags.

    References
    ----------
    K. J. Astrom and T. Hagglund, J. Process Control 14 (2004) 635-650; Advanced PID Control, ISA 2006, ch. 7.
    """
    rule = f"AMIGO {kind}"
    refuse_kind("AMIGO", kind, "PI PID")
    need_dead_time("AMIGO", model.L)
    source = "K. J. Astrom and T. Hagglund, J. Process Control 14 (2004) 635-650"
    L = model.L
    if isinstance(model, Integrating):
        warnings = (
            () if model.T == 0.0 else (f"The lag of {model.T:g} s was left out: add it to the dead time.",)
        )
        if kind == "PI":
            return Settings(
                0.35 / (model.k * L), 13.4 * L, b=0.0, rule=rule, source=source, warnings=warnings
            )
        return Settings(
            0.45 / (model.k * L), 8.0 * L, 0.5 * L, b=0.0, rule=rule, source=source, warnings=warnings
        )
    K, T = model.K, model.T
    b = 0.0 if L < T else 1.0
    if kind == "PI":
        Kc = 0.15 / K + (0.35 - L * T / (L + T) ** 2) * T / (K * L)
        Ti = 0.35 * L + 13.0 * L * T * T / (T * T + 12.0 * L * T + 7.0 * L * L)
        return Settings(Kc, Ti, b=b, rule=rule, source=source)
    notes = ("cautious: the lag rules, a second-order model would allow more",) if L / (L + T) < 0.3 else ()
    Kc, Ti, Td = (
        (0.2 + 0.45 * T / L) / K,
        L * (0.4 * L + 0.8 * T) / (L + 0.1 * T),
        0.5 * L * T / (0.3 * L + T),
    )
    return Settings(Kc, Ti, Td, b=b, rule=rule, source=source, notes=notes)
