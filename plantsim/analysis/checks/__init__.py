"""Acceptance checks: sentences about a plant, judged on the record of a run.

`parse` reads a sentence (its grammar is the table of `grammar`), `needs` says which series it looks at, `judge`
gives a verdict on each: kept, broken or not tested, with the worst margin and when. See `recording.Recording` for
what a record has to offer; the data of a kept run has it.
"""

from plantsim.analysis.checks.file import Acceptance, Case, read_acceptance, read_checks
from plantsim.analysis.checks.grammar import SentenceError, parse
from plantsim.analysis.checks.judge import FAILED, OK, UNTESTED, Verdict, judge
from plantsim.analysis.checks.names import NameRefusal, Needs, needs
from plantsim.analysis.checks.recording import Record, Recording, Values, from_simulation
from plantsim.analysis.checks.sentence import Check, Sentence

__all__ = [
    "FAILED", "OK", "UNTESTED", "Acceptance", "Case", "Check", "NameRefusal", "Needs", "Record", "Recording",
    "Sentence", "SentenceError", "Values", "Verdict", "from_simulation", "judge", "needs", "parse", "read_acceptance",
    "read_checks",
]
