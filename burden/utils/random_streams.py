"""Seeded random streams with names, so that no draw depends on the order of calls."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

import numpy as np

__all__ = ["Steering", "steered", "stratified", "uniform_draws"]


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


class _Strata(Mapping[str, np.ndarray]):
    """Every stream in strata: the plain draws keep their order, and one lies in each of n equal parts of 0 to 1."""

    def __init__(self, n: int, seed: int) -> None:
        self._n, self._seed = n, seed

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str)

    def __getitem__(self, name: str) -> np.ndarray:
        rank = np.argsort(np.argsort(_plain(name, self._n, self._seed)))
        return (rank + _plain(f"{name} within its part", self._n, self._seed)) / self._n

    def __iter__(self) -> Iterator[str]:
        return iter(())  # streams are named by whoever draws from them

    def __len__(self) -> int:
        return 0


def stratified(n: int, seed: int) -> Mapping[str, np.ndarray]:
    """Return ranks for `steered` that spread every stream evenly (Latin hypercube sampling).

    Notes
    -----
    Means over the draws then vary less from seed to seed (McKay et al. 1979, Technometrics 21:239, from memory). More
    draws are no longer the first ones and some others.

    Examples
    --------
    >>> with steered(4, 1, stratified(4, 1)):
    ...     np.sort(np.floor(4 * uniform_draws("a", 4, 1))).tolist()
    [0.0, 1.0, 2.0, 3.0]
    """
    return _Strata(n, seed)
