"""One visit: everything known of a case joined into a decision. What the report and the command line call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from burden.case import Case
from burden.dosing import DoseResult, dose
from burden.elimination import Plan
from burden.errors import CannotAnswerError, InputError
from burden.estimate import Estimate, estimate
from burden.evidence import load_agent
from burden.forecast import Dosed, Forecast, delayed, follow, regime_of
from burden.interval import cold_water_words, customary_words
from burden.judging import Judged, judge
from burden.moves import Alternative, alternatives
from burden.pond import Pond
from burden.progress import tell
from burden.response import Response, response
from burden.result import Result, Triple
from burden.safety import SafetyNote, safety_check
from burden.sampling import CleanSamplePlan, Look, RecheckPlan, find_by_burden, recheck, sample_windows
from burden.schedule import Choice, search
from burden.simulate import State
from burden.windows import Windows, safe_below_c, windows_after

__all__ = [
    "DEFAULT_AGENTS",
    "HORIZON_DAYS",
    "LEAST_CHANCE",
    "LIVE_BEARER_RECHECK_DAYS",
    "DayBookEntry",
    "Visit",
    "caution_rank",
    "dose_words",
    "forecast_case",
    "say_date",
    "untreated_start",
    "visit",
]

DEFAULT_AGENTS = ("praziquantel", "formalin")
HORIZON_DAYS = 60
#: below this chance of flukes on the stock a dose is not recommended: look again first
LEAST_CHANCE = 0.5
LIVE_BEARER_RECHECK_DAYS = 7


@dataclass(frozen=True)
class DayBookEntry:
    """What is to be done on one date: the day's action, and what to do and to look for, in order."""

    date: date
    action: str
    steps: tuple[str, ...]
    kind: str = "dose"


@dataclass(frozen=True)
class Visit(Result):
    """Everything about one case on one visit.

    Parameters
    ----------
    case : Case
    estimates, forecasts, responses : tuple
        One a parasite set.
    choice : Choice
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
    """

    case: Case
    seed: int
    draws: int
    estimates: tuple[Estimate, ...]
    forecasts: tuple[Forecast, ...]
    responses: tuple[Response, ...]
    choice: Choice
    doses: tuple[DoseResult, ...]
    notes: tuple[SafetyNote, ...]
    withheld_reason: str | None
    windows: tuple[tuple[str, Windows], ...]
    recheck: RecheckPlan | None
    day_book: tuple[DayBookEntry, ...]
    warnings: tuple[str, ...] = field(default=())
    custom: tuple[str, ...] = field(default=())
    alternatives: tuple[Alternative, ...] = field(default=())

    @property
    def first_action(self) -> str:
        """Today's action, the first line of every answer."""
        if self.withheld_reason is not None:
            return f"Do not dose today, because {self.withheld_reason}."
        first = self.day_book[0]
        if first.date > self.case.visit_date:
            return (
                f"Do not dose today, because the first day a dose can go in is {say_date(first.date)}: {first.action}."
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
            lines.append(
                f"If nothing is done: {f.untreated.deaths_end.text()} of {self.case.fish_count} fish dead in "
                f"{f.horizon_days:g} days, {f.untreated.abundance_end.text()} flukes a fish by then."
            )
        lines += self._what_to_give()
        if self.recheck is not None:
            lines.append(f"Look again: {self.recheck.headline()}")
        lines += [f"Caution: {note}" for note in self.cautions()]
        return "\n".join(lines)

    def _what_to_give(self) -> list[str]:
        chosen = self.choice.recommended
        if chosen is None or self.withheld_reason is not None:
            return []
        dates = ", ".join(
            f"{say_date(self.case.visit_date + timedelta(days=day))} {dose_words(d)}"
            for day, d in zip(chosen.plan.days, self.doses, strict=True)
        )
        return [
            f"Give: {dates}.",
            f"Why: {self.choice.reason}",
            f"It leaves {chosen.left_per_1000.text()} of 1 000 flukes a day after the last dose; "
            f"{chosen.deaths.text()} fish die in {chosen.deaths_by_day:g} days; "
            f"rid of them in {100 * chosen.elimination.mean:.0f} of 100.",
            *(f"Note: {note}." for note in self.choice.notes),
        ]

    def cautions(self, most: int = 6) -> list[str]:
        """Return what to be careful of, the weightiest first, each once."""
        said = [f"{note.text}: {note.reason}" for note in self.notes if note.level != "withhold"]
        said += [text for d in self.doses for text in d.cautions]
        said = [f"{note.text}: {note.reason}" for note in self.notes if note.level == "withhold"] + sorted(
            said, key=caution_rank
        )
        general = "local rules and the licensed veterinarian decide; dose one or a few fish first"
        return [*dict.fromkeys(said)][:most] or [general]


#: words of a caution by what it guards, the weightiest first; what names none of them comes after these
_GUARDED = (
    ("explosion", "poison", "oxygen", "aerat", "breath"),
    ("few fish first", "on a few", "smallest volume"),
    ("withdrawal", "food fish", "eaten"),
)


def caution_rank(text: str) -> int:
    """Return where a caution stands: what may kill first, then whom to try it on, food, the rest, how it is made up.

    Examples
    --------
    >>> sorted(["Published: 2 to 10 mg/L", "Test a few fish first."], key=caution_rank)
    ['Test a few fish first.', 'Published: 2 to 10 mg/L']
    """
    said = text.lower()
    if said.startswith(("published:", "density", "strength not given")):
        return len(_GUARDED) + 2
    for rank, words in enumerate(_GUARDED):
        if any(word in said for word in words):
            return rank
    return len(_GUARDED) + int("dissolv" in said)


def say_date(day: date) -> str:
    """Return a date as people say it, the same in every locale.

    Examples
    --------
    >>> say_date(date(2026, 5, 4))
    'Mon 4 May'
    """
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    return f"{names[day.weekday()]} {day.day} {months[day.month - 1]}"


def dose_words(result: DoseResult) -> str:
    """Return a dose in a few words: how much of what."""
    from burden.doseresult import plain

    if result.product_ml is not None:
        return f"{plain(result.product_ml)} mL of {result.agent} ({result.mg_l:g} mg/L)"
    return f"{plain(result.product_g)} g of {result.agent} ({result.mg_l:g} mg/L)"


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
    agents, notes = _agents_and_notes(case, estimates)
    withheld = _why_not(case, estimates, agents, notes)
    ponds = [(e.pond, e.state) for e in estimates]
    choice = search(case, ponds, agents if withheld is None else (), HORIZON_DAYS)
    if withheld is None and choice.recommended is None:
        withheld = choice.reason
    doses = _doses(case, choice.recommended, accept_unpublished) if withheld is None else ()
    forecasts = tuple(_forecast(e, choice, doses, withheld, HORIZON_DAYS) for e in estimates)
    choice = _judged_with_all(choice, ponds, forecasts)
    windows = _windows(estimates, agents)
    last = max(choice.recommended.plan.days) if withheld is None and choice.recommended else 0.0
    plans = [plan for e in estimates if (plan := _recheck(case, e, agents, last)) is not None]
    plan = max(plans, key=lambda p: p.day, default=None)
    return Visit(
        case=case,
        seed=seed,
        draws=draws,
        estimates=estimates,
        forecasts=forecasts,
        responses=tuple(response(case, parasite, draws, seed) for parasite in case.parasites),
        choice=choice,
        doses=doses,
        notes=notes,
        withheld_reason=withheld,
        windows=windows,
        recheck=plan,
        day_book=_day_book(case, choice.recommended if withheld is None else None, doses, plan, last),
        warnings=(*case.warnings, *(w for e in estimates for w in e.warnings)),
        custom=_custom(estimates, agents),
        alternatives=alternatives(case, ponds, agents, choice) if withheld is None else (),
    )


def _judged_with_all(choice: Choice, ponds: Sequence[tuple[Pond, State]], forecasts: Sequence[Forecast]) -> Choice:
    """Judge the schedule chosen again with every draw, from the forecasts where they hold it already."""
    courses = [f.recommended for f in forecasts if f.recommended is not None]
    if choice.recommended is None or not courses:
        return choice
    gone = np.prod([course.eliminated for course in courses], axis=0)
    return replace(choice, recommended=judge(ponds, [choice.recommended.plan], HORIZON_DAYS, gone[None])[0])


def forecast_case(
    case: Case, days: float = HORIZON_DAYS, draws: int = 500, seed: int = 1, parasite: str | None = None
) -> Forecast:
    """Forecast one parasite set of a case: untreated, as planned, as recommended."""
    estimates = tuple(estimate(case, name, draws, seed) for name in case.parasites)
    agents, notes = _agents_and_notes(case, estimates)
    withheld = _why_not(case, estimates, agents, notes)
    choice = search(case, [(e.pond, e.state) for e in estimates], agents if withheld is None else (), days)
    if withheld is None and choice.recommended is None:
        withheld = choice.reason
    doses = _doses(case, choice.recommended, True) if withheld is None else ()
    mine = estimates[0 if parasite is None else case.parasites.index(parasite)]
    return _forecast(mine, choice, doses, withheld, days)


def _agents_and_notes(case: Case, estimates: Sequence[Estimate]) -> tuple[tuple[str, ...], tuple[SafetyNote, ...]]:
    """Agents that may be given, and everything to say about those that might be."""
    wanted = case.limits.agents or DEFAULT_AGENTS
    warmest = float(np.median(estimates[0].pond.setting.temperature.at(0.0)))
    notes: list[SafetyNote] = []
    allowed = []
    for name in wanted:
        agent = load_agent(name)
        bath = agent.about["customary"]
        found = safety_check(
            agent,
            bath["mg_l"],
            bath["hours"],
            temperature_c=warmest,
            oxygen_mg_l=case.water.oxygen_mg_l,
            ph=case.water.ph,
            total_ammonia_n_mg_l=case.water.total_ammonia_n_mg_l,
            nitrite_n_mg_l=case.water.nitrite_n_mg_l,
            alkalinity_mg_l_caco3=case.water.alkalinity_mg_l_caco3,
            salinity_g_l=case.water.salinity_g_l,
            aeration=case.water.aeration,
            biofilter=None if case.water.filter is None else case.water.filter != "none",
            species=[group.species for group in case.fish],
            food_fish=case.food_fish,
            findings=case.findings.other,
            formalin_before_mg_l=sum(a.mg_l or 0.0 for a in case.given if a.agent == "formalin"),
            max_formalin_mg_l_total=case.limits.max_formalin_mg_l_total,
            permanganate_used=any(a.agent == "potassium_permanganate" for a in case.given),
        )
        notes += found
        if not any(note.level == "withhold" for note in found):
            allowed.append(name)
    return tuple(allowed), tuple(sorted(dict.fromkeys(notes), key=lambda note: note.level != "withhold"))


def _why_not(
    case: Case, estimates: Sequence[Estimate], agents: Sequence[str], notes: Sequence[SafetyNote]
) -> str | None:
    """Why no dose may be recommended, or None."""
    if not agents:
        reasons = [f"{n.text.lower()} ({n.reason.rstrip('.')})" for n in notes if n.level == "withhold"]
        return "; ".join(dict.fromkeys(reasons)) or "no agent is at hand"
    if case.fish_count == 0:
        return "no fish is alive"
    if not case.has_samples:
        return "no sample could be read: look at gills and skin first"
    chance = max(e.probability_infected for e in estimates)
    if chance < LEAST_CHANCE:
        return f"flukes are on the stock with a chance of {100 * chance:.0f} % only: look at more fish first"
    return None


def _doses(case: Case, chosen: Judged | None, accept_unpublished: bool) -> tuple[DoseResult, ...]:
    """What to weigh for each dose of a schedule.

    Raises
    ------
    InputError
        For a dose outside the published range that was not accepted.
    """
    if chosen is None:
        return ()
    volume = case.water.volume_l
    return tuple(
        dose(
            agent,
            volume.value,
            accept_unpublished=accept_unpublished,
            temperature_c=None,
            species=case.fish[0].species,
            volume_range_l=(volume.low, volume.high),
            food_fish=case.food_fish,
            where="case.toml",
        )
        for agent in chosen.plan.agents
    )


def _forecast(
    found: Estimate, choice: Choice, doses: Sequence[DoseResult], withheld: str | None, days: float
) -> Forecast:
    case, pond, state = found.case, found.pond, found.state
    tell("following the flukes and the fish by day")
    untreated = follow(pond, state, days)
    planned = follow(pond, state, days, events=pond.planned, doses=_written(case)) if case.planned else None
    recommended = delay = None
    if withheld is None and choice.recommended is not None:
        plan = choice.recommended.plan
        recommended = follow(pond, state, days, plan, doses=_weighed(case, plan, doses))
        delay = delayed(pond, state, days, plan, recommended) if plan.days else None
    return Forecast(
        case=case,
        parasite=found.parasite,
        seed=found.seed,
        draws=found.draws,
        horizon_days=float(days),
        regime=regime_of(untreated_start(found), untreated.end, float(days)),
        untreated=untreated,
        planned=planned,
        recommended=recommended,
        withheld_reason=withheld,
        warnings=tuple(found.warnings),
        delay=delay,
    )


def untreated_start(found: Estimate) -> np.ndarray:
    """Flukes per live fish on the day of the visit, draw by draw, shape (M,)."""
    uptake = (found.state.alive * found.pond.setting.fish.susceptibility).sum(1)
    total = sum((chain.sum(0) * uptake).sum(0) for chain in found.state.fish.values())
    return total / np.maximum(found.state.alive.sum((0, 1)), 1e-9)


def _weighed(case: Case, plan: Plan, doses: Sequence[DoseResult]) -> list[Dosed]:
    return [
        Dosed(case.visit_date + timedelta(days=day), d.agent, d.mg_l, d.mass_g)
        for day, d in zip(plan.days, doses, strict=True)
    ]


def _written(case: Case) -> list[Dosed]:
    volume = case.water.volume_l.value
    return [
        Dosed(a.date, a.agent or "unknown", a.mg_l, None if a.mg_l is None else a.mg_l * volume / 1000)
        for a in case.planned
        if a.action == "dose"
    ]


def _windows(estimates: Sequence[Estimate], agents: Sequence[str]) -> tuple[tuple[str, Windows], ...]:
    found = []
    for e in estimates:
        if e.pond.setting.parameters.development is not None:
            effect = e.pond.effects[agents[0] if agents else next(iter(e.pond.effects))]
            found.append(
                (
                    e.parasite,
                    windows_after(e.pond.setting.parameters, effect.sheltered_fraction, e.pond.setting.temperature),
                )
            )
    return tuple(found)


def _custom(estimates: Sequence[Estimate], agents: Sequence[str]) -> tuple[str, ...]:
    """Custom and print beside the recommendation, by egg-laying set."""
    said = []
    for e in estimates:
        p = e.pond.setting.parameters
        said += customary_words(p.evidence, float(np.median(e.pond.setting.temperature.at(0.0))))
        if p.development is not None:
            effect = e.pond.effects[agents[0] if agents else next(iter(e.pond.effects))]
            said.append(cold_water_words(Triple.of(safe_below_c(p, effect.sheltered_fraction, 14.0))))
    return tuple(said)


def _recheck(case: Case, found: Estimate, agents: Sequence[str], last: float) -> RecheckPlan | None:
    """When to look again, how many fish, and how much of each, to show the burden is below a tenth of today's."""
    p, e = found.pond.setting.parameters, found
    level = float(f"{max(e.mean_abundance.median / 10, 1.0):.2g}")  # nobody plans a look to the hundredth of a fluke
    weight = found.pond.setting.fish.weight_g.mean(0)
    method = "gill_clip" if p.evidence.about["site"] == "gill" else "skin_scrape"
    from burden.case import Preparation
    from burden.estimate import share_examined

    row = Preparation(case.visit_date, "1", "random", p.evidence.about["site"], method=method)
    look = Look(share_examined(row, e.seen, weight), 3, e.seen.detection, e.seen.part_shape)
    killed = sum(group.lethal_sampling_allowed or 0 for group in case.fish)
    try:
        if p.development is None:
            sample = find_by_burden(level, p["aggregation"], look, population=case.fish_count, lethal_allowed=killed)
            return _recheck_of_live_bearer(sample)
        effect = found.pond.effects[agents[0] if agents else next(iter(found.pond.effects))]
        w = windows_after(p, effect.sheltered_fraction, found.pond.setting.temperature, last)
        return recheck(
            sample_windows(w), level, p["aggregation"], look, population=case.fish_count, lethal_allowed=killed
        )
    except (CannotAnswerError, InputError):
        return None


def _recheck_of_live_bearer(sample: CleanSamplePlan) -> RecheckPlan:
    """No egg to wait for: what survived shows at once, and a week lets a few survivors become enough to find."""
    return RecheckPlan(
        fish=sample.fish,
        fish_killed=sample.fish_killed,
        day=LIVE_BEARER_RECHECK_DAYS,
        all_shown_days=Triple.of(np.zeros(1)),
        survivors_only_until_day=0,
        offspring_from_day=Triple.of(np.zeros(1)),
        sample=sample,
        reason=(
            "Live-bearers lay no eggs: every fluke is on a fish at the dose, and newborn flukes settle at once. A week "
            f"(common practice, no source) lets survivors multiply enough to be found. {sample.reason}"
        ),
        what_would_change=("colder water: they multiply more slowly, so wait longer", *sample.what_would_change[:2]),
    )


def _day_book(
    case: Case, chosen: Judged | None, doses: Sequence[DoseResult], plan: RecheckPlan | None, last: float
) -> tuple[DayBookEntry, ...]:
    entries: list[DayBookEntry] = []
    if chosen is not None:
        for number, (day, d) in enumerate(zip(chosen.plan.days, doses, strict=True), 1):
            when = case.visit_date + timedelta(days=day)
            entries.append(DayBookEntry(when, f"dose {number} of {chosen.doses}: {dose_words(d)}", _steps(d)))
            for after in range(1, 1 + load_agent(d.agent).about.get("aftercare_days", 0)):
                entries.append(
                    DayBookEntry(
                        when + timedelta(days=after),
                        f"measure ammonia and nitrite (day {after} after {d.agent})",
                        (),
                        "care",
                    )
                )
            entries.append(
                DayBookEntry(
                    when + timedelta(days=3),
                    "look at the fish: appetite and breathing should be better by now; if not, look again",
                    (),
                    "look",
                )
            )
    if plan is not None and plan.fish is not None:
        entries.append(
            DayBookEntry(
                case.visit_date + timedelta(days=last + plan.day), f"look again: {plan.headline()}", (), "sample"
            )
        )
    return tuple(sorted(entries, key=lambda entry: (entry.date, entry.kind != "dose")))


def _steps(d: DoseResult) -> tuple[str, ...]:
    return tuple(load_agent(d.agent).about.get("handling", ()))
