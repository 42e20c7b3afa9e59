"""A new case folder: the template names every key, reads as it stands, and overwrites nothing."""

from __future__ import annotations

import math
import re
import tomllib

import pytest
from broken_cases import write_case
from click.testing import CliRunner

from burden.cli import main
from burden.io import check_case, new_case, read_case, sample_case_toml
from burden.utils.errors import InputError


def test_a_new_case_reads_as_it_stands_and_says_it_is_the_example(tmp_path):
    files = new_case(tmp_path / "new")
    assert sorted(path.name for path in files) == ["case.toml", "deaths.csv", "samples.csv"]
    assert sorted(tmp_path.iterdir()) == [tmp_path / "new"]
    result = check_case(tmp_path / "new")
    assert result.ok
    assert any("still that of the example" in w for w in result.warnings)


def uncommented(text):
    """Return the template with every optional key in force, the first of each where it offers several."""
    kept, seen = [], set()
    for line in text.splitlines():
        line = re.sub(r"^# (?=\[|\w+ = )", "", line)
        key = re.match(r"(\w+) = ", line)
        if line.startswith("["):
            seen = set()
        if key is None or key[1] not in seen:
            kept.append(line)
        seen.update(key.groups() if key else ())
    return "\n".join(kept)


def test_every_key_stands_in_the_template_and_reads_when_uncommented(tmp_path):
    from burden.io.schema import TABLES

    text = sample_case_toml()
    for name, (model, _, _) in TABLES.items():
        assert f"[{name}]" in text
        for key in model.model_fields:
            assert f"{key} =" in text or key in ("override", "alkalinity_mg_l_caco3", "mg_per_kg_fish", "g_l")
    full = uncommented(text)
    assert len(tomllib.loads(full)["limits"]) == 10
    assert check_case(write_case(tmp_path / "pond", case=full)).problems == ()


@pytest.mark.parametrize("taken", ["file", "filled", "link", "no parent"])
def test_a_new_case_never_overwrites(tmp_path, taken):
    folder = tmp_path / "new"
    if taken == "file":
        folder.write_text("mine")
    elif taken == "filled":
        write_case(folder)
    elif taken == "link":
        folder.symlink_to(tmp_path / "elsewhere")
    else:
        folder = folder / "deeper"
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputError, match="expected"):
        new_case(folder)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_new_case_may_fill_an_empty_folder(tmp_path):
    (tmp_path / "new").mkdir()
    assert len(new_case(tmp_path / "new")) == 3
    assert read_case(tmp_path / "new").fish_count == 40


def test_new_takes_options_and_reads_back(tmp_path):
    """An ellipse covers pi/4 of the rectangle about it (geometry); everything given is in the case that is read."""
    said = [
        "--size-m",
        "4",
        "3",
        "1.5",
        "--shape",
        "oval",
        "--count",
        "24",
        "--weight-g",
        "600",
        "--title",
        'a "b" # c\\',
    ]
    found = CliRunner().invoke(main, ["new", str(tmp_path / "pond"), *said, "--visit-date", "2026-06-01"])
    assert found.exit_code == 0, found.output
    case = read_case(tmp_path / "pond")
    assert case.water.volume_l.value == round(18000 * math.pi / 4)
    assert case.water.volume_l.low < case.water.volume_l.value < case.water.volume_l.high
    assert (case.fish_count, case.title, case.visit_date.isoformat()) == (24, 'a "b" # c\\', "2026-06-01")
    assert case.fish[0].mean_weight_g.value == 600


def test_new_asks_and_refuses_water_given_twice(tmp_path):
    """Salt: 1 kg that raises salinity by 0.1 g/L is in 10 m3 less the purity (arithmetic)."""
    folder = str(tmp_path / "pond")
    twice = CliRunner().invoke(main, ["new", folder, "--volume-l", "900", "--salt", "1000", "0.1"])
    assert twice.exit_code == 2
    assert not (tmp_path / "pond").exists()
    asked = CliRunner().invoke(
        main, ["new", folder, "--ask", "--salt", "1000", "0.1"], input="Mill\n2026-06-01\n\n12\n350\nyes\n16.5\n\n"
    )
    assert asked.exit_code == 0, asked.output
    case = read_case(tmp_path / "pond")
    assert case.water.volume_l.value == pytest.approx(10_000, rel=0.02)
    assert (case.fish_count, case.title, case.visit_date.isoformat()) == (12, "Mill", "2026-06-01")
    assert case.food_fish is True


def test_new_takes_readings_by_hand_or_a_logger_file(tmp_path):
    run = CliRunner().invoke
    hand = ["--reading", "2026-05-04", "17.5", "--reading", "2026-05-01", "16"]
    assert run(main, ["new", str(tmp_path / "hand"), *hand]).exit_code == 0
    assert (tmp_path / "hand" / "temperature.csv").read_text() == "date,temperature_c\n2026-05-01,16\n2026-05-04,17.5\n"
    assert read_case(tmp_path / "hand").water.temperature.temperatures_c == (16.0, 17.5)
    record = tmp_path / "logger.csv"
    record.write_text("date,temperature_c\n2026-05-01 06:00,12.5\n2026-05-01 18:00,14\n", encoding="utf-8")
    assert run(main, ["new", str(tmp_path / "logged"), "--logger", str(record)]).exit_code == 0
    assert read_case(tmp_path / "logged").water.temperature.temperatures_c == (12.5, 14.0)
    twice = run(main, ["new", str(tmp_path / "twice"), "--temperature-c", "12", *hand])
    assert twice.exit_code == 2
    assert "temperature once" in twice.output
    assert not (tmp_path / "twice").exists()


ANSWERS = """\
Mill
10.6.2026
2026-06-10

none
24
0
300
perhaps
no
12,5
measures
oval
4
3
x
1.2
readings

2026-06-04
2026-06-04 17.5
2026-06-01 16

15
15 tips
"""


def test_new_says_what_was_expected_and_asks_again(tmp_path):
    """An answer that cannot be read costs nothing but the answer; what is written reads back as it was meant."""
    folder = tmp_path / "pond"
    asked = CliRunner().invoke(main, ["new", str(folder), "--ask"], input=ANSWERS)
    assert asked.exit_code == 0, asked.output
    wrong = [line for line in asked.output.splitlines() if line.startswith("Error: ")]
    assert len(wrong) == 9
    assert all("expected" in line or "needed" in line for line in wrong)
    case = read_case(folder)
    assert case.water.volume_l.value == round(4 * 3 * 1.2 * 1000 * math.pi / 4)
    assert case.water.temperature.temperatures_c == (16.0, 17.5)
    assert (case.fish_count, case.fish[0].mean_weight_g.value, case.fish[0].species) == (24, 300.0, "koi")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--volume-l", "9000"], "taken as ± 10 %"),
        (["--size-m", "4", "3", "1"], "from the pond's measures"),
        (["--salt", "5000", "0.5"], "from the salt test"),
    ],
)
def test_beside_the_volume_stands_how_it_was_found(tmp_path, words, says):
    assert CliRunner().invoke(main, ["new", str(tmp_path / "pond"), *words]).exit_code == 0
    text = (tmp_path / "pond" / "case.toml").read_text()
    about = [
        line for line in text.splitlines() if "±" in line or "measures [L]" in line or "from the salt test" in line
    ]
    assert [says in line for line in about if "over the year" not in line] == [True]
    assumed = any(line.startswith("The volume is taken as") for line in read_case(tmp_path / "pond").assumptions)
    assert assumed == (words[0] == "--volume-l")


def test_a_clip_on_the_slide_becomes_a_share_of_the_gills(tmp_path):
    """15 of some 1,400 filaments, a half of each: 0.5 %, for the rows that say nothing of their own."""
    folder = tmp_path / "pond"
    said = ["--gill-clip", "15", "tips", "--weight-g", "300", "--visit-date", "2026-06-10"]
    assert CliRunner().invoke(main, ["new", str(folder), *said]).exit_code == 0
    rows = ["date,fish,chosen,site,count,method,fraction_examined", "2026-06-10,1,random,gill,7,gill_clip,"]
    rows += ["2026-06-10,2,random,gill,3,gill_clip,0.02", "2026-06-10,3,random,gill,30,gill_arch,", ""]
    (folder / "samples.csv").write_text("\n".join(rows))
    first, second, third = read_case(folder).samples
    assert (first.clip_share.low, first.clip_share.high) == (0.0031, 0.0083)
    assert first.clip_share.value == pytest.approx(15 / 1400 / 2, rel=0.01)
    assert second.clip_share is None
    assert third.clip_share is None
    told = CliRunner().invoke(main, ["check", str(folder)]).output
    assert "A clip shows 0.54 % of the gills (0.31 to 0.83 %; tips of 15 filaments), in 1 preparation." in told
    assert "What share of the site was looked at is not given for 1 of 3 preparations" in told
    (folder / "samples.csv").write_text("\n".join(rows).replace("gill_arch", "whole_organ"))  # all of it is looked at
    assert "What share of the site" not in CliRunner().invoke(main, ["check", str(folder)]).output


def test_a_share_of_a_clip_above_all_gills_is_refused(tmp_path):
    folder = tmp_path / "pond"
    assert CliRunner().invoke(main, ["new", str(folder), "--gill-clip", "9", "arches"]).exit_code == 2
    assert not folder.exists()
    assert CliRunner().invoke(main, ["new", str(folder), "--gill-clip", "1", "arches"]).exit_code == 0
    toml = folder / "case.toml"
    toml.write_text(re.sub("gill_clip_share = {.*}", "gill_clip_share = 1.5", toml.read_text()))
    (problem,) = check_case(folder).problems
    assert (problem.place, problem.expected) == ("[looking] gill_clip_share", "a share of all gills, above 0 to 1")


def test_a_logger_file_that_is_none_is_refused_before_anything_is_written(tmp_path):
    (tmp_path / "log.csv").write_text("when,heat\n1,2\n")
    found = CliRunner().invoke(main, ["new", str(tmp_path / "pond"), "--logger", str(tmp_path / "log.csv")])
    assert found.exit_code == 2
    assert "temperature_c" in found.output
    assert not (tmp_path / "pond").exists()


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (["--volume-l", "nan"], "--volume-l"),
        (["--weight-g", "inf"], "--weight-g"),
        (["--temperature-c", "nan"], "--temperature-c"),
        (["--size-m", "inf", "1", "1"], "--size-m"),
        (["--size-m", "0.001", "0.001", "0.001"], "--size-m"),
        (["--visit-date", "0226-05-10"], "[case] visit_date"),
        (["--title", ""], "[case] title"),
        (["--title", "\udcff"], "case.toml: file"),
        (["--count", "99999999999"], "--count"),
        (["--reading", "1026-05-01", "12"], "row 2, column date"),
    ],
)
def test_what_would_not_read_back_is_not_begun(tmp_path, words, place):
    found = CliRunner().invoke(main, ["new", str(tmp_path / "pond"), *words])
    assert (found.exit_code, place in found.stderr) == (2, True), found.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_logger_of_nobody_here_is_asked_for_again(tmp_path):
    """`~name` of no user of this machine has no home to stand for."""
    answers = "Mill\n0226-06-01\n2026-06-01\n\n9999999999\n12\n350\nno\nlogger\n~nobody-at-all/t.csv\n"
    found = CliRunner().invoke(main, ["new", str(tmp_path / "pond"), "--ask", "--volume-l", "900"], input=answers)
    assert found.exit_code == 130  # the answers end here
    assert [line for line in found.output.splitlines() if line.startswith("Error: ")] == [
        "Error: '0226-06-01' cannot be read: expected a date as year-month-day, for instance 2026-05-10",
        "Error: '9999999999' cannot be read: expected a whole number, 1 or more, for instance 24",
        "Error: '~nobody-at-all/t.csv' cannot be read: expected a file name without ~, as it has no meaning here",
    ]


def test_the_commands_that_come_next_can_be_pasted(tmp_path):
    found = CliRunner().invoke(main, ["new", str(tmp_path / "my pond")])
    assert f'burden check "{tmp_path}/my pond"\n' in found.stdout
