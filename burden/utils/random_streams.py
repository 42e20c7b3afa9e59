"""Seeded random streams with names, so that no draw depends on the order of calls."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

import numpy as np

__all__ = ["Steering", "steered", "uniform_draws"]


def uniform_draws(name: str, n: int, seed: int) -> np.ndarray:
    """Uniform draws of a named stream, shape (n,): the first draws stay the same when `n` grows.

    Within `steered`, a stream of that seed and size gives what it was steered to.

    Examples
    --------
    >>> bool((uniform_draws("a", 3, 1) == uniform_draws("a", 9, 1)[:3]).all())
    True
    """
    steering = _STEERING.get()
    if steering is None or (steering.n, steering.seed) != (n, seed):
        return _plain(name, n, seed)
    return steering.draws(name)


def _plain(name: str, n: int, seed: int) -> np.ndarray:
    return np.random.default_rng([seed, zlib.crc32(name.encode())]).random(n)


@dataclass
class Steering:
    """Where a sampler wants the streams of one seed and size, and which it has met.

    Parameters
    ----------
    n, seed : int
        Streams of another size or seed stay as they are.
    ranks : mapping of str to numpy.ndarray
        Draws of the steered streams, each in (0, 1), shape (n,); every other stream is plain.
    met : dict of str to numpy.ndarray
        Every stream drawn so far, shape (n,).
    """

    n: int
    seed: int
    ranks: Mapping[str, np.ndarray] = field(default_factory=dict)
    met: dict[str, np.ndarray] = field(default_factory=dict)

    def draws(self, name: str) -> np.ndarray:
        """Draws of a stream, noted down, shape (n,)."""
        if name not in self.met:
            self.met[name] = self.ranks[name] if name in self.ranks else _plain(name, self.n, self.seed)
        return self.met[name]


_STEERING: ContextVar[Steering | None] = ContextVar("steering", default=None)


@contextmanager
def steered(n: int, seed: int, ranks: Mapping[str, np.ndarray]) -> Iterator[Steering]:
    """Draw some streams from elsewhere than uniformly, and note which streams are drawn, while the block runs.

    Everything uncertain reaches the model through `uniform_draws`. So a sampler that looks for the draws that fit what
    was seen need not know what they stand for: it moves ranks, and weighs by what it moved.

    Examples
    --------
    >>> with steered(2, 1, {"a": np.array([0.1, 0.9])}) as streams:
    ...     a, b = uniform_draws("a", 2, 1), uniform_draws("b", 2, 1)
    >>> a.tolist(), sorted(streams.met), bool((b == uniform_draws("b", 2, 1)).all())
    ([0.1, 0.9], ['a', 'b'], True)
    """
    token = _STEERING.set(Steering(n, seed, ranks))
    try:
        yield _STEERING.get()  # type: ignore[misc]
    finally:
        _STEERING.reset(token)
