"""A roster too long for one evening: each player fitted alone, side by side.

Fitted together, players share what golfers have in common, but the cost grows faster than
their number. Fitted alone, a player's result depends on nothing but that player's putts and
the seed: not on the others, nor on how many processes or machines did the work.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from putlab.base.errors import FitError, PutlabError, UsageError
from putlab.base.settings import SEED

if TYPE_CHECKING:
    from putlab.log.read import Log  # heavy; a process that does other work is spared

# What takes a job and gives its future, and what gives futures as they are done.
Pool = tuple[Callable, Callable]

# A process that died (out of memory, a machine switched off) is tried so often alone; what
# failed for another reason would fail again.
TRIES = 2

# A scheduler that does not answer within so many seconds is not there.
CONNECT_S = 10.0

# Players named one by one before the rest is only counted.
NAMED_PLAYERS = 5


@dataclass(frozen=True)
class RosterResult:
    """What came of each player; every player of the log is in one or the other.

    Attributes
    ----------
    results : dict of str to object
        By player, in the log's order: what the work returned.
    failed : dict of str to str
        By player: why there is no result.
    """

    results: dict[str, Any]
    failed: dict[str, str] = field(default_factory=dict)

    def raise_failures(self) -> None:
        """Raise a `FitError` that names the players without a result, if there are any."""
        first = "; ".join(f"{name}: {why}" for name, why in [*self.failed.items()][:NAMED_PLAYERS])
        more = list(self.failed)[NAMED_PLAYERS:]
        total = len(self.failed) + len(self.results)
        if self.failed:
            raise FitError(
                f"{len(self.failed)} of {total} players have no result. {first}"
                + (f"; and {len(more)} more: {', '.join(more)}." if more else "")
            )


def player_seed(seed: int, player: str) -> int:
    """Return the seed of one player's fit: the same on every machine, whoever else is there."""
    label = np.frombuffer(hashlib.sha256(player.encode()).digest(), dtype="<u4")
    return int(np.random.SeedSequence([seed, *label.tolist()]).generate_state(1)[0])


def each_player(
    log: Log,
    work: Callable[[Log, Any], Any] | None = None,
    *,
    seed: int = SEED,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Callable[[int, int, str], None] | None = None,
    **options: Any,
) -> RosterResult:
    """Fit each player of a log alone, in a pool of processes or on a cluster.

    Parameters
    ----------
    log : putlab.log.read.Log
        The whole log.
    work : callable, optional
        ``work(log, fit)`` of each player's own, done beside the fit; what it returns must be
        able to travel between processes. Default: the fit itself.
    seed : int
        Seed of the roster; each player's own follows from it and the label.
    workers : int, optional
        Processes; default: the machine's cores, at most one a player.
    cluster : str, optional
        Address of a running Dask scheduler (``tcp://HOST:PORT``) to use instead.
    progress : callable, optional
        ``progress(done, total, text)``, called as players are finished.
    **options
        ``draws``, ``tune``, ``chains``, ``cache``, ``priors`` of `putlab.posterior.fit.fit_log`.

    Returns
    -------
    RosterResult
        A result or a reason for every player, the same for any number of workers.

    Raises
    ------
    UsageError
        The cluster can't be reached.
    """
    putts = log.putts.groupby("player", sort=False)
    # Players in the order of the size of their logs: alike ones share a compiled model.
    size = putts[["session", "distance_ft", "condition"]].nunique().sort_index()
    alike = size.sort_values([*size], kind="stable").index
    jobs = {name: (log.only(name), work, player_seed(seed, name), options) for name in alike}
    results, failed = run_jobs(fit_one, jobs, workers=workers, cluster=cluster, progress=progress)
    return RosterResult(
        {name: results[name] for name in putts.groups if name in results},
        {name: reason(failed[name]) for name in putts.groups if name in failed},
    )


def fit_one(log: Log, work: Callable | None, seed: int, options: dict[str, Any]) -> Any:
    """Fit one player's log and do the work on it; runs in a worker."""
    from putlab.posterior.fit import fit_log  # heavy; whoever only shares out jobs is spared

    # Chains run one after the other: the cores are busy with other players.
    fit = fit_log(log, seed=seed, cores=1, **options)
    return work(log, fit) if work else fit


def reason(error: BaseException) -> str:
    """Return why a player has no result: the kit's own errors as they are, others by kind."""
    stopped = f"the work stopped ({type(error).__name__}: {error})"
    return str(error) if isinstance(error, PutlabError) else stopped


def run_jobs(
    function: Callable,
    jobs: dict[str, tuple],
    *,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> tuple[dict[str, Any], dict[str, BaseException]]:
    """Run a function once a job, in processes here or on a Dask cluster: results and errors.

    A process that dies takes its neighbours' work with it: what is left is run again, each job
    in a process of its own, so that a deadly one fails alone.
    """
    results: dict[str, Any] = {}
    failed: dict[str, BaseException] = {}

    def run(names: Iterable[str], submit: Callable, as_done: Callable, last: bool = False) -> None:
        futures = {submit(function, *jobs[name]): name for name in names}
        for future in as_done(futures):
            name = futures[future]
            try:
                results[name] = future.result()
            except Exception as error:
                if last or not isinstance(error, BrokenProcessPool):
                    failed[name] = error
            if progress and name in results | failed:
                done = len(results) + len(failed)
                progress(done, len(jobs), f"{done} of {len(jobs)} players done, last {name}")

    most = max(1, min(workers or os.cpu_count() or 1, len(jobs)))
    with _dask(cluster) if cluster else _processes(most) as pool:
        run(jobs, *pool)
    for name in [name for name in jobs if name not in results | failed]:
        for attempt in range(TRIES):
            if name not in results | failed:
                with _processes(1) as pool:
                    run([name], *pool, last=attempt + 1 == TRIES)
    return results, failed


@contextmanager
def _processes(workers: int) -> Iterator[Pool]:
    """Give a pool of processes, which takes work written in a notebook too."""
    from joblib.externals.loky import ProcessPoolExecutor

    pool = ProcessPoolExecutor(workers)
    try:
        yield pool.submit, as_completed
    finally:
        pool.shutdown(kill_workers=True)


@contextmanager
def _dask(address: str) -> Iterator[Pool]:
    """Give the workers of a Dask cluster, refusing one that isn't there.

    Dask's own futures: its executor loses a result whose worker dies while it is fetched.
    """
    try:
        from distributed import Client, as_completed

        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except ImportError as error:
        raise UsageError("a cluster needs `distributed`; install putlab[cluster].") from error
    except (OSError, ValueError) as error:
        raise UsageError(f"no Dask scheduler answers at {address}: {error}") from error
    with client:
        yield partial(client.submit, pure=False), partial(as_completed, loop=client.loop)
