"""Why this repeat interval: one parasite set, one temperature, one agent, in a reference pond.

The reference pond holds 40 fish of 400 g in 10 m³ with 50 adults a fish in the stable stage mix of the temperature,
without exchange, cleaning, fish deaths or brakes; each dose acts at once with the drawn kill of the agent's customary
bath and leaves no residue. Two aims are answered apart: control, and eradication.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from burden.bath import bath_effect
from burden.effects import DoseEffect
from burden.elimination import none_left, time_grid
from burden.errors import CannotAnswerError
from burden.evidence import Evidence, load_agent, load_parasite
from burden.lifecycle import Parameters, Surroundings, build_cycle, draw_parameters, establishment_for
from burden.progress import told
from burden.renewal import Batch, Habitat, backward
from burden.result import Probability, Result, Triple, frame, number
from burden.stable import Population, stable_population
from burden.treatment import draw_kill
from burden.waiting import farthest
from burden.water import Temperature
from burden.windows import Windows, safe_below_c, windows_after

__all__ = [
    "CONTROL_PER_1000",
    "DOSES",
    "ERADICATION",
    "LONGEST_GAP_DAYS",
    "REFERENCE_ADULTS",
    "REFERENCE_FISH",
    "REFERENCE_VOLUME_M3",
    "TIE",
    "Course",
    "IntervalAnswer",
    "cold_water_words",
    "customary_words",
    "evaluate_courses",
    "interval",
    "step_for",
]

REFERENCE_FISH, REFERENCE_VOLUME_M3, REFERENCE_ADULTS = 40, 10.0, 50
CONTROL_PER_1000 = 10.0  # most flukes on the fish left of 1,000, a day after the last dose
ERADICATION = 0.9  # least mean probability of elimination
TIE = 0.005  # differences of a probability that do not count
DOSES = range(2, 9)
LONGEST_GAP_DAYS = 60.0
_STAGES = (30, 30)
_GROUP = 20  # gaps walked together: most of a step is the same for few schedules and for many
_COARSE_GAPS, _COARSE_PARTS, _FINE_PARTS = 16, 6, 10  # where every half day would be many gaps: rounds and steps


@dataclass(frozen=True)
class Course:
    """A number of doses at one gap, and what it does to the reference pond.

    Parameters
    ----------
    gap_days : float
        [d]
    doses : int
    survivors_per_1000 : Triple
        Flukes on the fish a day after the last dose, of 1,000 before the first.
    elimination_probability : Probability
        No fluke, egg or larva left 365 d after the last dose.
    """

    gap_days: float
    doses: int
    survivors_per_1000: Triple
    elimination_probability: Probability

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "gap_days": self.gap_days,
            "doses": self.doses,
            "survivors_per_1000": self.survivors_per_1000.as_dict(),
            "elimination_probability": self.elimination_probability.as_dict(),
        }


@dataclass(frozen=True)
class IntervalAnswer(Result):
    """The answer to `burden interval`. Courses are None where no number of doses serves, with the reason."""

    parasite: str
    title: str
    temperature_c: float
    agent: str
    bath: str
    seed: int
    draws: int
    windows: Windows | None
    recommended: Course | None
    eradication: Course | None
    reasons: Mapping[str, str]
    customary: Sequence[tuple[Course, str]]
    extrapolated: Sequence[str]
    sources: Sequence[str]
    warnings: Sequence[str]
    courses: Sequence[Course] = field(default=())
    two_weeks_safe_below_c: Triple = field(default_factory=Triple.missing)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        names = (
            "first_hatch_days",
            "mean_hatch_days",
            "last_hatch_days",
            "earliest_maturity_days",
            "longest_safe_gap_days",
            "last_dose_not_before_day",
        )
        triples = self.windows.triples() if self.windows else dict.fromkeys(names, Triple.missing())
        window = self.windows.two_dose_window() if self.windows else None
        chance = float(np.mean(self.windows.two_doses_suffice)) if self.windows else None
        return {
            **frame(self.seed, self.draws),
            "parasite": self.parasite,
            "temperature_c": self.temperature_c,
            "agent": self.agent,
            "bath": self.bath,
            **{name: triples[name].as_dict() for name in names},
            "two_dose_window_days": list(window) if window else None,
            "two_dose_window_probability": number(chance),
            "recommended": self.recommended.as_dict() if self.recommended else None,
            "eradication": self.eradication.as_dict() if self.eradication else None,
            "two_weeks_safe_below_c": self.two_weeks_safe_below_c.as_dict(),
            "reasons": dict(self.reasons),
            "customary": [{**course.as_dict(), "known": known} for course, known in self.customary],
            "extrapolated": list(self.extrapolated),
            "sources": list(self.sources),
            "warnings": list(self.warnings),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return every course computed, a row each."""
        return [
            {
                "gap_days": c.gap_days,
                "doses": c.doses,
                "survivors_per_1000": c.survivors_per_1000.median,
                "survivors_low": c.survivors_per_1000.low,
                "survivors_high": c.survivors_per_1000.high,
                "elimination_probability": c.elimination_probability.mean,
            }
            for c in self.courses
        ]

    def text(self) -> str:
        """Return the answer in words."""
        lines = [f"{self.title}, {self.temperature_c:g} °C, {self.agent} ({self.bath})."]
        lines.append(_say("To control them", self.recommended, self.reasons.get("recommended", "")))
        lines.append(_say("To be rid of them", self.eradication, self.reasons.get("eradication", "")))
        if self.windows:
            lines += ["Why:", *(f"  {line}" for line in _why(self.windows))]
            lines.append(cold_water_words(self.two_weeks_safe_below_c))
        for course, known in self.customary:
            lines.append(
                f"Customary or printed: {course.doses} doses every {course.gap_days:g} d ({known}): "
                f"{course.survivors_per_1000.text()} left per 1 000, "
                f"rid of them in {100 * course.elimination_probability.mean:.0f} of 100."
            )
        if self.extrapolated:
            lines.append("Extrapolated beyond what was measured: " + ", ".join(self.extrapolated) + ".")
        lines += [f"Note: {warning}" for warning in self.warnings]
        return "\n".join(lines)


def cold_water_words(below: Triple) -> str:
    """Say from which temperature down doses two weeks apart are right."""
    return (
        f"Two weeks apart gives no settler time to lay in water below {below.text()} °C; in warmer water it does, so "
        "there the doses belong closer together."
    )


def _say(aim: str, course: Course | None, reason: str) -> str:
    if course is None:
        return f"{aim}: {reason}."
    return (
        f"{aim}: {course.doses} doses, {course.gap_days:g} d apart. Left per 1 000 flukes on the fish a day after the "
        f"last dose: {course.survivors_per_1000.text()}; none left a year later in "
        f"{100 * course.elimination_probability.mean:.0f} of 100."
    )


def _why(windows: Windows) -> list[str]:
    t = windows.triples()
    between = windows.two_dose_window()
    two = (
        f"two doses {between[0]:.1f} to {between[1]:.1f} d apart would suffice with total kill"
        if between
        else "no gap of two doses catches the last larva before the first lays"
    )
    return [
        f"eggs hatch from day {t['first_hatch_days'].text()} to day {t['last_hatch_days'].text()} after laying;",
        f"a settled larva lays from day {t['earliest_maturity_days'].text()};",
        f"longest gap at which no settler can lay first: {t['longest_safe_gap_days'].text()} d;",
        f"last dose not before day {t['last_dose_not_before_day'].text()}, when the last egg has hatched;",
        f"{two} (in {100 * np.mean(windows.two_doses_suffice):.0f} of 100 draws some gap does).",
    ]


def interval(
    parasite: str, temperature_c: float, agent: str = "praziquantel", draws: int = 200, seed: int = 1
) -> IntervalAnswer:
    """Answer why this repeat interval.

    Parameters
    ----------
    parasite, agent : str
        Names of a set and of an agent.
    temperature_c : float
        Constant water temperature [°C].
    draws, seed : int
        Number of draws and seed.

    Returns
    -------
    IntervalAnswer

    Raises
    ------
    InputError
        For a name that is none.
    """
    evidence, agent_evidence = load_parasite(parasite), load_agent(agent)
    kill = draw_kill(agent_evidence, draws, seed)
    bath = f"{kill.customary_mg_l:g} mg/L for {kill.customary_hours:g} h, acting at once"
    common = {
        "parasite": parasite,
        "title": evidence.title,
        "temperature_c": temperature_c,
        "agent": agent,
        "bath": bath,
        "seed": seed,
        "draws": draws,
        "sources": sorted({*evidence.source_keys(), *kill.sources}),
    }
    reason = _NO_EGGS if evidence.about["kind"] != "egg_layer" else evidence.refusal("windows")
    if reason:
        return _without_windows(common, reason)
    parameters = establishment_for(draw_parameters(evidence, draws, seed), REFERENCE_FISH / REFERENCE_VOLUME_M3)
    effect = bath_effect(kill, kill.customary_mg_l).without_residue()
    windows = windows_after(parameters, effect.sheltered_fraction, Temperature.constant(temperature_c))
    extrapolated, warnings = _limits(evidence, parameters, temperature_c)
    customary = _customary(evidence, parameters, effect, temperature_c)
    courses: list[Course] = []
    try:
        courses = _search(parameters, effect, temperature_c, _gaps(windows))
        recommended, why_not = _control(courses)
        eradication, why_neither = _eradicate(courses)
    except CannotAnswerError as error:
        recommended, eradication, why_not, why_neither = None, None, str(error), str(error)
    return IntervalAnswer(
        **common,
        windows=windows,
        recommended=recommended,
        eradication=eradication,
        reasons={k: v for k, v in (("recommended", why_not), ("eradication", why_neither)) if v},
        customary=customary,
        extrapolated=extrapolated,
        warnings=[*warnings, *_longer_than_safe(recommended, windows)],
        courses=courses,
        two_weeks_safe_below_c=Triple.of(safe_below_c(parameters, effect.sheltered_fraction, 14.0)),
    )


_NO_EGGS = "a live-bearer lays no eggs: every fluke is on a fish at the dose, and no window has to be waited for"


def _without_windows(common: dict[str, Any], reason: str) -> IntervalAnswer:
    return IntervalAnswer(
        **common,
        windows=None,
        recommended=None,
        eradication=None,
        reasons={"recommended": reason, "eradication": reason},
        customary=(),
        extrapolated=(),
        warnings=[reason],
    )


def _limits(evidence: Evidence, parameters: Parameters, temperature_c: float) -> tuple[list[str], list[str]]:
    """What is extrapolated at this temperature, by name, and what to say about it."""
    development = parameters.development
    names = [
        name
        for name, table in (("hatching", development.hatch), ("maturity", development.maturity))
        if table.extrapolates(temperature_c)
    ]
    warnings = []
    if "maturity" in names:
        low, high = development.maturity.measured_c
        where = f"{low:g} °C" if low == high else f"{low:g} to {high:g} °C"
        warnings.append(f"maturity was measured at {where} alone and is extrapolated to {temperature_c:g} °C")
    if "hatching" in names:
        low, high = development.hatch.measured_c
        warnings.append(
            f"hatching was measured from {low:g} to {high:g} °C and is extrapolated to {temperature_c:g} °C"
        )
    timing = sorted({f"{p.quantity} from {p.borrowed_from}" for p in evidence.points if p.borrowed_from})
    if timing:
        warnings.append("the timing itself is borrowed: " + ", ".join(timing))
    borrowed = sorted({f"{v.name} from {v.borrowed_from}" for v in evidence.values.values() if v.borrowed_from})
    if borrowed:
        warnings.append("borrowed, with a wider range: " + ", ".join(borrowed))
    return names, warnings


def _longer_than_safe(course: Course | None, windows: Windows) -> list[str]:
    if course is None:
        return []
    safe = float(np.median(windows.longest_safe_gap))
    if course.gap_days <= safe:
        return []
    return [
        f"the recommended gap of {course.gap_days:g} d is longer than the longest gap at which no settler can lay "
        f"({safe:.1f} d): a few settlers lay before the next dose, but fewer doses then also catch the late hatchers, "
        "and the numbers left are within the aim"
    ]


def _gaps(windows: Windows) -> np.ndarray:
    """Gaps searched: from half a day to last hatch, larval life and maturity together, by half days [d]."""
    longest = np.median(windows.last_hatch) + np.median(windows.larval_life) + np.median(windows.earliest_maturity)
    if not np.isfinite(longest):
        raise CannotAnswerError("in water this cold most eggs do not hatch within 400 d: no interval can be given")
    return np.arange(0.5, min(longest, LONGEST_GAP_DAYS) + 0.25, 0.5)


def _search(parameters: Parameters, effect: DoseEffect, temperature_c: float, gaps: np.ndarray) -> list[Course]:
    """Judge every half day, or where that is many gaps, a coarse grid first and then every half day where it matters.

    The coarse stride follows development, a twelfth of the first hatch or a sixteenth of the longest gap, and so does
    its step. What decides is judged again in the fine step: around every course that may win, and around the best
    gap of one dose less where that came close.
    """
    first = float(np.median(parameters.development.hatch.quantile_days(0.01, temperature_c)))
    stride = max(round(first / 12 / 0.5), int(np.ceil(len(gaps) / _COARSE_GAPS)))
    if stride == 1:
        return evaluate_courses(parameters, effect, temperature_c, gaps, DOSES)
    coarse = evaluate_courses(parameters, effect, temperature_c, gaps[stride - 1 :: stride], DOSES, _COARSE_PARTS)
    courses = {(c.gap_days, c.doses): c for c in coarse}
    for doses, centres in _worth_refining(coarse).items():
        fine = [g for g in gaps if any(abs(g - centre) <= 0.5 * stride for centre in centres)]
        found = evaluate_courses(parameters, effect, temperature_c, np.array(fine), range(2, doses + 1), _FINE_PARTS)
        courses |= {(c.gap_days, c.doses): c for c in found}
    return sorted(courses.values(), key=lambda c: (c.gap_days, c.doses))


def _worth_refining(courses: Sequence[Course]) -> dict[int, set[float]]:
    """Gaps around which the answer may lie, by number of doses [d]."""
    found: dict[int, set[float]] = {}
    for rule, worth in ((_control, _near_control), (_eradicate, _near_eradication)):
        chosen = rule(courses)[0]
        last = chosen.doses if chosen is not None else max(c.doses for c in courses)
        for doses in (last - 1, last):
            near = worth([c for c in courses if c.doses == doses])
            if near:
                top = max(near, key=lambda c: c.elimination_probability.mean)
                few = min(near, key=lambda c: c.survivors_per_1000.median)
                tied = [chosen] if chosen is not None and doses == last else []
                found.setdefault(doses, set()).update(c.gap_days for c in (top, few, *tied))
    return found


def _near_control(courses: Sequence[Course]) -> list[Course]:
    """Those that meet the limit or may do so half a stride away."""
    return [c for c in courses if c.survivors_per_1000.median <= 1.5 * CONTROL_PER_1000]


def _near_eradication(courses: Sequence[Course]) -> list[Course]:
    good = [c for c in courses if c.elimination_probability.mean >= ERADICATION - 0.05]
    return [max(good, key=lambda c: c.elimination_probability.mean)] if good else []


def _customary(
    evidence: Evidence, parameters: Parameters, effect: DoseEffect, temperature_c: float
) -> list[tuple[Course, str]]:
    """What custom or print says near this temperature, judged in the same pond."""
    found = []
    for row in evidence.about.get("published_intervals", ()):
        if abs(row["temperature_c"] - temperature_c) <= 1.5:
            course = evaluate_courses(
                parameters, effect, temperature_c, np.array([float(row["gap_days"])]), [row["doses"]]
            )[0]
            found.append((course, row["known"]))
    return found


def customary_words(evidence: Evidence, temperature_c: float) -> list[str]:
    """Say what custom or print gives, and at which temperature, nearest first."""
    rows = sorted(
        evidence.about.get("published_intervals", ()), key=lambda row: abs(row["temperature_c"] - temperature_c)
    )
    return [
        f"{row['doses']} doses every {row['gap_days']:g} d near {row['temperature_c']:g} °C ({row['known']})"
        for row in rows
    ]


def _controlling(courses: Sequence[Course]) -> list[Course]:
    return [c for c in courses if c.survivors_per_1000.median <= CONTROL_PER_1000]


def _control(courses: Sequence[Course]) -> tuple[Course | None, str]:
    for doses in sorted({c.doses for c in courses}):
        if good := _controlling([c for c in courses if c.doses == doses]):
            return _best(good), ""
    most = max(c.doses for c in courses)
    return None, f"no gap leaves at most {CONTROL_PER_1000:g} flukes of 1 000 with up to {most} doses of this bath"


def _eradicate(courses: Sequence[Course]) -> tuple[Course | None, str]:
    for doses in sorted({c.doses for c in courses}):
        mine = [c for c in courses if c.doses == doses]
        if max(c.elimination_probability.mean for c in mine) >= ERADICATION:
            return _best(mine), ""
    best = max(courses, key=lambda c: c.elimination_probability.mean)
    return None, (
        f"no course of up to {best.doses} doses reaches a mean probability of {ERADICATION:g}; the best, {best.doses} "
        f"doses {best.gap_days:g} d apart, reaches {best.elimination_probability.mean:.2f}"
    )


def _best(courses: Sequence[Course], tie: float = TIE) -> Course:
    """Highest mean probability; among those within the tie the shortest gap."""
    top = max(c.elimination_probability.mean for c in courses)
    return min((c for c in courses if c.elimination_probability.mean >= top - tie), key=lambda c: c.gap_days)


def step_for(parameters: Parameters, temperature_c: float, unit_days: float = 0.5, parts: int = 12) -> float:
    """Step of the backward equations: a whole part of a unit of days, so many of them at least a first hatch [d]."""
    first = float(np.median(parameters.development.hatch.quantile_days(0.01, temperature_c)))
    return unit_days / max(int(np.ceil(unit_days * parts / min(first, 1e3))), 1)


def _window_days(parameters: Parameters, temperature_c: float) -> float:
    """How long even steps go on: what all but a slow tenth of the draws take for their last, within 120 d [d].

    Beyond it steps are longer for all draws, which moves the probability by less than 2e-4.
    """
    development = parameters.development
    slowest = [
        farthest(table.shape_at(temperature_c)) / np.maximum(table.rate(temperature_c), 1e-9)
        for table in (development.hatch, development.maturity)
    ]
    return float(min(max(np.quantile(days, 0.9, method="nearest") for days in slowest), 120.0))


def evaluate_courses(
    parameters: Parameters,
    effect: DoseEffect,
    temperature_c: float,
    gaps_days: np.ndarray,
    doses: Sequence[int],
    parts: int = 12,
) -> list[Course]:
    """Judge every number of doses at every gap in the reference pond.

    Parameters
    ----------
    parameters : Parameters
        M draws of an egg-layer, with `establishment` at the reference density.
    effect : DoseEffect
        One dose, M draws.
    temperature_c : float
        [°C]
    gaps_days : numpy.ndarray
        Multiples of half a day, shape (G,) [d].
    doses : sequence of int
        Numbers of doses.
    parts : int
        Steps of the backward equations that a first hatch is cut into, at least.

    Returns
    -------
    list of Course
        By gap, then by number of doses.
    """
    unit = float(np.gcd.reduce(np.round(2 * gaps_days).astype(int))) / 2
    dt = step_for(parameters, temperature_c, unit, parts)
    m = parameters.size
    wear = next((form.stages for form in build_cycle(parameters.evidence).forms if form.name == "fresh_egg"), 0)
    around = Surroundings(np.full(m, REFERENCE_FISH / REFERENCE_VOLUME_M3))
    fish, adults = np.full(m, float(REFERENCE_FISH)), np.full(m, float(REFERENCE_FISH * REFERENCE_ADULTS))
    population = stable_population(parameters, temperature_c, around, adults, fish, (wear, *_STAGES))
    reach = _window_days(parameters, temperature_c)
    found, memo = [], {}
    groups = np.array_split(gaps_days, max(int(np.ceil(len(gaps_days) / _GROUP)), 1))
    for group in told(groups, "judging intervals"):
        found += _judge_group(parameters, effect, temperature_c, group, list(doses), dt, reach, population, memo)
    return found


def _judge_group(
    parameters: Parameters,
    effect: DoseEffect,
    temperature_c: float,
    gaps: np.ndarray,
    doses: list[int],
    dt: float,
    reach: float,
    population: Population,
    memo: dict,
) -> list[Course]:
    """All gaps of a group share the day of their last dose, so one walk gives every number of doses of each."""
    most = max(doses)
    span = (most - 1) * float(gaps.max())
    last = round(span / dt)
    steps = np.array([[last - round(k * gap / dt) for k in range(most)] for gap in gaps])
    batch = Batch(steps, np.zeros_like(steps), [effect])
    starts = [steps[:, n - 1] for n in doses]
    stages = (len(population.fresh_eggs), *_STAGES)
    around = (Temperature.constant(temperature_c), population.fish / REFERENCE_VOLUME_M3, 0.0)
    habitat = Habitat(parameters, *around, *time_grid(0.0, span, dt, reach + 2 * dt), memo)
    probabilities = [none_left(v, population) for v in backward(habitat, batch, starts, stages)]
    day = dt * np.ceil(1.0 / dt - 1e-9)  # a whole number of steps, so that both grids share their durations
    short = Habitat(parameters, *around, *time_grid(0.0, span, dt, reach + day, after_days=day), memo)
    left = backward(short, batch, starts, stages, linear=True, on_fish_only=True)
    before = population.adults + population.juveniles.sum(0)
    survivors = [1000 * sum(v.expected(population)) / before for v in left]
    return [
        Course(float(gap), n, Triple.of(survivors[c][s]), Probability.of(probabilities[c][s]))
        for s, gap in enumerate(gaps)
        for c, n in enumerate(doses)
    ]
