"""Many cases: one function over all of them, by any executor, with the same answers for any number of workers."""

from __future__ import annotations

import copyreg
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from types import MappingProxyType
from typing import TypeVar

from burden.utils.progress import report_progress

__all__ = ["each", "processes"]

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
            yield i, work(item)
        return
    places = {executor.submit(work, item): i for i, item in enumerate(items)}
    try:
        for done, future in enumerate(as_completed(places)):
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
