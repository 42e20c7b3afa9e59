"""The decision as data: today's action, its reasons, the plan by date, the next look and what follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import date as Date
from datetime import timedelta
from typing import Any

from burden.decision.look_records import NextLook
from burden.schedule.recommendation import Compared, Recommendation
from burden.treatment.dose_result import Poured
from burden.treatment.gates import Gate
from burden.treatment.safety_note import SafetyNote
from burden.treatment.withdrawal import LastDose, Withdrawal
from burden.utils.results import CredibleInterval, Result, frame, number

__all__ = [
    "ACTIONS",
    "Decision",
    "Missing",
    "OtherTreatment",
    "PlannedDose",
    "Reason",
]

#: water_first: put the water, or what the fish need at once, right and measure; no dose today. dose: begin, or go on
#: with, the plan. look_first: look at more fish, or for another cause, before any dose. watch: no dose, look again on a
#: date. discharge: nothing more to do
ACTIONS = ("water_first", "dose", "look_first", "watch", "discharge")


@dataclass(frozen=True)
class Reason:
    """Why, as a code with its numbers; `burden.report.text` says it.

    Parameters
    ----------
    code : str
    numbers : mapping of str to float, str or None
        What the sentence needs.
    """

    code: str
    numbers: Mapping[str, float | str | None] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"code": self.code, **self.numbers}


@dataclass(frozen=True)
class PlannedDose(Poured):
    """One dose of the plan.

    Parameters
    ----------
    date : Date
    day : float
        From the visit [d].
    number, of : int
        Its place in the whole course, doses already given counted.
    agent : str
    mg_l, hours : float
        [mg/L], [h].
    mass_g : float or None
        Active substance for all the water; None for a bath apart [g].
    product_g, product_ml : float or None
        What to weigh or measure out [g], [mL].
    strength_percent : float
        Active substance in the product that the amount is of [%].
    bath_volume_l : float
        Water that the amount is for [L].
    apart : bool
        Whether it is given in a water of its own.
    place : str
        Where: water, tank, enclosed (a cage's fish in a tarpaulin or a well-boat), flow_stopped or dripped.
    trial_date : date or None
        When a few fish are treated first.
    fast_from : Date
        Feeding stops on this day.
    drip_per_hour : float
        How much of the same amount is dripped into the inflow besides, while the bath lasts [1/h].
    """

    date: Date
    day: float
    number: int
    of: int
    agent: str
    mg_l: float
    hours: float
    mass_g: float | None
    product_g: float | None
    product_ml: float | None
    strength_percent: float
    bath_volume_l: float
    apart: bool
    trial_date: Date | None
    fast_from: Date
    place: str = "water"
    drip_per_hour: float = 0.0

    @property
    def dripped(self) -> tuple[float | None, float | None]:
        """What is dripped in besides, over the whole bath [g], [mL]; as the product is measured."""
        return self.product_times(self.in_all - 1) if self.drip_per_hour else (None, None)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "date": self.date.isoformat(),
            "number": self.number,
            "of": self.of,
            "agent": self.agent,
            "mg_l": self.mg_l,
            "hours": self.hours,
            "mass_g": number(self.mass_g),
            "product_g": number(self.product_g),
            "product_ml": number(self.product_ml),
            "dripped_g": number(self.dripped[0]),
            "dripped_ml": number(self.dripped[1]),
            "strength_percent": self.strength_percent,
            "bath_volume_l": self.bath_volume_l,
            "bath_apart": self.apart,
            "place": self.place,
            "trial_date": None if self.trial_date is None else self.trial_date.isoformat(),
            "fast_from": self.fast_from.isoformat(),
        }


@dataclass(frozen=True)
class Missing:
    """An agent that is not at hand and would serve, and one bath of it.

    Parameters
    ----------
    agent : str
    mg_l, hours : float
        [mg/L], [h].
    product_g, product_ml : float or None
        What to weigh or measure out [g], [mL].
    strength_percent : float
        Active substance in the product that the amount is of [%].
    bath_volume_l : float
        Water that the amount is for [L].
    place : str
        As `PlannedDose` has it.
    """

    agent: str
    mg_l: float
    hours: float
    product_g: float | None
    product_ml: float | None
    strength_percent: float
    bath_volume_l: float
    place: str

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return asdict(self)


@dataclass(frozen=True)
class OtherTreatment:
    """Another disease found: whether the plan meets it, and which comes first.

    Parameters
    ----------
    finding : str
    first : bool
        Whether it is treated, or settled, before the flukes.
    agent : str or None
        Agent of the plan that works on it; None for a treatment of its own, which this tool does not plan.
    at_hand : str or None
        Where the plan has none: an agent that may be given here and works on it.
    test : str or None
        Of a suspected virus: sent or positive; None where none was made.
    bath : Missing or None
        One bath of the agent at hand.
    kept_out : tuple of SafetyNote
        What keeps out an agent at hand that works on it, where none else does.
    """

    finding: str
    first: bool
    agent: str | None
    at_hand: str | None = None
    test: str | None = None
    bath: Missing | None = None
    kept_out: tuple[SafetyNote, ...] = ()

    @property
    def to_treat_first(self) -> bool:
        """Whether flukes wait for it: it comes first, and the plan does not meet it."""
        return self.first and self.agent is None

    @property
    def in_too_much_water(self) -> bool:
        """Whether only the amount of water keeps out what works on it, so that fish are bathed apart or not at all."""
        return bool(self.kept_out) and all(note.code == "too_much_water" for note in self.kept_out)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "finding": self.finding,
            "first": self.first,
            "agent": self.agent,
            "at_hand": self.at_hand,
            "test": self.test,
            "bath": None if self.bath is None else self.bath.as_dict(),
            "kept_out": [note.as_dict() for note in self.kept_out],
        }


@dataclass(frozen=True)
class Decision(Result):
    """What to do, from which every surface is rendered.

    Parameters
    ----------
    case_name : str
    parasites : tuple of str
    visit_date : Date
    seed, draws : int
    action : str
        One of `ACTIONS`, for today.
    reasons : tuple of Reason
        The weightiest first.
    gates : tuple of Gate
        What water and fish ask for before a dose, those that stop it first.
    recommendation : Recommendation
        The schedule, and what it was compared with.
    plan : tuple of PlannedDose
        By date; empty where no dose is to be given as things stand.
    after_water : tuple of PlannedDose
        For `water_first`: the plan to follow once the water is right, dated as if that were the day after the visit.
    look : NextLook or None
    others : tuple of OtherTreatment
    chances : mapping of str to float
        flukes_present, kept_untreated, kept_planned, gone_planned [-].
    deaths : mapping of str to CredibleInterval
        By the horizon, by flukes and by other causes: flukes_untreated, flukes_planned, flukes_avoided, other.
    release_date : date or None
        From when newcomers may move, after a clean look.
    dated_until : date or None
        Beyond this day dates hang on water nobody stated; None where they hold.
    withheld : tuple of SafetyNote
        What keeps out each agent at hand, where a dose is wanted and none can be given.
    to_get : tuple of Missing
        Agents that would serve then.
    withdrawals : tuple of Withdrawal
        For food fish, an example of each agent of the course, or of what was given.
    last_dose : LastDose or None
        For food fish with a date of harvest, where more doses may be needed: until when one may be given.
    on_record : mapping of str to int
        How many readable preparations, flukes in them and dead fish the record has (preparations, flukes, deaths), and
        whether fish have ulcers or gasp, a UV lamp is there, anyone may eat the fish, some are carp or koi,
        they live in a pond as far as is known, and dying ones were looked at (ulcers, gasping, uv, food, carp, pond,
        dying). Of three visits alike or more since the last dose: visits, visit_1_flukes, visit_1_preparations, ….
        Where looks alike stand around
        the last doses, flukes and preparations of the look before them, of the first after and of the latest if later
        (flukes_before, preparations_before, flukes_after, …, flukes_latest, …), and doses_between those two looks.
    """

    case_name: str
    parasites: tuple[str, ...]
    visit_date: Date
    seed: int
    draws: int
    action: str
    reasons: tuple[Reason, ...]
    gates: tuple[Gate, ...]
    recommendation: Recommendation
    plan: tuple[PlannedDose, ...] = ()
    after_water: tuple[PlannedDose, ...] = ()
    look: NextLook | None = None
    others: tuple[OtherTreatment, ...] = ()
    chances: Mapping[str, float] = field(default_factory=dict)
    deaths: Mapping[str, CredibleInterval] = field(default_factory=dict)
    release_date: Date | None = None
    dated_until: Date | None = None
    withheld: tuple[SafetyNote, ...] = ()
    to_get: tuple[Missing, ...] = ()
    withdrawals: tuple[Withdrawal, ...] = ()
    last_dose: LastDose | None = None
    on_record: Mapping[str, int] = field(default_factory=dict)

    @property
    def doses(self) -> tuple[PlannedDose, ...]:
        """The doses shown: those of the plan, or those that follow once the water is right."""
        return self.plan or self.after_water

    @property
    def compared(self) -> tuple[Compared, ...]:
        """Every schedule compared; the best of them is no recommendation where the decision gives no dose."""
        rows = self.recommendation.compared
        if self.doses:
            return rows
        return tuple(replace(one, name="best") if one.name == "recommended" else one for one in rows)

    def rows(self) -> list[dict[str, Any]]:
        """Return the plan and the next look, a row each."""
        doses = [{"what": "dose", **dose.as_dict()} for dose in self.doses]
        return doses + ([] if self.look is None else [{"what": "look", "date": self.look.date.isoformat()}])

    @property
    def judged(self) -> tuple[Date, Date]:
        """First and last day on which the burden has to be low, with the doses shown or without any."""
        recommended = self.recommendation.recommended
        shown = recommended if recommended is not None and self.doses else self.recommendation.untreated
        return self.date_of(shown.check_day), self.date_of(shown.end_day)

    @property
    def deaths_until(self) -> Date:
        """Day up to which deaths are foretold: the horizon, or the harvest of all fish before it."""
        return self.date_of(self.recommendation.aim.deaths_until_day)

    @property
    def emptied_by_then(self) -> bool:
        """Whether deaths are foretold up to the harvest of all fish."""
        return self.recommendation.aim.emptied_day is not None

    def date_of(self, day: float) -> Date:
        """Return the date of a day from the visit on."""
        return self.visit_date + timedelta(days=int(day))

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        found = self.recommendation
        return {
            **frame(self.seed, self.draws),
            "case": self.case_name,
            "parasites": list(self.parasites),
            "visit_date": self.visit_date.isoformat(),
            "action": self.action,
            "reasons": [reason.as_dict() for reason in self.reasons],
            "gates": [gate.as_dict() for gate in self.gates],
            "aim": found.aim.kind,
            "aim_chance": found.aim.chance,
            "tolerable_flukes_per_fish": [level.as_dict() for level in found.aim.tolerable],
            "chances": {name: number(value) for name, value in self.chances.items()},
            "deaths": {name: value.as_dict() for name, value in self.deaths.items()},
            "deaths_until": self.deaths_until.isoformat(),
            "deaths_end_with": "harvest" if self.emptied_by_then else "horizon",
            "plan": [dose.as_dict() for dose in self.plan],
            "after_water": [dose.as_dict() for dose in self.after_water],
            "look": None if self.look is None else self.look.as_dict(),
            "other_treatments": [one.as_dict() for one in self.others],
            "release_date": None if self.release_date is None else self.release_date.isoformat(),
            "dated_until": None if self.dated_until is None else self.dated_until.isoformat(),
            "why": found.why,
            "compared": [one.as_dict(found.aim) for one in self.compared],
            "fewer_as_good": found.fewer_as_good,
            "more_better": found.more_better,
            "withheld": [note.as_dict() for note in self.withheld],
            "to_get": [one.as_dict() for one in self.to_get],
            "withdrawals": [one.as_dict() for one in self.withdrawals],
            "last_dose_before_harvest": None if self.last_dose is None else self.last_dose.as_dict(),
            "on_record": dict(self.on_record),
        }
