"""Jobs in a pool of processes on this machine, in which a dead process costs one job a try."""

import multiprocessing
import os
import queue
import threading
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

from putlab.roster import TRIES, lasting


def run_in_pool(function, jobs, *, workers=None, finished=None):
    """Run a function once a job, each process taking the next job when it is free.

    Parameters
    ----------
    function : callable
        ``function(*arguments)``, importable by name.
    jobs : dict of str to tuple
        Arguments by the name of the job.
    workers : int, optional
        Processes; default: the machine's cores, at most one a job.
    finished : callable, optional
        ``finished(name)``, called when a job has its result or has failed for good.

    Returns
    -------
    tuple of dict
        Results by name, and errors by name; every job is in one of them.
    """
    workers = max(1, min(workers or os.cpu_count() or 1, len(jobs)))
    left = queue.SimpleQueue()
    for name in jobs:
        left.put((name, 1))
    state = _State(function, jobs, left, finished or (lambda name: None))
    threads = [threading.Thread(target=state.work, daemon=True) for _ in range(workers)]
    for thread in threads:
        thread.start()
    try:
        for thread in threads:
            thread.join()
    finally:
        state.stopped.set()
    return state.results, state.failed


class _State:
    """Jobs left and done, shared by the threads that each drive one process."""

    def __init__(self, function, jobs, left, finished):
        self.function, self.jobs, self.left, self.finished = function, jobs, left, finished
        self.results, self.failed = {}, {}
        self.lock, self.stopped = threading.Lock(), threading.Event()

    def work(self):
        """Drive one process until no job is left; a dead one is replaced."""
        process = _new_process()
        try:
            while not self.stopped.is_set():
                try:
                    name, attempt = self.left.get_nowait()
                except queue.Empty:
                    return
                try:
                    result = process.submit(self.function, *self.jobs[name]).result()
                except Exception as error:
                    # One job a process at a time: what broke it, broke it in this job.
                    if isinstance(error, BrokenProcessPool):
                        process = _new_process()
                    self._stumbled(name, attempt, error)
                else:
                    self._done(self.results, name, result)
        finally:
            process.shutdown(wait=False, cancel_futures=True)

    def _stumbled(self, name, attempt, error):
        if attempt < TRIES and not lasting(error):
            self.left.put((name, attempt + 1))
        else:
            self._done(self.failed, name, error)

    def _done(self, table, name, value):
        with self.lock:
            table[name] = value
            self.finished(name)


def _new_process():
    # Spawned, not forked: the sampler has threads, which a fork would leave half copied.
    return ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))
