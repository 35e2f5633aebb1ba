"""Rosters: the same results by any number of workers, and no player lost."""

import hashlib
import os
import signal
import time

import numpy as np
import pytest
import roster_jobs
from made_logs import simulated_log

from putlab.base.errors import FitError, UsageError
from putlab.posterior.fit import fit_log
from putlab.posterior.roster import RosterResult, each_player, player_seed, run_jobs


@pytest.fixture
def stubbed(monkeypatch):
    """Let the workers count and draw in place of sampling; the posting is the real one."""
    monkeypatch.setattr("putlab.posterior.roster.fit_one", roster_jobs.counted_and_drawn)


@pytest.fixture(scope="module")
def cluster():
    """A local cluster of two processes."""
    import distributed

    options = {"dashboard_address": None, "threads_per_worker": 1}
    with distributed.LocalCluster(n_workers=2, processes=True, **options) as running:
        yield running


def roster(rng, players=3):
    return simulated_log(rng, players=players, sessions=2, lengths=[4.0, 9.0], each=5)


def jobs(tmp_path, **kinds):
    return {name: (kind, str(tmp_path / name)) for name, kind in kinds.items()}


def attempts(tmp_path, name):
    return len((tmp_path / name).read_text(encoding="utf-8").split())


def test_a_players_seed_follows_from_the_label_alone():
    words = np.frombuffer(hashlib.sha256(b"birch").digest(), dtype="<u4")
    expected = np.random.SeedSequence([7, *map(int, words)]).generate_state(1)[0]
    assert player_seed(7, "birch") == expected
    assert len({player_seed(7, name) for name in ("birch", "alder", "rowan")}) == 3
    assert player_seed(8, "birch") != player_seed(7, "birch")


@pytest.mark.usefixtures("stubbed")
def test_results_do_not_depend_on_the_number_of_workers(rng):
    log = roster(rng)
    said = []
    one = each_player(log, seed=3, workers=1, draws=5, progress=lambda *a: said.append(a))
    two = each_player(log, seed=3, workers=2, draws=5)
    assert one == two
    assert list(one.results) == ["player 1", "player 2", "player 3"]
    assert [done for done, _, _ in said] == [1, 2, 3]
    assert one.results["player 1"]["options"] == {"draws": 5}
    expected = np.random.default_rng(player_seed(3, "player 2")).normal(size=3)
    assert one.results["player 2"]["draws"] == expected.tolist()


@pytest.mark.usefixtures("stubbed")
def test_a_player_gets_the_same_alone_and_among_others(rng):
    log = roster(rng)
    alone = each_player(log.only("player 3"), seed=3, workers=1).results
    assert alone["player 3"] == each_player(log, seed=3, workers=2).results["player 3"]


@pytest.mark.usefixtures("stubbed")
def test_a_cluster_gives_what_one_machine_gives(rng, cluster):
    log = roster(rng)
    said = []
    there = each_player(
        log, seed=3, cluster=cluster.scheduler_address, progress=lambda *a: said.append(a)
    )
    assert there == each_player(log, seed=3, workers=1)
    assert len(said) == 3


def test_jobs_are_spread_over_processes(tmp_path):
    names = {name: (str(tmp_path), name) for name in ("a", "b")}
    results, failed = run_jobs(roster_jobs.meet, names, workers=2)
    assert len(set(results.values()) - {os.getpid()}) == 2
    assert failed == {}


def test_a_dead_process_costs_its_own_job_one_try_and_no_other_any(tmp_path):
    kinds = {"a": "dies once", "b": "dies", "c": "fine", "d": "fine", "e": "no fit"}
    done = []
    # One process, so that it is known who was at work when it died.
    results, failed = run_jobs(
        roster_jobs.run, jobs(tmp_path, **kinds), workers=1, progress=lambda *at: done.append(at)
    )
    assert results == {"a": 2, "c": 1, "d": 1}
    assert set(failed) == {"b", "e"}
    assert attempts(tmp_path, "b") == 2
    assert attempts(tmp_path, "e") == 1, "a fit that failed its checks would fail again"
    assert sorted(said[-1] for *_, said in done) == ["a", "b", "c", "d", "e"]
    assert [number for number, *_ in done] == [1, 2, 3, 4, 5]


def test_a_cluster_names_what_failed(tmp_path, cluster):
    kinds = {"b": "breaks", "c": "fine", "e": "no fit"}
    address = cluster.scheduler_address
    results, failed = run_jobs(roster_jobs.run, jobs(tmp_path, **kinds), cluster=address)
    assert results == {"c": 1}
    assert isinstance(failed["b"], ValueError)
    assert isinstance(failed["e"], FitError)
    assert (attempts(tmp_path, "b"), attempts(tmp_path, "e")) == (1, 1)


def test_two_workers_killed_during_the_run_lose_no_player(tmp_path, cluster):
    kinds = {"a": "fine", "b": "dies once", "c": "fine", "d": "dies once"}
    kinds |= dict.fromkeys(("e", "f", "g", "h"), "fine")
    address = cluster.scheduler_address
    results, failed = run_jobs(roster_jobs.run, jobs(tmp_path, **kinds), cluster=address)
    assert failed == {}
    assert set(results) == set(kinds)
    # Each killed its worker once and was done again; once more where the other's end took it.
    assert min(results["b"], results["d"]) >= 2


def test_a_cluster_that_is_not_there_is_refused(monkeypatch):
    monkeypatch.setattr("putlab.posterior.roster.CONNECT_S", 0.5)
    with pytest.raises(UsageError, match="no Dask scheduler answers at tcp://127.0.0.1:9"):
        run_jobs(roster_jobs.run, {"a": ("fine", "")}, cluster="tcp://127.0.0.1:9")


def test_failures_are_named():
    failed = {f"p{n}": "no readings" for n in range(7)}
    with pytest.raises(FitError, match=r"7 of 8 players .* p0: no readings.* 2 more: p5, p6"):
        RosterResult({"q": 1}, failed).raise_failures()
    RosterResult({"q": 1}).raise_failures()


@pytest.mark.slow
def test_a_fit_in_a_worker_is_the_fit_made_here(rng, own_cache):
    log = roster(rng, players=1)
    quick = {"draws": 500, "cache": False}
    there = each_player(log, seed=5, workers=1, **quick).results["player 1"]
    here = fit_log(log, seed=player_seed(5, "player 1"), **quick)
    for component in ("line", "pace"):
        found, expected = (f.posteriors[component]["posterior"] for f in (there, here))
        assert found.dataset.equals(expected.dataset)


def test_results_whose_workers_die_before_they_are_fetched_are_made_again(tmp_path, cluster):
    """The cluster holds results until they are asked for, and dies with them."""

    def kill_all(done, total, said):
        if done > 1:
            return
        deadline = time.monotonic() + 120
        held = cluster.scheduler.tasks
        while sum(task.state == "memory" for task in held.values()) < total:
            assert time.monotonic() < deadline, "the jobs were not done"
            time.sleep(0.02)
        for worker in cluster.workers.values():
            os.kill(worker.pid, signal.SIGKILL)

    names = dict.fromkeys(("a", "b", "c", "d"), "fine")
    address = cluster.scheduler_address
    results, failed = run_jobs(
        roster_jobs.run, jobs(tmp_path, **names), cluster=address, progress=kill_all
    )
    assert failed == {}
    assert set(results) == set(names)
    assert sum(attempts(tmp_path, name) for name in names) > len(names)
