"""Jobs on a running Dask cluster, with the same results as in a pool on one machine."""

import threading

from putlab.errors import UsageError
from putlab.roster import TRIES, lasting

# Long enough for a busy scheduler, short enough to tell of a wrong address.
CONNECT_S = 20

# Dask may give a worker several threads; a compiled model serves one fit at a time.
_one_at_a_time = threading.Lock()


def run_on_cluster(function, jobs, *, address, finished=None):
    """Run a function once a job on the workers of a Dask scheduler.

    Parameters
    ----------
    function : callable
        ``function(*arguments)``, importable on the workers.
    jobs : dict of str to tuple
        Arguments by the name of the job.
    address : str
        Address of the scheduler, ``tcp://HOST:PORT``.
    finished : callable, optional
        ``finished(name)``, called when a job has its result or has failed for good.

    Returns
    -------
    tuple of dict
        Results by name, and errors by name; every job is in one of them.

    Raises
    ------
    UsageError
        Dask is not installed, the scheduler can't be reached, has no workers, or its
        workers run other versions.
    """
    finished = finished or (lambda name: None)
    results, failed = {}, {}
    with _connected(address) as client:
        _same_versions(client, address)
        waiting = dict.fromkeys(jobs, 1)
        while waiting:
            for name, outcome in _outcomes(client, function, {n: jobs[n] for n in waiting}):
                if not isinstance(outcome, BaseException):
                    results[name] = outcome
                elif waiting[name] < TRIES and not lasting(outcome):
                    waiting[name] += 1
                    continue
                else:
                    failed[name] = outcome
                del waiting[name]
                finished(name)
    return results, failed


def _connected(address):
    try:
        from distributed import Client
    except ImportError as error:
        raise UsageError(
            "--cluster needs Dask, which is not installed: install putlab[cluster]."
        ) from error
    try:
        return Client(address, timeout=CONNECT_S)
    except (OSError, ValueError, TimeoutError) as error:
        raise UsageError(
            f"no Dask scheduler answers at {address} ({error}). Expected an address such as "
            "tcp://HOST:8786 of a running one; start it with `dask scheduler`, and workers "
            "with `dask worker tcp://HOST:8786 --nthreads 1`."
        ) from error


def _same_versions(client, address):
    """Refuse workers whose results could differ from this machine's."""
    from putlab.fitting import versions

    here, there = versions(), client.run(versions, on_error="return")
    if not there:
        raise UsageError(
            f"the scheduler at {address} has no workers; start some with "
            f"`dask worker {address} --nthreads 1`."
        )
    for worker, found in there.items():
        if found != here:
            raise UsageError(
                f"worker {worker} of {address} has not what this machine has, so results "
                f"could differ: {_difference(found, here)}. Install the same versions there."
            )


def _difference(found, here):
    if isinstance(found, BaseException):
        return f"putlab can't be used there ({found})"
    return ", ".join(
        f"{name} {found.get(name)} instead of {version}"
        for name, version in here.items()
        if found.get(name) != version
    )


def _outcomes(client, function, jobs):
    """Yield name and result or error of each job, as they come."""
    from distributed import as_completed

    futures = {
        # Dask would take a second run for the first one's answer unless told otherwise.
        client.submit(_alone, function, arguments, pure=False): name
        for name, arguments in jobs.items()
    }
    for future in as_completed(list(futures)):
        name = futures.pop(future)
        outcome = future.result() if future.status == "finished" else _error_of(future)
        # Let the cluster forget it: a long roster would fill the workers' memory.
        future.release()
        yield name, outcome


def _error_of(future):
    return future.exception() or RuntimeError(f"the cluster {future.status} the job")


def _alone(function, arguments):
    with _one_at_a_time:
        return function(*arguments)
