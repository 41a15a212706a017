"""Differential evolution for several aims at once and a limit: a front of choices instead of one answer.

GDE3 (S. Kukkonen, J. Lampinen, IEEE Congress on Evolutionary Computation 2005, 443-450; rules of selection from
memory): steps of differential evolution (R. Storn, K. Price, J. Global Optimization 11 (1997) 341-359), selection by
dominance, a limit that comes before any aim, and crowding to spread the front. It asks for candidates and is told their
scores, so that they may be worked out anywhere; given the same scores it asks for the same candidates, to the bit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
WEIGHT, CROSSING = 0.6, 0.9
"""Weight of the difference and share of parameters taken from the mutant, as usual for aims that pull together."""


@dataclass(frozen=True)
class Score:
    """What a candidate is worth: by how much it breaks the limit (0: not at all), and its aims, less being better."""

    violation: float
    aims: tuple[float, ...] = ()

    def beats(self, other: Score) -> bool:
        """Whether it is no worse in anything and better in something; a candidate within the limit beats any beyond.

        >>> Score(0.0, (1.0, 2.0)).beats(Score(0.0, (1.0, 3.0))), Score(0.0, (1.0, 2.0)).beats(Score(0.0, (0.5, 3.0)))
        (True, False)
        """
        if self.violation > 0.0 or other.violation > 0.0:
            return self.violation < other.violation
        return self.aims != other.aims and all(a <= b for a, b in zip(self.aims, other.aims, strict=True))


def non_dominated(scores: Sequence[Score]) -> list[int]:
    """Numbers of the scores within the limit that no other beats, in their order; of equal ones the first.

    >>> non_dominated([Score(0.0, (1.0, 4.0)), Score(0.0, (2.0, 2.0)), Score(0.0, (3.0, 3.0)), Score(0.1)])
    [0, 1]
    """
    kept: list[int] = []
    for i, one in enumerate(scores):
        if one.violation > 0.0 or any(other.beats(one) for other in scores):
            continue
        if all(scores[k].aims != one.aims for k in kept):
            kept.append(i)
    return kept


def ranks(scores: Sequence[Score]) -> list[int]:
    """Rank of each score: 0 for those nobody beats, 1 for those nobody beats without these, and so on."""
    left = list(range(len(scores)))
    found = [0] * len(scores)
    rank = 0
    while left:
        now = [i for i in left if not any(scores[k].beats(scores[i]) for k in left)]
        for i in now:
            found[i] = rank
        left = [i for i in left if i not in now]
        rank += 1
    return found


def crowding(aims: Reals) -> Reals:
    """Distance to the neighbours along each aim, added up; infinite at the ends (K. Deb et al., IEEE Trans.
    Evolutionary Computation 6 (2002) 182-197)."""
    count, width = aims.shape
    found = np.zeros(count)
    for k in range(width):
        order = np.argsort(aims[:, k], kind="stable")
        span = aims[order[-1], k] - aims[order[0], k]
        found[order[0]] = found[order[-1]] = math.inf
        if span > 0.0 and count > 2:
            found[order[1:-1]] += (aims[order[2:], k] - aims[order[:-2], k]) / span
    return found


class Evolution:
    """One search.

    Parameters
    ----------
    dimension : int
        Number of parameters; each runs from 0 to 1.
    population : int
        Candidates of a generation, at least 4.
    seed : int
        Seed.
    start : sequence of array
        Candidates to begin with, as far as they go; the rest are spread by chance, each parameter evenly (Latin
        hypercube).
    """

    def __init__(self, dimension: int, population: int, seed: int, start: Sequence[Reals] = ()) -> None:
        self.dimension, self.population = dimension, max(population, 4)
        self._random = np.random.Generator(np.random.PCG64(seed))
        self._members: list[tuple[Reals, Score]] = []
        self._asked: list[Reals] = []
        strata = np.array([self._random.permutation(self.population) for _ in range(dimension)]).T
        spread = (strata + self._random.random((self.population, dimension))) / self.population
        given = [np.clip(np.asarray(x, dtype=float), 0.0, 1.0) for x in start[: self.population]]
        self._first = given + list(spread[len(given) :])

    def ask(self) -> list[Reals]:
        """Candidates of the next generation: those of the first one, later one for each member."""
        if not self._members:
            self._asked = self._first
            return list(self._asked)
        x = np.array([one for one, _ in self._members])
        asked = []
        for i in range(len(x)):
            others = [k for k in range(len(x)) if k != i]
            a, b, c = self._random.choice(others, 3, replace=False)
            mutant = x[a] + WEIGHT * (x[b] - x[c])
            mutant = np.where(mutant < 0.0, -mutant, np.where(mutant > 1.0, 2.0 - mutant, mutant))
            crossed = self._random.random(self.dimension) < CROSSING
            crossed[self._random.integers(self.dimension)] = True
            asked.append(np.clip(np.where(crossed, mutant, x[i]), 0.0, 1.0))
        self._asked = asked
        return list(asked)

    def tell(self, scores: Sequence[Score]) -> None:
        """Take the scores of the candidates asked for, in their order."""
        if not self._members:
            self._members = list(zip(self._asked, scores, strict=True))
            return
        kept: list[tuple[Reals, Score]] = []
        for (x, old), trial, new in zip(self._members, self._asked, scores, strict=True):
            if old.beats(new):
                kept.append((x, old))
            elif new.beats(old) or new == old or new.violation > 0.0:
                kept.append((trial, new))
            else:
                kept += [(x, old), (trial, new)]
        self._members = self._pruned(kept)

    def _pruned(self, members: list[tuple[Reals, Score]]) -> list[tuple[Reals, Score]]:
        if len(members) <= self.population:
            return members
        by_rank = ranks([score for _, score in members])
        order: list[int] = []
        for rank in range(max(by_rank) + 1):
            tier = [i for i, r in enumerate(by_rank) if r == rank]
            room = self.population - len(order)
            while len(tier) > room and members[tier[0]][1].violation == 0.0:
                apart = crowding(np.array([members[i][1].aims for i in tier]))
                tier.pop(int(np.argmin(apart)))  # one at a time: its neighbours move further apart
            order += tier[:room]
            if len(order) >= self.population:
                break
        return [members[i] for i in sorted(order)]
