"""A plan looked at round after round, while new fish come in."""

from __future__ import annotations

from dataclasses import replace

from burden.sampling.detection import FindPlan
from burden.sampling.freedom import PondsPlan, absent_after_clean_rounds, introduction_probability
from burden.sampling.plan import check_numbers

__all__ = ["with_clean_rounds"]


def with_clean_rounds(
    plan: FindPlan | PondsPlan,
    rounds: int,
    new_fish_a_year: int = 0,
    new_infected: float = 0.1,
    rounds_a_year: float = 4.0,
    prior_absent: float = 0.5,
) -> FindPlan | PondsPlan:
    """Add to a plan how sure of absence each clean round of it makes one.

    Parameters
    ----------
    plan : FindPlan or PondsPlan
        What is looked at in every round.
    rounds : int
        Rounds, all clean.
    new_fish_a_year : int
        Fish that join in a year.
    new_infected : float
        Chance that one of them carries flukes when it joins: an assumption, give your own [-].
    rounds_a_year : float
        [1/yr]
    prior_absent : float
        Chance of absence before the first round; 0.5 knows nothing [-].

    Returns
    -------
    FindPlan or PondsPlan
        With `clean_rounds`; a plan that no number of fish serves is looked at in full.

    Raises
    ------
    InputError
        For numbers out of range, all at once.

    Examples
    --------
    >>> from burden.sampling import find
    >>> plan = with_clean_rounds(find(0.05, 0.95), 3, new_fish_a_year=8, new_infected=0.02)
    >>> [round(row["absent_after"], 3) for row in plan.clean_rounds.rounds]
    [0.954, 0.996, 0.998]
    """
    share = "between 0 and 1"
    check_numbers(
        [
            ("--rounds", rounds, rounds >= 1, "1 or more", "Say how many rounds are planned."),
            ("--rounds-a-year", rounds_a_year, rounds_a_year > 0, "above 0", "4 is once a quarter."),
            ("--new-fish-a-year", new_fish_a_year, new_fish_a_year >= 0, "0 or more", "0 for a closed stock."),
            ("--new-infected", new_infected, 0 <= new_infected < 1, share, "For 10 % write 0.1."),
            ("--prior-absent", prior_absent, 0 < prior_absent < 1, share, "0.5 knows nothing."),
        ]
    )
    comes = float(introduction_probability(new_fish_a_year, new_infected)) if new_fish_a_year else 0.0
    between = 1 - (1 - comes) ** (1 / rounds_a_year)
    found = absent_after_clean_rounds(prior_absent, plan.confidence_reached, between, rounds)
    return replace(plan, clean_rounds=found)
