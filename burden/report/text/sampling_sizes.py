"""Words of plans that need SciPy: pass marks, clean samples by burden, means, prevalences and stop cards."""

from __future__ import annotations

from burden.report.text.sampling import (
    CHANGES,
    as_asked,
    brief_plan,
    headline_of,
    of_fish,
    reason_of,
    table,
    whole_plan,
)
from burden.sampling.burden_threshold import CleanSamplePlan
from burden.sampling.imperfect_test import PassMarkPlan
from burden.sampling.precision import MeanPlan
from burden.sampling.prevalence import PrevalencePlan
from burden.sampling.sequential import StopCard
from burden.utils.formatting import all_of, as_given, counted, percent, percent_interval, plain, sentence
from burden.utils.results import CredibleInterval
from burden.utils.wording import writes, writes_brief

__all__ = ["aim_of", "clean_means", "table_of_choices", "wanted_of"]

CHANGES.update(
    {
        "aggregation": "If flukes crowd on fewer fish (a smaller k), more fish look clean and more must be looked at.",
        "share_seen": "The share of the gills or skin on a preparation, and how unevenly flukes sit, are assumptions.",
        "too_young": "Eggs, and flukes too young to recognise, are seen in no sample.",
        "second_look": "A second look at each positive fish raises the specificity and saves most fish.",
        "share_of_site": "The share of the site looked at is an estimate. More fish do not shrink its error.",
        "nearer_one_half": "A prevalence nearer one half needs more fish.",
        "uncertain_sensitivity": "An uncertain sensitivity widens the interval, however many fish you look at.",
        "smaller_k_precision": "If flukes crowd on fewer fish (a smaller k), the total at which to stop is higher.",
        "lucky_run": "Stopping on a lucky run makes the mean a little too high: near the line, take one more fish.",
        "undecided": "Undecided at the last fish: treat the burden as between the two, and look again in a few days.",
        "smaller_k_threshold": "A smaller k, or less of each fish seen, takes more fish.",
    }
)


# --- pass marks ---------------------------------------------------------------------------------------------------
@headline_of.register
def _(plan: PassMarkPlan) -> str:
    if plan.fish is None:
        return "No number of fish answers this."
    return (
        f"Test {of_fish(plan.fish, plan.population)}. With {plan.finds_allowed} positive or fewer, less than "
        f"{as_asked(plan.prevalence)} are infected, with {as_asked(plan.confidence)} confidence."
    )


@reason_of.register
def _(plan: PassMarkPlan, code: str) -> str:
    if code == "test_cannot_tell":
        return (
            f"With sensitivity {as_asked(plan.sensitivity)} and specificity {as_asked(plan.specificity)} a clean fish "
            "is positive at least as often as an infected one. The test says nothing unless both add to over 100 %."
        )
    if code == "no_sample_keeps_both":
        most = counted(50_000, "fish") if plan.infected is None else all_of(plan.population or 0, "fish")
        return f"Even {most} mistake an infected group or a clean one too often. Ask for a higher prevalence."
    passed, failed = percent(plan.chance_of_passing_infected or 0.0), percent(plan.chance_of_failing_clean or 0.0)
    return (
        f"A group with {as_asked(plan.prevalence)} infected passes with {passed} chance, and a clean group fails with "
        f"{failed} chance. No smaller sample does as well."
    )


# --- clean samples by burden ----------------------------------------------------------------------------------------
def clean_means(plan: CleanSamplePlan) -> str:
    """Write what a clean sample would show."""
    if plan.target_prevalence is not None:
        return f"fewer than {as_asked(plan.target_prevalence)} of the fish are infected"
    return f"fish carry fewer than {plain(plan.level)} flukes on average"


def _taken(plan: CleanSamplePlan, fish: str) -> str:
    return f"{counted(plan.preparations, 'preparation')} of each of {fish}"


@headline_of.register
def _(plan: CleanSamplePlan) -> str:
    confidence = as_asked(plan.confidence)
    if plan.fish is not None:
        fish = of_fish(plan.fish, plan.population)
        return f"Look at {_taken(plan, fish)}. If all are clean, {clean_means(plan)}, with {confidence} confidence."
    most = "10 000 fish" if plan.population is None else all_of(plan.population, "fish")
    reached = percent(plan.confidence_reached)
    return f"{sentence(_taken(plan, most))[:-1]} reach {reached} confidence that {clean_means(plan)}, not {confidence}."


@reason_of.register
def _(plan: CleanSamplePlan, code: str) -> str:
    at = f"At {plain(plan.level)} flukes a fish" if plan.target_prevalence is None else "At that prevalence"
    infected = "" if plan.target_prevalence is not None else f" {_share(plan.prevalence)} of fish are infected, and"
    chance = _share(plan.detection_per_fish)
    seen = f"{at}{infected} the preparations of an infected fish show a fluke with {chance} chance."
    if code == "killed_needed":
        return f"{seen} Live fish alone would not be enough."
    if code == "smallest_sample":
        return f"{seen} One fish fewer would miss too often."
    return f"{seen} {_instead(plan)}"


def _instead(plan: CleanSamplePlan) -> str:
    """What would do, or what all of them clean would show."""
    served = next((row for row in plan.options if row["fish"] is not None), None)
    shown = plan.level_shown
    clean = (
        "would show nothing"
        if shown is None or shown == float("inf")
        else (f"would show fewer than {plain(shown, 2)} flukes a fish")
    )
    more = (
        ""
        if served is None
        else f" With {served['preparations']} of each, {counted(served['fish'], 'fish')} are enough."
    )
    return f"All clean, they {clean}.{more}"


def _share(share: CredibleInterval) -> str:
    if share.high - share.low < 1e-9:
        return percent(share.median)
    return percent_interval(share.median, share.low, share.high)


def table_of_choices(plan: CleanSamplePlan) -> list[str]:
    """Write the plan without and with killed fish beside one another, where some may be killed."""
    if not plan.lethal_allowed:
        return []
    live, served = plan.choices[0], [c for c in plan.choices[1:] if c["fish"] is not None]
    reached = f"all of them reach {percent(live['confidence_reached'])} confidence"
    alive = reached if live["fish"] is None else counted(live["fish"], "fish")
    if not served:
        return [
            f"Live fish only: {alive}. Killing {plan.lethal_allowed} and searching them whole is not enough either."
        ]
    best = min(served, key=lambda c: (c["fish"], c["killed"]))
    return [
        f"Live fish only: {alive}. With {best['killed']} killed and searched whole: {counted(best['fish'], 'fish')}."
    ]


def _options(plan: CleanSamplePlan) -> str:
    return table({"preparations": "preparations of each", "fish": "fish"}, plan.options)


@writes
def _clean_text(plan: CleanSamplePlan) -> str:
    """Write how many fish show a burden below a level."""
    return whole_plan(plan, *table_of_choices(plan), _options(plan))


@writes_brief
def _clean_brief(plan: CleanSamplePlan) -> str:
    """Write how many fish show a burden below a level, in a few lines."""
    return brief_plan(plan, *table_of_choices(plan))


# --- means and prevalences ------------------------------------------------------------------------------------------
def wanted_of(plan: MeanPlan) -> str:
    """Write which precision is asked for."""
    return f"the mean to within {as_asked(float(plain(plan.precision, 3)))} of itself"


@headline_of.register
def _(plan: MeanPlan) -> str:
    level = f"{as_asked(plan.level)} interval"
    if plan.fish is not None:
        fish = of_fish(plan.fish, plan.population)
        return f"Look at {counted(plan.preparations, 'preparation')} of each of {fish} for {wanted_of(plan)} ({level})."
    if plan.population is None and plan.fish_needed is not None:
        return (
            f"No practical sample gives {wanted_of(plan)} ({level}): it would take {counted(plan.fish_needed, 'fish')}."
        )
    most = "No number of" if plan.population is None else f"Not even all {plan.population}"
    return f"{most} fish give {wanted_of(plan)} ({level})."


@reason_of.register
def _(plan: MeanPlan, code: str) -> str:
    part = percent(plan.share_between_fish).replace("over", "Over")
    share = f"{part} of the variance lies between fish, which only more fish shrink."
    if code == "more_preparations":
        return f"{share} The rest takes more preparations of each fish, or more of the site on each."
    if code == "beyond_reach":
        return f"{share} Ask for a wider interval."
    return f"{share} The rest shrinks with more preparations too."


@writes
def _mean_text(plan: MeanPlan) -> str:
    """Write how many fish measure a mean."""
    worked = plan.options[0]["work"] is not None
    heads = {"preparations": "preparations of each", "fish": "fish"} | ({"work": "work"} if worked else {})
    rows = [row | {"work": None if row["work"] is None else round(row["work"])} for row in map(dict, plan.options)]
    return whole_plan(plan, table(heads, rows) if len(rows) > 1 else "")


@headline_of.register
def _(plan: PrevalencePlan) -> str:
    points = as_given(100 * plan.half_width)
    asked = f"a prevalence near {as_asked(plan.prevalence)} to within {points} percentage points"
    level = f"{as_asked(plan.level)} interval"
    if plan.fish is not None:
        return f"Look at {of_fish(plan.fish, plan.population)} for {asked} ({level})."
    if plan.population is None:
        return f"No practical sample gives {asked} ({level}): it would take {counted(plan.fish_needed, 'fish')}."
    return f"Not even all {plain(plan.population, 9)} fish give {asked} ({level})."


@reason_of.register
def _(plan: PrevalencePlan, code: str) -> str:
    if code == "more_preparations":
        return "Chance decides too much which infected fish are recognised: take more clips or scrapes of each fish."
    if code == "beyond_reach":
        return "Ask for a wider interval."
    return "The Wilson interval at the expected prevalence is this wide. With one fish fewer it is wider."


# --- stop cards -------------------------------------------------------------------------------------------------------
@headline_of.register
def _(card: StopCard) -> str:
    return f"{aim_of(card)}. Count fish by fish, at most {card.fish}; the card says when to stop."


def aim_of(card: StopCard) -> str:
    """Write what a card decides."""
    if card.precision is not None and card.level is not None:
        within = as_asked(float(plain(card.precision, 3)))
        return f"Measure the mean to within {within} of itself ({as_asked(card.level)} interval)"
    if card.high is None:
        return f"Decide whether fish carry more or fewer than {plain(card.low)} flukes on average"
    return f"Decide whether fish carry {plain(card.low)} flukes or fewer, or {plain(card.high)} or more, on average"


@reason_of.register
def _(card: StopCard, code: str) -> str:
    if code == "aim":
        return f"{aim_of(card)}."
    if code == "many_flukes_few_fish":
        return "Stop when the flukes seen so far reach the number beside the last fish: many flukes, few fish."
    if code == "no_total_is_enough":
        return (
            f"No total from {counted(card.fish or 0, 'fish')} is enough for this. Ask for less, or look at more fish."
        )
    e = {name: value or 0.0 for name, value in card.expected.items()}
    return (
        f"A heavy burden ({plain(e['high_mean'])} a fish) is called high after {plain(e['fish_if_high'], 2)} fish on "
        f"average, and is undecided at {card.fish} with {percent(e['undecided_if_high'])} chance. A light one "
        f"({plain(e['low_mean'])} a fish) is called high by mistake with {percent(e['called_high_if_low'])} chance."
    )


def _card(card: StopCard) -> str:
    heads = {"fish": "fish", "low_at_most": "low at most", "high_at_least": "high at least"}
    return table(heads if card.decides else {"fish": "fish", "stop_at_least": "stop at least"}, card.lines, "go on")


@writes
def _card_text(card: StopCard) -> str:
    """Write the card with its reason; flukes seen in all so far stand beside each fish."""
    return whole_plan(card, f"{_method(card)}\n{_card(card)}")


@writes_brief
def _card_brief(card: StopCard) -> str:
    """Write the card, which is the answer, after the two lines that say how to use it."""
    how = f"{card.headline()}\n{card.because}"
    return how if card.reason == "no_total_is_enough" else f"{how}\nFlukes seen so far:\n{_card(card)}"


def _method(card: StopCard) -> str:
    return f"Flukes seen so far, by the method: {card.method}, k {plain(card.k_seen, 2)} as seen."


# --- the rest is alike ------------------------------------------------------------------------------------------------
@writes
def _plan_text(plan: PassMarkPlan | PrevalencePlan) -> str:
    """Write a plan that has no table."""
    return whole_plan(plan)


@writes_brief
def _plan_brief(plan: PassMarkPlan | PrevalencePlan | MeanPlan) -> str:
    """Write a plan in a few lines."""
    return brief_plan(plan)
