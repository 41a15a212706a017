"""What a tuning rule hands over: gains of the ISA standard form with their rule, source and warnings."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from plantsim.analysis.tuning.factors import Factors

STANDARD = "ISA standard"


@dataclass(frozen=True)
class Settings:
    """Settings of u = Kc [(b r - y) + (1/Ti) int(r - y) dt + Td s/(1 + s Td/N) (c r - y)].

    Parameters
    ----------
    Kc : float
        Controller gain; it has the sign of the process gain. Below 0 means direct action (the output rises
        with the measurement): a block with a switch for action takes its size [input-unit/output-unit]
    Ti : float
        Integral time; infinite: no integral part [s]
    Td : float
        Derivative time; 0: no derivative part [s]
    b, c : float
        Set-point weights of the proportional and the derivative part [-]
    N : float
        Derivative filter: time constant Td/N; infinite: none [-]
    rule, source : str
        The rule and where it was published.
    form : str
        Always "ISA standard"; other forms come from `forms`.
    notes, warnings : tuple of str
        Remarks on use, and where the process lies outside the rule's range.
    integral_only : float
        Integral gain of a pure integral controller; then Kc = Ti = 0 [input-unit/(output-unit s)]
    """

    Kc: float
    Ti: float = math.inf
    Td: float = 0.0
    b: float = 1.0
    c: float = 0.0
    N: float = 10.0
    rule: str = ""
    source: str = ""
    form: str = STANDARD
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    integral_only: float = 0.0

    @property
    def Ki(self) -> float:
        """Integral gain Kc/Ti [input-unit/(output-unit s)]."""
        return self.integral_only if self.Kc == 0.0 else self.Kc / self.Ti

    @property
    def kind(self) -> str:
        """P, I, PI, PD or PID."""
        if self.Kc == 0.0:
            return "I"
        return "P" + ("I" if math.isfinite(self.Ti) else "") + ("D" if self.Td > 0.0 else "")

    def with_filter(self, N: float) -> Settings:
        """The same settings with another derivative filter.

        Parameters
        ----------
        N : float
            Ratio of derivative time to filter time constant; infinite: no filter [-]

        Returns
        -------
        Settings
            A copy.
        """
        return replace(self, N=N)

    def factors(self) -> Factors:
        """The controller, from error to output, as factors.

        Returns
        -------
        Factors
            Kc ((Ti Td + Ti Tf) s^2 + (Ti + Tf) s + 1)/(Ti s (Tf s + 1)) with Tf = Td/N, or less of it.
        """
        if self.Kc == 0.0:
            return Factors(self.integral_only, 1)
        filter_time = self.Td / self.N
        lags = (filter_time,) if filter_time > 0.0 else ()
        if not math.isfinite(self.Ti):
            leads = (self.Td + filter_time,) if self.Td > 0.0 else ()
            return Factors(self.Kc, lags=lags, leads=leads)
        if self.Td == 0.0:
            return Factors(self.Kc / self.Ti, 1, leads=(self.Ti,))
        over = ((self.Ti * (self.Td + filter_time), self.Ti + filter_time),)
        return Factors(self.Kc / self.Ti, 1, lags=lags, over=over)
