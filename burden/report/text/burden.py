"""Words of an estimate: how many flukes there are, what a look misses, and what is odd."""

from __future__ import annotations

from burden.inference.diagnostics import HiddenByUnknownDose, LookedTwice, Quantity, SampleReading, SkinNotRead
from burden.inference.estimate_result import Estimate, FewEffectiveDraws, LogAgainstSamples, SickOnly
from burden.report.text.notes import noted, other_sets, parasite_name
from burden.utils.dates import day_in_words
from burden.utils.formatting import all_of, counted, named, percent, percent_interval, plain
from burden.utils.results import CredibleInterval
from burden.utils.wording import writes, writes_brief

__all__: list[str] = []  # writers are found by the type they write

_QUANTITIES = {
    "abundance_before": "flukes a fish when the record starts",
    "abundance_today": "flukes a fish today",
    "share_seen_gill_clip": "share of the gills on a clip (1 is the median)",
    "share_seen_skin_scrape": "share of the skin in a scrape (1 is the median)",
    "part_shape": "how evenly flukes sit on one fish (shape)",
    "selection_bias": "how much sick fish were picked by their flukes (0 to 1)",
    "background_hazard": "deaths without flukes (per day)",
    "aggregation": "aggregation k",
    "hazard_per_burden": "deaths per fluke and gram (per day)",
    "reproduction_number": "reproduction number",
    "burden_scale": "burden at which laying halves",
    "resistance_half_burden": "burden that half saturates resistance",
    "resistance_gain_degree_days": "warmth a fish needs to gain resistance (degree-days)",
    "resistance_loss_per_day": "how fast fish lose resistance (per day)",
    "adult_life_days": "life of an adult fluke (days)",
    "adult_life_q10": "how much warmth shortens an adult's life (Q10)",
    "fecundity": "eggs a fluke lays a day at 20 °C",
    "fecundity_q10": "how much warmth raises laying (Q10)",
    "larval_life_days": "life of a larva without a fish (days)",
    "larval_life_q10": "how much warmth shortens a larva's life (Q10)",
    "fresh_egg_days": "days before a fresh egg starts to grow",
    "chill_factor": "how much cold wears fresh eggs",
    "egg_mortality": "deaths of eggs (per day)",
    "egg_cold_q10": "how much cold slows the deaths of eggs (Q10)",
    "hatch_success": "share of eggs that hatch",
    "juvenile_mortality": "deaths of young flukes (per day)",
    "maturity_threshold_c": "water below which young flukes do not grow up (°C)",
    "cold_block_c": "water below which eggs do not start (°C)",
    "contact_rate": "how often a larva meets a fish (per day)",
    "contact_half_density": "fish a cubic metre at which larvae meet them half as often",
    "detection_per_fluke": "chance that a fluke in view is counted",
    "gill_share": "share of the flukes on the gills",
    "fin_share": "share of the flukes on the fins",
    "first_birth_days": "days to the first birth",
    "birth_interval_days": "days between births",
    "birth_q10": "how much warmth speeds births (Q10)",
    "death_rate": "deaths of flukes (per day)",
    "death_q10": "how much warmth speeds the deaths of flukes (Q10)",
    "mother_death_factor": "how much sooner mothers die",
    "heat_from_c": "water from which heat kills flukes (°C)",
    "heat_full_c": "water at which heat kills them fastest (°C)",
    "heat_death_rate": "deaths of flukes in hot water (per day)",
    "strain_factor": "how this strain differs in speed",
    "cold_kind": "whether the flukes are of the cold-water kind (1) or not (0)",
    "cold_kind_share": "chance that flukes found at 20 °C are of the cold-water kind",
    "cold_kind_odds_per_c": "how much rarer the cold-water kind is in warmer water (odds per °C)",
}


@writes
def _estimate_text(e: Estimate) -> str:
    """Write the burden behind the samples of one case."""
    lines = [*_answer(e), _infected(e)]
    if e.case.has_samples:
        shown = _share(e.detection_per_fish)
        lines.append(f"Preparations like yours show a fluke on {shown} of infected fish.")
    if e.eggs_waiting.high > 0:  # live-bearers lay none
        lines.append(f"Eggs in the water, not hatched yet: {e.eggs_waiting.text()}.")
    lines += [e.deaths_explained.text()] if e.deaths_explained is not None else []
    lines += [e.sick_only] if e.sick_only else []
    lines += [str(e.hidden)] if e.hidden else []
    lines.append("Ranges in brackets hold with 90 % probability.")
    return noted([*lines, *other_sets(e.case.parasites, e.parasite)], e.warnings)


@writes_brief
def _estimate_brief(e: Estimate) -> str:
    """Write the burden in a few lines."""
    lines = [*_answer(e), _infected(e)]
    lines += [e.deaths_explained.text()] if e.deaths_explained is not None else []
    # what may be a slip changes every number, so it is asked in the shortest answer too
    lines += [str(said) for said in (e.sick_only, e.hidden) if said]
    return noted([*lines, *other_sets(e.case.parasites, e.parasite)], e.case.warnings)


def _answer(e: Estimate) -> list[str]:
    """What is on the fish, and what was seen of it."""
    where = f"{parasite_name(e.parasite)} in {e.case.title or e.case.name}"
    fish = all_of(e.case.fish_count, "live fish") if e.case.fish_count else "the fish"
    there = f"{where}: {e.mean_abundance.text()} flukes a fish, {e.flukes_total.text()} on {fish}."
    if e.case.has_samples:
        return [there, e.missed]
    return [there, "No sample could be read. These numbers are what we expect of such a stock before looking."]


def _infected(e: Estimate) -> str:
    if e.probability_infected > 0.9995:
        return (
            "Nearly every fish has flukes."
            if e.prevalence.low > 0.995
            else f"Fish with flukes: {_share(e.prevalence)}."
        )
    return f"Fish with flukes: {_share(e.prevalence)}. Chance that any fish has one: {percent(e.probability_infected)}."


def _share(share: CredibleInterval) -> str:
    return percent_interval(share.median, share.low, share.high)


@writes
def _look_text(look: SampleReading) -> str:
    """Write what was looked at and, where it was clean, what may still be there."""
    if not look.preparations:
        return "No fish was looked at on this day, so it rules nothing out."
    taken = f"{counted(look.preparations, _kind(look))} from {look.fish} fish"
    if look.flukes:
        least = "at least " if look.at_least else ""
        return f"You found {least}{counted(look.flukes, 'fluke')} in {taken}."
    chance = percent(max(look.chance_above or 0.0, 1e-9))  # no look makes it impossible
    return (
        f"You found no fluke in {taken}. A look like this still leaves a chance of {chance} that fish carry more than "
        f"{plain(look.level)} flukes on average."
    )


def _kind(look: SampleReading) -> str:
    return {"": "preparation", "whole_organ": "whole count"}.get(look.method, named(look.method))


@writes
def _sick_only_text(sick: SickOnly) -> str:
    """Write what it means that only sick or dead fish were looked at."""
    return (
        f"Only sick or dead fish were sampled. The mean of all fish is {sick.as_any_fish.text()} flukes a fish if they "
        f"carry as many as any fish, but {sick.by_burden.text()} if the most infected fell ill first. A few fish "
        "picked at random would settle it."
    )


@writes
def _hidden_text(hidden: HiddenByUnknownDose) -> str:
    """Write how many flukes an unknown drug may hide."""
    return (
        f"On {day_in_words(hidden.dose_date)} a drug that nobody can name was given. It may hide flukes for a while "
        f"without ending them. Before it fish may have carried {hidden.before.text()} flukes on average, and so many "
        "can come back. Ask what it was."
    )


@writes
def _looked_twice_text(look: LookedTwice) -> str:
    """Write that counts were read as looks at the same flukes."""
    return (
        f"{day_in_words(look.day)}, fish {look.fish}: the whole {named(look.site)} was counted {look.times} times. "
        "This is read as one look at the same flukes. For two sides of a fish, write fraction_examined 0.5 on each row."
    )


@writes
def _skin_text(skin: SkinNotRead) -> str:
    """Write that preparations of the skin were left out."""
    left_out, flukes = counted(skin.preparations, "skin preparation"), counted(skin.flukes, "fluke")
    were = "was" if skin.preparations == 1 else "were"
    return (
        f"{left_out} ({flukes}) {were} not used, as the case says gill_flukes_on_skin = "
        f'"no": {skin.parasite} lives on the gills, and nobody has measured how many stray to the skin.'
    )


@writes
def _few_draws_text(few: FewEffectiveDraws) -> str:
    """Write that the edges of the intervals are rough."""
    return (
        f"Few simulated ponds fit these samples (as good as {plain(few.effective, 2)} independent ones), so the ends "
        "of the ranges are rough. Check the counts and doses; more draws (--draws) help."
    )


@writes
def _log_against_samples_text(both: LogAgainstSamples) -> str:
    """Write that death log and samples disagree."""
    return (
        f"Samples and death log disagree: {both.without_log.text()} flukes a fish by the samples alone, "
        f"{both.with_log.text()} with the deaths. More fish looked at would settle it."
    )


@writes
def _quantity_words(quantity: Quantity) -> str:
    """Name a quantity that the record may move."""
    return _QUANTITIES.get(quantity.name, named(quantity.name))
