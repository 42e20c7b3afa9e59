"""Words of the reasons of today's action as the owner of the fish reads them: what they mean, and what we do."""

from __future__ import annotations

from burden.decision.records import Reason
from burden.report.text.reasons import EVEN, SURELY_THERE, day_of, for_the_deaths, reason_text

__all__ = ["AS_THEY_ARE", "FOR_OWNERS", "owner_reason_text"]


#: reasons that an owner reads as the veterinarian does, or that `owner_reason_text` words by their numbers
AS_THEY_ARE = frozenset(
    {
        "clean_and_held",
        "deaths_of_other_cause",
        "may_stay_low",
        "no_fish",
        "not_yet",
        "planned_waits",
        "water_stops",
        "wrong_water",
    }
)


def owner_reason_text(reason: Reason, present: float = 1.0, harvested: bool = False) -> str:
    """Write one reason as its owner reads it: without the chance of a level, which is the veterinarian's to weigh.

    Parameters
    ----------
    reason : Reason
    present : float
        Chance that any fluke is there [-].
    harvested : bool
        Whether the next look is at fish that are harvested: nothing is given before.
    """
    if reason.code in ("may_stay_low", "not_yet"):
        chance = "chance_high" if reason.code == "may_stay_low" else "chance_high_now"
        if harvested:
            return _BEFORE_THE_HARVEST
        if float(reason.numbers.get(chance) or 0) >= EVEN:
            return _UNSURE
        return _PROBABLY_FEW if present >= SURELY_THERE else _PERHAPS_NONE
    if reason.code == "stays_low" and present >= SURELY_THERE:
        return "There are flukes, but not too many: so many do well fish no harm."
    if reason.code == "stays_high" and for_the_deaths(reason.numbers):
        return "Without a dose flukes would kill more fish."
    if reason.code == "to_be_free":
        seen = f" were found on {day_of(reason.numbers, 'seen_before')}" if reason.numbers.get("seen_before") else ""
        return FOR_OWNERS["to_be_free"].replace(" were found", seen) if seen else FOR_OWNERS["to_be_free"]
    if reason.code == "treat_neighbours" and reason.numbers.get("notifiable"):
        return reason_text(reason)
    return FOR_OWNERS.get(reason.code) or reason_text(reason)


_BEFORE_THE_HARVEST = "There are flukes. The fish are harvested before more of them are likely to do harm."
_UNSURE = "There are flukes. Whether they are too many is not sure, so we look again before anything is given."
_PROBABLY_FEW = "There are flukes, probably too few to do harm. They may increase, so we look again before they do."
_PERHAPS_NONE = "Few flukes are left, or none. Any that are may increase, so we look again before they do."
#: reasons in the words of an owner, by code
FOR_OWNERS = {
    "treat_neighbours": "Flukes also come in from fish nearby: ask that those are looked at and bathed within the same "
    "days, or they come back.",
    "harvest_first": "The fish are harvested first: a treatment before that would save few of them.",
    "harvest_waits": "The harvest has to wait until the licensed veterinarian allows it.",
    "model_does_not_reach": "Flukes may come in with the water, so nobody can say how many there will be. Tell us of "
    "fish nearby or upstream.",
    "measure_first": "What is at hand may not be given before the water is measured.",
    "no_samples": "No fish was looked at yet, so we look at gills and skin first.",
    "more_fish": "Too few fish were looked at to decide.",
    "held_apart": "One clean look does not show that new fish are free of flukes, so they stay apart.",
    "clean_once": "These fish had a whole course and show no fluke, but one look can miss a few: they stay apart.",
    "too_few_to_end": "Too few fish were looked at since the last dose to call the course over.",
    "too_cold": "In water this cold flukes hardly increase, so we wait for warmer water and look again.",
    "identify_first": "One kind of these flukes must be reported in many countries: we have them identified first.",
    "notifiable": "These flukes may have to be reported.",
    "hardly_cleared": "It is not sure that any course clears these fish of the last fluke: we keep flukes few.",
    "not_for_long": "No course keeps flukes few for long, so we find out why they come back.",
    "newcomers_untreated": "Fish that came lately had no dose, so we look at some of these as well.",
    "dosed_by_calendar": "Doses by the calendar breed flukes that bear the drug, so we dose by what the fish show.",
    "look_for_another_cause": "Something else ails the fish: we look for bad water, bacteria, other parasites and a "
    "virus.",
    "others_kill_more": "Most fish will likely die of something else, so we look for that: bacteria, other parasites, "
    "bad water, a virus.",
    "other_first": "Another disease was found, and we see to that first. The flukes can wait until then.",
    "sick_only": "Flukes were seen on sick or dead fish alone, and such fish carry more than the others.",
    "few_saved": "A treatment against flukes would save few fish: most deaths are likely of something else.",
    "too_much_water": "This much water cannot be treated. We look for what else ails the fish.",
    "virus_first": "No dose against flukes stops a virus, and handling harms the fish: take out dying and dead ones, "
    "and leave the others alone.",
    "weak_before": "A dose given before was too weak, so expect little of it.",
    "dose_killed": "A dose given before may have killed fish itself, and we find out why before the next.",
    "no_dose_possible": "The fish need a treatment, but nothing at hand may be given to them.",
    "dose_does_not_help": "No treatment we know would help enough, so we find out first why flukes come back.",
    "unknown_product": "Something was given that nobody can name. Bring us the bottle, or tell us its name and "
    "how much was given.",
    "stays_low": "Flukes are few or none, and few flukes on well fish do no harm.",
    "never_seen": "We found no fluke. That does not prove that there is none, so we do not dose on suspicion.",
    "course_worked": "The doses given have done enough.",
    "course_likely_worked": "The doses given have probably done enough: the next look shows it.",
    "course_goes_on": "The course goes on: the doses left are for flukes that the last one did not reach, or that have "
    "hatched or been born since.",
    "course_not_enough": "The doses given were not enough: there are still flukes.",
    "stays_high": "Without a dose there would likely be more flukes than these fish can bear.",
    "too_many_now": "The fish are ill and likely carry more flukes than they can bear, so they are treated now.",
    "to_be_free": "These fish are to be free of flukes before they join others, and flukes were found.",
    "flukes_persist": "Look after look shows flukes while fish are ill, so they are treated.",
    "doses_fell_short": "The last doses killed too few flukes, and we find out why before anything else is given. Tell "
    "us how sure the volume is, what product it was and how old, and whether carbon or a UV lamp was running.",
    "other_met": "Your fish die of another disease. The bath planned treats that and the flukes as well.",
    "agent_changed": "The drug given before leaves too many flukes, so the next dose is another one.",
}
