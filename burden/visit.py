"""One visit: everything known of a case joined into a decision. What the report and the command line call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

import numpy as np

from burden.case import Case
from burden.day_book import DayBookEntry, day_book, dose_words, held_water_words, late_words, later_words
from burden.evidence.cautions import Caution, by_weight
from burden.inference.estimate import Estimate, estimate
from burden.inference.prior import Posterior
from burden.inference.treatment_response import Response, response
from burden.inference.visit_comparison import Changes, what_changed
from burden.model.elimination.probability import DoseSchedule
from burden.model.windows import Windows
from burden.sampling import RecheckPlan
from burden.sampling.case_recheck import LIVE_BEARER_RECHECK_DAYS, look_again
from burden.schedule.customary import customs_of, windows_of
from burden.schedule.delayed_hatch import DelayedHatch, later_doses
from burden.schedule.eligibility import DEFAULT_AGENTS, LEAST_CHANCE, agents_and_notes, dose_of, notes_on, why_not
from burden.schedule.evaluation import EvaluatedSchedule, judge_runs
from burden.schedule.forecast import Forecast, regime_of
from burden.schedule.husbandry import Alternative, alternatives
from burden.schedule.late_dose import LateDose, late_doses
from burden.schedule.projection import DELAY_DAYS, Dosed, Strategy, follow
from burden.schedule.recommendation import Recommendation
from burden.schedule.search import search
from burden.schedule.what_if import WhatIf, otherwise, would_change_words
from burden.treatment.dose_result import DoseResult
from burden.treatment.safety import SafetyNote
from burden.treatment.withdrawal import Withdrawal, unnamed_words, withdrawals_of
from burden.utils.formatting import say_date
from burden.utils.progress import report_progress
from burden.utils.results import Result

__all__ = [
    "DEFAULT_AGENTS",
    "HORIZON_DAYS",
    "LEAST_CHANCE",
    "LIVE_BEARER_RECHECK_DAYS",
    "DayBookEntry",
    "Visit",
    "dose_words",
    "forecast_case",
    "visit",
]

HORIZON_DAYS = 60


@dataclass(frozen=True)
class Visit(Result):
    """Everything about one case on one visit.

    Parameters
    ----------
    case : Case
    estimates, forecasts, responses : tuple
        One a parasite set.
    choice : Recommendation
        The schedule for all sets together.
    doses : tuple of DoseResult
        What to weigh for each dose of the recommended schedule, in its order.
    notes : tuple of SafetyNote
        What speaks against a dose, by agent, withholding ones first.
    withheld_reason : str or None
        Why no dose is recommended.
    windows : tuple of (str, Windows)
        By egg-laying set, after a dose today.
    recheck : RecheckPlan or None
    day_book : tuple of DayBookEntry
    custom : tuple of str
        What custom or print gives, beside which the recommendation stands, and from which temperature down two weeks
        are right.
    alternatives : tuple of Alternative
        Moves beside the dose, each with the schedule that goes with it.
    otherwise : tuple of WhatIf
        The recommended dates as reckoned, in colder and warmer water, given late, and killing less.
    late : tuple of LateDose
        From which day each next dose is too late.
    later : DelayedHatch or None
        In cold water, for eggs that have not hatched when the course is over.
    withdrawals : tuple of Withdrawal
        For food fish, an example of each agent of the course.
    changes : tuple of (Changes or None)
        What moved since the last visit, one a parasite set.
    """

    case: Case
    seed: int
    draws: int
    estimates: tuple[Estimate, ...]
    forecasts: tuple[Forecast, ...]
    responses: tuple[Response, ...]
    choice: Recommendation
    doses: tuple[DoseResult, ...]
    notes: tuple[SafetyNote, ...]
    withheld_reason: str | None
    windows: tuple[tuple[str, Windows], ...]
    recheck: RecheckPlan | None
    day_book: tuple[DayBookEntry, ...]
    warnings: tuple[str, ...] = field(default=())
    custom: tuple[str, ...] = field(default=())
    alternatives: tuple[Alternative, ...] = field(default=())
    otherwise: tuple[WhatIf, ...] = field(default=())
    late: tuple[LateDose, ...] = field(default=())
    later: DelayedHatch | None = None
    withdrawals: tuple[Withdrawal, ...] = field(default=())
    changes: tuple[Changes | None, ...] = field(default=())

    @property
    def first_action(self) -> str:
        """Today's action, the first line of every answer."""
        if self.withheld_reason is not None:
            return f"Do not dose today, because {self.withheld_reason}."
        first = self.day_book[0]
        if first.date > self.case.visit_date:
            return (
                "Do not dose today, because the first day a dose can go in is "
                f"{say_date(first.date, self.case.visit_date.year)}: {first.action}."
            )
        return f"Today: {first.action}."

    def as_dict(self) -> dict[str, Any]:
        """Return everything as plain Python objects."""
        return {
            "case": self.case.name,
            "first_action": self.first_action,
            "withheld_reason": self.withheld_reason,
            "estimates": [e.as_dict() for e in self.estimates],
            "forecasts": [f.as_dict() for f in self.forecasts],
            "responses": [r.as_dict() for r in self.responses],
            "doses": [d.as_dict() for d in self.doses],
            "notes": [n.as_dict() for n in self.notes],
            "day_book": [
                {"date": e.date.isoformat(), "action": e.action, "steps": list(e.steps)} for e in self.day_book
            ],
            "custom": list(self.custom),
            "alternatives": [a.as_dict() for a in self.alternatives],
            "reason": self.choice.reason,
            "would_change": self.choice.would_change,
            "otherwise": [o.as_dict() for o in self.otherwise],
            "late_doses": [d.as_dict() for d in self.late],
            "withdrawals": [w.as_dict() for w in self.withdrawals],
            "later_doses": None if self.later is None else self.later.as_dict(),
            "changes": [None if c is None else c.as_dict() for c in self.changes],
            "warnings": list(self.warnings),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return the day-book, a row a step."""
        return [
            {"date": entry.date.isoformat(), "action": entry.action, "step": step}
            for entry in self.day_book
            for step in (entry.steps or ("",))
        ]

    def text(self) -> str:
        """Return half a page to read aloud, today's action first."""
        lines = [self.first_action]
        lines += [e.missed for e in self.estimates]
        for e in self.estimates:
            lines.append(
                f"{e.parasite}: {e.mean_abundance.text()} flukes a fish, {e.flukes_total.text()} on all live fish "
                f"(5 to 95 % of {e.draws} draws)."
            )
        for f in self.forecasts:
            of = f" ({f.parasite} alone)" if len(self.forecasts) > 1 else ""
            lines.append(
                f"If nothing is done{of}: {f.untreated.deaths_end.text()} of {self.case.fish_count} fish dead in "
                f"{f.horizon_days:g} days, {f.untreated.abundance_end.text()} flukes a fish by then."
            )
            if f.recommended is not None:
                lines.append(
                    f"As recommended{of}: {f.recommended.deaths_end.text()} dead in the same days, "
                    f"{f.recommended.abundance_end.text()} flukes a fish by then."
                )
        lines += [e.deaths_explained.text() for e in self.estimates if e.deaths_explained is not None]
        lines += [c.text() for c in self.changes if c is not None]
        lines += [r.text().splitlines()[0] for r in self.responses if r.verdict == "fell_short"]
        lines += self._what_to_give()
        if self.recheck is not None:
            lines.append(self.recheck.headline(bool(self.doses)))
        lines += [f"Caution: {note}" for note in self.cautions()]
        return "\n".join(lines)

    def _what_to_give(self) -> list[str]:
        chosen = self.choice.recommended
        if chosen is None or self.withheld_reason is not None:
            return []
        dates = ", ".join(
            f"{say_date(self.case.visit_date + timedelta(days=day), self.case.visit_date.year)} {dose_words(d)}"
            for day, d in zip(chosen.plan.days, self.doses, strict=True)
        )
        return [
            f"Give: {dates}.",
            f"Why: {self.choice.reason}",
            f"It leaves {chosen.left_per_1000.text()} of 1 000 flukes a day after the last dose; "
            f"rid of them in {100 * chosen.elimination.mean:.0f} of 100.",
            *(f"Note: {note}." for note in self.choice.notes),
            *([f"If it turns out otherwise: {self.choice.would_change}."] if self.choice.would_change else []),
            *(f"{late_words(d, self.case.visit_date)}." for d in self.late),
        ]

    def cautions(self, most: int = 6) -> list[Caution]:
        """Return what to be careful of, the weightiest first, each once."""
        said = [Caution(f"{note.text}: {note.reason}", note.kind) for note in self.notes]
        held = [unnamed_words(self.case), *(w.words() for w in self.withdrawals)]
        said += [Caution(f"Food fish: {words}.", "food") for words in held if words]
        said += [c for d in self.doses for c in d.cautions if not (self.withdrawals and c.kind == "food")]
        general = "local rules and the licensed veterinarian decide; dose one or a few fish first"
        return by_weight(said)[:most] or [Caution(general, "trial")]


def visit(case: Case, draws: int = 500, seed: int = 1, accept_unpublished: bool = False) -> Visit:
    """Join everything for one case.

    Parameters
    ----------
    case : Case
    draws, seed : int
        Posterior draws and seed.
    accept_unpublished : bool
        Work out doses no source gives.

    Returns
    -------
    Visit
        A withheld recommendation is an answer, with its reason.
    """
    estimates = tuple(estimate(case, parasite, draws, seed) for parasite in case.parasites)
    agents, notes = agents_and_notes(case, estimates)
    withheld = why_not(case, estimates, agents, notes)
    ponds = [e.posterior for e in estimates]
    choice = search(case, ponds, agents if withheld is None else (), HORIZON_DAYS)
    if withheld is None and choice.recommended is None:
        withheld = choice.reason
    doses = _doses(case, choice.recommended, accept_unpublished) if withheld is None else ()
    forecasts = tuple(_forecast(e, choice, doses, withheld, HORIZON_DAYS) for e in estimates)
    choice = _judged_with_all(choice, ponds, forecasts)
    given = choice.recommended.plan if withheld is None and choice.recommended is not None else None
    others, late, later = _looked_into(given, ponds) if given is not None else ((), (), None)
    notes_on_it = (*choice.notes, *(() if later is None else (later_words(later, case.visit_date),)))
    choice = replace(choice, would_change=would_change_words(others), notes=notes_on_it)
    coming = ((), ()) if given is None else (given.days, given.agents)
    held = withdrawals_of(case, *coming, ponds[0][0].setting.temperature)
    windows = windows_of(estimates, agents)
    last = max(given.days) if given is not None else 0.0
    plans = [plan for e in estimates if (plan := look_again(case, e, agents, last)) is not None]
    plan = max(plans, key=lambda p: p.day, default=None)
    until = case.visit_date + timedelta(days=last + (0 if plan is None else plan.day))
    said = notes_on(notes, given.agents if given is not None else ())
    course = None if given is None else choice.recommended
    held_for = held_water_words(case, until)
    cautions = [note for note in said if note.level == "caution"]
    # without a dose only what the water needs anyway is left to do
    first = [n.text if given else f"{n.text}: {n.would_change}" for n in cautions if given or n.kind == "water"]
    return Visit(
        case=case,
        seed=seed,
        draws=draws,
        estimates=estimates,
        forecasts=forecasts,
        responses=tuple(response(case, parasite, draws, seed) for parasite in case.parasites),
        choice=choice,
        doses=doses,
        notes=said,
        withheld_reason=withheld,
        windows=windows,
        recheck=plan,
        day_book=day_book(case, course, doses, plan, last, late, later, held, first, withheld),
        warnings=tuple(dict.fromkeys((*case.warnings, *(w for e in estimates for w in e.warnings), *held_for))),
        custom=customs_of(estimates, agents),
        alternatives=alternatives(case, ponds, agents, choice) if withheld is None else (),
        otherwise=others,
        late=late,
        later=later,
        withdrawals=held,
        changes=tuple(what_changed(e) for e in estimates),
    )


def _judged_with_all(
    choice: Recommendation, ponds: Sequence[Posterior], forecasts: Sequence[Forecast]
) -> Recommendation:
    """Judge the schedule chosen again with every draw, from the forecasts where they hold it already."""
    courses = [f.recommended for f in forecasts if f.recommended is not None]
    if choice.recommended is None or not courses:
        return choice
    gone = np.prod([course.eliminated for course in courses], axis=0)
    runs = [course.run for course in courses]
    return replace(choice, recommended=judge_runs(ponds, choice.recommended.plan, runs, HORIZON_DAYS, gone))


def _looked_into(
    plan: DoseSchedule, ponds: Sequence[Posterior]
) -> tuple[tuple[WhatIf, ...], tuple[LateDose, ...], DelayedHatch | None]:
    """The schedule chosen as it may turn out otherwise, from when its next doses come too late, and what eggs wait."""
    report_progress("what would change it, and when a late dose is a mistake")
    return otherwise(ponds, plan), late_doses(ponds, plan), later_doses(ponds, plan)


def forecast_case(
    case: Case, days: float = HORIZON_DAYS, draws: int = 500, seed: int = 1, parasite: str | None = None
) -> Forecast:
    """Forecast one parasite set of a case: untreated, as planned, as recommended."""
    estimates = tuple(estimate(case, name, draws, seed) for name in case.parasites)
    agents, notes = agents_and_notes(case, estimates)
    withheld = why_not(case, estimates, agents, notes)
    choice = search(case, [e.posterior for e in estimates], agents if withheld is None else (), days)
    if withheld is None and choice.recommended is None:
        withheld = choice.reason
    doses = _doses(case, choice.recommended, True) if withheld is None else ()
    mine = estimates[0 if parasite is None else case.parasites.index(parasite)]
    return _forecast(mine, choice, doses, withheld, days)


def _doses(case: Case, chosen: EvaluatedSchedule | None, accept_unpublished: bool) -> tuple[DoseResult, ...]:
    """What to weigh for each dose of a schedule.

    Raises
    ------
    InputError
        For a dose outside the published range that was not accepted.
    """
    if chosen is None:
        return ()
    return tuple(dose_of(case, agent, accept_unpublished) for agent in chosen.plan.agents)


def _forecast(
    found: Estimate, choice: Recommendation, doses: Sequence[DoseResult], withheld: str | None, days: float
) -> Forecast:
    case, pond, state = found.case, found.pond, found.state
    report_progress("following the flukes and the fish by day")
    doings = {"untreated": Strategy()}
    if case.planned:
        doings["planned"] = Strategy(events=pond.planned, doses=_written(case))
    advised = choice.recommended.plan if withheld is None and choice.recommended is not None else None
    if advised is not None:
        doings["recommended"] = Strategy(advised, doses=_weighed(case, advised, doses))
    followed, delay = follow(pond, state, days, list(doings.values()), None if advised is None else DELAY_DAYS)
    courses = dict(zip(doings, followed, strict=True))
    return Forecast(
        case=case,
        parasite=found.parasite,
        seed=found.seed,
        draws=found.draws,
        horizon_days=float(days),
        regime=regime_of(state.flukes_per_fish(pond.setting.fish), courses["untreated"].end, float(days)),
        untreated=courses["untreated"],
        planned=courses.get("planned"),
        recommended=courses.get("recommended"),
        withheld_reason=withheld,
        warnings=tuple(found.warnings),
        delay=delay,
    )


def _weighed(case: Case, plan: DoseSchedule, doses: Sequence[DoseResult]) -> list[Dosed]:
    return [
        Dosed(case.visit_date + timedelta(days=day), d.agent, d.mg_l, None if d.apart else d.mass_g)
        for day, d in zip(plan.days, doses, strict=True)
    ]


def _written(case: Case) -> list[Dosed]:
    found = []
    for action in case.planned:
        if action.action == "dose":
            mg_l = action.concentration_mg_l
            mass_g = None if mg_l is None else mg_l * case.water.volume_l.value / 1000
            found.append(Dosed(action.date, action.agent or "unknown", mg_l, mass_g))
    return found
