"""Ponds of one group inform each other: what they share is learned from all, and narrows what is known of each.

Each pond is estimated alone, as ever. What ponds may share (how unevenly fish carry flukes, what a clip shows
in these hands, what a product kills here, how fast this fluke breeds) is a normal score of every draw of every pond,
and `burden.statistics.exchangeable` weighs the draws again by what the whole group says of these scores.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial

import numpy as np
from scipy.special import chdtri, ndtr

from burden.case import Case
from burden.inference.estimate import estimate
from burden.inference.group_result import GroupEstimate, GroupRefusal, OwnAnswer, PondOfGroup, SharedQuantity
from burden.inference.links import Link, order_of
from burden.inference.sampler import TOO_FEW, Effort, TooFewDrawsError
from burden.inference.shared_quantities import shared_of, value_at
from burden.statistics.exchangeable import Exchangeable, pool_scores
from burden.utils.errors import InputError, Problem
from burden.utils.parallel import each
from burden.utils.progress import report_progress
from burden.utils.results import CredibleInterval

__all__ = ["group", "own_answer", "pooled"]

#: chance that a quantity of which no pond knows anything is taken for one that some know
_BY_LUCK = 0.001


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
    scores, values = shared_of(found)
    scores = {code: _unless_never(score, code, found.never, seed) for code, score in scores.items()}
    flukes = found.state.flukes_per_fish(found.pond.setting.fish)
    sure, effective = found.probability_infected, found.effective_draws
    return OwnAnswer(case.name, case.title, case.fish_count, flukes, scores, values, ~found.never, sure, effective)


def _unless_never(score: np.ndarray, code: str, never: np.ndarray, seed: int) -> np.ndarray:
    """Put back what was believed beforehand where the pond never carried a fluke: clean clips then say nothing."""
    rng = np.random.default_rng([seed, zlib.crc32(code.encode())])
    return np.where(never, rng.standard_normal(score.size), score)


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
    report_progress("what the waters share")
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
    believed = CredibleInterval(*(float(value_at(code, parasite, np.array(at))) for at in (0.5, 0.05, 0.95)))
    if found is None or code not in informed:
        return SharedQuantity(code, ponds, False, CredibleInterval.missing(), believed, believed)
    place = informed.index(code)
    after = value_at(code, parasite, ndtr(found.mean[:, place]))
    return SharedQuantity(
        code, ponds, True, CredibleInterval.of(found.alike[:, place]), believed, CredibleInterval.of(after)
    )
