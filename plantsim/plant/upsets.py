"""The shipped upsets: read from their files, listed, and tied to the parts of a plant.

An upset speaks of parts ("the duty pump"), not of tags; each plant has its own. Parts are found by their usual names,
an instrument by what it measures, or else because a plant has only one of the kind; a scenario can name others.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from plantsim.plant.acts import Act, Places, Report
from plantsim.plant.fields import nearest, quoted
from plantsim.plant.model import Upset, UpsetSymptom, locate
from plantsim.plant.plans import Start
from plantsim.plant.program_variables import homes
from plantsim.plant.reader import read
from plantsim.plant.scenario_sections import UPSET
from plantsim.plant.tree import Tree
from plantsim.units import QuantityError, sentence, to_si

FOLDER = Path(__file__).resolve().parent.parent / "upsets"
_NUMBER = re.compile(r"(x|\+)?\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(.*)")


def shipped_upsets() -> dict[str, Path]:
    """Name to file of every shipped upset, by number."""
    numbered = [(_number_of(path), path) for path in sorted(FOLDER.glob("*.yaml"))]
    return {path.stem: path for _, path in sorted(numbered)}


def _number_of(path: Path) -> int:
    found = re.search(r"^number:\s*(\d+)", path.read_text(encoding="utf-8"), re.M)
    return int(found[1]) if found else 0


@lru_cache(maxsize=64)
def read_upset(path: Path) -> Tree:
    """Description of an upset, checked.

    Raises
    ------
    ConfigError
        With every finding.
    """
    tree = read(path, UPSET)
    for finding in _own_findings(tree):
        tree.finding(*finding)
    tree.raise_findings()
    return tree


def _own_findings(tree: Tree) -> list[tuple[str, str]]:
    """Names that a description uses without saying what they are."""
    found = []
    parts = list(tree.parts)
    for group, key in (("acts", "set"), ("respond", "set"), ("symptoms", "of")):
        for i, block in enumerate(tree[group]):
            head = block[key].partition(".")[0]
            if head not in parts and head != "weather":
                found.append((f"{group}.{i}.{key}", sentence(quoted(block[key]), f"a part: {', '.join(parts)}",
                                                             nearest(head, parts))))  # fmt: skip
            for field in ("after", "to", "ramp", "for") if group != "symptoms" else ():
                text = block[field]
                if isinstance(text, str) and text.startswith("$") and text[1:] not in tree.parameters:
                    found.append((f"{group}.{i}.{field}", sentence(
                        quoted(text), f"a parameter: {', '.join('$' + p for p in tree.parameters) or 'there is none'}",
                        nearest(text[1:], tree.parameters))))  # fmt: skip
            if group == "symptoms" and (block.by is None) != (block.goes in ("on", "off")):
                found.append((f"symptoms.{i}.by", "found none with up, down or away, or one with on or off; allowed: "
                                                  "an amount with its unit for up, down and away"))  # fmt: skip
    return found


@dataclass(frozen=True)
class _Cast:
    """Which unit, tag or program plays each part on this plant; None: an optional part it has not."""

    names: Mapping[str, str | None]

    def path(self, text: str) -> str | None:
        """A path of the description as a path of the plant."""
        head, dot, rest = text.partition(".")
        if head not in self.names:
            return text
        name = self.names[head]
        return None if name is None else f"{name}{dot}{rest}"

    def words(self, text: str) -> str | None:
        """A sentence with the plant's names; None when it speaks of a part the plant has not."""
        for part, name in self.names.items():
            pattern = rf"(?<![\w.-]){re.escape(part)}(?=\.[a-z_]|[\s,:]|$)"
            if re.search(pattern, text):
                if name is None:
                    return None
                text = re.sub(pattern, name, text)
        return text


def stage(
    places: Places, tree: Tree, name: str, start: Start, asked: Tree | None = None, report: Report | None = None
) -> tuple[list[Act], Upset, list[Act]] | None:
    """Tie an upset to a plant.

    Parameters
    ----------
    places : Places
        The plant.
    tree : Tree
        Description of the upset.
    name : str
        Its name.
    start : Start
        When its cause comes.
    asked : Tree, optional
        Block of the scenario that names it: its `for`, `with`, `parts` and `respond` count, and findings are its.
    report : callable, optional
        Takes the findings instead.

    Returns
    -------
    tuple of (list of Act, Upset, list of Act), or None
        The causes, what can be said of them, and the operator's answer; None, with findings, when the plant lacks a
        part.
    """
    if report is None:
        report = asked.finding if asked is not None else tree.finding
    cast = _cast(places, tree, name, dict(asked.parts) if asked is not None else {}, report)
    given = _parameters(tree, dict(asked["with"]) if asked is not None else {}, report)
    if cast is None or given is None:
        return None
    lasts = asked.for_ if asked is not None else None
    respond = asked is not None and asked.respond
    acts = _acts(tree.acts, "cause", cast, given, start, name, report, lasts)
    response = _acts(tree.respond, "operator", cast, given, start, name, report, None)
    symptoms = []
    for s in tree.symptoms:
        path = cast.path(s.of)
        if path is not None:
            symptoms.append(UpsetSymptom(path, s.goes, s.by or "", s.held, s.mean or 0.0, s.from_, s.until, s.words))
    missed = [words for text in tree.missed if (words := cast.words(text)) is not None]
    upset = Upset(name, tree.title, start, tree.horizon, tuple(symptoms), tuple(missed), tuple(tree.cautions),
                  tree.consequence, respond)  # fmt: skip
    return acts, upset, response


def _acts(
    blocks: Any, by: str, cast: _Cast, given: Mapping[str, str], start: Start, name: str,
    report: Report, lasts: float | None,
) -> list[Act]:  # fmt: skip
    acts = []
    for block in blocks:
        path = cast.path(block["set"])
        if path is None:
            continue
        after, ramp, for_ = (_seconds(block[key], given) for key in ("after", "ramp", "for"))
        assert after is not None and ramp is not None
        until = math.inf if for_ is None else for_
        who = block.by or by
        if lasts is not None and who == "cause":
            if after >= lasts:
                continue
            until = min(until, lasts - after)
            ramp = min(ramp, 0.999 * until)
        to = given[block.to[1:]] if block.to.startswith("$") else block.to
        acts.append(Act(Start(start.low, start.high, start.key, after), path, to, _told(block, name, report), ramp,
                        until, who, block.note or "", name))  # fmt: skip
    return acts


def _told(block: Tree, name: str, report: Report) -> Report:
    """Findings on an act of an upset, told where the upset is asked for."""
    return lambda key, message: report("upset", f"{name}, {block.path}.{key}: {message}")


def _seconds(value: Any, given: Mapping[str, str]) -> float | None:
    return to_si(given[value[1:]], "time") if isinstance(value, str) else value


# --- parameters ---


def _parameters(
    tree: Tree, chosen: Mapping[str, str], report: Report
) -> dict[str, str] | None:
    """Text of each parameter; None, with findings, when one chosen is wrong."""
    given = {name: p.value for name, p in tree.parameters.items()}
    right = True
    for name, text in chosen.items():
        if name not in given:
            known = ", ".join(given) or "none, as this upset has no parameter"
            report(f"with.{name}", sentence(quoted(name), known, nearest(name, given)))
            right = False
            continue
        wrong = _beyond(text, tree.parameters[name])
        if wrong is not None:
            report(f"with.{name}", wrong)
            right = False
        given[name] = text
    return given if right else None


def _beyond(text: str, parameter: Tree) -> str | None:
    """Why a text is no value of a parameter; None when it is one."""
    limits = [parameter.low, parameter.high]
    span = " to ".join(limit for limit in limits if limit)
    like = span or f"a value such as {parameter.value}"
    usual = _amount(parameter.value, None)
    if usual is None:
        return None  # on and off: the plant will judge
    value = _amount(text, usual[1])
    if value is None or value[0] != usual[0]:
        return sentence(quoted(text), like)
    ends = [_amount(limit, usual[1]) if limit else None for limit in limits]
    low, high = (math.inf * sign if end is None else end[2] for end, sign in zip(ends, (-1, 1)))
    if not low - 1e-12 <= value[2] <= high + 1e-12:
        return sentence(quoted(text), span)
    return None


def _amount(text: str, dimension: str | None) -> tuple[str, str, float] | None:
    """Sign ('x', '+' or ''), dimension and SI value of a text."""
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        return None
    sign, number, unit = match[1] or "", match[2], match[3].strip()
    if not unit:
        return (sign, "", float(number)) if dimension in (None, "") else None
    for home in [dimension] if dimension else homes(unit):
        try:
            return sign, home, to_si(f"{number} {unit}", home)
        except QuantityError:
            continue
    return None


# --- parts ---


def _cast(
    places: Places, tree: Tree, name: str, chosen: Mapping[str, str], report: Report
) -> _Cast | None:
    names: dict[str, str | None] = {}
    right = True
    for part, text in chosen.items():
        if part not in tree.parts:
            report(f"parts.{part}", sentence(quoted(part), ", ".join(tree.parts), nearest(part, tree.parts)))
            right = False
        elif not _is(places, text, tree.parts[part].kind):
            fit = _of_kind(places, tree.parts[part].kind)
            report(f"parts.{part}", sentence(quoted(text), f"{_a(tree.parts[part].kind)}: {', '.join(fit) or 'none'}",
                                             nearest(text, fit)))  # fmt: skip
            right = False
        else:
            names[part] = text
    for part, p in tree.parts.items():
        if part in names or part in chosen:
            continue
        found = _found(places, p, names)
        if found is None and not p.optional:
            fit = _of_kind(places, p.kind)
            what = p.words or _a(p.kind)
            if fit and p.measures is None:
                report("upset", sentence(f"'{name}', whose part '{part}' ({what}) could be several here",
                                         f"the one meant under parts: {part}: {', '.join(fit)}"))  # fmt: skip
            else:
                report("upset", sentence(f"'{name}', which needs {what}", "an upset of parts that this plant has"))
            right = False
        names[part] = found
    return _Cast(names) if right else None


def _a(kind: str) -> str:
    return ("an " if kind[0] in "aeiou" else "a ") + kind


def _of_kind(places: Places, kind: str) -> list[str]:
    if kind == "tag":
        return list(places.tags)
    return [n for n, (k, _) in places.units.items() if k == kind]


def _is(places: Places, name: str, kind: str) -> bool:
    return name in _of_kind(places, kind)


def _found(places: Places, part: Tree, known: Mapping[str, str | None]) -> str | None:
    """Name of what plays a part; None when there is none, or several without a usual name."""
    if part.measures is not None:
        head, _, quantity = part.measures.partition(".")
        unit = known.get(head, head)
        found = locate(dict(places.units), unit, quantity) if unit is not None else None
        if found is None:
            return None
        cell = places.arena.cell(*found)
        for name in _of_kind(places, "instrument"):
            if int(places.arena.instrument_p["cell"][places.units[name][1]]) == cell:
                return name
        return None
    for name in part.names:
        if _is(places, name, part.kind):
            return name
    fit = _of_kind(places, part.kind)
    return fit[0] if len(fit) == 1 and (not part.names or part.kind not in ("doser", "tag")) else None
