"""Samples of a study: shares from 0 to 1 for each parameter, by the samplers of scipy and SALib.

========================  =========================================================================================
method                    what it gives
========================  =========================================================================================
grid                      every combination of `levels` even values; of a list, every entry
random                    independent draws
latin hypercube           each parameter's range cut into as many slices as samples, each slice once [1]_
sobol                     a scrambled Sobol sequence, best with a power of two of samples [2]_
sensitivity               the Saltelli scheme of Sobol indices: N (k + 2) samples for k parameters [3]_
========================  =========================================================================================

References
----------
.. [1] McKay, Beckman, Conover, Technometrics 21 (1979) 239-245.
.. [2] Sobol', USSR Comput. Math. Math. Phys. 7 (1967) 86-112; scrambling after Owen (1995).
.. [3] Saltelli et al., Comput. Phys. Commun. 181 (2010) 259-270.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from plantsim.analysis.studies.spread import Spread
from plantsim.errors import PlantsimError

METHODS = ("grid", "random", "latin hypercube", "sobol", "sensitivity")


class StudyError(PlantsimError, ValueError):
    """Raised when a study cannot be made, gone on with or read, in one sentence."""


def shares(spreads: Sequence[Spread], method: str, samples: int, seed: int, levels: int = 5) -> np.ndarray:
    """Shares of all samples.

    Parameters
    ----------
    spreads : sequence of Spread
        The parameters.
    method : str
        One of `METHODS`.
    samples : int
        How many; for `sensitivity` the base number N, for `grid` of no meaning.
    seed : int
        Seed of the sampler: the same seed gives the same samples.
    levels : int
        Values of a range in a grid.

    Returns
    -------
    ndarray, shape (samples, parameters)
    """
    k = len(spreads)
    if k == 0:
        return np.zeros((1 if method == "grid" else samples, 0))
    if method == "grid":
        counts = [len(s.values) or levels for s in spreads]
        # of a list the middle of its part, so that rounding never falls into the next; of a range both ends too
        columns = [
            [(i + 0.5) / n for i in range(n)] if s.values else np.linspace(0.0, 1.0, n).tolist()
            for s, n in zip(spreads, counts)
        ]
        return np.array(list(itertools.product(*columns)))
    if method == "sensitivity":
        from SALib.sample import sobol

        problem = {"num_vars": k, "names": [s.name for s in spreads], "bounds": [[0.0, 1.0]] * k}
        if samples & (samples - 1):
            raise StudyError(f"samples: found {samples}; allowed for 'sensitivity': a power of two, such as "
                             f"{1 << max(1, round(math.log2(max(samples, 2))))}")  # fmt: skip
        return np.asarray(sobol.sample(problem, samples, calc_second_order=False, seed=seed))
    if method == "random":
        return np.random.default_rng(seed).random((samples, k))
    from scipy.stats import qmc

    generator = np.random.default_rng(seed)
    if method == "latin hypercube":
        return np.asarray(qmc.LatinHypercube(k, rng=generator).random(samples))
    sampler = qmc.Sobol(k, scramble=True, rng=generator)
    return np.asarray(sampler.random_base2((samples - 1).bit_length())[:samples])
