"""Run the cases of a study: on this machine's cores, or on a cluster, through the same interface.

joblib hands the cases out, one at a time to each worker, and gives them back as they end. A case is a function of
its number alone, so where and in what order it ran leaves no trace in its row.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from plantsim.analysis.studies.case import Row, run_case
from plantsim.analysis.studies.plan import Plan
from plantsim.analysis.studies.results import Journal
from plantsim.analysis.studies.sampling import StudyError

ENGINES = ("local", "dask")


def run_study(
    plan: Plan, journal: Journal, workers: int | None = None, engine: str = "local", cluster: str = "",
    progress: Callable[[int, int, int], None] | None = None,
) -> list[Row]:  # fmt: skip
    """Run every case of a study that the journal does not hold yet.

    Parameters
    ----------
    plan : Plan
        The study.
    journal : Journal
        What is done, and where each row goes the moment it is known.
    workers : int, optional
        Workers on this machine; its cores when left out. On a cluster that has its own it is not used.
    engine : str
        `local` or `dask`.
    cluster : str
        Address of the scheduler of a running dask cluster; empty: one is started here, with `workers` processes.
    progress : callable, optional
        Told after each row: rows done, rows in all, rows that failed.

    Returns
    -------
    list of Row
        All rows, in the order of their numbers.

    Raises
    ------
    StudyError
        If the engine cannot be had.
    """
    cases = plan.cases()
    waiting = [case for case in cases if case.number not in journal.rows]
    failed = sum(row["status"] != "done" for row in journal.rows.values())
    if progress is not None:
        progress(len(journal.rows), len(cases), failed)
    if waiting:
        from joblib import Parallel, delayed

        with _engine(engine, cluster, workers or os.cpu_count() or 1) as settings:
            # one case a time for each worker: a case lasts seconds, so handing it out costs nothing, and what a kill
            # loses is what was under way
            parallel = Parallel(return_as="generator_unordered", batch_size=1, **settings)
            for row in parallel(delayed(run_case)(plan, case) for case in waiting):
                journal.add(row)
                failed += row["status"] != "done"
                if progress is not None:
                    progress(len(journal.rows), len(cases), failed)
    return journal.ordered()


@contextmanager
def _engine(engine: str, cluster: str, workers: int) -> Iterator[dict[str, Any]]:
    """Settings for joblib, with the engine up while they are used."""
    if engine == "local":
        if workers == 1:
            yield {"n_jobs": 1}
        else:
            yield {"n_jobs": workers, "backend": "loky", "pre_dispatch": "2*n_jobs"}
        return
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise StudyError("--engine: found 'dask' without its packages; allowed: after installing plantsim[cluster]"
                         ) from None
    own = None
    try:
        if not cluster:
            own = LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None, processes=True)
        client = Client(cluster or own, timeout=20)
    except (OSError, TimeoutError, ValueError) as error:
        raise StudyError(f"--cluster: no dask scheduler answers at '{cluster}' ({type(error).__name__}); allowed: the "
                         "address it printed when it was started, such as tcp://127.0.0.1:8786") from None  # fmt: skip
    try:
        from joblib import parallel_config

        with parallel_config(backend="dask", client=client):
            yield {"n_jobs": -1}
    finally:
        client.close()
        if own is not None:
            own.close()
