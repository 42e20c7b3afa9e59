"""Ponds that inform each other: what is pooled, what is left alone, in which order they come."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.special import ndtr, ndtri

from analysis.many_ponds import make_pond
from analysis.visits import Kind, simulate_visit
from burden.cli import main
from burden.evidence import load_parasite
from burden.inference.estimate import estimate
from burden.inference.group import _unless_never, group, own_answer, pooled
from burden.inference.group_result import OwnAnswer
from burden.inference.links import Link, order_of
from burden.inference.sampler import Effort
from burden.io import read_case
from burden.utils.errors import InputError

EVEN = ndtri((np.arange(400) + 0.5) / 400)
#: numbers of invented ponds without a dose
UNDOSED = (2, 5)
K = load_parasite("dactylogyrus").values["aggregation"]


def pond(name: str, seen: float, noise: float) -> OwnAnswer:
    """A pond whose k was seen once with some noise, and whose flukes hang on k alone."""
    gain = 1 / (1 + noise**2)
    score = gain * seen + np.sqrt(gain) * noise * EVEN
    k = K.quantile((np.arange(400) + 0.5) / 400)
    return OwnAnswer(
        name, "", 50, 100 * np.exp(score), {"aggregation": score}, {"aggregation": k}, score > -9, 1.0, 400.0
    )


def by_name(found):
    return {pond.own.name: pond for pond in found.ponds}


def test_a_pond_of_which_little_is_known_learns_from_the_others():
    found = pooled([*(pond(f"p{i}", 0.8, 0.3) for i in range(5)), pond("blind", 0.0, 3.0)], "dactylogyrus", 400, 1)
    blind = by_name(found)["blind"]
    assert blind.narrower > 0.25
    assert blind.together.median > 1.3 * blind.alone.median
    assert found.quantities[0].alike.median > 0.5
    assert found.quantities[0].after.low > found.quantities[0].before.median
    assert all(each.weight.sum() == pytest.approx(1) for each in found.ponds)
    json.dumps(found.as_dict(), allow_nan=False)
    assert len(found.rows()) == 6


def test_ponds_that_know_nothing_keep_their_own_answers():
    found = pooled([pond("a", 0.0, 50.0), pond("b", 0.0, 50.0)], "dactylogyrus", 400, 1)
    assert not found.quantities[0].informed
    assert all(each.together == each.alone for each in found.ponds)
    assert "keeps its own answer" in found.brief()


def test_a_pond_unlike_its_group_keeps_its_own_answer_and_says_why():
    """Whose draws, seen more sharply than they are many, lie where the group has next to nothing."""
    others = [pond(f"p{i}", 1.2, 0.15) for i in range(12)]
    odd = pond("odd", -2.4, 0.6)
    found = by_name(pooled([*others, replace(odd, effective_draws=110.0)], "dactylogyrus", 400, 1))["odd"]
    assert (found.refusal.why, found.together) == ("group", None)
    assert found.effective_draws < 50
    assert "its own answer stands" in str(found.refusal)


def test_a_pond_that_fits_nothing_is_named_and_left_out():
    lost = OwnAnswer("lost", "", 50, np.zeros(0), {}, {}, np.zeros(0, bool), np.nan, 12.0)
    found = pooled([pond("a", 1.0, 0.4), lost, pond("b", 1.1, 0.4)], "dactylogyrus", 400, 1)
    assert by_name(found)["lost"].refusal.why == "alone"
    assert found.quantities[0].ponds == 2
    json.dumps(found.as_dict(), allow_nan=False)


def test_a_pond_that_may_never_have_had_flukes_says_as_much_less_of_what_is_shared():
    """Draws without flukes, ever, have the scores believed beforehand; here all of them, whatever the clips showed."""
    never = np.full(400, True)
    score = _unless_never(np.full(400, -2.0), "aggregation", never, 1)
    assert abs(score.mean()) < 0.2
    assert score.std() == pytest.approx(1, abs=0.1)
    half = _unless_never(np.full(400, -2.0), "aggregation", np.arange(400) < 200, 1)
    assert (half[200:] == -2.0).all()
    assert (half[:200] == score[:200]).all()


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Two ponds alike, never dosed."""
    base = tmp_path_factory.mktemp("farm")
    found = [make_pond(number, base / name) for number, name in ((UNDOSED[0], "upper"), (UNDOSED[1], "lower"))]
    assert not any(read_case(folder).given for folder in found)
    return found


def test_the_own_answer_is_that_of_the_estimate():
    """Draw by draw: flukes and k are those of `estimate`, and the score is where its prior has them."""
    case, effort = simulate_visit(Kind(5), 3).case, Effort(300, 600)
    own, found = own_answer(case, "dactylogyrus", 60, 1, effort), estimate(case, None, 60, 1, effort)
    assert np.quantile(own.flukes, 0.5) == pytest.approx(found.mean_abundance.median)
    np.testing.assert_allclose(
        K.quantile(ndtr(own.scores["aggregation"])), found.pond.setting.parameters["aggregation"]
    )
    assert own.scores.keys() == {"abundance_per_gram", "aggregation", "reproduction_number", "share_seen_gill_clip"}


def test_the_command_tells_each_pond_alone_and_with_the_group(folders, tmp_path):
    links = tmp_path / "links.csv"
    links.write_text("from;to;by\nupper;lower;Water\nHill farm;upper;purchases\n", encoding="utf-8")
    words = ["group", *map(str, folders), "--links", str(links), "--draws", "40", "--workers", "1", "--quiet"]
    found = CliRunner().invoke(main, [*words, "--json"])
    assert found.exit_code == 0, found.output
    answer = json.loads(found.stdout)
    assert [each["case"] for each in answer["ponds"]] == ["upper", "lower"]
    assert {"alone", "with_group"} == set(answer["ponds"][0]["mean_abundance"])
    assert answer["order"]["treat"] == [["upper"], ["lower"]]
    assert answer["order"]["sources"]["upper"] == [{"source": "Hill farm", "target": "upper", "by": "fish"}]


def test_one_pond_and_ponds_without_the_set_are_refused(folders):
    case = read_case(folders[0])
    with pytest.raises(InputError, match="two cases or more"):
        group([case])
    with pytest.raises(InputError, match="--parasite"):
        group([case, read_case(folders[1])], "gyrodactylus")


@pytest.mark.parametrize(
    ("rows", "places"),
    [
        ("uppr,lower,water", ["row 2, column from"]),
        ("upper,low,water", ["row 2, column to"]),
        ("upper,lower,air", ["row 2, column by"]),
        ("upper,lower,", ["row 2, column by"]),
        ("lower,lower,nets", ["row 2, column from"]),
    ],
)
def test_a_link_that_cannot_be_read_is_refused_with_its_cell(folders, tmp_path, rows, places):
    links = tmp_path / "links.csv"
    links.write_text(f"from,to,by\n{rows}\n", encoding="utf-8")
    found = CliRunner().invoke(main, ["group", *map(str, folders), "--links", str(links), "--json"])
    assert found.exit_code == 2
    assert [problem["place"] for problem in json.loads(found.stdout)["problems"]] == places


def test_who_feeds_others_comes_first_and_a_net_goes_both_ways():
    flukes = {"a": 5.0, "b": 900.0, "c": 50.0, "d": 10.0, "e": np.nan}
    links = [Link("d", "b", "water"), Link("b", "c", "nets"), Link("shop", "a", "fish")]
    found = order_of(flukes, links)
    assert found.treat == (("d",), ("b", "c"), ("a",), ("e",))
    assert found.work == ("a", "d", "c", "b", "e")
    assert [link.source for link in found.sources["b"]] == ["d", "c"]
    assert [link.source for link in found.sources["a"]] == ["shop"]
    assert found.sources["d"] == ()


def test_only_ponds_that_are_dosed_stand_in_the_order_of_treatment():
    flukes = {"a": 5.0, "b": 900.0, "c": 50.0, "d": 10.0}
    links = [Link("d", "b", "water"), Link("b", "c", "nets")]
    found = order_of(flukes, links, {"a": "watch", "b": "dose", "c": "water_first", "d": "look_first"})
    assert found.treat == (("b",),)
    assert (found.water_first, found.no_dose) == (("c",), ("a", "d"))
    shown = pooled([pond(name, 0.0, 50.0) for name in flukes], "dactylogyrus", 400, 1)
    said = replace(shown, links=tuple(links), order=found).brief()
    assert "Treat, place 1: b." in said
    assert "Water first, no dose until it is right: c." in said
    assert "No dose today by the pond's own decision: a and d." in said
