"""Ponds of one group inform each other: what they share is learned from all, and narrows what is known of each.

Each pond is estimated alone, as ever. What ponds may share (how unevenly fish carry flukes, what a clip shows
in these hands, what a product kills here, how fast this fluke breeds) is a normal score of every draw of every pond,
and `burden.statistics.exchangeable` weighs the draws again by what the whole group says of these scores.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Any

import numpy as np
from scipy.special import chdtri, ndtr, ndtri

from burden.case import Case
from burden.evidence import load_agent, load_parasite
from burden.inference.estimate import estimate
from burden.inference.estimate_result import Estimate
from burden.inference.history import START_STREAM, abundance_at, is_read, rows_of
from burden.inference.links import Link, Order, order_of
from burden.inference.observation import assumed_method, share_factor
from burden.inference.sampler import TOO_FEW, Effort, TooFewDrawsError
from burden.statistics.exchangeable import Exchangeable, pool_scores
from burden.treatment.efficacy import kill
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.errors import InputError, Problem
from burden.utils.parallel import each
from burden.utils.random_streams import steered
from burden.utils.results import CredibleInterval, Result, frame, number
from burden.utils.wording import Remark

__all__ = [
    "GroupEstimate",
    "GroupRefusal",
    "OwnAnswer",
    "PondOfGroup",
    "SharedQuantity",
    "group",
    "own_answer",
    "pooled",
]

#: quantities of a parasite set that ponds of a group share in part
_OF_THE_FLUKE = ("aggregation", "reproduction_number")
#: prior draws by which a kill is put into its rank
_KILL_DRAWS, _KILL_SEED = 4000, 20261
#: chance that a quantity of which no pond knows anything is taken for one that some know
_BY_LUCK = 0.001


@dataclass(frozen=True)
class GroupRefusal(Remark):
    """Why a pond is not narrowed by its group: nothing fits it alone, or too little of what fits it fits the group."""

    why: str
    effective: float


@dataclass(frozen=True, eq=False)
class OwnAnswer:
    """What one pond says alone, as far as a group needs it.

    Parameters
    ----------
    name, title : str
    fish : int
        Alive.
    flukes : numpy.ndarray
        A fish, shape (N,); empty where the pond alone has no answer.
    scores, values : mapping of str to numpy.ndarray
        Of each quantity that ponds may share, by code: normal score over what was believed beforehand, and value,
        shape (N,) each.
    carrying : numpy.ndarray of bool
        Draws in which the pond has or had flukes, shape (N,): the others say nothing of what is shared.
    probability_infected, effective_draws : float
    """

    name: str
    title: str
    fish: int
    flukes: np.ndarray
    scores: Mapping[str, np.ndarray]
    values: Mapping[str, np.ndarray]
    carrying: np.ndarray
    probability_infected: float
    effective_draws: float


@dataclass(frozen=True)
class SharedQuantity:
    """One thing that ponds share in part.

    Parameters
    ----------
    code : str
    ponds : int
        That have it.
    informed : bool
        Whether the records of two ponds or more say something of it; else it is left as it was.
    alike : CredibleInterval
        Share of what is not known beforehand that all ponds have in common [-].
    before, after : CredibleInterval
        Of a pond of the group nobody looked at: as believed beforehand, and what the group is about.
    """

    code: str
    ponds: int
    informed: bool
    alike: CredibleInterval
    before: CredibleInterval
    after: CredibleInterval


@dataclass(frozen=True, eq=False)
class PondOfGroup:
    """One pond, alone and with its group.

    Parameters
    ----------
    own : OwnAnswer
    weight : numpy.ndarray
        Of each of its draws given the group, shape (N,); a resample by it of `estimate(case).posterior` of the same
        draws and seed is the pond given the group.
    alone, together : CredibleInterval or None
        Flukes a fish.
    effective_draws : float
        That the answer with the group stands on.
    refusal : GroupRefusal or None
        Why its own answer stands.
    """

    own: OwnAnswer
    weight: np.ndarray
    alone: CredibleInterval | None
    together: CredibleInterval | None
    effective_draws: float
    refusal: GroupRefusal | None = None

    @property
    def narrower(self) -> float | None:
        """Share by which the range of all flukes is narrower with the group, on a log scale [-]; below 0: wider."""
        if self.alone is None or self.together is None:
            return None
        fish = max(self.own.fish, 1)
        wide, narrow = (np.log1p(fish * x.high) - np.log1p(fish * x.low) for x in (self.alone, self.together))
        return float(1 - narrow / wide) if wide > 0 else 0.0

    def shared(self) -> dict[str, dict[str, Any]]:
        """What is shared, of this pond, alone and with the group, by code."""
        has = self.own.carrying
        if not has.any():
            return {}
        return {
            code: {
                "alone": CredibleInterval.of(value[has]).as_dict(),
                "with_group": None
                if self.together is None
                else CredibleInterval.of(value[has], self.weight[has]).as_dict(),
            }
            for code, value in self.own.values.items()
        }

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "case": self.own.name,
            "title": self.own.title,
            "probability_infected": number(self.own.probability_infected),
            "mean_abundance": {
                "alone": None if self.alone is None else self.alone.as_dict(),
                "with_group": None if self.together is None else self.together.as_dict(),
            },
            "narrower": number(self.narrower),
            "shared": self.shared(),
            "effective_draws": number(self.effective_draws),
            "own_answer_stands": None if self.refusal is None else self.refusal.as_dict(),
        }


@dataclass(frozen=True, eq=False)
class GroupEstimate(Result):
    """Ponds of one group, each alone and with what the others say.

    Parameters
    ----------
    parasite : str
    seed, draws : int
    ponds : tuple of PondOfGroup
    quantities : tuple of SharedQuantity
    links : tuple of Link
    order : Order or None
        Which pond first; None where no link is given.
    """

    parasite: str
    seed: int
    draws: int
    ponds: tuple[PondOfGroup, ...]
    quantities: tuple[SharedQuantity, ...]
    links: tuple[Link, ...] = ()
    order: Order | None = None

    @property
    def narrower(self) -> float | None:
        """Median share by which the ponds' ranges are narrower [-]."""
        found = [pond.narrower for pond in self.ponds if pond.narrower is not None]
        return float(np.median(found)) if found else None

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            **frame(self.seed, self.draws),
            "parasite": self.parasite,
            "narrower": number(self.narrower),
            "quantities": [
                {
                    "code": q.code,
                    "ponds": q.ponds,
                    "informed": q.informed,
                    "alike": q.alike.as_dict(),
                    "before": q.before.as_dict(),
                    "after": q.after.as_dict(),
                }
                for q in self.quantities
            ],
            "ponds": [pond.as_dict() for pond in self.ponds],
            "links": [link.as_dict() for link in self.links],
            "order": None if self.order is None else self.order.as_dict(),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a pond."""
        rows = []
        for pond in self.ponds:
            row: dict[str, Any] = {"case": pond.own.name, "parasite": self.parasite}
            for name, found in (("alone", pond.alone), ("with_group", pond.together)):
                row |= {
                    f"{key}_{name}": value for key, value in (found or CredibleInterval.missing()).as_dict().items()
                }
            rows.append({**row, "narrower": pond.narrower})
        return rows


def group(
    cases: Sequence[Case],
    parasite: str | None = None,
    draws: int = 500,
    seed: int = 1,
    links: Sequence[Link] = (),
    executor: Executor | None = None,
    actions: Mapping[str, str] | None = None,
) -> GroupEstimate:
    """Estimate ponds of one group: each alone, and narrowed by what all of them say of what they share.

    Parameters
    ----------
    cases : sequence of Case
        Two or more, that whoever asks holds to be alike beforehand: one fluke, one way of looking.
    parasite : str, optional
        A set that all of them name; the first of the first case when not given.
    draws, seed : int
        Posterior draws of each pond, and seed.
    links : sequence of Link
        Ways by which flukes may come from one pond to another; for the order alone, not for the estimate.
    executor : concurrent.futures.Executor, optional
        Where the ponds are estimated; here, one after the other, without.
    actions : mapping of str to str, optional
        What each pond's own decision does today (`burden.decision.actions_of`): only ponds that are dosed stand in the
        order of treatment.

    Returns
    -------
    GroupEstimate

    Raises
    ------
    InputError
        For fewer than two cases, or one that does not name the set.
    """
    parasite = parasite or (cases[0].parasites[0] if cases else "")
    _refuse_odd(cases, parasite)
    work = partial(own_answer, parasite=parasite, draws=draws, seed=seed)
    answers = dict(each(work, cases, executor, f"{len(cases)} waters"))
    found = pooled([answers[i] for i in range(len(cases))], parasite, draws, seed)
    if not links:
        return found
    levels = {pond.own.name: (pond.together or pond.alone) for pond in found.ponds}
    medians = {name: level.median if level is not None else np.nan for name, level in levels.items()}
    return replace(found, links=tuple(links), order=order_of(medians, links, actions))


def _refuse_odd(cases: Sequence[Case], parasite: str) -> None:
    names = [case.name for case in cases]
    problems = [
        Problem("command line", "CASE", name, "folders of different names", "Rename one of them.")
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]
    problems += [
        Problem(
            f"{case.name}: case.toml",
            "parasite.set",
            ", ".join(case.parasites),
            parasite,
            "Leave this case out, or name a set that all cases have with --parasite.",
        )
        for case in cases
        if parasite not in case.parasites
    ]
    if len(cases) < 2:
        problems.append(
            Problem(
                "command line",
                "CASE",
                str(len(cases)),
                "two cases or more",
                "Name the case folders of ponds that are alike, or run `burden estimate` on the one.",
            )
        )
    if problems:
        raise InputError(problems)


def own_answer(case: Case, parasite: str, draws: int, seed: int, effort: Effort | None = None) -> OwnAnswer:
    """Estimate one pond alone, and keep what its group needs; of a pond that fits nothing, nothing but its name."""
    try:
        found = estimate(case, parasite, draws, seed, effort)
    except TooFewDrawsError as error:
        none, about = np.zeros(0), (case.name, case.title, case.fish_count)
        return OwnAnswer(*about, none, {}, {}, none.astype(bool), np.nan, error.effective_draws)
    scores, values = _shared_of(found)
    scores = {code: _unless_never(score, code, found.never, seed) for code, score in scores.items()}
    flukes = found.state.flukes_per_fish(found.pond.setting.fish)
    sure, effective = found.probability_infected, found.effective_draws
    return OwnAnswer(case.name, case.title, case.fish_count, flukes, scores, values, ~found.never, sure, effective)


def _unless_never(score: np.ndarray, code: str, never: np.ndarray, seed: int) -> np.ndarray:
    """Put back what was believed beforehand where the pond never carried a fluke: clean clips then say nothing."""
    rng = np.random.default_rng([seed, zlib.crc32(code.encode())])
    return np.where(never, rng.standard_normal(score.size), score)


def _shared_of(found: Estimate) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Score and value of everything that ponds may share, by code; what a case overrides is its own."""
    case, evidence = found.case, found.pond.setting.parameters.evidence
    believed = load_parasite(found.parasite).values
    scores, values = {}, {}
    # ponds that are alike are so in how many flukes they had, too: were that left out, a group with many flukes would
    # be read as one whose clips show much
    if not case.arrivals and "abundance" not in evidence.overridden:
        scores["abundance_per_gram"] = ndtri(found.ranks[START_STREAM])
        values["abundance_per_gram"] = abundance_at(found.ranks[START_STREAM], believed["abundance"])
    for code in _OF_THE_FLUKE:
        if code in believed and evidence.values[code] == believed[code]:
            scores[code] = ndtri(found.ranks[f"{evidence.name}{code}"])
            values[code] = found.pond.setting.parameters[code]
    rows = [row for row in rows_of(case, found.parasite) if is_read(case, found.parasite, row)]
    for method in sorted({method for row in rows if (method := assumed_method(row)) is not None}):
        scores[f"share_seen_{method}"] = ndtri(found.ranks[share_factor(method).name])
        values[f"share_seen_{method}"] = found.seen.share_factor[method]
    agents = {str(a.agent) for a in case.given if a.action == "dose" and f"kill:{a.agent}" in found.ranks}
    for agent in sorted(agents):
        killed = _kill_at_customary(agent, found)
        scores[f"kill_{agent}"] = _kill_score(agent, found.parasite, killed)
        values[f"kill_{agent}"] = killed
    return scores, values


def _kill_at_customary(agent: str, found: Estimate) -> np.ndarray:
    """Share of the adults that one customary bath kills, as the draws of an estimate have it, shape (N,) [-]."""
    with steered(found.draws, found.seed, found.ranks):
        draws = draw_kill(load_agent(agent), found.draws, found.seed, load_parasite(found.parasite))
    return kill(draws, "adult", draws.customary_mg_l, draws.customary_hours)


@cache
def _kills_believed(agent: str, parasite: str) -> np.ndarray:
    """The same beforehand, by rising share."""
    draws = draw_kill(load_agent(agent), _KILL_DRAWS, _KILL_SEED, load_parasite(parasite))
    return np.sort(kill(draws, "adult", draws.customary_mg_l, draws.customary_hours))


def _kill_score(agent: str, parasite: str, killed: np.ndarray) -> np.ndarray:
    believed = _kills_believed(agent, parasite)
    place = 0.5 * (np.searchsorted(believed, killed, "left") + np.searchsorted(believed, killed, "right"))
    return np.asarray(ndtri((place + 0.5) / (believed.size + 1)))


def _value_at(code: str, parasite: str, rank: np.ndarray) -> np.ndarray:
    """Value of a shared quantity at ranks of what is believed beforehand."""
    if code.startswith("kill_"):
        return np.quantile(_kills_believed(code.removeprefix("kill_"), parasite), rank)
    if code.startswith("share_seen_"):
        return share_factor(code.removeprefix("share_seen_")).quantile(rank)
    believed = load_parasite(parasite).values
    if code == "abundance_per_gram":
        return abundance_at(rank, believed["abundance"])
    return believed[code].quantile(rank)


def pooled(answers: Sequence[OwnAnswer], parasite: str, draws: int, seed: int) -> GroupEstimate:
    """Weigh the draws of every pond by what all of them say of what they share.

    Parameters
    ----------
    answers : sequence of OwnAnswer
        Of as many draws each.
    parasite : str
    draws, seed : int
        Of the answers.

    Returns
    -------
    GroupEstimate
    """
    known = [answer for answer in answers if answer.flukes.size]
    codes = sorted({code for answer in known for code in answer.scores})
    informed = [code for code in codes if _informed(code, known)]
    found = None
    if informed:
        nothing = np.full(draws, np.nan)
        scores = np.array([[answer.scores.get(code, nothing) for code in informed] for answer in known])
        found = pool_scores(scores, seed)
    weights = iter(np.full((len(known), draws), 1 / draws) if found is None else found.weight)
    ponds = tuple(_pond(answer, next(weights) if answer.flukes.size else np.zeros(0)) for answer in answers)
    quantities = tuple(_quantity(code, known, informed, found, parasite) for code in codes)
    return GroupEstimate(parasite, seed, draws, ponds, quantities)


def _informed(code: str, answers: Sequence[OwnAnswer]) -> bool:
    """Whether two ponds have a score, and its means lie farther from 0 than luck of so many draws would have it."""
    have = [answer for answer in answers if code in answer.scores]
    moved = sum(answer.effective_draws * float(np.mean(answer.scores[code])) ** 2 for answer in have)
    return len(have) > 1 and bool(moved > chdtri(len(have), _BY_LUCK))


def _pond(answer: OwnAnswer, weight: np.ndarray) -> PondOfGroup:
    if not answer.flukes.size:
        refusal = GroupRefusal("alone", answer.effective_draws)
        return PondOfGroup(answer, weight, None, None, answer.effective_draws, refusal)
    alone = CredibleInterval.of(answer.flukes)
    effective = min(answer.effective_draws, weight.size) / (weight.size * float((weight**2).sum()))
    if effective < min(TOO_FEW, weight.size / 4):
        return PondOfGroup(answer, weight, alone, None, effective, GroupRefusal("group", effective))
    same = bool(np.ptp(weight) == 0)  # nothing was learned
    return PondOfGroup(answer, weight, alone, alone if same else CredibleInterval.of(answer.flukes, weight), effective)


def _quantity(
    code: str, answers: Sequence[OwnAnswer], informed: Sequence[str], found: Exchangeable | None, parasite: str
) -> SharedQuantity:
    """Say what a group is about in one quantity, in the quantity's own unit."""
    ponds = sum(code in answer.scores for answer in answers)
    believed = CredibleInterval(*(float(_value_at(code, parasite, np.array(at))) for at in (0.5, 0.05, 0.95)))
    if found is None or code not in informed:
        return SharedQuantity(code, ponds, False, CredibleInterval.missing(), believed, believed)
    place = informed.index(code)
    after = _value_at(code, parasite, ndtr(found.mean[:, place]))
    return SharedQuantity(
        code, ponds, True, CredibleInterval.of(found.alike[:, place]), believed, CredibleInterval.of(after)
    )
