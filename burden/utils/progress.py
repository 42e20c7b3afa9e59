"""What a long computation is at, told to whoever listens. Nobody does unless the edge of the house asks.

The core says where it is and prints nothing; a listener only looks on, so no answer depends on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

__all__ = ["Listener", "listening", "part_of", "report_progress", "track"]

#: takes the stage in words, and the share of it that is done, or None where that is not known
Listener = Callable[[str, float | None], None]
T = TypeVar("T")
_listener: ContextVar[Listener | None] = ContextVar("progress listener", default=None)


@contextmanager
def listening(listener: Listener) -> Iterator[None]:
    """Have a listener told of everything done inside."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)


def report_progress(stage: str, share: float | None = None) -> None:
    """Say what is being done.

    Parameters
    ----------
    stage : str
        In words a vet understands.
    share : float, optional
        Done so far, 0 to 1 [-].

    Examples
    --------
    >>> heard = []
    >>> with listening(lambda stage, share: heard.append((stage, share))):
    ...     report_progress("looking")
    >>> heard
    [('looking', None)]
    """
    listener = _listener.get()
    if listener is not None:
        listener(stage, share)


@contextmanager
def part_of(stage: str, done: int, of: int) -> Iterator[None]:
    """Have what is done inside told as one part of a larger stage, so that its own stages do not hide how far that is.

    Parameters
    ----------
    stage : str
        The larger one.
    done, of : int
        Parts done before this one, and all of them; a stage of one part is told by its own stages.

    Examples
    --------
    >>> heard = []
    >>> with listening(lambda stage, share: heard.append((stage, share))):
    ...     with part_of("4 ponds", 1, 4):
    ...         report_progress("looking")
    >>> heard
    [('4 ponds', 0.25)]
    """
    if of == 1:
        yield
        return
    outer = _listener.get()
    with listening(lambda *_: None if outer is None else outer(stage, done / of)):
        yield


def track(items: Sequence[T], stage: str) -> Iterator[T]:
    """Yield items of equal work, saying before each how many are done.

    Examples
    --------
    >>> heard = []
    >>> with listening(lambda stage, share: heard.append(share)):
    ...     list(track("ab", "counting"))
    ['a', 'b']
    >>> heard
    [0.0, 0.5]
    """
    for done, item in enumerate(items):
        report_progress(stage, done / len(items))
        yield item
