"""Commands about samples: sizes of the handbooks, cards, ponds and rounds, and what cannot be."""

from __future__ import annotations

import re

import pytest
from command_line import DRAWS, answer, assert_frame, run


@pytest.mark.parametrize(
    ("prevalence", "population", "fish"),
    [("0.05", None, 59), ("0.1", None, 29), ("0.2", None, 14), ("0.05", "100", 45)],
)
def test_sample_sizes_of_the_handbooks(prevalence, population, fish):
    """Large groups 59, 29, 14; a lot of 100 at 5 %: 45. FAO 2008 ISPM 31, tables 1 and 3, 95 % confidence."""
    group = () if population is None else ("--population", population)
    found = answer("sampling", "find", "--prevalence", prevalence, "--confidence", "0.95", *group)
    assert_frame(found, None, None)
    assert found["fish"] == fish
    assert found["method"] == ("binomial" if population is None else "hypergeometric")
    assert found["population"] == (None if population is None else 100)
    assert (found["prevalence"], found["confidence"], found["sensitivity"]) == (float(prevalence), 0.95, 1.0)


def test_fish_for_a_mean_as_elliott_has_it():
    """n = (1/mean + 1/k)/D² with D the standard error over the mean: Elliott 1977 FBA Sci Publ 25 (from memory)."""
    z = 1.6448536269514722
    words = ("--mean", "5", "--k", "0.5", "--precision", str(0.2 * z))
    assert answer("sampling", "mean", *words)["fish"] == 55


def test_a_stop_card_has_a_line_a_fish():
    card = answer("sampling", "stop", "--k", "1", "--precision", "0.6", "--max-fish", "12")
    assert [line["fish"] for line in card["lines"]] == list(range(1, 13))
    lines = answer("sampling", "stop", "--k", "1", "--low", "5", "--high", "20", "--max-fish", "12")["lines"]
    assert all(line["low_at_most"] is None or line["low_at_most"] < line["high_at_least"] for line in lines)


def test_plans_draw_their_figures(tmp_path):
    card, effort = tmp_path / "card.svg", tmp_path / "effort.png"
    answer("sampling", "stop", "--k", "1", "--low", "5", "--high", "20", "--plot", str(card))
    words = ("--mean", "100", "--k", "1", "--precision", "0.5", "--fraction-examined", "0.01", "--handling", "3")
    answer("sampling", "mean", *words, "--plot", str(effort))
    assert "stop: high" in card.read_text(encoding="utf-8")
    assert effort.read_bytes()[1:4] == b"PNG"


def test_ponds_rounds_and_prevalence_have_their_options():
    farm = answer("sampling", "find", "--prevalence", "0.1", "--ponds", "6", "--population", "200", "--rounds", "3")
    assert (farm["ponds"], farm["pond_prevalence"]) == (6, pytest.approx(1 / 6))
    assert len(farm["clean_rounds"]["rounds"]) == 3
    assert answer("sampling", "mean", "--prevalence", "0.3", "--precision", "0.1")["fish"] == 55
    wrong = answer("sampling", "mean", "--precision", "0.1", code=2)
    assert [problem["place"] for problem in wrong["problems"]] == ["--mean"]


def test_recheck_and_arrivals_follow_from_the_windows():
    """Eggs laid at the dose have hatched, settled and can be seen: no day before the last hatch of the same water."""
    water = ("--parasite", "dactylogyrus", "--temperature", "26")
    last_hatch = answer("interval", *water, *DRAWS)["last_hatch_days"]
    look = answer("sampling", "recheck", *water, "--population", "40", *DRAWS)
    hold = answer("sampling", "arrivals", *water, "--fish", "30", *DRAWS)
    assert_frame(look, 1, 40)
    assert look["day"] >= last_hatch["high"]
    assert look["day"] == hold["hold_days"]
    assert [row["day"] for row in hold["looks"]][0::2] == [0, hold["hold_days"]]
    colder = answer("sampling", "recheck", "--parasite", "dactylogyrus", "--temperature", "14", *DRAWS)
    assert colder["day"] > look["day"]


IMPOSSIBLE = {
    "a live-bearer has no eggs to wait for": ("recheck", "--parasite", "gyrodactylus", "--temperature", "15", *DRAWS),
    "too cold for eggs to hatch": ("recheck", "--parasite", "dactylogyrus", "--temperature", "1", *DRAWS),
    "times nobody measured": ("arrivals", "--parasite", "zeuxapta", "--temperature", "20", "--fish", "9", *DRAWS),
    "one fish in a hundred thousand": ("find", "--prevalence", "1e-5"),
    "too few fish": ("find", "--prevalence", "0.05", "--population", "20", "--sensitivity", "0.3"),
    "a test that cannot tell": ("find", "--prevalence", "0.05", "--sensitivity", "0.4", "--specificity", "0.6"),
    "a mean nobody can know": ("mean", "--mean", "10", "--k", "0.01", "--precision", "0.01"),
    "a card too short": ("stop", "--k", "1", "--precision", "0.1", "--max-fish", "5"),
}


@pytest.mark.parametrize("words", IMPOSSIBLE.values(), ids=IMPOSSIBLE)
def test_an_impossible_question_is_an_answer_with_its_reason(words):
    found = answer("sampling", *words)
    assert found["reason"]
    assert found["reason_code"]
    assert found["what_would_change"]


OUT_OF_RANGE = {
    "--precision": ("mean", "--mean", "10", "--k", "1", "--precision", "1e-9"),
    "--k": ("mean", "--mean", "10", "--k", "1e400", "--precision", "0.5"),
    "--mean": ("mean", "--mean", "1e300", "--k", "1", "--precision", "0.5"),
    "--low": ("stop", "--k", "1", "--low", "1e5"),
    "--max-fish": ("stop", "--k", "1", "--low", "1", "--max-fish", "1000000"),
    "--population": ("find", "--prevalence", "0.05", "--population", "99999999999"),
    "--prevalence": ("find", "--prevalence", "nan"),
    "--temperature": ("recheck", "--parasite", "dactylogyrus", "--temperature", "nan"),
    "--lethal": ("arrivals", "--parasite", "dactylogyrus", "--temperature", "20", "--fish", "9", "--lethal", "9999999"),
}


@pytest.mark.parametrize("place", OUT_OF_RANGE)
def test_a_number_out_of_its_range_is_named_by_its_option_with_the_range(place):
    (problem,) = answer("sampling", *OUT_OF_RANGE[place], code=2)["problems"]
    assert problem["place"] == place
    assert re.search(r"\d", problem["expected"])
    assert problem["fix"]


def test_level_means_a_burden_and_interval_level_an_interval():
    words = ("--mean", "5", "--k", "1", "--precision", "0.5")
    assert answer("sampling", "mean", *words, "--interval-level", "0.95")["level"] == 0.95
    wrong = answer("sampling", "mean", *words, "--level", "0.95", code=2)["problems"]
    assert wrong[0]["place"] == "--level"
    water = ("--parasite", "dactylogyrus", "--temperature", "20", *DRAWS)
    assert answer("sampling", "recheck", *water, "--level", "3")["sample"]["level"] == 3
    rare = answer("sampling", "arrivals", *water, "--fish", "300", "--prevalence", "0.3", "--preparations", "6")
    assert rare["sample"]["target_prevalence"] == 0.3


def test_share_of_a_small_group_in_whole_fish_and_a_test_that_errs():
    group = ("find", "--prevalence", "0.05", "--population", "33")
    up, down = answer("sampling", *group), answer("sampling", *group, "--round-infected", "down")
    assert (up["infected"], down["infected"], up["fish_rounded_down"]) == (2, 1, down["fish"])
    marked = answer("sampling", "find", "--prevalence", "0.02", "--specificity", "0.99")
    assert (marked["fish"], marked["finds_allowed"]) == (524, 9)  # WOAH Aquatic Code chapter 1.4
    wrong = answer("sampling", *group, "--specificity", "0.9", "--ponds", "3", "--rounds", "2", code=2)
    assert [problem["place"] for problem in wrong["problems"]] == ["--ponds", "--rounds"]


@pytest.mark.parametrize(
    "words",
    [
        ("find", "--prevalence", "0.05", "--population", "33", "--rounds", "3"),
        ("find", "--prevalence", "0.1", "--ponds", "12"),
        ("mean", "--mean", "10", "--k", "1", "--precision", "0.5", "--fraction-examined", "0.01"),
        ("recheck", "--parasite", "dactylogyrus", "--temperature", "20", "--population", "40", "--lethal", "2", *DRAWS),
        ("arrivals", "--parasite", "dactylogyrus", "--temperature", "20", "--fish", "40", *DRAWS),
        ("response", "--parasite", "dactylogyrus", "--temperature", "20", "--population", "10", *DRAWS),
    ],
    ids=lambda words: words[0],
)
def test_a_plan_is_five_lines_and_the_rest_behind_all(words):
    brief, whole = (run("sampling", *words, *more).stdout.splitlines() for more in ((), ("--all",)))
    assert 3 <= len(brief) <= 5
    assert len(whole) > len(brief)
    assert whole[0] == brief[0]
