"""Which dates, how many doses, which agents: candidate schedules of one case, judged and ranked.

Gaps are counted in development, not in days: a candidate repeats after a fixed share of what an egg needs to hatch, so
in warming water its dates draw together by themselves. Every candidate is snapped to the days the vet can come, judged
by the mean probability of elimination with both brakes off, and the best of each number of doses and each line of
agents is run through the forward equations for what it leaves and who dies. Control and eradication are different aims
and are answered apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

import numpy as np

from burden.case import Case
from burden.evidence import load_agent
from burden.inference.prior import Ensemble, Posterior
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import windows_after
from burden.schedule.evaluation import (
    EvaluatedSchedule,
    first_draws,
    judge,
    judge_untreated,
    left_per_1000,
    log_all_gone,
)
from burden.schedule.fixed_interval import CONTROL_PER_1000, ERADICATION, TIE
from burden.schedule.recommendation import Recommendation
from burden.treatment.residues import builds_up
from burden.utils.results import CredibleInterval

__all__ = [
    "DEFAULT_MOST_DOSES",
    "FORMALIN_REST_DAYS",
    "LONGEST_GAP_DAYS",
    "NEAR_TIE",
    "SEARCH_DRAWS",
    "candidate_plans",
    "search",
]

#: draws the search works with: enough to rank, the chosen schedules are judged again with all (tests)
SEARCH_DRAWS = 100
LONGEST_GAP_DAYS = 45
DEFAULT_MOST_DOSES = 5
#: least days between two baths that hold formalin: common practice, no source ("not to be given too often")
FORMALIN_REST_DAYS = 7
#: gaps tried, in mean durations of hatching
_GAPS = np.array([0.35, 0.5, 0.65, 0.8, 0.95, 1.1, 1.25, 1.4, 1.6, 1.8, 2.0, 2.3, 2.6])
_SHORTLIST = 14
#: draws that screen plans of one dose less, and how many of those that may control are judged
_SCREEN_DRAWS, _SCREENED = 30, 5
#: mean probabilities of elimination closer than this are a near-tie: risk decides
NEAR_TIE = 0.02
#: fewer dead fish than this, in the median, are not worth a course where flukes go by themselves
_WORTH_FISH = 0.5
#: flukes of 1,000 that may be left without a dose in the worst of twenty draws where one is spared: an assumption
_SURELY_FEW_PER_1000 = 100.0


def candidate_plans(case: Case, pond: Ensemble, agents: Sequence[str]) -> list[DoseSchedule]:
    """Schedules worth judging, each once.

    Parameters
    ----------
    case : Case
        Its limits hold: most doses, days on site, shortest gap, formalin in all.
    pond : Ensemble
        For how fast eggs hatch in this water.
    agents : sequence of str
        Agents that may be given.
    """
    plans: dict[DoseSchedule, None] = {}
    wanted = DEFAULT_MOST_DOSES if case.limits.max_doses is None else case.limits.max_doses
    most = min(wanted, 8)
    first = _next_possible(case, 0.0)
    if first is None:
        return []
    for line in _lines(agents, most):
        for gap in _GAPS if len(line) > 1 else _GAPS[:1]:
            days = _dates(case, pond, first, len(line), gap, line)
            if days is not None and _allowed(case, days, line):
                plans[DoseSchedule(tuple(days), line)] = None
    return list(plans)


def _lines(agents: Sequence[str], most: int) -> list[tuple[str, ...]]:
    """Orders of agents: one agent throughout, or another in the middle or in turn."""
    lines = [(agent,) * n for agent in agents for n in range(1, most + 1)]
    for main in agents:
        for other in agents:
            if other != main:
                lines += [tuple(main if i % 2 == 0 else other for i in range(n)) for n in range(2, most + 1)]
    # a dose whose agent must not come often is best not the first choice throughout
    return [line for line in dict.fromkeys(lines) if line.count("formalin") <= max(1, len(line) // 2)]


def _next_possible(case: Case, day: float) -> float | None:
    """First day from `day` on, within three weeks, on which the limits let a dose go in."""
    for step in range(22):
        if case.dose_possible_on(case.visit_date + timedelta(days=int(day) + step)):
            return float(int(day) + step)
    return None


def _dates(case: Case, pond: Ensemble, first: float, count: int, gap: float, line: Sequence[str]) -> list[float] | None:
    days = [first]
    while len(days) < count:
        wanted = days[-1] + max(_gap_days(pond, days[-1], gap), case.limits.shortest_gap_days or 1.0, 1.0)
        if wanted - days[-1] > LONGEST_GAP_DAYS:
            return None
        found = _nearest_possible(case, wanted, days[-1] + max(case.limits.shortest_gap_days or 1.0, 1.0))
        if found is None:
            return None
        days.append(found)
    return days


def _nearest_possible(case: Case, wanted: float, earliest: float) -> float | None:
    """Day nearest to the wanted one on which a dose can go in, not before `earliest`."""
    for step in range(15):
        for day in (round(wanted) - step, round(wanted) + step):
            if day >= earliest and case.dose_possible_on(case.visit_date + timedelta(days=day)):
                return float(day)
    return None


def _gap_days(pond: Ensemble, day: float, gap: float) -> float:
    """Days from `day` until a share `gap` of the mean time to hatch has been done, in the median draw."""
    development = pond.setting.parameters.development
    if development is None:
        return 4.0 * gap  # live-bearers have nothing to wait for; gaps are those a fish and a filter can bear
    done = 0.0
    for step in range(int(LONGEST_GAP_DAYS) * 2 + 2):
        rate = float(np.median(development.hatch.rate(pond.setting.temperature.at(day + 0.5 * step + 0.25))))
        if done + 0.5 * rate >= gap:
            return 0.5 * step + (gap - done) / rate
        done += 0.5 * rate
    return np.inf


def _allowed(case: Case, days: Sequence[float], line: Sequence[str]) -> bool:
    formalin = [day for day, agent in zip(days, line, strict=True) if agent == "formalin"]
    if any(b - a < FORMALIN_REST_DAYS for a, b in pairwise(formalin)) or builds_up(case, days, line):
        return False
    limit = case.limits.max_formalin_mg_l_total
    if limit is None:
        return True
    before = sum(a.concentration_mg_l or 0 for a in case.given if a.agent == "formalin")
    each = load_agent("formalin").customary.mg_l
    return before + each * len(formalin) <= limit


def search(case: Case, ponds: Sequence[Posterior], agents: Sequence[str], horizon_days: float = 60.0) -> Recommendation:
    """Search for a schedule.

    Parameters
    ----------
    case : Case
    ponds : sequence of Posterior
        Posterior ponds and their state on the day of the visit, one a parasite set.
    agents : sequence of str
        Agents that may be given.
    horizon_days : float
        Deaths are counted up to here [d].

    Returns
    -------
    Recommendation
        Judged with the first hundred draws; what is shown of the schedule chosen is judged again with all of them.
    """
    few = first_draws(ponds, SEARCH_DRAWS)
    nothing, left = judge_untreated(few, horizon_days)
    lead = _egg_layer(ponds)
    plans = candidate_plans(case, lead, agents) if agents else []
    if not plans:
        return Recommendation(None, None, nothing, (), "no dose can be given within the limits of the case")
    logs = log_all_gone(few, plans)
    best = _best_of_each(plans, logs)[:_SHORTLIST]
    judged = judge(few, [plans[i] for i in best], 0.0, np.exp(logs[best]))
    if one_less := _one_dose_less(few, plans, logs, judged):
        judged += judge(few, [plans[i] for i in one_less], 0.0, np.exp(logs[one_less]))
    (recommended, decided), rid = _control(judged, case.findings.other), _eradicate(judged)
    watch = _watching(few, recommended, nothing, left, horizon_days)
    if watch is not None:
        return Recommendation(None, rid, nothing, tuple(judged), watch)
    reason = _reason(lead, recommended)
    return Recommendation(
        recommended,
        rid,
        nothing,
        tuple(judged),
        f"{reason} {decided[0].upper()}{decided[1:]}." if decided else reason,
        notes=_notes(ponds, recommended),
    )


def _egg_layer(ponds: Sequence[Posterior]) -> Ensemble:
    """The first set that lays eggs, whose hatching sets the gaps; the first of all where none does."""
    return next((p for p, _ in ponds if p.setting.parameters.development is not None), ponds[0][0])


def _watching(
    ponds: Sequence[Posterior],
    recommended: EvaluatedSchedule | None,
    nothing: EvaluatedSchedule,
    left_untreated: np.ndarray,
    horizon_days: float,
) -> str | None:
    """Why to watch and do nothing, where that surely meets the aim by the horizon and costs no fish; else None.

    Counted at the horizon and not at once: who does nothing has as long as a course takes, and longer.
    """
    if recommended is None:
        return None
    left = CredibleInterval.of(left_untreated)
    if left.median > CONTROL_PER_1000 or left.high > _SURELY_FEW_PER_1000:
        return None
    dosed = judge(ponds, [recommended.plan], horizon_days)[0]
    if nothing.deaths.median - dosed.deaths.median >= _WORTH_FISH:
        return None
    return (
        f"the flukes go by themselves: without a dose {left.text()} of 1 000 are left in {horizon_days:g} days, and "
        f"{nothing.deaths.text()} fish die, with {dosed.doses} dose{'s' * (dosed.doses > 1)} {dosed.deaths.text()}"
    )


def _best_of_each(plans: Sequence[DoseSchedule], logs: np.ndarray) -> list[int]:
    """Best plan of each line of agents, by falling mean probability.

    Among plans whose means differ by less than a tie, the median log-probability decides: where a pond is far from
    rid of its flukes, it still tells which dates leave fewer lines alive. Among its ties the shorter plan.
    """
    mean, middle = np.exp(logs).mean(1), np.median(logs, axis=1)
    lines: dict[tuple[str, ...], list[int]] = {}
    for i, plan in enumerate(plans):
        lines.setdefault(plan.agents, []).append(i)
    best = []
    for mine in lines.values():
        top = [i for i in mine if mean[i] >= max(mean[mine]) - TIE]
        highest = max(middle[top])
        good = [i for i in top if middle[i] >= highest - max(0.02 * abs(highest), TIE)]
        best.append(min(good, key=lambda i: plans[i].days[-1]))
    return sorted(best, key=lambda i: (-mean[i], -middle[i]))


def _one_dose_less(
    ponds: Sequence[Posterior],
    plans: Sequence[DoseSchedule],
    logs: np.ndarray,
    judged: Sequence[EvaluatedSchedule],
) -> list[int]:
    """Plans of one dose less than the fewest judged that control, which may control too, best first.

    The dates that rid a pond most often are not those that leave fewest on the fish the day after.
    """
    fewest = min((j.doses for j in judged if j.left_per_1000.median <= CONTROL_PER_1000), default=0)
    done = {j.plan for j in judged}
    open_ = [i for i, plan in enumerate(plans) if len(plan.days) == fewest - 1 and plan not in done]
    if not open_:
        return []
    rough = left_per_1000(first_draws(ponds, _SCREEN_DRAWS), [plans[i] for i in open_])
    may = [i for i, left in zip(open_, np.median(rough, axis=1), strict=True) if left <= 1.2 * CONTROL_PER_1000]
    return sorted(may, key=lambda i: -float(np.exp(logs[i]).mean()))[:_SCREENED]


def _control(judged: Sequence[EvaluatedSchedule], findings: Sequence[str] = ()) -> tuple[EvaluatedSchedule | None, str]:
    """Fewest doses that control, the best of them, and what decided between near-ties; else what leaves fewest."""
    good = [j for j in judged if j.left_per_1000.median <= CONTROL_PER_1000]
    if not good:
        return min(judged, key=lambda j: j.left_per_1000.median, default=None), ""
    mine = [j for j in good if j.doses == min(j.doses for j in good)]
    top = max(j.elimination.mean for j in mine)
    near = [j for j in mine if j.elimination.mean >= top - NEAR_TIE]
    least = min(_risk(j, findings) for j in near)
    kept = [j for j in near if _risk(j, findings) == least]
    best = max(j.elimination.mean for j in kept)
    chosen = min((j for j in kept if j.elimination.mean >= best - TIE), key=lambda j: j.left_per_1000.median)
    return chosen, _decided(least, [_risk(j, findings) for j in near])


def _risk(judged: EvaluatedSchedule, findings: Sequence[str]) -> tuple[int, int, int]:
    """Other findings no agent of it works on, doses of formalin, agents: fewer is better, in this order."""
    agents = set(judged.plan.agents)
    met = {row.finding for a in agents for row in load_agent(a).against if row.works == "yes"}
    return len(set(findings) - met), judged.plan.agents.count("formalin"), len(agents)


def _decided(least: tuple[int, int, int], all_near: Sequence[tuple[int, int, int]]) -> str:
    """Which difference decided between schedules that do nearly as well; empty where none did."""
    why = ("it works on the other findings too", "it needs less formalin, a risk to people, fish and filter",
           "it needs fewer agents")  # fmt: skip
    left = list(all_near)
    said = []
    for place, words in enumerate(why):
        if any(risk[place] > least[place] for risk in left):
            said.append(words)
        left = [risk for risk in left if risk[place] == least[place]]
    return f"of those that rid the pond as often within {100 * NEAR_TIE:.0f} in 100, {said[0]}" if said else ""


def _eradicate(judged: Sequence[EvaluatedSchedule]) -> EvaluatedSchedule | None:
    good = [j for j in judged if j.elimination.mean >= ERADICATION]
    return min(good, key=lambda j: (j.doses, -j.elimination.mean), default=None)


def _reason(pond: Ensemble, recommended: EvaluatedSchedule | None) -> str:
    if recommended is None:
        return "no schedule within the limits does any good"
    words = [f"{recommended.doses} dose{'s' * (recommended.doses > 1)} is the least that"]
    if recommended.left_per_1000.median <= CONTROL_PER_1000:
        words.append(f"leaves at most {CONTROL_PER_1000:g} of 1 000 flukes a day after the last")
    else:
        words = [f"no schedule within the limits leaves {CONTROL_PER_1000:g} of 1 000 or fewer; this one leaves fewest"]
    if recommended.doses > 1:
        egg_layer = pond.setting.parameters.development is not None
        words.append(_window_words(pond, recommended) if egg_layer else _no_window_words(recommended))
    return " ".join(words).replace(" ;", ";") + "."


def _no_window_words(recommended: EvaluatedSchedule) -> str:
    gap = recommended.plan.days[1] - recommended.plan.days[0]
    return (
        f"; live-bearers lay no eggs, so no hatching is waited for: the next dose, {gap:g} d later, is for those the "
        "first missed, before they bear more"
    )


def _window_words(pond: Ensemble, recommended: EvaluatedSchedule) -> str:
    """When eggs hatch and settlers lay after the first dose, and how the gaps lie to that."""
    sheltered = pond.effects[recommended.plan.agents[0]].sheltered_fraction
    windows = windows_after(pond.setting.parameters, sheltered, pond.setting.temperature)
    w, gap = windows.triples(), recommended.plan.days[1] - recommended.plan.days[0]
    lay = w["earliest_maturity_days"]
    settles = (
        f"a larva that settles lays from day {lay.text()}"
        if math.isfinite(lay.median)
        else "in this water no larva that settles is reckoned to lay"
    )
    said = f"; eggs the drug does not kill {_hatching(w['first_hatch_days'], w['last_hatch_days'])}, and {settles}: "
    if gap < w["first_hatch_days"].median:
        return said + f"{gap:g} days are before that, so the second dose meets flukes too young for the first, not eggs"
    if gap <= w["longest_safe_gap_days"].median:
        return said + f"{gap:g} days let many hatch and few lay"
    return said + (
        f"{gap:g} days let a few settlers lay, but with so few doses waiting for late hatchers leaves fewer in the end"
    )


def _hatching(first: CredibleInterval, last: CredibleInterval) -> str:
    """From when to when eggs hatch; cold can keep them from it."""
    if not math.isfinite(first.median):
        return "do not hatch in this water as it is"
    until = f" to day {last.text()}" if math.isfinite(last.median) else ", and not all of them in this water"
    return f"hatch from day {first.text()}{until}"


def _notes(ponds: Sequence[Posterior], recommended: EvaluatedSchedule | None) -> tuple[str, ...]:
    if recommended is None:
        return ()
    notes = []
    if recommended.elimination.mean < 0.5:
        notes.append(
            "control is not eradication: this schedule brings the flukes down, do not count on it to be rid of them"
        )
    for pond, _ in ponds:
        development = pond.setting.parameters.development
        if development is not None:
            span = [float(np.median(pond.setting.temperature.at(day))) for day in (0.0, *recommended.plan.days)]
            if any(development.maturity.extrapolates(t) for t in span):
                low, high = development.maturity.measured_c
                where = f"{low:g} °C" if low == high else f"{low:g} to {high:g} °C"
                notes.append(f"maturity of {pond.parasite} is extrapolated: it was measured at {where}")
            if any(development.hatch.extrapolates(t) for t in span):
                low, high = development.hatch.measured_c
                notes.append(f"hatching of {pond.parasite} is extrapolated beyond {low:g} to {high:g} °C")
    return tuple(notes)
