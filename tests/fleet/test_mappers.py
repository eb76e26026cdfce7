"""The same work here, in processes and on dask: one promise, kept by each."""

import asyncio
import os

import psutil
import pytest
from distributed import Future, LocalCluster
from distributed.comm import CommClosedError

from controller.adapters.fleet import Lost, SchedulerError, pool
from controller.adapters.fleet.on_dask import OnDask, cluster, scheduler
from tests.fleet.work import (
    Deadly,
    Homebound,
    halved,
    inverse,
    number_of,
    whereabouts,
)

pytestmark = pytest.mark.slow


def theirs(n_workers):
    """Return a cluster that somebody else keeps."""
    here = "127.0.0.1"
    return LocalCluster(n_workers=n_workers, host=here, dashboard_address=f"{here}:0")


def test_results_come_in_the_order_of_the_items(mapper):
    assert mapper.map(inverse, range(1, 9)) == [1 / n for n in range(1, 9)]


def test_no_items_give_no_results(mapper):
    assert mapper.map(inverse, []) == []


def test_what_raises_is_lost_and_says_why_and_the_rest_goes_on(mapper):
    results = mapper.map(inverse, [2, 0, 4])
    assert results == [0.5, Lost("ZeroDivisionError: division by zero"), 0.25]


def test_every_result_is_told_once_as_it_comes(mapper):
    came = {}

    def take(number, result):
        assert number not in came
        came[number] = result

    results = mapper.map(inverse, [1, 0, 2], take)
    assert results == [came[0], came[1], came[2]]


def test_what_the_listener_raises_ends_the_work(mapper):
    def full(number, result):
        raise OSError("no room")

    with pytest.raises(OSError, match="no room"):
        mapper.map(inverse, [1, 2], full)


def test_a_killed_worker_loses_nothing(processes, tmp_path):
    items = [Deadly(n, str(tmp_path), deaths=n == 3) for n in range(8)]
    assert processes.map(halved, items) == [n / 2 for n in range(8)]


def test_an_item_that_kills_two_workers_is_given_up_and_nobody_else(
    processes, tmp_path
):
    items = [Deadly(n, str(tmp_path), deaths=9 * (n in {0, 5})) for n in range(8)]
    results = processes.map(halved, items)
    lost = [n for n, result in enumerate(results) if isinstance(result, Lost)]
    assert lost == [0, 5]
    assert "2 workers" in results[0].why
    assert [results[n] for n in (1, 2, 3, 4, 6, 7)] == [0.5, 1, 1.5, 2, 3, 3.5]
    deaths = (tmp_path / "0.deaths").read_text()
    # On dask nobody knows whether the first death, in company, was its fault.
    assert deaths in {"xx", "xxx"}


def test_an_item_that_kills_one_worker_is_done_by_another(processes, tmp_path):
    items = [Deadly(n, str(tmp_path), deaths=1) for n in range(8)]
    assert processes.map(halved, items) == [n / 2 for n in range(8)]


def test_an_item_that_does_not_arrive_is_lost_and_nobody_else(processes):
    items = [Homebound(n, os.getpid() if n == 1 else None) for n in range(4)]
    one, lost, *others = processes.map(number_of, items)
    assert [one, *others] == [0, 2, 3]
    assert isinstance(lost, Lost)


def test_workers_of_a_cluster_that_are_killed_as_they_begin_are_replaced(begun_since):
    killed = []
    with cluster(workers=1, nice=0) as mapper:
        while len(killed) < 4:
            for one in begun_since():
                one.kill()
                one.wait()
                killed.append(one)
        assert mapper.map(inverse, [2, 4]) == [0.5, 0.25]


@pytest.mark.parametrize("way", [pool, cluster])
def test_workers_stay_and_are_polite(way):
    with way(workers=2) as mapper:
        found = [*mapper.map(whereabouts, range(4)), *mapper.map(whereabouts, [0])]
    assert len({pid for pid, _, _ in found}) <= 2
    assert os.getpid() not in {pid for pid, _, _ in found}
    assert all(nice >= 10 and len(on) == 1 for _, nice, on in found)


@pytest.mark.parametrize("way", [pool, cluster])
def test_without_workers_it_is_refused(way):
    with pytest.raises(ValueError, match="found 0, at least 1"), way(workers=0):
        pass


def test_a_cluster_of_our_own_listens_on_the_loopback_interface_alone():
    with cluster(workers=1, nice=0) as mapper:
        assert mapper.map(inverse, [2]) == [0.5]
        me = psutil.Process()
        everyone = [me, *me.children(recursive=True)]
        listening = [
            found.laddr.ip
            for one in everyone
            for found in one.net_connections("tcp")
            if found.status == psutil.CONN_LISTEN
        ]
    assert len(listening) >= 2  # the scheduler and a worker at least
    assert set(listening) == {"127.0.0.1"}


def test_a_scheduler_that_is_there_is_used():
    with cluster(workers=1, nice=0) as own:
        address = own._client.scheduler.address
        with scheduler(address) as mapper:
            assert mapper.map(inverse, [4, 0])[0] == 0.25


def test_a_scheduler_without_workers_is_told(monkeypatch):
    monkeypatch.setattr("controller.adapters.fleet.on_dask.LOOK_S", 0.05)
    monkeypatch.setattr("controller.adapters.fleet.on_dask.NOBODY_S", 0.2)
    with (
        theirs(n_workers=0) as empty,
        scheduler(empty.scheduler_address) as mapper,
        pytest.raises(SchedulerError, match=r"has told of no worker for 0\.2 s"),
    ):
        mapper.map(inverse, [2])


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch):
    async def silent(_self):
        await asyncio.Event().wait()

    monkeypatch.setattr("controller.adapters.fleet.on_dask.LOOK_S", 0.05)
    monkeypatch.setattr("controller.adapters.fleet.on_dask.NOBODY_S", 0.2)
    monkeypatch.setattr(OnDask, "_sees_worker", silent)
    with (
        theirs(n_workers=0) as empty,
        scheduler(empty.scheduler_address) as mapper,
        pytest.raises(SchedulerError, match="has told of no worker"),
    ):
        mapper.map(inverse, [2])


def test_a_scheduler_that_goes_away_with_a_result_is_told(way, monkeypatch):
    def cut(_self):
        raise CommClosedError("in the middle")

    monkeypatch.setattr(Future, "result", cut)
    came = []
    with pytest.raises(SchedulerError, match="went away"):
        way("dask").map(inverse, [2], lambda *one: came.append(one))
    assert came == []


def test_a_scheduler_that_goes_away_meanwhile_is_told():
    with (
        theirs(n_workers=1) as own,
        scheduler(own.scheduler_address) as mapper,
        pytest.raises(SchedulerError, match="went away"),
    ):
        mapper.map(inverse, range(1, 99), lambda _number, _result: own.close())


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nowhere"])
def test_a_scheduler_that_is_not_there_is_told(address, monkeypatch):
    monkeypatch.setattr("controller.adapters.fleet.on_dask.ANSWER_S", 0.2)
    with pytest.raises(SchedulerError, match=address), scheduler(address):
        pass
