"""The search for a front on published test problems whose front is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from plantsim.analysis.tuning.front import Evolution, Score, crowding, non_dominated, ranks


def searched(problem, dimension, generations, population=24, seed=1):
    search, seen = Evolution(dimension, population, seed), []
    for _ in range(generations):
        asked = search.ask()
        scores = [problem(x) for x in asked]
        seen += scores
        search.tell(scores)
    return search, seen


def schaffer(x) -> Score:
    """Schaffer 1985: f1 = x^2, f2 = (x - 2)^2, x within +-10; the front is sqrt(f1) + sqrt(f2) = 2 with x in 0 to 2."""
    v = -10.0 + 20.0 * x[0]
    return Score(0.0, (v * v, (v - 2.0) ** 2))


def zdt1(x) -> Score:
    """Zitzler, Deb, Thiele 2000, problem 1: on the front f2 = 1 - sqrt(f1)."""
    g = 1.0 + 9.0 * float(np.mean(x[1:]))
    return Score(0.0, (float(x[0]), g * (1.0 - math.sqrt(x[0] / g))))


def binh_korn(x) -> Score:
    """Binh and Korn 1997: f1 = 4 x^2 + 4 y^2, f2 = (x - 5)^2 + (y - 5)^2, (x - 5)^2 + y^2 <= 25, x in 0 to 5, y to 3;
    on the front x = y up to 3, then y = 3."""
    a, b = 5.0 * x[0], 3.0 * x[1]
    broken = max(0.0, (a - 5.0) ** 2 + b * b - 25.0) + max(0.0, 7.7 - (a - 8.0) ** 2 - (b + 3.0) ** 2)
    return Score(broken, (4.0 * (a * a + b * b), (a - 5.0) ** 2 + (b - 5.0) ** 2))


def test_front_of_schaffer():
    _, seen = searched(schaffer, 1, 25)
    front = [seen[i].aims for i in non_dominated(seen)]
    # beyond an end of the front a point stays until one nearer to that end is met
    assert all(math.sqrt(a) + math.sqrt(b) == pytest.approx(2.0, abs=0.2) for a, b in front)
    assert sum(abs(math.sqrt(a) + math.sqrt(b) - 2.0) < 1e-9 for a, b in front) >= len(front) - 2
    assert min(a for a, _ in front) < 0.01 and min(b for _, b in front) < 0.01 and len(front) > 50


def test_front_of_zdt1_in_four_dimensions():
    _, seen = searched(zdt1, 4, 45)
    front = sorted(seen[i].aims for i in non_dominated(seen))
    miss = [b - (1.0 - math.sqrt(a)) for a, b in front]
    assert np.median(miss) < 0.05 and min(miss) > -1e-9
    assert front[0][0] < 0.05 and front[-1][0] > 0.9


def test_front_within_limits():
    _, seen = searched(binh_korn, 2, 40)
    chosen = [seen[i] for i in non_dominated(seen)]
    assert all(one.violation == 0.0 for one in chosen)
    for f1, f2 in (one.aims for one in chosen):
        x = math.sqrt(f1 / 8.0)
        best = 2.0 * (x - 5.0) ** 2 if x <= 3.0 else (math.sqrt(f1 / 4.0 - 9.0) - 5.0) ** 2 + 4.0
        assert best - 1e-9 <= f2 <= best + 0.8  # of a range from 4 to 50


def test_single_aim_is_plain_differential_evolution():
    """Rosenbrock's valley, least 0 at (1, 1), mapped to 0 to 1."""

    def valley(x) -> Score:
        a, b = 4.0 * x[0] - 2.0, 4.0 * x[1] - 2.0
        return Score(0.0, ((1.0 - a) ** 2 + 100.0 * (b - a * a) ** 2,))

    _, seen = searched(valley, 2, 120, population=16)
    assert min(one.aims[0] for one in seen) < 1e-6


def test_same_scores_give_the_same_candidates_to_the_bit():
    one, other = Evolution(3, 8, 5), Evolution(3, 8, 5)
    for _ in range(6):
        a, b = one.ask(), other.ask()
        assert [x.tobytes() for x in a] == [x.tobytes() for x in b]
        scores = [zdt1(x) for x in a]
        one.tell(scores)
        other.tell(scores)
    assert [x.tobytes() for x in one.ask()] != [x.tobytes() for x in Evolution(3, 8, 6).ask()]


def test_given_candidates_come_first_and_the_rest_are_spread():
    """Latin hypercube: without given ones every tenth of each parameter is met once."""
    given = np.array([0.3, 0.7])
    assert np.array_equal(Evolution(2, 10, 1, [given]).ask()[0], given)
    spread = np.array(Evolution(2, 10, 1).ask())
    for column in spread.T:
        assert sorted(np.floor(10.0 * column)) == list(range(10))


def test_limit_comes_before_the_aims():
    within, beyond, further = Score(0.0, (9.0, 9.0)), Score(0.1, (0.0, 0.0)), Score(0.2)
    assert within.beats(beyond) and beyond.beats(further) and not further.beats(within)
    assert ranks([further, within, beyond]) == [2, 0, 1]


def test_crowding_of_an_even_front():
    aims = np.array([[0.0, 4.0], [1.0, 3.0], [2.0, 2.0], [4.0, 0.0]])
    assert crowding(aims) == pytest.approx([math.inf, 1.0, 1.5, math.inf])
