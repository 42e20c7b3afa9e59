"""Evidence: draws hit their points, the loader refuses what is broken, every figure has a source that exists."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from ponds import a_value
from scipy import stats

from burden.evidence import (
    KNOWN,
    Value,
    agent_names,
    group_of,
    load_agent,
    load_parasite,
    parasite_names,
    reference,
    reference_record,
    unsuitable,
    unsuitable_names,
)
from burden.evidence import library as package
from burden.evidence.records import GROUPS
from burden.evidence.references import reference_keys
from burden.utils.errors import InputError
from burden.utils.random_streams import uniform_draws

FOLDER = Path(package.__file__).parent
FILES = [*sorted(FOLDER.glob("*/*.toml")), FOLDER / "unsuitable.toml"]
EVERYTHING = [*map(load_parasite, parasite_names()), *map(load_agent, agent_names())]


# --- draws --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("scale", "low", "value", "high"),
    [("log", 5.0, 30.0, 200.0), ("linear", -2.0, 1.0, 9.0), ("logit", 0.05, 0.2, 0.5), ("log", 3.0, 3.0, 4.0)],
)
def test_two_pieces_hit_their_5_50_and_95_percent_points(scale, low, value, high):
    """Exactly through the quantile function; to sampling error through the draws."""
    figure = Value("x", value, low, high, "-", scale, "assumption")
    np.testing.assert_allclose(figure.quantile(np.array([0.05, 0.5, 0.95])), [low, value, high], rtol=1e-9)
    drawn = figure.draw(40_000, 3)
    for share, point in ((0.05, low), (0.5, value), (0.95, high)):
        if low < value or point > value:
            below = np.mean(drawn < point * (1 + 1e-12))
            assert below == pytest.approx(share, abs=5 * np.sqrt(share * (1 - share) / 40_000))


@pytest.mark.parametrize("scale", ["log", "linear", "logit"])
def test_an_even_range_is_a_normal_on_its_scale(scale):
    """Both halves alike: scipy's normal on the transformed scale, by a Kolmogorov-Smirnov test."""
    there = {"log": np.log, "linear": lambda x: x, "logit": lambda p: np.log(p / (1 - p))}[scale]
    low, value, high = {"log": (1.0, 2.0, 4.0), "linear": (1.0, 2.0, 3.0), "logit": (0.2, 0.5, 0.8)}[scale]
    drawn = there(Value("x", value, low, high, "-", scale, "assumption").draw(5000, 8))
    spread = (there(high) - there(value)) / stats.norm.ppf(0.95)
    assert stats.kstest(drawn, stats.norm(there(value), spread).cdf).pvalue > 0.01


def test_streams_are_named_and_grow_at_the_end():
    assert (uniform_draws("a", 50, 1)[:20] == uniform_draws("a", 20, 1)).all()
    assert not np.isin(uniform_draws("a", 50, 1), uniform_draws("b", 50, 1)).any()
    assert not np.isin(uniform_draws("a", 50, 1), uniform_draws("a", 50, 2)).any()
    figure = a_value("x", 2.0, 3.0)
    assert (figure.draw(9, 1, "one set") != figure.draw(9, 1, "another")).all()


def test_a_borrowed_value_keeps_its_middle_and_is_wider():
    figure = Value("x", 2.0, 1.0, 8.0, "d", "log", "read", ("zhang2015",))
    lent = figure.widened(2.0, "a relative")
    assert (lent.value, lent.low, lent.high) == pytest.approx((2.0, 0.5, 32.0))
    assert lent.borrowed_from == "a relative"


def test_an_override_replaces_one_value_and_is_remembered():
    base = load_parasite("dactylogyrus")
    ours = base.with_overrides({"fecundity": a_value("fecundity", 12.0, 2.0)})
    assert ours.values["fecundity"].value == 12.0
    assert base.values["fecundity"].value != 12.0
    assert ours.overridden == {"fecundity"}
    assert {k: v for k, v in ours.values.items() if k != "fecundity"} == {
        k: v for k, v in base.values.items() if k != "fecundity"
    }


# --- loader -------------------------------------------------------------------------------------------------------
GOOD = 'value = 2.0\nlow = 1.0\nhigh = 4.0\nunit = "d"\nknown = "read"\nsources = ["zhang2015"]\n'
BROKEN = {
    "order": GOOD.replace("low = 1.0", "low = 3.0"),
    "known": GOOD.replace('"read"', '"surely"'),
    "scale": GOOD + 'scale = "cubic"\n',
    "no source": GOOD.replace('sources = ["zhang2015"]\n', ""),
    "unknown source": GOOD.replace("zhang2015", "nobody1900"),
    "nothing on a log scale": GOOD.replace("low = 1.0", "low = 0.0"),
    "more than all on a logit scale": GOOD + 'scale = "logit"\n',
}


def parse(tmp_path, text):
    path = tmp_path / "value.toml"
    path.write_text(text, encoding="utf-8")
    return package._value("test", "x", tomllib.loads(path.read_text(encoding="utf-8")))


def test_a_sound_value_is_read(tmp_path):
    assert parse(tmp_path, GOOD) == Value("x", 2.0, 1.0, 4.0, "d", "log", "read", ("zhang2015",))


@pytest.mark.parametrize("fault", BROKEN)
def test_a_broken_value_is_refused(tmp_path, fault):
    with pytest.raises(ValueError, match="test: x"):
        parse(tmp_path, BROKEN[fault])


def test_a_misspelt_or_missing_key_is_refused(tmp_path):
    for text in (GOOD.replace("unit", "units"), GOOD.replace("high = 4.0\n", "")):
        with pytest.raises(TypeError):
            parse(tmp_path, text)


@pytest.mark.parametrize(
    "change", [("low = 1.0", "low = 9.0"), ('"read"', '"heard"'), ("zhang2015", "nobody1900")], ids=str
)
def test_a_broken_point_is_refused(tmp_path, change):
    text = 'quantity = "first_hatch_days"\nspecies = "Dactylogyrus vastator"\ntemperature_c = 20\n' + GOOD
    package._point("test", tomllib.loads(text))
    with pytest.raises(ValueError, match="test: first_hatch_days at 20"):
        package._point("test", tomllib.loads(text.replace(*change)))


@pytest.mark.parametrize("load", [load_parasite, load_agent])
def test_an_unknown_name_gives_the_near_miss(load):
    known = {load_parasite: "dactylogyrus", load_agent: "praziquantel"}[load]
    with pytest.raises(InputError) as caught:
        load(known[:-2] + "x")
    assert f'"{known}"' in caught.value.problems[0].fix.lower()


MIXED = {
    "of": ["dactylogyrus_vastator", "dactylogyrus_extensus"],
    "by_kind": ["cold_block_c", "heat_from_c"],
}


def test_a_sound_mixture_takes_each_kind_s_own_values_and_no_other():
    base, cold = load_parasite("dactylogyrus"), load_parasite("dactylogyrus_extensus")
    first, second = package._mixture(base, MIXED).kinds.values()
    assert first.name == second.name == "dactylogyrus"
    assert second.values["cold_block_c"] == cold.values["cold_block_c"]
    assert second.points == cold.points
    assert second.values["aggregation"] == base.values["aggregation"] != cold.values["aggregation"]
    assert "heat_from_c" not in first.values


@pytest.mark.parametrize(
    "change",
    [{"of": ["dactylogyrus_vastator"]}, {"by_kind": ["cold_block_c", "haet_from_c"]}, {"hosts": [{"words": ["x"]}]}],
    ids=lambda c: next(iter(c)),
)
def test_a_broken_mixture_is_refused(change):
    with pytest.raises((ValueError, KeyError, TypeError)):
        package._mixture(load_parasite("dactylogyrus"), MIXED | change)


def test_a_mixture_without_its_share_is_refused():
    with pytest.raises(ValueError, match="cold_kind_share"):
        package._mixture(load_parasite("dactylogyrus_vastator"), MIXED)


def test_a_mixture_rests_on_the_sources_of_both_kinds():
    keys = {name: set(load_parasite(f"dactylogyrus{name}").source_keys()) for name in ("", "_vastator", "_extensus")}
    assert keys["_vastator"] | keys["_extensus"] <= keys[""]


# --- what the package holds ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("held", EVERYTHING, ids=lambda e: e.name)
def test_every_figure_has_range_unit_and_a_word_on_how_it_is_known(held):
    for name, value in held.values.items():
        assert value.name == name
        assert value.known in KNOWN
        assert value.unit
        if value.known == "assumption":
            assert value.conditions, f"{name}: an assumption says what of"
            assert value.low < value.high, f"{name}: an assumption has a range"
        drawn = value.draw(200, 1)
        assert np.isfinite(drawn).all()
    for point in held.points:
        assert point.low <= point.value <= point.high


def keys_in(table) -> set[str]:
    """Reference keys of a parsed file, at any depth."""
    if isinstance(table, dict):
        here = {key for name in ("sources", "source") for key in _listed(table.get(name, ()))}
        return here | {key for value in table.values() for key in keys_in(value)}
    if isinstance(table, list):
        return {key for item in table for key in keys_in(item)}
    return set()


def _listed(value) -> list[str]:
    return [value] if isinstance(value, str) else list(value)


def mentioned_keys() -> set[str]:
    """Keys that stand anywhere in the evidence, a note that quotes a source included, or in the code."""
    tables = Path(__file__).parents[1] / "published"
    paths = [*FILES, *FOLDER.parent.rglob("*.py"), *tables.glob("*.csv")]
    return {word for path in paths for word in re.findall(r"\w+", path.read_text(encoding="utf-8"))}


def held_keys() -> set[str]:
    return set(tomllib.loads((FOLDER / "references.toml").read_text(encoding="utf-8")))


def test_every_key_used_exists_and_every_reference_is_used():
    used = {key for path in FILES for key in keys_in(tomllib.loads(path.read_text(encoding="utf-8")))}
    assert len(used) > 20
    assert used - held_keys() == set()
    assert held_keys() - mentioned_keys() == set()


def test_no_reference_is_empty_or_given_twice():
    texts = [reference(key) for key in held_keys()]
    assert all(len(text) > 20 for text in texts)
    assert len(set(texts)) == len(texts)


def test_an_unknown_key_is_a_fault_of_the_evidence():
    with pytest.raises(KeyError):
        reference("nobody1900")


def test_values_that_come_and_go_are_the_same(tmp_path):
    """A set written out as it was read, and read again, is the same set."""
    from dataclasses import asdict

    for value in load_parasite("dactylogyrus").values.values():
        table = {k: v for k, v in asdict(value).items() if k != "name" and v not in (None, ())}
        lines = [f"{k} = {_toml(v)}" for k, v in table.items()]
        path = tmp_path / "again.toml"
        path.write_text("\n".join(lines), encoding="utf-8")
        again = package._value("again", value.name, tomllib.loads(path.read_text(encoding="utf-8")))
        assert again == value


def _toml(value) -> str:
    if isinstance(value, tuple):
        return "[" + ", ".join(f'"{item}"' for item in value) + "]"
    return f'"{value}"' if isinstance(value, str) else repr(value)


# --- units, species, citations ------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", parasite_names())
def test_every_point_has_unit_temperature_species_and_a_source(name):
    for point in load_parasite(name).points:
        assert point.unit in {"d", "-", "1/d", "eggs per adult per day"}
        assert -2 <= point.temperature_c <= 45
        assert group_of(point.species) in GROUPS
        assert point.sources


@pytest.mark.parametrize("name", agent_names())
def test_every_kill_has_species_host_setting_and_a_source(name):
    """The water's temperature is a number or said not to be stated: TOML must hold the key."""
    rows = tomllib.loads((FOLDER / "agents" / f"{name}.toml").read_text(encoding="utf-8")).get("kill_points", [])
    for row, point in zip(rows, load_agent(name).kill_points, strict=True):
        assert group_of(point.species) in GROUPS
        assert point.host
        assert point.setting in ("on fish", "in vitro")
        assert row["temperature_c"] == "not stated" or -2 <= point.temperature_c <= 45
        assert point.sources


@pytest.mark.parametrize("key", sorted(reference_keys()))
def test_every_reference_has_year_journal_and_where_it_is_found_or_says_it_lacks_them(key):
    found = reference_record(key)
    place = found.doi or found.address or re.search(r"\d+(\(\d+\))?:\w?\d+", found.text)
    for part, there in (("year", found.year), ("journal", found.journal), ("address", place)):
        assert bool(there) != (part in found.missing), f"{key}: {part}"
    assert found.seen in ("abstract", "page", "secondary", "data", "nothing")
    assert not found.doi or re.fullmatch(r"10\.\d{4,}/\S+", found.doi)


def test_few_references_lack_a_part_and_none_of_those_alone_carries_a_kill_or_a_hatching_time():
    lacking = {key for key in reference_keys() if "address" in reference_record(key).missing}
    assert len(lacking) < len(reference_keys()) / 5
    for name in parasite_names():
        for point in load_parasite(name).points:
            assert point.known in ("memory", "assumption") or not set(point.sources) <= lacking, (name, point.quantity)


def test_k_with_the_uninfected_fish_is_worked_out_from_intensity_and_prevalence():
    """Parker et al. 2011: mean intensity 63.8 ± 34.3 at 73.2 %; moments of all fish, by hand. The audit gives 1.35."""
    mean, scatter, infected = 63.8, 34.3, 0.732
    abundance = infected * mean
    variance = infected * (scatter**2 + mean**2) - abundance**2
    k = abundance**2 / (variance - abundance)
    assert load_parasite("pseudodactylogyrus").values["aggregation"].value == pytest.approx(k, abs=0.01)


@pytest.mark.parametrize("name", parasite_names())
def test_k_reaches_down_to_what_wild_mullet_showed(name):
    """0.2 to 0.8 within a survey of 570 wild mullet; about 50 on salmon after one even infection (without citation)."""
    low, high = np.quantile(load_parasite(name).values["aggregation"].draw(4000, 1), [0.06, 0.94])
    assert low < 0.3
    # mullet themselves have the k of mullet
    assert high > {"gyrodactylus_salmonids": 30, "ligophorus": 0.6}.get(name, 5)


def test_microlitres_of_solution_are_turned_into_milligrams_of_peroxide():
    """Density 1.13 g/mL at 35 % (handbook, from memory): 1 µL holds 1.13 x 0.35 = 0.3955 mg."""
    limits = {g.name: g.max_mg_l_short for g in load_agent("hydrogen_peroxide").host_groups}
    assert limits["trout and salmon"] == pytest.approx(150 * 1.13 * 0.35, abs=0.05)
    assert limits["walleye"] < 100 * 1.13 * 0.35


# --- agents not to be given ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["copper", "Potassium permanganate", "chloramine-T", "toltrazuril"])
def test_what_is_known_not_to_serve_is_named_with_its_source(name):
    found = unsuitable(name)
    assert found.verdict in ("harms", "does not serve")
    assert found.sources
    assert all(reference(key) for key in found.sources)


def test_no_agent_is_both_given_and_not_to_be_given():
    words = {word for name in unsuitable_names() for word in (name, *unsuitable(name).aliases)}
    assert not words & set(agent_names())
