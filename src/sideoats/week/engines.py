"""Engines: where the work of a week runs. All give the same results to the bit, since every draw is keyed by place.

An engine takes pieces of work and gives back (number of the piece, its result) as they finish, in any order. What is
common to all pieces is sent once to each worker. A piece that fails with one of our own errors gives that error as its
result; a worker that dies is an `EngineLost`, after which the run can be resumed from its store.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, Protocol

from sideoats.errors import InputError, SideoatsError

Work = Callable[[Any, Any], Any]  # (what is common, one piece) -> result; a module-level function, so that it travels
_WINDOW = 4  # pieces under way for each worker: enough to keep it busy, few enough to bound memory


class EngineLost(SideoatsError):
    """A worker or the scheduler went away in the middle of a run."""


class Engine(Protocol):
    """Anything that can run pieces of work."""

    name: str

    def run(self, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
        """Results with the number of their piece, as they finish."""
        ...


def guarded(work: Work, common: Any, piece: Any) -> Any:
    """The result of one piece, or our own error as a value, so that one bad piece does not end the run."""
    try:
        return work(common, piece)
    except SideoatsError as error:
        return error


class Serial:
    """One piece after another, in this process."""

    name = "serial"

    def run(self, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
        """See `Engine`."""
        for number, piece in enumerate(pieces):
            yield number, guarded(work, common, piece)


_COMMON: Any = None


def _receive(common: Any) -> None:
    global _COMMON
    _COMMON = common


def _in_worker(work: Work, number: int, piece: Any) -> tuple[int, Any]:
    return number, guarded(work, _COMMON, piece)


class Processes:
    """A pool of processes on this machine, started afresh (spawn: libraries with threads do not survive a fork)."""

    name = "processes"

    def __init__(self, workers: int | None = None) -> None:
        import os

        self.workers = workers or os.cpu_count() or 1

    def run(self, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
        """See `Engine`."""
        import multiprocessing
        from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
        from concurrent.futures.process import BrokenProcessPool

        spawn = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(self.workers, mp_context=spawn, initializer=_receive, initargs=(common,)) as pool:
            waiting: set[Future[tuple[int, Any]]] = set()
            source = enumerate(pieces)
            try:
                while True:
                    while len(waiting) < _WINDOW * self.workers and (item := next(source, None)) is not None:
                        waiting.add(pool.submit(_in_worker, work, *item))
                    if not waiting:
                        return
                    done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                    for future in done:
                        yield future.result()
            except BrokenProcessPool:
                raise EngineLost("a worker process died; run the same command again to go on from the store") from None


class Dask:
    """A Dask cluster: workers on this machine by default, or any scheduler by its address.

    Dask's scheduler takes work from whoever reaches its port: keep it on loopback, or use TLS (see docs/scale.md).
    """

    name = "dask"

    def __init__(self, address: str | None = None, workers: int | None = None) -> None:
        self.address, self.workers = address, workers

    def run(self, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
        """See `Engine`."""
        try:
            from distributed import Client, LocalCluster
            from distributed.client import FutureCancelledError
            from distributed.scheduler import KilledWorker
        except ImportError:
            raise InputError(
                "the Dask engine needs the office extra", todo="pip install -r requirements/office.txt"
            ) from None
        import os

        cluster = None
        if self.address is None:
            cluster = LocalCluster(
                n_workers=self.workers or os.cpu_count() or 1, threads_per_worker=1, host="127.0.0.1",
                dashboard_address=None, processes=True,
            )  # fmt: skip
        client = Client(cluster or self.address)
        try:
            yield from self._stream(client, work, common, pieces)
        except (KilledWorker, FutureCancelledError, OSError) as error:
            raise EngineLost(f"the Dask cluster was lost ({type(error).__name__}); run again to go on") from None
        finally:
            client.close()
            if cluster is not None:
                cluster.close()

    def _stream(self, client: Any, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
        from distributed import as_completed

        shared = client.scatter(common, broadcast=True)
        window = _WINDOW * max(1, len(client.scheduler_info()["workers"]))
        source = enumerate(pieces)
        numbers: dict[str, int] = {}
        under_way = as_completed()

        def submit() -> bool:
            item = next(source, None)
            if item is None:
                return False
            future = client.submit(guarded, work, shared, item[1], pure=False)
            numbers[future.key] = item[0]
            under_way.add(future)
            return True

        for _ in range(window):
            if not submit():
                break
        for future in under_way:
            number = numbers.pop(future.key)
            result = future.result()
            future.release()
            submit()
            yield number, result


def engine_named(name: str, *, workers: int | None = None, address: str | None = None) -> Engine:
    """serial, processes or dask. Raises InputError on any other name."""
    if name == "serial":
        return Serial()
    if name == "processes":
        return Processes(workers)
    if name == "dask":
        return Dask(address, workers)
    raise InputError(f"engine {name!r} is not known", expected="serial, processes or dask")
