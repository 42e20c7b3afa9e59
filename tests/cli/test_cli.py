"""The command line as other programs and people meet it: help, keys, facts of the trade, bytes, progress."""

from __future__ import annotations

import io
import re
import shlex
import shutil
import time
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from command_line import DRAWS, KOI, answer, assert_frame, is_triple, run

from burden.cli import main, progress_bar
from burden.cli.progress_bar import Bar
from burden.evidence import agent_names, parasite_names, reference
from burden.utils.progress import listening, track

pytestmark = pytest.mark.usefixtures("each_case_once")  # one pond for several commands


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
