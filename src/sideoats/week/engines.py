"""Engines: where the work of a week runs. All give the same results to the bit, since every draw is keyed by place.

An engine takes pieces of work and gives back (number of the piece, its result) as they finish, in any order. What is
common to all pieces is sent once to each worker. A piece that fails with one of our own errors gives that error as its
result; a worker that dies is an `EngineLost`, after which the run can be resumed from its store.
"""

from __future__ import annotations

import gc
import os
import pickle
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import ExitStack, contextmanager
from queue import Empty, SimpleQueue
from typing import Any, Protocol

from sideoats.errors import InputError, SideoatsError

Work = Callable[[Any, Any], Any]  # (what is common, one piece) -> result; a module-level function, so that it travels
_WINDOW = 4  # pieces under way for each worker: enough to keep it busy, few enough to bound memory
_PATIENCE = 20.0  # seconds without any result after which we look whether a Dask worker is left


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


def _collect_rarely() -> None:
    """What is common lives as long as the run, and calls are trees without rings: looking through all of them for
    rings again and again finds nothing, and costs a tenth of the run."""
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


class Serial:
    """One piece after another, in this process."""

    name = "serial"

    def run(self, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
        """See `Engine`."""
        usual = gc.get_threshold()
        _collect_rarely()
        try:
            for number, piece in enumerate(pieces):
                yield number, guarded(work, common, piece)
        finally:
            gc.set_threshold(*usual)
            gc.unfreeze()


_COMMON: Any = None


def _receive(path: str) -> None:
    global _COMMON
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with open(path, "rb") as shared:
        _COMMON = pickle.load(shared)  # noqa: S301  written by the parent a moment ago, readable by this user only
    _collect_rarely()


def _end_with_parent() -> None:
    """A worker waits for work for ever: if the run itself is killed, nobody else would end it."""
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _in_worker(work: Work, number: int, piece: Any) -> tuple[int, Any]:
    return number, guarded(work, _COMMON, piece)


@contextmanager
def _written(common: Any) -> Iterator[str]:
    """A file with what is common, for workers to read as they start.

    Not sent through the pipe by which a process is started: that would wait for ever for a worker that died on the way.
    """
    with tempfile.NamedTemporaryFile(prefix="sideoats-", suffix=".run") as shared:
        try:
            pickle.dump(common, shared, pickle.HIGHEST_PROTOCOL)
            shared.flush()
        except OSError as error:
            raise EngineLost(f"workers cannot be started: {error.strerror} in {tempfile.gettempdir()}") from None
        yield shared.name


class Processes:
    """A pool of processes on this machine, started afresh (spawn: libraries with threads do not survive a fork)."""

    name = "processes"

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or os.cpu_count() or 1

    def run(self, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
        """See `Engine`."""
        import multiprocessing
        from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
        from concurrent.futures.process import BrokenProcessPool

        spawn = multiprocessing.get_context("spawn")
        with (
            _written(common) as path,
            ProcessPoolExecutor(self.workers, mp_context=spawn, initializer=_receive, initargs=(path,)) as pool,
        ):
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
        """See `Engine`. A piece whose worker died is done again by another, three times at most."""
        try:
            from distributed.client import FutureCancelledError
            from distributed.scheduler import KilledWorker
        except ImportError:
            raise InputError(
                "the Dask engine needs the office extra", todo="pip install -r requirements/office.txt"
            ) from None
        with self._client() as client:
            try:
                yield from _streamed(client, work, common, pieces)
            except (KilledWorker, FutureCancelledError, CancelledError, OSError) as error:
                lost = f"the Dask cluster was lost ({type(error).__name__})"
                raise EngineLost(f"{lost}; run the same command again to go on from the store") from None

    @contextmanager
    def _client(self) -> Iterator[Any]:
        from distributed import Client, LocalCluster

        with ExitStack() as opened:
            if self.address is None:
                cluster = opened.enter_context(  # None would mean port 8787, which another run may hold
                    LocalCluster(
                        n_workers=self.workers or os.cpu_count() or 1,
                        threads_per_worker=1,
                        host="127.0.0.1",
                        dashboard_address="127.0.0.1:0",
                        processes=True,
                    )
                )
                yield opened.enter_context(Client(cluster))
                return
            try:
                client = opened.enter_context(Client(self.address, timeout=10))
                client.wait_for_workers(1, timeout=10)
            except (OSError, ValueError) as error:  # no such address, nobody there, no worker in time
                raise InputError(
                    f"no Dask workers are reached at {self.address} ({type(error).__name__})",
                    expected="the address of a running scheduler such as tcp://127.0.0.1:8786",
                ) from None
            _same_program(client)
            yield client


def _same_program(client: Any) -> None:
    """Refuse workers that hold another Sideoats, whose answers would be mixed with ours."""
    from sideoats.version import VERSION

    try:
        found = set(client.run(_version).values())
    except Exception as error:  # whatever a worker without Sideoats says
        raise EngineLost(f"the Dask workers cannot run Sideoats ({type(error).__name__}); install it there") from None
    if found != {VERSION}:
        raise EngineLost(f"the Dask workers hold Sideoats {', '.join(sorted(found))} and this is {VERSION}")


def _version() -> str:
    from sideoats.version import VERSION

    return VERSION


def _streamed(client: Any, work: Work, common: Any, pieces: Iterable[Any]) -> Iterator[tuple[int, Any]]:
    shared = client.scatter(common, broadcast=True)
    window = _WINDOW * max(1, len(client.scheduler_info()["workers"]))
    source = enumerate(pieces)
    numbers: dict[str, int] = {}
    done: SimpleQueue[Any] = SimpleQueue()

    def submit() -> None:
        item = next(source, None)
        if item is not None:
            future = client.submit(guarded, work, shared, item[1], pure=False)
            numbers[future.key] = item[0]
            future.add_done_callback(done.put)

    for _ in range(window):
        submit()
    while numbers:
        try:
            future = done.get(timeout=_PATIENCE)
        except Empty:
            if client.scheduler_info()["workers"]:
                continue
            raise EngineLost("no Dask worker is left; start workers and run again to go on from the store") from None
        number, result = numbers.pop(future.key), future.result()
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
