"""The command line as other programs and people meet it: keys, exit codes, errors, bytes, start-up."""

from __future__ import annotations

import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from functools import cache
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from burden.cli import main, progress_bar
from burden.cli.progress_bar import Bar
from burden.evidence import agent_names, parasite_names, reference
from burden.report.files.folder import write_folder
from burden.utils.errors import CannotAnswerError
from burden.utils.progress import listening, track

pytestmark = pytest.mark.usefixtures("each_case_once")  # one pond for several commands

ROOT = Path(__file__).parents[2]
KOI = ROOT / "simulated_data" / "koi_pond"
FRAME = {"schema_version", "seed", "draws", "interval_level", "warnings"}
DRAWS = ("--draws", "40")


@cache
def run(*words: str, turn: int = 0):
    """Run a command once a session; `turn` sets a second run of the same words apart."""
    return CliRunner().invoke(main, [str(word) for word in words])


def answer(*words: str, code: int = 0) -> dict:
    """JSON object of a command; nothing else may be on standard output."""
    found = run(*words, "--json")
    assert found.exit_code == code, found.output
    return json.loads(found.stdout, parse_constant=lambda name: pytest.fail(f"{name} is not JSON"))


def leaves(group: click.Group, path: tuple[str, ...] = ()):
    """Every command that is not a group, with the words that reach it."""
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from leaves(command, (*path, name))
        else:
            yield (*path, name), command


COMMANDS = dict(leaves(main))


# --- what each command documents -------------------------------------------------------------------------------------
def test_every_command_of_the_house_is_there():
    cases = {"report", "decide", "estimate", "forecast", "response", "history", "new", "check", "import", "table"}
    cases |= {"round"}
    alone = cases | {"group", "interval", "dose", "parasites", "agents", "open"}
    samples = {"find", "mean", "stop", "recheck", "response", "arrivals"}
    assert set(COMMANDS) == {(name,) for name in alone} | {("sampling", name) for name in samples}


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_help_ends_with_an_example_that_parses(path):
    help_text = run(*path, "--help").stdout
    example = re.search(r"Example:\s+burden (.+)", help_text)
    assert example, "no example"
    words = shlex.split(example[1])
    assert tuple(words[: len(path)]) == path
    COMMANDS[path].make_context("burden", words[len(path) :])  # raises on a wrong option


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_every_option_is_explained_and_the_common_ones_are_there(path):
    options = [param for param in COMMANDS[path].params if isinstance(param, click.Option)]
    assert all(option.help for option in options)
    names = {name for option in options for name in option.opts}
    # `open` serves a page until it is stopped: there is no answer to print as JSON, and nothing to be quiet about
    assert ({"--debug"} if path == ("open",) else {"--json", "--quiet", "--debug"}) <= names
    assert ("--seed" in names) == ("--draws" in names and path != ("open",))  # the page keeps to one seed


def test_defaults_of_draws_are_those_agreed():
    default = {path: p.default for path, c in COMMANDS.items() for p in c.params if p.name == "draws"}
    assert default.pop(("interval",)) == default.pop(("parasites",)) == 200
    assert default.pop(("group",)) == 1000  # its ponds are weighed twice
    assert set(default.values()) == {500}


# --- keys other programs rely on -------------------------------------------------------------------------------------
def is_triple(value: dict, mean: bool = False) -> bool:
    numbers = [value[name] for name in ("low", "median", "high")]
    assert set(value) == {"low", "median", "high"} | ({"mean"} if mean else set())
    return numbers == [None] * 3 or numbers == sorted(numbers)


def assert_frame(found: dict, seed: int | None, draws: int | None) -> None:
    assert set(found) >= FRAME
    assert (found["schema_version"], found["interval_level"]) == (1, 0.9)
    assert (found["seed"], found["draws"]) == (seed, draws)
    assert isinstance(found["warnings"], list)


def test_estimate_keys():
    found = answer("estimate", KOI, *DRAWS)
    assert_frame(found, 1, 40)
    assert 0 <= found["probability_infected"] <= 1
    for name in ("prevalence", "mean_abundance", "aggregation_k", "detection_per_fish", "flukes_total"):
        assert is_triple(found[name])
    assert {"prevalence", "mean_intensity", "k"} <= set(found["counted"])
    # all live fish together carry what a mean fish carries, times the 24 counted at the visit
    assert found["flukes_total"]["median"] == pytest.approx(24 * found["mean_abundance"]["median"], rel=1e-6)


def test_forecast_keys():
    found = answer("forecast", KOI, "--days", "30", *DRAWS)
    assert_frame(found, 1, 40)
    assert found["horizon_days"] == 30
    assert set(found["regime_probability"]) == {"growing", "endemic", "fading"}
    assert sum(found["regime_probability"].values()) == pytest.approx(1)
    assert found["planned"] is None  # the case plans nothing
    readings = found["deaths_by_killer"]  # its log leaves open who killed the six
    assert [one["cause"] for one in readings] == ["flukes", "something_else"]
    assert sum(one["probability"] for one in readings) == pytest.approx(1)
    for one in readings:  # of 40 draws one reading may have too few to say
        assert (one["untreated_deaths"] is None) == (one["effective_draws"] < 20)
    for course in (found["untreated"], found["recommended"]):
        assert is_triple(course["deaths"])
        assert is_triple(course["mean_abundance_end"])
        assert is_triple(course["elimination_probability"], mean=True)
    assert found["untreated"]["doses"] == []
    for given in found["recommended"]["doses"]:
        assert set(given) == {"date", "agent", "mg_l", "mass_g"}
        assert given["mass_g"] == pytest.approx(given["mg_l"] * 18_000 / 1000)
    assert found["withheld_reason"] is None


def test_response_keys_without_a_sample_before_the_dose():
    found = answer("response", KOI, *DRAWS)
    assert_frame(found, 1, 40)
    assert found["verdict"] == "cannot_tell"
    assert set(found["verdict_probability"]) == {"worked", "fell_short", "new_settlers", "cannot_tell"}
    assert sum(found["verdict_probability"].values()) == pytest.approx(1)
    for name in ("reduction_percent", "expected_reduction_percent"):
        assert found[name] == {"median": None, "low": None, "high": None}


@pytest.fixture(scope="session")
def seen_twice(tmp_path_factory) -> Path:
    """The koi pond with fish looked at before the dose as well."""
    folder = tmp_path_factory.mktemp("cases") / "koi_pond_seen_twice"
    shutil.copytree(KOI, folder, ignore=shutil.ignore_patterns("report"))
    rows = (folder / "samples.csv").read_text(encoding="utf-8").splitlines()
    header, first = rows[0], rows[1].split(",")
    place = header.split(",").index("date")
    earlier = [",".join([*r.split(",")[:place], "2026-04-27", *r.split(",")[place + 1 :]]) for r in rows[1:]]
    assert first[place] == "2026-05-10"
    (folder / "samples.csv").write_text("\n".join([header, *earlier, *rows[1:]]) + "\n", encoding="utf-8")
    return folder


def test_response_keys_with_samples_before_and_after(seen_twice):
    found = answer("response", seen_twice, *DRAWS)
    assert is_triple(found["reduction_percent"])
    assert found["reduction_percent"]["median"] is not None
    assert found["verdict"] == max(found["verdict_probability"], key=found["verdict_probability"].get)


INTERVAL_TRIPLES = (
    *("first_hatch_days", "mean_hatch_days", "last_hatch_days"),
    *("earliest_maturity_days", "longest_safe_gap_days", "last_dose_not_before_day"),
)


def test_interval_keys():
    found = answer("interval", "--parasite", "dactylogyrus", "--temperature", "26", *DRAWS)
    assert_frame(found, 1, 40)
    assert (found["parasite"], found["temperature_c"], found["agent"]) == ("dactylogyrus", 26, "praziquantel")
    assert all(is_triple(found[name]) for name in INTERVAL_TRIPLES)
    assert "two_dose_window_days" in found
    assert 0 <= found["two_dose_window_probability"] <= 1
    for aim in ("recommended", "eradication"):
        if found[aim] is not None:
            assert set(found[aim]) == {"gap_days", "doses", "survivors_per_1000", "elimination_probability", "chance"}
            assert 0 <= found[aim]["chance"] <= 1
            assert is_triple(found[aim]["survivors_per_1000"])
            assert is_triple(found[aim]["elimination_probability"], mean=True)
    assert isinstance(found["extrapolated"], list)
    assert all(reference(key) for key in found["sources"])


def test_interval_of_a_live_bearer_has_null_windows():
    found = answer("interval", "--parasite", "gyrodactylus", "--temperature", "20", *DRAWS)
    assert all(found[name] == {"median": None, "low": None, "high": None} for name in INTERVAL_TRIPLES)
    assert found["two_dose_window_days"] is None


def test_dose_keys():
    found = answer("dose", "--agent", "praziquantel", "--volume-l", "18000")
    assert_frame(found, None, None)
    assert found["mass_mg"] == found["mg_l"] * found["volume_l"] == 90_000
    assert found["product_g"] == pytest.approx(found["mass_g"] * 100 / found["strength_percent"])
    assert found["product_ml"] is None
    assert "active substance" in found["basis"]
    assert (found["agent"], found["route"]) == ("praziquantel", "bath")
    assert len(found["cautions"]) > 3


def test_dose_of_a_liquid_is_measured_by_its_density():
    # 37 % formalin, 1.09 g/mL (a handbook density, from memory): 25 mg/L in 1,000 L is 25 g, 25 / 1.09 mL
    found = answer("dose", "--agent", "formalin", "--volume-l", "1000", "--mg-l", "25", "--temperature", "17")
    assert found["product_ml"] == pytest.approx(25 / 1.09, rel=1e-3)
    assert found["product_g"] is None


def test_check_keys():
    found = answer("check", KOI)
    assert_frame(found, None, None)
    assert (found["ok"], found["problems"]) == (True, [])


@pytest.fixture(scope="session")
def reported(tmp_path_factory) -> tuple[dict, Path]:
    folder = tmp_path_factory.mktemp("reports") / "koi"
    return answer("report", KOI, "--out", folder, *DRAWS), folder


def test_report_keys(reported):
    found, folder = reported
    assert_frame(found, 1, 40)
    assert Path(found["folder"]) == folder
    assert {"folder", "files", "first_action", "withheld_reason", "late_doses"} <= set(found)
    # one entry for each dose that can be late: the second and those after it, in order
    assert [late["dose"] for late in found["late_doses"]] == list(range(2, 2 + len(found["late_doses"])))
    assert {"report.html", "dates.ics"} <= set(found["files"])
    for name in found["files"]:
        assert (folder / name).stat().st_size > 0


def test_lists_and_sheets():
    sets, drugs = answer("parasites"), answer("agents")
    assert_frame(sets, None, None)
    assert_frame(drugs, None, None)
    assert [row["name"] for row in sets["parasites"]] == list(parasite_names())
    assert [row["name"] for row in drugs["agents"]] == list(agent_names())
    sheet = answer("parasites", "discocotyle", *DRAWS)
    assert_frame(sheet, 1, 40)
    assert sheet["values"]
    assert sheet["sources"]


def test_new_writes_a_case_that_reads_as_it_stands(tmp_path):
    folder = tmp_path / "my_pond"
    found = answer("new", folder)
    assert set(found["files"]) == {path.name for path in folder.iterdir()} == {"case.toml", "samples.csv", "deaths.csv"}
    assert answer("check", folder)["ok"]


# --- sampling --------------------------------------------------------------------------------------------------------
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


# --- facts of the trade ----------------------------------------------------------------------------------------------
def test_trade_facts_of_the_repeat_interval():
    """Near 26 °C gill flukes of carp are dosed again after 3 to 7 d (common practice, no source)."""
    found = answer("interval", "--parasite", "dactylogyrus", "--temperature", "26", *DRAWS)
    assert 3 <= found["recommended"]["gap_days"] <= 7
    safe = found["longest_safe_gap_days"]
    assert 0 < safe["high"] - safe["low"] <= 4
    assert "maturity" in found["extrapolated"]


def test_trade_facts_of_praziquantel():
    """5 mg/L by custom, and eggs are not killed (common practice, no source)."""
    assert answer("dose", "--agent", "praziquantel", "--volume-l", "1000")["mg_l"] == 5
    sheet = answer("agents", "praziquantel", *DRAWS)
    kill = sheet["kill"]["shares"]
    assert kill["egg"]["median"] < 0.05 < 0.8 < kill["adult"]["median"]
    assert "not counted on to kill eggs" in run("agents", "praziquantel", *DRAWS).stdout
    assert any("kill eggs" in line for row in answer("agents")["agents"] for line in row["does_not"])


# --- errors ----------------------------------------------------------------------------------------------------------
PROBLEM = {"file", "place", "value", "expected", "fix"}
WRONG = {
    "no such case": ("estimate", "no_such_folder"),
    "no such option": ("interval", "--parasit", "dactylogyrus"),
    "no such command": ("estimat", "x"),
    "no such plan": ("sampling", "fnd"),
    "no such set": ("interval", "--parasite", "dactylogirus", "--temperature", "20"),
    "no such agent": ("agents", "prazi"),
    "not of the case": ("estimate", str(KOI), "--parasite", "gyrodactylus"),
    "nothing given": ("interval",),
    "no number": ("sampling", "find", "--prevalence", "five"),
    "out of range": ("interval", "--parasite", "dactylogyrus", "--temperature", "99"),
    "too few draws": ("estimate", str(KOI), "--draws", "1"),
    "no value": ("dose", "--agent", "praziquantel", "--volume-l"),
    "too many words": ("estimate", str(KOI), "another"),
    "an unpublished dose": ("dose", "--agent", "praziquantel", "--volume-l", "100", "--mg-l", "500"),
    "a share in percent": ("sampling", "find", "--prevalence", "5"),
    "two aims": ("sampling", "stop", "--k", "1", "--precision", "0.5", "--low", "2"),
    "a figure of another kind": ("parasites", "dactylogyrus", "--plot", "laws.doc"),
    "a figure of nothing": ("parasites", "--plot", "laws.svg"),
    "a figure nowhere": ("parasites", "dactylogyrus", "--plot", "no_such_folder/laws.svg"),
    "a folder that is taken": ("new", str(KOI)),
}


@pytest.mark.parametrize("words", WRONG.values(), ids=WRONG)
def test_wrong_input_is_exit_code_2_with_problems_as_json(words):
    found = answer(*words, code=2)
    assert_frame(found, None, None)
    assert found["ok"] is False
    assert found["problems"]
    for problem in found["problems"]:
        assert set(problem) == PROBLEM
        assert all(isinstance(text, str) and text for text in problem.values())


@pytest.mark.parametrize("words", WRONG.values(), ids=WRONG)
def test_wrong_input_in_words_goes_to_standard_error(words):
    found = run(*words)
    assert (found.exit_code, found.stdout) == (2, "")
    assert "Traceback" not in found.stderr
    assert "nothing was written" in found.stderr


def test_every_wrong_option_is_told_at_once_with_the_near_miss():
    found = answer("interval", "--parasite", "dactylogirus", "--temperature", "99", "--draws", "few", code=2)
    told_of = {problem["place"]: problem for problem in found["problems"]}
    assert set(told_of) == {"--parasite", "--temperature", "--draws"}
    assert told_of["--parasite"]["fix"] == 'Did you mean "dactylogyrus"?'
    assert told_of["--temperature"]["expected"] == "a number from 0 to 40"


def test_expected_says_what_is_expected_not_what_is_wrong(tmp_path):
    """Click says of a word what it is not, and of a file that it is not there."""
    words = (
        "--visit-date 10.5.2026 --shape round --reading x 12 --logger nosuch.csv --food-fish maybe --gill-clip 3 legs"
    )
    problems = answer("new", str(tmp_path / "pond"), *words.split(), code=2)["problems"]
    assert [(p["place"], p["value"], p["expected"]) for p in problems] == [
        ("--visit-date", "10.5.2026", "a date as 2026-05-10"),
        ("--shape", "round", "one of rectangle, oval, free"),
        ("--reading", "x 12", "a date as 2026-05-10"),
        ("--logger", "nosuch.csv", "a file that is there and can be read"),
        ("--food-fish", "maybe", "one of yes, no"),
        ("--gill-clip", "3 legs", "one of tips, filaments, arches"),
    ]


def test_a_case_with_problems_fails_its_check(tmp_path):
    folder = tmp_path / "pond"
    answer("new", folder)
    text = (folder / "case.toml").read_text(encoding="utf-8")
    wrong = text.replace('medium = "fresh"', 'medium = "freshh"').replace("count = 40", "count = -1")
    (folder / "case.toml").write_text(wrong, encoding="utf-8")
    found = answer("check", folder, code=2)
    assert found["ok"] is False
    assert {problem["file"] for problem in found["problems"]} == {"case.toml"}
    assert len(found["problems"]) == 2
    assert answer("estimate", folder, code=2)["problems"] == found["problems"]


def test_nothing_is_written_on_2(tmp_path):
    out, figure = tmp_path / "out", tmp_path / "chart.svg"
    assert run("report", tmp_path / "none", "--out", out, "--json").exit_code == 2
    live_bearer = ("interval", "--parasite", "gyrodactylus", "--temperature", "20", "--plot", figure)
    assert run(*live_bearer).exit_code == 2
    assert list(tmp_path.iterdir()) == []


def test_an_unpublished_dose_can_be_accepted():
    words = ("dose", "--agent", "praziquantel", "--volume-l", "100", "--mg-l", "500", "--accept-unpublished-dose")
    assert answer(*words)["mass_mg"] == 50_000


def test_what_cannot_be_answered_is_exit_code_1_with_its_reason(monkeypatch):
    import burden.sampling.detection as room

    def unknown(*_: object, **__: object) -> None:
        raise CannotAnswerError("nobody measured it")

    monkeypatch.setattr(room, "find", unknown)
    failed = CliRunner().invoke(main, ["sampling", "find", "--prevalence", "0.05", "--json"])
    assert failed.exit_code == 1
    found = json.loads(failed.stdout)
    assert (found["ok"], found["problems"], found["error"]) == (False, [], "nobody measured it")


def test_a_fault_of_ours_shows_its_traceback_only_when_asked(monkeypatch):
    import burden.sampling.detection as room

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("on purpose")

    monkeypatch.setattr(room, "find", broken)
    words = ["sampling", "find", "--prevalence", "0.05"]
    plain, debug = (CliRunner().invoke(main, [*words, *more]) for more in ((), ("--debug",)))
    assert plain.exit_code == debug.exit_code == 1
    assert "on purpose" not in plain.stderr
    kept = Path(re.search(r"Send (\S+\.txt)", plain.stderr)[1])
    assert "on purpose" in kept.read_text(encoding="utf-8")
    kept.unlink()
    assert "Traceback" not in plain.stderr
    assert "Traceback" in debug.stderr


def test_ctrl_c_leaves_quietly(monkeypatch):
    import burden.sampling.detection as room

    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(room, "find", stopped)
    found = CliRunner().invoke(main, ["sampling", "find", "--prevalence", "0.05"])
    assert found.exit_code == 130
    assert "Traceback" not in found.stderr


def test_the_first_words_and_the_version():
    assert run().exit_code == 2
    assert "Commands:" in run().stdout
    assert run("--version").stdout.startswith("burden, version ")


# --- same input and seed, same bytes ---------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "words",
    [
        ("interval", "--parasite", "dactylogyrus", "--temperature", "26", *DRAWS),
        ("sampling", "recheck", "--parasite", "dactylogyrus", "--temperature", "20", *DRAWS),
        ("agents", "formalin", *DRAWS),
    ],
    ids=lambda words: " ".join(map(str, words[:2])),
)
def test_same_seed_same_bytes(words):
    first, second = (run(*words, "--json", turn=turn).stdout_bytes for turn in (0, 1))
    assert first == second


def test_another_seed_gives_other_numbers():
    words = ("sampling", "recheck", "--parasite", "dactylogyrus", "--temperature", "20", *DRAWS, "--json")
    assert run(*words).stdout_bytes != run(*words, "--seed", "2").stdout_bytes


def test_a_plot_is_the_same_twice(tmp_path):
    words = ("parasites", "discocotyle", "--draws", "20", "--quiet", "--plot")
    for name in ("a.svg", "b.svg", "c.png"):
        assert run(*words, tmp_path / name).exit_code == 0
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert (tmp_path / "a.svg").read_bytes().startswith(b"<?xml")
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")


def test_the_interval_chart_is_written(tmp_path):
    words = ("interval", "--parasite", "dactylogyrus", "--temperature", "26", *DRAWS, "--plot", tmp_path / "i.svg")
    assert run(*words).exit_code == 0
    assert "°C" in (tmp_path / "i.svg").read_text(encoding="utf-8")


# --- progress, warnings, colour --------------------------------------------------------------------------------------
class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_long_run_shows_stage_share_and_time_left_on_a_terminal(monkeypatch):
    """A bar that is seen at once; the work waits for it, however slow the machine."""
    monkeypatch.setattr(progress_bar, "_FIRST_SEEN_S", 0.0)
    monkeypatch.setattr(progress_bar, "_EVERY_S", 0.01)
    screen, patience = Terminal(), time.monotonic() + 60
    with Bar(False, screen) as bar, listening(bar.heard):
        for i in track(range(4), "counting flukes"):
            while i == 3 and "s left" not in screen.getvalue() and time.monotonic() < patience:
                time.sleep(0.01)
    shown = screen.getvalue()
    assert "counting flukes, about" in shown
    assert "s left" in shown
    assert shown.endswith("\r")  # and goes away


@pytest.mark.parametrize(
    ("quiet", "screen", "seen_after_s"),
    [(True, Terminal(), 0.0), (False, io.StringIO(), 0.0), (False, Terminal(), 3600.0)],
    ids=["quiet", "no terminal", "short"],
)
def test_no_bar_where_quiet_or_no_terminal_or_short(monkeypatch, quiet, screen, seen_after_s):
    assert progress_bar._FIRST_SEEN_S == 1.0
    monkeypatch.setattr(progress_bar, "_FIRST_SEEN_S", seen_after_s)
    monkeypatch.setattr(progress_bar, "_EVERY_S", 0.01)
    with Bar(quiet, screen):
        time.sleep(0.2)
    assert screen.getvalue() == ""


def test_warnings_go_to_standard_error_unless_quiet():
    words = ("interval", "--parasite", "dactylogyrus", "--temperature", "26", *DRAWS, "--json")
    assert "warning: Maturity was measured at 20 °C only" in run(*words).stderr
    assert run(*words, "--quiet").stderr == ""
    assert "\x1b[" not in run(*words).stderr + run("estimat").stderr


# --- start-up --------------------------------------------------------------------------------------------------------
HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "pydantic", "jinja2", "icalendar")
HELP = "import sys\nfrom burden.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"


def python(code: str) -> str:
    return subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True).stdout


def test_help_loads_nothing_heavy():
    code = HELP + f"print('loaded:', [m for m in {HEAVY} if m in sys.modules])"
    assert python(code).splitlines()[-1] == "loaded: []"


def test_sampling_find_does_not_wait_for_scipy():
    code = HELP.replace("'--help'", "'sampling', 'find', '--prevalence', '0.05'")
    assert python(code + "print('scipy' in sys.modules)").splitlines()[-1] == "False"


_COUNTED = """
import sys
calls = [0]
def called(frame, event, arg):
    calls[0] += event == "call"
sys.setprofile(called)
{code}
sys.setprofile(None)
print(calls[0])
"""


def test_help_takes_little_more_than_importing_click():
    """Under 0.4 s where `import click` takes 0.07 s; counted in calls, so that no load tells: 38 000 and 17 000."""
    calls = [int(python(_COUNTED.format(code=code)).splitlines()[-1]) for code in (HELP, "import click")]
    assert 0 < calls[1] < calls[0] < 3 * calls[1]


def test_completion_knows_commands_and_names():
    def completions(words: str, place: int) -> str:
        asked = f"COMP_WORDS={words!r}, COMP_CWORD='{place}', _BURDEN_COMPLETE='bash_complete'"
        script = f"import os\nos.environ.update({asked})\nfrom burden.cli import main\nmain(prog_name='burden')"
        return python(script)

    assert "plain,forecast" in completions("burden fore", 1)
    assert "plain,dactylogyrus" in completions("burden interval --parasite dac", 3)
    assert completions("burden estimte simu", 2).strip() == ""  # and no words into a line that is being written


_STOPPED_WHILE = """
import os, signal, sys
from pathlib import Path
{patch}
def stop(event, about):
    if event == "open" and Path(os.fsdecode(about[0] if isinstance(about[0], str | bytes) else "")).name == {name!r}:
        if about[2] & os.O_CREAT:
            os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(stop)  # whatever function opens the second file to write it
sys.argv = ["burden", *{words!r}]
from burden.__main__ import run
run()
"""
_MADE_AT_ONCE = """
import burden.report.write as room
room.report_of = lambda case, *options: room.Made({"report.html": b"new", "tables/x.csv": b"new"}, case)
"""


@pytest.mark.skipif(os.name != "posix", reason="a signal to oneself is sent in another way elsewhere")
@pytest.mark.parametrize("command", ["new", "report"])
def test_a_real_ctrl_c_between_two_files_leaves_what_was_there(tmp_path, command):
    out = tmp_path / "there"
    if command == "report":
        write_folder(out, {"report.html": b"old", "tables/x.csv": b"old"})
        words = ["report", str(ROOT / "simulated_data" / "koi_pond"), "--out", str(out)]
        code = _STOPPED_WHILE.format(patch=_MADE_AT_ONCE, name="x.csv", words=words)
    else:
        code = _STOPPED_WHILE.format(patch="", name="samples.csv", words=["new", str(out)])
    before = {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")}
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (found.returncode, found.stderr.strip()) == (130, "burden: stopped")
    assert {path: path.is_file() and path.read_bytes() for path in tmp_path.rglob("*")} == before


def test_ctrl_c_while_the_command_line_is_loaded_leaves_quietly():
    code = "import sys\nclass Stop:\n    def find_spec(self, name, *more):\n        if name == 'click':\n            "
    code += "raise KeyboardInterrupt\nsys.meta_path.insert(0, Stop())\nfrom burden.__main__ import run\nrun()"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (found.returncode, found.stderr.strip()) == (130, "burden: stopped")


@pytest.mark.parametrize(("words", "quiet"), [(("new", "pond"), True), (("check", "pond"), False)])
def test_no_bar_writes_over_a_question(monkeypatch, tmp_path, words, quiet):
    """On a terminal it ticks on the line on which `burden new --ask` waits for an answer."""
    told_quiet = []

    class Listening(Bar):
        def __init__(self, quiet):
            told_quiet.append(quiet)
            super().__init__(quiet)

    monkeypatch.setattr("burden.cli.progress_bar.Bar", Listening)
    monkeypatch.chdir(tmp_path)
    CliRunner().invoke(main, words)
    assert told_quiet == [quiet]


# --- many ponds ------------------------------------------------------------------------------------------------------
def test_check_of_many_folders_gives_one_list_with_the_case_of_each_problem(tmp_path):
    for name, count in (("north", "x"), ("south", "-1")):
        shutil.copytree(KOI, tmp_path / name)
        toml = tmp_path / name / "case.toml"
        toml.write_text(re.sub(r"(?m)^count = .*$", f'count = "{count}"', toml.read_text()))
    found = answer("check", str(KOI), str(tmp_path / "north"), str(tmp_path / "south"), code=2)
    assert [p["file"] for p in found["problems"]] == [f"{tmp_path / name}: case.toml" for name in ("north", "south")]
    assert [(Path(case["case"]).name, case["ok"]) for case in found["cases"]] == [
        ("koi_pond", True), ("north", False), ("south", False),
    ]  # fmt: skip
    said = run("check", str(KOI), str(tmp_path / "north"), str(tmp_path / "south"))
    assert said.exit_code == 2
    assert "1 case of 3 can be used" in said.stdout


def test_import_makes_a_case_a_pond_and_says_what_it_left_out(tmp_path):
    head = "unit,date,fish,chosen,count,method,parasite,temperature,volume_l,medium,species,stock,food fish,remarks"
    row = "2026-05-10,1,netted,4,gill clip,dactylogyrus,18,9000,fresh,carp,40,yes,pale"
    table = tmp_path / "counts.csv"
    table.write_text(f"{head}\nP1,{row}\nP2,{row}\n")
    found = answer("import", str(table), "--to", str(tmp_path / "ponds"))
    assert [(case["unit"], case["change"], case["rows_added"]) for case in found["cases"]] == [
        ("P1", "new", 1), ("P2", "new", 1),
    ]  # fmt: skip
    assert found["not_read"] == [{"place": "column N (remarks)", "why": "not used"}]
    assert answer("check", str(tmp_path / "ponds" / "p1"))["ok"]
    table = tmp_path / "sick.csv"
    table.write_text(f"{head}\nP1,{row.replace('netted', 'sick')}\n")
    wrong = answer("import", str(table), "--to", str(tmp_path / "ponds"), code=2)
    assert [p["place"] for p in wrong["problems"]] == ["row 2, column D (chosen)"]
