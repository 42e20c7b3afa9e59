"""Many cases: one function over all of them, by any executor, with the same answers for any number of workers."""

from __future__ import annotations

import copyreg
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError, Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from functools import partial
from types import MappingProxyType
from typing import Any, TypeVar

from burden.utils.environment import draw_by_own_settings
from burden.utils.errors import BurdenError, InputError, Problem
from burden.utils.progress import part_of, report_progress

__all__ = ["cluster", "each", "processes"]

Item = TypeVar("Item")
Found = TypeVar("Found")


def _frozen(plain: dict) -> MappingProxyType:
    return MappingProxyType(plain)


def _as_dict(mapping: MappingProxyType) -> tuple[Callable[[dict], MappingProxyType], tuple[dict]]:
    return _frozen, (dict(mapping),)


# frozen mappings have no pickle of their own, and cases on their way to another process hold some
copyreg.pickle(MappingProxyType, _as_dict)


def each(
    work: Callable[[Item], Found], items: Sequence[Item], executor: Executor | None = None, stage: str = "cases"
) -> Iterator[tuple[int, Found]]:
    """Do some work on every item, and yield place and answer of each as it is done.

    Parameters
    ----------
    work : callable
        Takes one item; for processes a function of a module, or a partial of one.
    items : sequence
    executor : concurrent.futures.Executor, optional
        Any: a pool of processes or threads, a cluster's. Without one the work is done here, in order.
    stage : str
        What to call it while it lasts.

    Yields
    ------
    tuple of (int, object)
        Place of the item, and the answer.

    Raises
    ------
    Exception
        The first that the work raises; what was not begun is then called off.

    Examples
    --------
    >>> sorted(each(abs, [-3, 2]))
    [(0, 3), (1, 2)]
    """
    if executor is None:
        for i, item in enumerate(items):
            report_progress(stage, i / len(items))
            with part_of(stage, i, len(items)):
                found = work(item)
            yield i, found
        return
    report_progress(stage, 0.0)
    places = {executor.submit(work, item): i for i, item in enumerate(items)}
    try:
        for done, future in enumerate(as_completed(places), 1):
            report_progress(stage, done / len(items))
            yield places[future], future.result()
    finally:
        for future in places:
            future.cancel()


@contextmanager
def processes(workers: int) -> Iterator[Executor | None]:
    """Start so many processes to work in; None, for this one, where one is enough.

    Parameters
    ----------
    workers : int
        Number of processes.

    Notes
    -----
    They start afresh rather than as copies of this process, whose threads a copy would not have.
    """
    if workers <= 1:
        yield None
        return
    from multiprocessing import get_context

    with ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_leave_quietly) as executor:
        try:
            yield executor
        except BaseException:
            executor.shutdown(wait=False, cancel_futures=True)
            raise


def _leave_quietly() -> None:
    """A worker interrupted together with its parent has nothing to say of its own, and none outlives its parent."""
    signal.signal(signal.SIGINT, lambda *_: os._exit(130))
    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # as the command line has it
    threading.Thread(target=_end_with_the_parent, daemon=True).start()


def _end_with_the_parent() -> None:
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


#: a scheduler or a worker that is starting has so long to be there [s]
_PATIENCE = 30


@contextmanager
def cluster(address: str, version: Callable[[], str]) -> Iterator[Executor]:
    """Work on a running cluster of `dask.distributed`, whose workers may come and go meanwhile.

    Parameters
    ----------
    address : str
        Of its scheduler, as tcp://host:port or tls://host:port.
    version : callable
        A function of a module, or a partial of one, that says what program it runs in; every worker has to say the
        same as this process, since another program may give other bytes.

    Raises
    ------
    InputError
        Where `dask.distributed` is not installed, or no scheduler with a worker answers.
    BurdenError
        Where the cluster breaks off: a worker runs another program, one case ended several workers, or the scheduler
        went away.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise _refused(
            address, "dask.distributed", 'Install it: pip install "burden[cluster]", or leave --scheduler out.'
        ) from None
    try:
        client = Client(address, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError):
        raise _refused(
            address, "a scheduler that answers", "Start one with `dask scheduler`, and give the address it prints."
        ) from None
    with client:
        _await_a_worker(client, address)
        try:
            yield _Guarded(client.get_executor(), version)
        except KilledWorker as error:
            raise BurdenError(
                f"the cluster gave a case up that ended its workers; give them more memory: {error}"
            ) from error
        except CancelledError as error:
            raise BurdenError("the cluster's scheduler went away; run the same command again to go on") from error


def _await_a_worker(client: Any, address: str) -> None:
    report_progress("waiting for a worker")
    try:
        client.wait_for_workers(1, timeout=_PATIENCE)
    except TimeoutError:
        raise _refused(address, "at least one worker", f"Start one: dask worker {address} --nthreads 1") from None


def _refused(address: str, expected: str, fix: str) -> InputError:
    return InputError([Problem("command line", "--scheduler", address, expected, fix)])


class _Guarded(Executor):
    """An executor whose work is done one at a time in a process, by the same program as here."""

    def __init__(self, executor: Executor, version: Callable[[], str]) -> None:
        self.executor, self.version = executor, version

    def submit(self, work: Callable[..., Found], /, *args: Any, **more: Any) -> Future[Found]:
        """Hand work on, with what it asks of its worker."""
        return self.executor.submit(partial(_same_as_here, work, self.version, self.version()), *args, **more)


_one_at_a_time = threading.Lock()  # figures have settings that a process holds once


def _same_as_here(
    work: Callable[..., Found], version: Callable[[], str], expected: str, *args: Any, **more: Any
) -> Found:
    with _one_at_a_time:
        if version() != expected:
            raise BurdenError(
                "a worker of the cluster runs another version of burden or of its libraries, which may give another "
                "answer; install the same on all machines and start the worker again"
            )
        draw_by_own_settings()
        return work(*args, **more)
