"""Cautions beside a dose: what matters for each agent, the volume, the food, the change of water."""

from __future__ import annotations

import math

import pytest

from burden.evidence import agent_names, load_agent
from burden.treatment.dose import dose


def test_cautions_of_formalin_name_what_matters():
    words = " ".join(dose("formalin", 1000.0, 25.0).cautions).lower()
    for needle in (
        "carcinogen", "gloves", "oxygen", "permanganate", "precipitate", "a few fish first", "eight days", "eggs",
        "1.09 g/ml", "37 % assumed",
    ):  # fmt: skip
        assert needle in words


def test_cautions_of_praziquantel_name_what_matters():
    words = " ".join(dose("praziquantel", 1000.0, 5.0).cautions).lower()
    for needle in (
        "ultraviolet",
        "carbon",
        "feeding",
        "aerate",
        "eggs",
        "protozoa",
        "dissolves badly",
        "active substance",
    ):
        assert needle in words


@pytest.mark.parametrize("name", agent_names())
def test_who_decides_is_said_of_every_agent_and_what_may_kill_comes_first(name):
    result = dose(name, 1000.0, accept_unpublished=True)
    lines = [line[2:] for line in result.text().split("Cautions:\n")[1].splitlines()]
    assert sorted(lines) == sorted(set(result.cautions))
    assert any("licensed veterinarian decide" in line and "withdrawal" in line for line in lines)
    kinds = {str(caution): caution.rank for caution in result.cautions}
    assert [kinds[line] for line in lines] == sorted(kinds.values())


def test_volume_range_turns_into_a_range_of_concentration():
    found = dose("praziquantel", 1000.0, 8.0, volume_range_l=(640.0, 1600.0))
    assert any("In 640 to 1 600 L of water, this amount gives 12.50 to 5.00 mg/L" in line for line in found.cautions)
    assert any("above 10 mg/L" in line for line in found.cautions)


def test_food_fish_get_a_withdrawal_without_a_jurisdiction():
    """Regulation (EU) 2019/6: 500 degree-days, from memory; 500 / 20 °C = 25 d."""
    words = " ".join(dose("praziquantel", 1000.0, food_fish=True, temperature_c=20.0).cautions)
    assert "500 degree-days, 25 d at 20 °C" in words
    assert "no jurisdiction assumed" in words
    assert "licensed veterinarian" in words
    assert "500 degree-days" not in " ".join(dose("praziquantel", 1000.0).cautions)


def test_after_a_change_the_share_changed_is_put_back():
    """f·C·V: a fifth of 90 g in 18 000 L at 5 mg/L."""
    (said,) = [c for c in dose("praziquantel", 18_000.0, 5.0).cautions if "is changed during the bath" in c]
    assert "share of the dose (18 g), not the whole" in said


@pytest.mark.parametrize(("kind", "words"), [("naive", "filter new to the drug"), ("adapted", "has met the drug")])
def test_what_fades_is_said_for_the_filter_there_is(kind, words):
    """C·V·(1 − exp(−k)) in a day, of 90 g, with the loss k of that filter."""
    bath = dose("praziquantel", 18_000.0, 5.0, hours=24.0, filter_kind=kind)
    (said,) = [c for c in bath.cautions if "is changed during the bath" in c]
    loss = load_agent("praziquantel").values[f"loss_per_day_{kind}"].value
    grams = float(said.split("; ")[1].split(" g more would bring it back")[0])
    assert grams == pytest.approx(90 * (1 - math.exp(-loss)), rel=2e-3)  # written to three figures
    share = float(said.split("about ")[1].split(" % of the dose is still in the water")[0])
    assert share == pytest.approx(100 * math.exp(-loss), abs=0.5)
    assert words in said


def test_without_a_filter_nothing_worth_saying_fades_in_a_day():
    cautions = dose("praziquantel", 18_000.0, 5.0, filter_kind="none").cautions
    (said,) = [c for c in cautions if "is changed during the bath" in c]
    assert "still in the water" not in said


@pytest.mark.parametrize(
    ("agent", "told"), [("sodium_chloride", True), ("hydrogen_peroxide", True), ("formalin", False)]
)
def test_a_short_bath_is_said_to_have_to_end(agent, told):
    """Weighed out for a pond, salt of a short bath would stay in it."""
    found = dose(agent, 22_000.0)
    ends = [caution for caution in found.cautions if caution.startswith("A bath of 30 min must end on time")]
    assert [caution.kind for caution in ends] == ["danger"] * told
