"""Whoever calculates, the results are the same bits, and a worker that dies costs nothing but time."""

from __future__ import annotations

import os
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from simlaunch.errors import SimlaunchError, UsageError
from simlaunch.simulation.batch import cores
from simlaunch.sweeping import chunk
from simlaunch.sweeping import cluster as clustered
from simlaunch.sweeping.backends import (
    MOST_TRIES,
    BackEnd,
    Chunks,
    Finished,
    Threads,
    pumped,
)
from simlaunch.sweeping.campaign import Progress, carry_out
from simlaunch.sweeping.chunk import ChunkResult, Spec, Stopped, never
from simlaunch.sweeping.cluster import Cluster, check_address
from simlaunch.sweeping.store import Reader
from sweep.carried_out import spec as longer_spec
from sweep.conftest import COUPE

distributed = pytest.importorskip("distributed")

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")


def _results(path: Path, spec: Spec, back_end: BackEnd, watch: Callable[[Progress], None] = lambda far: None) -> str:
    """Hash of the results of a whole sweep."""
    assert carry_out(spec, path, back_end, never, watch).done == spec.plan.size
    with Reader(path) as reader:
        assert reader.damaged() == []
        return reader.digest()


@pytest.fixture(scope="module")
def longer() -> Spec:
    """A hundred and forty-four short launches."""
    return longer_spec(str(COUPE))


@pytest.fixture(scope="module")
def expected(longer: Spec, tmp_path_factory: pytest.TempPathFactory) -> str:
    return _results(tmp_path_factory.mktemp("serial") / "a.sqlite", longer, Threads(1))


@pytest.fixture(scope="module")
def local() -> Iterator[Any]:
    """A cluster of two processes on this machine."""
    settings = {"distributed.scheduler.allowed-failures": 10, "distributed.logging": {"distributed": "critical"}}
    import dask

    with (
        dask.config.set(settings),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as made,
    ):
        yield made


@pytest.mark.parametrize("workers", [2, 3])
def test_threads_give_the_same_bits(tmp_path: Path, longer: Spec, expected: str, workers: int) -> None:
    assert _results(tmp_path / "a.sqlite", longer, Threads(workers)) == expected


def test_a_cluster_gives_the_same_bits_also_when_a_worker_is_killed(
    tmp_path: Path, longer: Spec, expected: str, local: Any
) -> None:
    back_end = Cluster(local.scheduler_address)
    assert back_end.workers == 2
    assert _results(tmp_path / "a.sqlite", longer, back_end) == expected
    killed: list[int] = []

    def kill_one(far: Progress) -> None:
        if far.cases is not None and not killed:
            killed.append(next(iter(local.workers.values())).pid)
            os.kill(killed[0], getattr(signal, "SIGKILL", signal.SIGTERM))

    assert _results(tmp_path / "b.sqlite", longer, back_end, kill_one) == expected
    assert len(killed) == 1
    back_end.close()


def test_a_worker_of_another_version_is_refused(monkeypatch: pytest.MonkeyPatch, local: Any) -> None:
    monkeypatch.setattr(chunk, "version", lambda: "0.0.0")  # of this process alone
    with pytest.raises(SimlaunchError, match="differ"):
        Cluster(local.scheduler_address)


def test_a_result_of_another_version_is_not_written(tmp_path: Path, longer: Spec) -> None:
    class Stranger(Threads):
        def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
            for number, result in super().results(spec, chunks, stopped):
                yield number, ChunkResult(result.first, result.values, result.ending, result.reasons, "0.0.0 other")

    path = tmp_path / "a.sqlite"
    with pytest.raises(SimlaunchError, match=r"a worker has simlaunch 0\.0\.0 other"):
        carry_out(longer, path, Stranger(1), never, lambda far: None)
    with Reader(path) as reader:
        assert reader.count() == 0


@pytest.mark.parametrize("address", ["tls://host:8786", "tcp://127.0.0.1:8786", "localhost:8786", "tcp://[::1]:8786"])
def test_an_address_on_this_machine_or_with_tls_is_taken(address: str) -> None:
    check_address(address, trust_network=False)


@pytest.mark.parametrize(
    "address", ["tcp://192.0.2.7:8786", "host:8786", "tcp://[2001:db8::1]:8786", "127.0.0.1.example.org:1"]
)
def test_an_open_address_beyond_this_machine_needs_trust(address: str) -> None:
    with pytest.raises(UsageError, match="--trust-network"):
        check_address(address, trust_network=False)
    check_address(address, trust_network=True)


@pytest.mark.parametrize("address", ["", "host", "ucx://host:1", "ws://host:1", "tcp://host", "inproc://a:1"])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(UsageError, match="is not an address"):
        check_address(address, trust_network=True)


def test_a_cluster_that_is_not_there_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clustered, "_ANSWER", 0.5)
    with pytest.raises(SimlaunchError, match="does not answer"):
        Cluster("tcp://127.0.0.1:9")


@pytest.mark.parametrize("back_end", [Threads(1), Threads(2)], ids=["one thread", "two threads"])
def test_the_work_stops_before_its_end(tmp_path: Path, longer: Spec, back_end: BackEnd) -> None:
    stop = threading.Event()

    def soon(far: Progress) -> None:
        if far.cases is not None:
            stop.set()

    carry_out(longer, tmp_path / "a.sqlite", back_end, stop.is_set, soon)
    with Reader(tmp_path / "a.sqlite") as reader:
        assert 0 < reader.count() < longer.plan.size


class _Mortal:
    """A pool that dies over some stretches, and with every death loses everything that is out."""

    lost: tuple[type[BaseException], ...] = (ConnectionError,)

    def __init__(self, deadly: Callable[[int, int], bool]) -> None:
        self.deadly, self.given, self.revived = deadly, Counter[int](), 0
        self._dead: set[tuple[int, int]] = set()

    def give(self, first: int, last: int) -> Any:
        self.given[first] += 1
        return first, self.given[first]

    def wait(self, futures: Iterable[Any]) -> set[Any]:
        return {_Answer(next(iter(futures)), self)}

    def revive(self) -> None:
        self.revived += 1


class _Answer:
    """A future that equals what was given for it."""

    def __init__(self, given: tuple[int, int], pool: _Mortal) -> None:
        self.given, self.pool = given, pool

    def __eq__(self, other: object) -> bool:
        return other == self.given

    def __hash__(self) -> int:
        return hash(self.given)

    def result(self) -> Any:
        if self.pool.deadly(*self.given):
            raise ConnectionError
        return self.given[0]


STRETCHES = {n: (10 * n, 10 * n + 10) for n in range(12)}


def test_a_stretch_that_kills_is_given_out_three_times_and_blamed_alone() -> None:
    pool = _Mortal(lambda first, time: first == 50)
    with pytest.raises(SimlaunchError, match="last with launches 50 to 59"):
        list(pumped(pool, STRETCHES, 2, never))
    assert pool.given[50] == MOST_TRIES == 3
    assert all(count <= 2 for first, count in pool.given.items() if first != 50)


def test_workers_that_die_now_and_then_cost_nothing_but_time() -> None:
    """Every stretch kills its worker the first time; none does so three times."""
    pool = _Mortal(lambda first, time: time == 1)
    found: list[Any] = [result for _, result in pumped(pool, STRETCHES, 2, never)]
    assert sorted(found) == [first for first, _ in STRETCHES.values()]
    assert max(pool.given.values()) <= MOST_TRIES
    assert pool.revived > 2


def test_a_cluster_reached_by_tls_gives_the_same_bits(
    tmp_path: Path, longer: Spec, expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a certificate made for this test alone; its keys reach the client by the settings of Dask."""
    import dask

    own, strange = distributed.Security.temporary(), distributed.Security.temporary()
    quiet = {"distributed.logging": {"distributed": "critical"}}
    started = {"n_workers": 1, "threads_per_worker": 2, "processes": False, "dashboard_address": "127.0.0.1:0"}
    with (
        dask.config.set(quiet),
        distributed.LocalCluster(**started, protocol="tls://", security=own, silence_logs=50) as made,
    ):
        address = made.scheduler_address
        assert address.startswith("tls://")
        with dask.config.set(_keys_of(own)):
            back_end = Cluster(address)
            assert _results(tmp_path / "a.sqlite", longer, back_end) == expected
            back_end.close()
        monkeypatch.setattr(clustered, "_ANSWER", 1.0)
        with dask.config.set(_keys_of(strange)), pytest.raises(SimlaunchError, match="does not answer"):
            Cluster(address)
        with pytest.raises(UsageError, match="needs a certificate; set distributed"):
            Cluster(address)
        missing = {**_keys_of(own), "distributed.comm.tls.ca-file": str(tmp_path / "missing.pem")}
        with dask.config.set(missing), pytest.raises(UsageError, match="certificate cannot be used"):
            Cluster(address)


def _keys_of(security: Any) -> dict[str, str]:
    """Settings of Dask that hold the keys of a client."""
    return {
        "distributed.comm.tls.ca-file": security.tls_ca_file,
        "distributed.comm.tls.client.cert": security.tls_client_cert,
        "distributed.comm.tls.client.key": security.tls_client_key,
    }


def test_as_many_workers_as_cores() -> None:
    assert Threads().workers == cores() >= 1
