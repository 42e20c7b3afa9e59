"""Ways by which flukes come from one pond to another: which pond first, and where new flukes may come from.

Links order the work; they move no number of an estimate. Water and fish go one way, a net goes both ways. A pond that
others get flukes from comes before them; ponds that reach each other are done together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

__all__ = ["WAYS", "Link", "Order", "order_of"]

#: what links two ponds, and whether flukes go both ways by it
WAYS = {"water": False, "fish": False, "nets": True}


@dataclass(frozen=True)
class Link:
    """Flukes may come from one pond to another.

    Parameters
    ----------
    source, target : str
        Names of case folders; a source that is none of the group was not looked at.
    by : {"water", "fish", "nets"}
    """

    source: str
    target: str
    by: str

    def as_dict(self) -> dict[str, str]:
        """Return the link as the JSON contract has it."""
        return asdict(self)


@dataclass(frozen=True)
class Order:
    """In which order to treat ponds, to work in them, and where flukes may come from.

    Parameters
    ----------
    treat : tuple of tuple of str
        Steps; the ponds of a step together. Where each pond's own action is known, those that are dosed alone.
    work : tuple of str
        Fewest flukes first, so that nets and hands carry few: common practice, no source.
    sources : mapping of str to tuple of Link
        Links that lead to each pond, nets turned round where need be.
    water_first, no_dose : tuple of str
        Ponds whose own decision puts the water right first; and those that it gives no dose today.
    """

    treat: tuple[tuple[str, ...], ...]
    work: tuple[str, ...]
    sources: Mapping[str, tuple[Link, ...]]
    water_first: tuple[str, ...] = ()
    no_dose: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the order as the JSON contract has it."""
        return {
            "treat": [list(step) for step in self.treat],
            "work": list(self.work),
            "water_first": list(self.water_first),
            "no_dose": list(self.no_dose),
            "sources": {name: [link.as_dict() for link in links] for name, links in self.sources.items()},
        }


def order_of(flukes: Mapping[str, float], links: Sequence[Link], actions: Mapping[str, str] | None = None) -> Order:
    """Order ponds by their links, and those that no link parts by their flukes.

    Parameters
    ----------
    flukes : mapping of str to float
        A fish, of each pond; NaN where nothing is known.
    links : sequence of Link
    actions : mapping of str to str, optional
        What each pond's own decision does today; a pond it does not name is left in the order of treatment.

    Returns
    -------
    Order

    Examples
    --------
    >>> order_of({"low": 900.0, "high": 10.0}, [Link("high", "low", "water")]).treat
    (('high',), ('low',))
    """
    names = list(flukes)
    ways = [*links, *(Link(link.target, link.source, link.by) for link in links if WAYS[link.by])]
    level = {name: -1.0 if np.isnan(value) else value for name, value in flukes.items()}
    steps = _steps(names, [(w.source, w.target) for w in ways if {w.source, w.target} <= set(names)], level)
    work = sorted((name for name in names if not np.isnan(flukes[name])), key=lambda name: level[name])
    unknown = [name for name in names if np.isnan(flukes[name])]
    sources = {name: tuple(dict.fromkeys(w for w in ways if w.target == name and w.source != name)) for name in names}
    does = actions or {}
    treat = tuple(kept for step in steps if (kept := tuple(name for name in step if does.get(name, "dose") == "dose")))
    water = tuple(name for name in names if does.get(name) == "water_first")
    left = tuple(name for name in names if does.get(name, "dose") not in ("dose", "water_first"))
    return Order(treat, (*work, *unknown), sources, water, left)


def _steps(names: Sequence[str], ways: Sequence[tuple[str, str]], level: Mapping[str, float]) -> list[tuple[str, ...]]:
    """Ponds that reach each other as one step; a step after those that lead to it, of free ones the worst first."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    place = {name: i for i, name in enumerate(names)}
    ends = np.array([[place[a], place[b]] for a, b in ways], int).reshape(-1, 2).T
    graph = coo_array((np.ones(ends.shape[1]), (ends[0], ends[1])), shape=(len(names), len(names)))
    count, label = connected_components(graph, directed=True, connection="strong")
    before = {step: {label[place[a]] for a, b in ways if label[place[b]] == step} - {step} for step in range(count)}
    members = {step: [name for name in names if label[place[name]] == step] for step in range(count)}
    done: list[int] = []
    while len(done) < count:
        free = [step for step in range(count) if step not in done and before[step] <= set(done)]
        done.append(max(free, key=lambda step: max(level[name] for name in members[step])))
    return [tuple(sorted(members[step], key=lambda name: -level[name])) for step in done]
