"""Words of ponds that inform each other: each alone and with its group, what they share, which first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from burden.inference.group_result import GroupEstimate, GroupRefusal, PondOfGroup, SharedQuantity
from burden.inference.links import Link, Order
from burden.report.text.notes import parasite_name
from burden.utils.formatting import counted, named, percent, percent_interval, plain, sentence, several
from burden.utils.wording import writes, writes_brief

__all__: list[str] = []  # writers are found by the type they write

_QUANTITIES = {
    "abundance_per_gram": "flukes per gram of fish when the record starts",
    "aggregation": "aggregation k",
    "reproduction_number": "reproduction number",
}
_ASSUMED = "We assume these ponds were alike before anybody looked. Leave out a pond that is not."
#: share by which a range has to be narrower for pooling to have gained anything: an assumption [-]
_GAINED = 0.05
_BY = {"water": "water", "fish": "fish moved or bought", "nets": "nets"}


@writes_brief
def _group_brief(found: GroupEstimate) -> str:
    """Write each pond alone and with its group, and the order."""
    return "\n".join([_head(found), *map(_pond, found.ponds), *_order(found), _ASSUMED])


@writes
def _group_text(found: GroupEstimate) -> str:
    """Write all of it: what the ponds share too."""
    shared = [f"  - {_quantity(q)}" for q in found.quantities]
    lines = [_head(found), *map(_pond, found.ponds), *_order(found)]
    lines += ["What these ponds may share, of a typical pond of the group:", *shared] if shared else []
    lines.append("Ranges in brackets hold with 90 % probability. A range is compared on a log scale.")
    return "\n".join([*lines, _ASSUMED])


def _head(found: GroupEstimate) -> str:
    start = f"{parasite_name(found.parasite)} in {len(found.ponds)} ponds"
    if not any(q.informed for q in found.quantities):
        return f"{start}. Their records say nothing of what they share, so each keeps its own answer."
    if (found.narrower or 0.0) < _GAINED:
        return f"{start}. Taking them together gained nothing: the range of a pond is about as wide as alone."
    return f"{start}. What they share makes the range of a pond {_narrower(found.narrower or 0.0)} (median)."


def _narrower(share: float) -> str:
    if abs(share) < 0.005:
        return "no narrower"
    return f"{percent(abs(share))} {'narrower' if share > 0 else 'wider'}"


def _pond(pond: PondOfGroup) -> str:
    name = pond.own.title or pond.own.name
    if pond.alone is None:
        return f"{name}: no answer. {pond.refusal}"
    alone = f"{name}: {pond.alone.text()} flukes a fish alone"
    if pond.together is None:
        return f"{alone}. {pond.refusal}"
    return f"{alone}, {pond.together.text()} with the group: {_narrower(pond.narrower or 0.0)}."


@writes
def _refusal(refusal: GroupRefusal) -> str:
    few = plain(round(refusal.effective))
    if refusal.why == "alone":
        return f"Its records fit too few simulated ponds ({few}): look for a slip in counts, dates or doses."
    return (
        f"Too few of the simulated ponds that fit it fit the group too (as good as {few} independent ones), so its own "
        "answer stands. It may differ from the others, or more --draws may help."
    )


def _quantity(q: SharedQuantity) -> str:
    head = f"{sentence(_name(q.code)).rstrip('.')} ({counted(q.ponds, 'pond')})"
    if not q.informed:
        return f"{head}: the records say nothing of it."
    scale = percent_interval if q.code.startswith("kill_") else None
    after, before = (scale(x.median, x.low, x.high) if scale else x.text() for x in (q.after, q.before))
    alike = percent_interval(q.alike.median, q.alike.low, q.alike.high)
    return (
        f"{head}: {after}, before anybody looked {before}. Of what is not known of it the ponds have {alike} in common."
    )


def _name(code: str) -> str:
    if code.startswith("kill_"):
        return f"adult flukes that a customary bath of {named(code.removeprefix('kill_'))} kills"
    if code.startswith("share_seen_"):
        return f"share seen by a {named(code.removeprefix('share_seen_'))}, relative to what is usual"
    return _QUANTITIES[code]


def _order(found: GroupEstimate) -> list[str]:
    """Which pond first, and where new flukes may come from."""
    if found.order is None:
        return []
    names = {pond.own.name: pond.own.title or pond.own.name for pond in found.ponds}
    steps = found.order.treat
    lines = [_treated(step, place, names) for place, step in enumerate(steps, 1)]
    if len(steps) > 1:
        lines.append("A pond that feeds others comes first.")
    if not steps:
        lines = ["By their own decisions no pond is dosed today."]
    if found.order.water_first:
        lines.append(f"Water first, no dose until it is right: {several(names[n] for n in found.order.water_first)}.")
    if found.order.no_dose:
        left = several(names[name] for name in found.order.no_dose)
        lines.append(f"No dose today by the pond's own decision: {left}.")
    lines.append("Links are read so: nets carry flukes both ways, water and moved fish only from the first pond named.")
    work = "; then ".join(names[name] for name in found.order.work)
    lines.append(f"Where nets are shared all the same, work in this order, fewest flukes first: {work}.")
    return [*lines, *_sources(found, found.order, names)]


def _treated(step: Sequence[str], place: int, names: dict[str, str]) -> str:
    """Write which ponds are treated at one place of the order; titles may hold commas."""
    which = "; ".join(names[name] for name in step)
    if len(step) == 1:
        return f"Treat, place {place}: {which}."
    return f"Treat, place {place}, all within the same days, as each can bring flukes to the others: {which}."


def _sources(found: GroupEstimate, order: Order, names: dict[str, str]) -> Iterator[str]:
    chances = {pond.own.name: pond.own.probability_infected for pond in found.ponds}
    for name, links in order.sources.items():
        if links:
            said = [_source(link, names, chances) for link in links]
            yield f"New flukes in {names[name]} may come from {several(said, 'or')}."
            # nets lead both ways, and are told of once
            yield from (_cut(link, name, names) for link in links if link.by != "nets" or link.source < name)


#: what cuts a link: common practice, no source
_CUTS = {
    "fish": "Move no fish from {source} to {name} before two clean looks at them",
    "water": "Let no water run from {source} to {name} while it carries flukes",
    "nets": "Keep nets of their own for {source} and {name}, or dry and disinfect them in between",
}


def _cut(link: Link, name: str, names: dict[str, str]) -> str:
    """Write how flukes are kept from coming by a link."""
    ends = {"source": names.get(link.source, link.source), "name": names[name]}
    return f"{_CUTS[link.by].format(**ends)} (common practice, no source)."


def _source(link: Link, names: dict[str, str], chances: dict[str, float]) -> str:
    if link.source not in names:
        return f"{link.source} by {_BY[link.by]} (not looked at)"
    chance = chances[link.source]
    carries = "no answer" if chance != chance else f"has flukes with {percent(chance)} probability"
    return f"{names[link.source]} by {_BY[link.by]} ({carries})"
