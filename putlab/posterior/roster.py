"""A roster too long for one evening: each player fitted alone, side by side.

Fitted together, players share what golfers have in common, but the cost grows faster than
their number. Fitted alone, a player's result depends on nothing but that player's putts and
the seed: not on the others, nor on how many processes or machines did the work.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Callable, Iterator
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from joblib import Parallel, delayed, parallel_config
from joblib.externals.loky.process_executor import TerminatedWorkerError

from putlab.base.errors import FitError, PutlabError, UsageError
from putlab.base.settings import SEED

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.posterior.player import SpreadFit

# A process that died (out of memory, a machine switched off) is tried once more; a fit that
# failed its checks would fail again with the same seed.
TRIES = 2

# A scheduler that does not answer within so many seconds is not there.
CONNECT_S = 10.0

# Kinds of check told player by player before the rest is only counted.
TOLD = 5


@dataclass(frozen=True)
class RosterResult:
    """What came of each player."""

    results: dict
    failed: dict = field(default_factory=dict)

    def raise_failures(self) -> None:
        """Name the players without a result."""
        if not self.failed:
            return
        first = "; ".join(f"{name}: {why}" for name, why in list(self.failed.items())[:TOLD])
        more = len(self.failed) - TOLD
        total = len(self.failed) + len(self.results)
        raise FitError(
            f"{len(self.failed)} of {total} players have no result. {first}"
            + (f"; and {more} more: {', '.join(list(self.failed)[TOLD:])}." if more > 0 else "")
        )


def player_seed(seed: int, player: str) -> Any:
    """Return the seed of one player's fit, from the roster's seed and the player's label."""
    label = np.frombuffer(hashlib.sha256(player.encode()).digest(), dtype="<u4")
    return int(np.random.SeedSequence([seed, *label.tolist()]).generate_state(1)[0])


def log_of_player(log: Log, player: str) -> Any:
    """Return a log of one player's putts."""
    mine = log.putts[log.putts["player"] == player].reset_index(drop=True)
    return replace(log, putts=mine, rejects=log.rejects.head(0), warnings=[], notes=[])


def fitted(log: Log, fit: SpreadFit) -> Any:
    """Return the fit: the work of `each_player` where nothing else is asked for."""
    return fit


def fit_one(log: Log, work: Callable, seed: int, options: dict) -> Any:
    """Fit one player's log and do the work on it; runs in a worker."""
    from putlab.posterior.player import fit_log

    # Chains run one after the other: the cores are busy with other players.
    return work(log, fit_log(log, seed=seed, cores=1, **options))


def each_player(
    log: Log,
    work: Callable = fitted,
    *,
    seed: int = SEED,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Callable | None = None,
    **options: Any,
) -> Any:
    """Fit each player of a log alone, in a pool of processes or on a cluster.

    Parameters
    ----------
    log : putlab.log.read.Log
        The whole log.
    work : callable
        ``work(log_of_player, fit)``, done beside each fit; what it returns must be able to
        travel between processes. Default: the fit itself.
    seed : int
        Seed of the roster; each player's own follows from it and the label.
    workers : int, optional
        Processes; default: the machine's cores, at most one a player.
    cluster : str, optional
        Address of a running Dask scheduler (``tcp://HOST:PORT``) to use instead.
    progress : callable, optional
        ``progress(done, total, text)``, called as players are finished.
    **options
        ``draws``, ``tune``, ``chains``, ``cache``, ``priors`` of `putlab.posterior.player.fit_log`.

    Returns
    -------
    RosterResult
        A result or a reason for every player, the same for any number of workers.

    Raises
    ------
    UsageError
        The cluster can't be reached, or runs other versions.
    """
    players = list(log.putts["player"].drop_duplicates())
    jobs = {
        name: (log_of_player(log, name), work, player_seed(seed, name), options)
        for name in _alike_together(log, players)
    }
    results, failed = run_jobs(
        fit_one, jobs, workers=workers, cluster=cluster, finished=_told(progress, len(players))
    )
    return RosterResult(
        {name: results[name] for name in players if name in results},
        {name: reason(failed[name]) for name in players if name in failed},
    )


def run_jobs(
    function: Any, jobs: Any, *, workers: Any = None, cluster: Any = None, finished: Any = None
) -> tuple:
    """Run a function once a job, in processes here or on a Dask cluster."""
    state = _Done({}, {}, finished or (lambda name: None))
    if cluster is not None:
        with _dask(cluster):
            _run(function, jobs, state, len(jobs))
        return state.results, state.failed
    workers = max(1, min(workers or os.cpu_count() or 1, len(jobs)))
    try:
        _run(function, jobs, state, workers)
    except (TerminatedWorkerError, BrokenProcessPool):
        for name in [name for name in jobs if not state.has(name)]:
            try:
                _run(function, {name: jobs[name]}, state, 1)
            except (TerminatedWorkerError, BrokenProcessPool) as error:
                state.add(name, None, error)
    return state.results, state.failed


@dataclass
class _Done:
    """What came of each job so far."""

    results: dict
    failed: dict
    finished: object

    def has(self, name: Any) -> Any:
        return name in self.results or name in self.failed

    def add(self, name: Any, result: Any, error: Any) -> None:
        if error is None:
            self.results[name] = result
        else:
            self.failed[name] = error
        self.finished(name)


def _run(function: Any, jobs: Any, state: Any, workers: Any) -> None:
    # Two at the least: with one worker joblib would run the job in this very process.
    pool = Parallel(n_jobs=max(2, workers), return_as="generator_unordered", batch_size=1)
    gate = min(workers, len(jobs))
    pool.pre_dispatch = gate
    for found in pool(delayed(_attempted)(function, name, *job) for name, job in jobs.items()):
        state.add(*found)


def _attempted(function: Any, name: Any, *arguments: Any) -> tuple:
    """Return the name of a job with its result or its error; runs in a worker."""
    for attempt in range(TRIES):
        try:
            return name, function(*arguments), None
        except Exception as error:
            if isinstance(error, PutlabError) or attempt + 1 == TRIES:
                return name, None, error


@contextlib.contextmanager
def _dask(address: Any) -> Iterator[Any]:
    """Let joblib use a Dask cluster, refusing one that isn't there."""
    try:
        from distributed import Client

        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except ImportError as error:
        raise UsageError("a cluster needs `distributed`; install putlab[cluster].") from error
    except (OSError, ValueError) as error:
        raise UsageError(f"no Dask scheduler answers at {address}: {error}") from error
    with client, parallel_config("dask", client=client):
        yield


def _alike_together(log: Log, players: Any) -> Any:
    """Return players ordered by the size of their log: alike ones share a compiled model."""
    putts = log.putts.groupby("player", sort=False)
    size = putts[["session", "distance_ft", "condition"]].nunique()
    key = {name: tuple(size.loc[name]) for name in players}
    return sorted(players, key=lambda name: (key[name], name))


def _told(progress: Any, total: Any) -> Any:
    done = 0

    def finished(player: str) -> None:
        nonlocal done
        done += 1
        if progress:
            progress(done, total, f"{done} of {total} players done, last {player}")

    return finished


def reason(error: Exception) -> Any:
    """Return why a player has no result, in words."""
    if isinstance(error, PutlabError):
        return str(error)
    return f"the work stopped {TRIES} times ({type(error).__name__}: {error})"
