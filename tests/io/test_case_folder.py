"""Reading a case folder: what spreadsheets write is read, what is wrong is told, all of it at once."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date, datetime

import pytest
from broken_cases import BROKEN, COUNTED, DEATHS, GOOD, READS_RECORD, SAMPLES, TEMPERATURES, write_case
from hypothesis import given, settings
from hypothesis import strategies as st

from burden.case import ConstantTemperature, DeathRecord, RecordedTemperature, YearlyTemperature
from burden.io import check_case, read_case
from burden.utils.errors import InputError

HEAD = "date,fish,chosen,site,count\n"


def read(tmp_path, **files):
    return read_case(write_case(tmp_path / "pond", **files))


def told(tmp_path, **files):
    return list(check_case(write_case(tmp_path / "pond", **files)).problems)


def changed(old, new, text=GOOD):
    assert old in text
    return text.replace(old, new, 1)


# --- what is right is read


def test_the_good_case_is_read_whole(tmp_path):
    case = read(tmp_path)
    assert case.name == "pond"
    assert case.visit_date == date(2026, 5, 10)
    assert case.trouble_since == date(2026, 4, 20)
    assert (case.water.volume_l.low, case.water.volume_l.high) == (10_800, 13_200)
    assert case.water.temperature == ConstantTemperature(18.0)
    assert case.fish[0].food_fish is False
    assert case.parasites == ("dactylogyrus",)
    assert [a.date for a in (*case.given, *case.planned)] == [date(2026, 5, 1), date(2026, 5, 17)]
    assert [(r.count_low, r.count_high, r.readable) for r in case.samples] == [
        (12, 12, True),
        (51, None, True),
        (10, 20, True),
        (0, None, False),
    ]
    assert case.samples[2].fraction_examined is None
    assert {r.parasite for r in case.samples} == {"dactylogyrus"}
    assert case.deaths == (DeathRecord(date(2026, 5, 6), 1, 1), DeathRecord(date(2026, 5, 8), 2, 2))
    assert case.warnings == ()


def test_one_degree_of_carbonate_hardness_is_17_8_mg_per_litre(tmp_path):
    # 1 °dKH = 17.8 mg/L CaCO3: handbook factor, from memory; 10 mg/L CaO · 100.09/56.08 = 17.85 by molar mass.
    assert read(tmp_path).water.alkalinity_mg_l_caco3 == pytest.approx(6 * 17.8)
    assert read(tmp_path).water.alkalinity_mg_l_caco3 == pytest.approx(6 * 10 * 100.09 / 56.08, rel=0.005)


def test_gill_flukes_on_the_skin_are_read_only_when_asked_for(tmp_path):
    row = 'set = "dactylogyrus"'
    assert read(tmp_path).gill_flukes_on_skin is True
    for name in ("asked", "wrong"):
        (tmp_path / name).mkdir()
    asked = changed(row, f'{row}\ngill_flukes_on_skin = "no"')
    assert read(tmp_path / "asked", case=asked).gill_flukes_on_skin is False
    wrong = told(tmp_path / "wrong", case=changed(row, f'{row}\ngill_flukes_on_skin = "often"'))
    assert [problem.place for problem in wrong] == ["[parasite] gill_flukes_on_skin"]


def test_a_range_is_kept_as_given(tmp_path):
    own = '{value = 12000, low = 11800, high = 12100, how = "water meter"}'
    volume = read(tmp_path, case=changed("12000", own)).water.volume_l
    assert (volume.value, volume.low, volume.high, volume.how) == (12000, 11800, 12100, "water meter")
    assert not volume.assumed


@pytest.mark.parametrize("day", ['"07-25"', "2025-07-25", '"2025-07-25"', '"25.07.2025"'])
def test_a_yearly_course(tmp_path, day):
    case = changed("18.0", f"{{mean_c = 12, swing_c = 8, warmest_day = {day}}}")
    assert read(tmp_path, case=case).water.temperature == YearlyTemperature(12.0, 8.0, (7, 25))


def test_several_species_and_sets(tmp_path):
    fish = '[[fish]]\nspecies = "tench"\ncount = 3\nfood_fish = true\nlength_mm = 200\n'
    text = changed("[fish]", "[[fish]]").replace("[parasite]", f"{fish}\n[parasite]")
    text = changed('"dactylogyrus"', '["Dactylogyrus", "dactylogyrus"]', text)
    case = read(tmp_path, case=text)
    assert [group.species for group in case.fish] == ["koi", "tench"]
    assert case.food_fish
    assert case.parasites == ("dactylogyrus",)


def test_visit_days_in_each_form(tmp_path):
    case = changed("[limits]", '[limits]\nvisit_days = ["Mon", "thursday", 2026-05-12, 7]')
    assert read(tmp_path, case=case).limits.visit_days == ("monday", "thursday", date(2026, 5, 12), 7)


@pytest.mark.parametrize(
    ("text", "changed_share", "lethal", "words"),
    [("yes", 0.5, 40, "we assume half"), ("no", 0.0, 0, None), ("0.3", 0.3, 0, None)],
)
def test_yes_where_a_number_is_meant_is_an_assumption(tmp_path, text, changed_share, lethal, words):
    value = text if text == "0.3" else f'"{text}"'
    case = changed("hours = 24", f"water_change_after = {value}")
    case = changed("count = 40", f"count = 40\nlethal_sampling_allowed = {0 if text == '0.3' else value}", case)
    found = read(tmp_path, case=case)
    assert found.given[0].water_change_after == changed_share
    assert found.fish[0].lethal_sampling_allowed == lethal
    assert any(a.endswith(("we assume half.", "we assume no limit.")) for a in found.assumptions) is (words is not None)
    assert words is None or words in " ".join(found.assumptions)


def test_an_override_without_range_keeps_the_relative_range_of_the_evidence(tmp_path):
    from burden.evidence import load_parasite

    value = load_parasite("dactylogyrus").values["fecundity"]
    case = changed("[limits]", "[parasite.override.fecundity]\nvalue = 20\n[limits]")
    own = read(tmp_path, case=case).overrides["fecundity"]
    assert value.scale == "log"
    assert own.low / own.value == pytest.approx(value.low / value.value)
    assert own.high / own.value == pytest.approx(value.high / value.value)


@pytest.mark.parametrize(
    "text",
    [
        SAMPLES,
        "\ufeff" + SAMPLES,
        SAMPLES.replace("\n", "\r\n"),
        SAMPLES.replace(",", ";").replace("0.05", "0,05"),
        SAMPLES.replace(",", "\t").replace("0.05", "0,05"),
        "sep=;\n" + SAMPLES.replace(",", ";"),
        SAMPLES.replace("\n", "\n\n,,,,,,,\n"),
        SAMPLES.replace("date,fish,chosen", " Date, FISH ,Chosen").replace("weight_g", "Weight g"),
        SAMPLES.replace("weight_g\n", "weight_g,,\n").replace("410\n", "410,,\n"),
        SAMPLES.replace("2026-05-09", "09.05.2026").replace("2026-05-10", "10.05.2026"),
        SAMPLES.replace("0.05", "5 %"),
        SAMPLES.replace("gill_clip", "Gill clip").replace("netted", "Netted"),
        SAMPLES.replace("10-20", "10 – 20").replace(">50", "> 50"),
        SAMPLES.replace("2026-05-09", "2026-05-09 00:00:00"),
    ],
)
def test_spreadsheet_dialects_read_alike(tmp_path, text):
    expected = read(tmp_path).samples
    assert read(tmp_path, samples=text).samples == expected


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_encodings(tmp_path, encoding):
    folder = write_case(tmp_path / "pond", samples=None)
    (folder / "samples.csv").write_bytes(f"{HEAD}2026-05-09,Größe,random,gill,3\n".encode(encoding))
    assert read_case(folder).samples[0].fish == "Größe"


def test_the_column_decides_the_order_of_day_and_month(tmp_path):
    rows = "03/04/2026,1,random,gill,3\n25/04/2026,1,random,gill,3\n"
    days = [row.date for row in read(tmp_path, samples=HEAD + rows).samples]
    assert days == [date(2026, 4, 3), date(2026, 4, 25)]


def test_a_column_that_contradicts_itself_is_refused(tmp_path):
    rows = "03/04/2026,1,random,gill,3\n25/04/2026,1,random,gill,3\n04/25/2026,1,random,gill,3\n"
    assert [p.place for p in told(tmp_path, samples=HEAD + rows)] == ["row 2, column date", "row 4, column date"]


def test_a_temperature_record_is_sorted_and_takes_times(tmp_path):
    text = "date;temperature_c\n2026-05-09 14:30;18,5\n08.05.2026;17\n2026-05-09T06:00;17,5\n2026-05-07;\n"
    case = read(tmp_path, case=changed(*READS_RECORD), temperature=text)
    times = (datetime(2026, 5, 8, 12), datetime(2026, 5, 9, 6), datetime(2026, 5, 9, 14, 30))
    assert case.water.temperature == RecordedTemperature(times, (17.0, 17.5, 18.5))
    assert any("1 row without a temperature" in w for w in case.warnings)


def test_a_row_of_deaths_covers_the_days_since_the_row_before(tmp_path):
    deaths = read(tmp_path, deaths="date,deaths\n2026-05-08,0\n2026-05-01,2\n2026-05-02,1\n").deaths
    assert [(row.deaths, row.days_covered) for row in deaths] == [(2, 1), (1, 1), (0, 6)]


def test_weight_unknown_is_the_first_assumption(tmp_path):
    case = read(tmp_path, case=changed("mean_weight_g = 400", ""))
    assert "weight unknown" in case.assumptions[0]
    assert "400 g (50 to 3 000 g)" in case.assumptions[0]


def test_the_locale_does_not_matter(tmp_path):
    folder = write_case(tmp_path / "pond", samples=SAMPLES.replace(",", ";").replace("0.05", "0,05"))
    code = f"from burden.io import check_case; print(ascii(check_case({str(folder)!r}).to_json()))"
    found = {
        subprocess.run([sys.executable, "-c", code], env={**os.environ, **env}, capture_output=True, check=True).stdout
        for env in ({"LC_ALL": "C"}, {"LC_ALL": "de_DE.UTF-8"}, {"PYTHONUTF8": "0", "LANG": "tr_TR"})
    }
    assert len(found) == 1


# --- what is wrong is told


@pytest.mark.parametrize("name", BROKEN)
def test_one_thing_wrong_is_one_problem_with_place_value_and_fix(tmp_path, name):
    file, change, place, value, words = BROKEN[name]
    base = {"case": GOOD, "samples": SAMPLES, "deaths": DEATHS}[file]
    text = changed(*change, base) if isinstance(change, tuple) else change
    problems = told(tmp_path, **{file: text})
    assert len(problems) == 1
    problem = problems[0]
    assert problem.file == ("case.toml" if file == "case" else f"{file}.csv")
    assert problem.place == place or (place.startswith("line") and problem.place.startswith(place))
    assert value in problem.value
    assert words in f"{problem.expected} {problem.fix}"
    assert problem.fix


def test_everything_wrong_in_all_files_is_told_at_once(tmp_path):
    case = changed("12000", "0").replace('"dactylogyrus"', '"dactylogirus"').replace("count = 40", "count = -1")
    case = changed(*READS_RECORD, case).replace("2026-05-17", "2026-05-01")
    problems = told(
        tmp_path,
        case=case,
        samples=f"{HEAD}2027-05-09,1,randon,gill,-3\n",
        deaths="date,deaths\n2026-05-06,-1\n",
    )
    places = {(p.file, p.place) for p in problems}
    assert {
        ("case.toml", "[water] volume_l"),
        ("case.toml", "[water] temperature_c"),
        ("case.toml", "[fish] count"),
        ("case.toml", "[parasite] set"),
        ("case.toml", "[[planned]] 1 date"),
        ("samples.csv", "row 2, column date"),
        ("samples.csv", "row 2, column chosen"),
        ("samples.csv", "row 2, column count"),
        ("deaths.csv", "row 2, column deaths"),
    } == places


def test_a_record_in_fahrenheit_is_told_once_for_all_its_rows(tmp_path):
    rows = "".join(f"2026-05-{d:02d} {h:02d}:00,{60 + h}\n" for d in range(1, 9) for h in range(24))
    problems = told(tmp_path, case=changed(*READS_RECORD), temperature="date,temperature_c\n" + rows)
    assert len(problems) == 21
    assert "60 °F is 15.6 °C" in problems[0].fix
    assert problems[0].place == "row 2, column temperature_c"
    assert problems[-1].value == f"{8 * 24 - 20} more cells"


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("date,temperature_c\n2026-05-09 25:00,18\n", "row 2, column date"),
        ("date,temperature_c\n,18\n", "row 2, column date"),
        ("date,temperature_c\n2026-05-09,warm\n", "row 2, column temperature_c"),
        ("date,temp\n2026-05-09,18\n", "header, column 2"),
    ],
)
def test_a_bad_temperature_record_names_the_cell(tmp_path, text, place):
    problems = told(tmp_path, case=changed(*READS_RECORD), temperature=text)
    assert (problems[0].file, problems[0].place) == ("temperature.csv", place)


def test_several_sets_need_the_column_parasite(tmp_path):
    from burden.evidence import load_parasite, parasite_names

    gills = [name for name in parasite_names() if load_parasite(name).site == "gill"]
    case = changed('"dactylogyrus"', json.dumps(gills[:2]))
    assert [(p.file, p.place) for p in told(tmp_path, case=case)] == [("samples.csv", "first row")]
    rows = f"date,fish,chosen,site,count,parasite\n2026-05-09,1,random,gill,3,{gills[1]}\n"
    assert read(tmp_path, case=case, samples=rows).samples[0].parasite == gills[1]
    empty = rows.replace(gills[1], "")
    assert told(tmp_path, case=case, samples=empty)[0].place == "row 2, column parasite"


def test_one_set_of_the_gills_and_one_of_the_skin_are_told_by_the_site(tmp_path):
    case = changed('set = "dactylogyrus"', 'set = ["dactylogyrus", "gyrodactylus_salmonids"]')
    rows = "date,fish,chosen,site,count\n2026-05-10,1,netted,{site},3\n"
    for site, name in {"gill": "dactylogyrus", "fin": "gyrodactylus_salmonids"}.items():
        found = read(tmp_path, case=case, samples=rows.format(site=site))
        assert [row.parasite for row in found.samples] == [name]
        assert any("no column parasite" in warning for warning in found.warnings)
    (problem,) = told(tmp_path, case=case, samples=rows.format(site="whole_fish"))
    assert problem.place == "row 2, column site"
    both = changed('set = "dactylogyrus"', 'set = ["dactylogyrus", "pseudodactylogyrus"]')
    assert told(tmp_path, case=both, samples=rows.format(site="gill"))[0].value == "no column parasite"


def test_more_live_fish_than_there_are_is_a_problem(tmp_path):
    rows = "".join(f"2026-05-10,{i},random,gill,3\n" for i in range(5))
    problems = told(tmp_path, case=changed("count = 40", "count = 4"), samples=HEAD + rows)
    assert [p.value for p in problems] == ["5"]


@pytest.mark.parametrize("make", ["link", "folder", "huge", "none", "circle", "bytes"])
def test_a_file_that_cannot_be_taken_is_refused(tmp_path, make):
    folder = write_case(tmp_path / "pond", samples=None)
    path = folder / "samples.csv"
    if make == "link":
        (tmp_path / "outside.csv").write_text(SAMPLES)
        path.symlink_to(tmp_path / "outside.csv")
    elif make == "folder":
        path.mkdir()
    elif make == "huge":
        with path.open("wb") as file:
            file.truncate(20_000_001)
    elif make == "circle":
        path.symlink_to(path)
    elif make == "none":
        path.symlink_to(folder / "nowhere.csv")
    else:
        path.write_bytes(b"date\x00fish")
    problems = check_case(folder).problems
    assert [(p.file, p.place) for p in problems] == [("samples.csv", "file")]


def test_keys_within_keys_do_not_keep_the_reader(tmp_path):
    """The TOML reader takes the square of a key's depth: some minutes for half a megabyte."""
    problems = told(tmp_path, case=GOOD + "a." * 300_000 + "a = 1\n")
    assert [(p.place, p.value, p.expected) for p in problems] == [("file", "0.601 MB", "at most 0.1 MB")]


def test_no_folder_and_no_case_file(tmp_path):
    assert check_case(tmp_path / "nowhere").problems[0].place == "folder"
    assert [(p.file, p.place) for p in check_case(tmp_path).problems] == [("case.toml", "file")]
    with pytest.raises(InputError, match="missing"):
        read_case(tmp_path)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_no_bytes_do_anything_but_list_problems(tmp_path_factory, data):
    folder = write_case(tmp_path_factory.mktemp("any") / "pond")
    name = data.draw(st.sampled_from(["case.toml", "samples.csv", "deaths.csv"]))
    good = (folder / name).read_bytes()
    at = data.draw(st.integers(0, len(good)))
    noise = data.draw(st.one_of(st.binary(max_size=12), st.sampled_from([b"9" * 400, b'"', b"\x00", b"nan", b"-"])))
    (folder / name).write_bytes(good[:at] + noise + good[at + data.draw(st.integers(0, 12)) :])
    result = check_case(folder)
    assert result.ok == (result.case is not None)
    json.loads(result.to_json())


# --- what looks odd is a warning


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({"temperature": TEMPERATURES}, "temperature.csv is not used"),
        ({"case": changed("12000", "12")}, "Units?"),
        ({"case": changed("ph = 7.6", "salinity_g_l = 35")}, "salinity is 35"),
        ({"case": changed("= 0.05", "= 5")}, "10 % is 0.1"),
        ({"case": changed("weight_g = 400", "weight_g = 0.4")}, "not kilograms"),
        ({"case": changed("weight_g = 400", "weight_g = 400\nlength_mm = 28")}, "does not go with 28 mm"),
        ({"case": changed("percent = 100", "percent = 0.37")}, "in percent: 37 % is 37"),
        ({"case": changed("12000", "12000000")}, "12 000 000 mL would be 12 000;"),
        ({"case": changed("12000", "1e299")}, "1e+299 L for 40 fish is very much water"),
        ({"case": changed("weight_g = 400", "weight_g = 400000")}, "of one fish, not of all"),
        ({"case": changed("ph = 7.6", "oxygen_mg_l = 0.85")}, "no share of saturation"),
        ({"case": changed("ph = 7.6", "total_ammonia_n_mg_l = 200")}, "200 µg/L would be 0.2 mg/L"),
        ({"case": changed("ph = 7.6", "nitrite_n_mg_l = 21")}, "21 µg/L would be 0.021 mg/L"),
        ({"case": changed("mg_l = 2.5", "mg_l = 2500")}, "Was 2 500 µg/L meant, that is 2.5 mg/L?"),
        ({"case": changed("mg_l = 2.5", "g_l = 2.5")}, "Was 2 500 µg/L meant, that is 2.5 mg/L?"),
        ({"case": changed("mg_l = 2.5", "mg_l = 0.0025")}, "Was 0.0025 g/L meant, that is 2.5 mg/L?"),
        ({"case": changed("hours = 24", "hours = 1440")}, "2.5 mg/L for 1 440 h: published are 1 to 10"),
        ({"case": changed("mg_l = 2.5", "mg_l = 2.5\nvolume_l_believed = 12")}, "weighed out for 12 L"),
        ({"deaths": "date,deaths\n2025-05-01,1\n2026-05-01,2\n"}, "365 d between 2025-05-01 and 2026-05-01"),
        ({"samples": f"{HEAD}2025-05-09,1,random,gill,2\n"}, "366 d before the visit: is the year right?"),
        ({"samples": f"{HEAD}2026-05-09,1,random,gill,46315\n"}, "46 315 flukes: counted?"),
        ({"samples": SAMPLES + SAMPLES.partition("\n")[2]}, "the 2 rows of 2026-05-09 appear twice"),
        ({"case": changed("2026-05-17", "2027-05-17")}, "A planned dose is of 2027-05-17"),
        ({"case": GOOD + GOOD[GOOD.index("[[planned]]") :]}, "praziquantel on 2026-05-17 is listed 2 times"),
        (
            {"case": GOOD + "[parasite.override.fecundity]\nvalue = 900\n"},
            "fecundity 900: the range of dactylogyrus",
        ),
        ({"case": changed('"fresh"', '"sea"')}, 'dactylogyrus lives in fresh water, but medium is "sea"'),
        ({"case": changed('"koi"', '"tiger puffer"')}, "the fish are tiger puffer: is the set right?"),
        (
            {"case": changed(*READS_RECORD), "temperature": "date,temperature_c\n2026-05-08,15\n2026-05-09,1.5\n"},
            "from 15 to 1.5 °C within a day, on 2026-05-09: is the decimal point in place",
        ),
        (
            {"case": changed(*READS_RECORD), "temperature": "date,temperature_c\n2025-05-08,15\n2026-05-09,15\n"},
            "366 d between 2025-05-08 and 2026-05-09",
        ),
        (
            {"samples": "date,fish,chosen,site,count,weight_g\n2026-05-09,1,random,gill,2,0.4\n"},
            "weighs 0.4 g, the others 400 g",
        ),
        ({"case": changed("2026-05-01", "2016-05-01")}, "is the year right?"),
        ({"deaths": "date,deaths\n2026-05-06,41\n"}, "41 deaths"),
        (
            {"deaths": "date,deaths\n2026-04-10,1\n"},
            "count as not watched: if no fish died since, enter 0 for 2026-05-",
        ),
        ({"samples": HEAD}, "has no rows"),
        ({"samples": f"{HEAD}2026-05-09,1,random,gill,\n"}, "No preparation was readable"),
        ({"samples": f"{HEAD}2026-05-09,1,random,gill,2\n2026-05-09,1,dead,gill,2\n"}, "both dead and random"),
        ({"samples": SAMPLES.replace("gill,12,gill_clip", "skin,12,gill_clip")}, "the method does not match the site"),
        (
            {"case": changed(*READS_RECORD), "temperature": "date,temperature_c\n2026-04-01,9\n"},
            "ends 39 d before the visit",
        ),
    ],
)
def test_odd_things_are_warned_of_and_read(tmp_path, files, words):
    result = check_case(write_case(tmp_path / "pond", **files))
    assert result.ok
    assert [w for w in result.warnings if words in w]
    assert result.case.warnings == result.warnings


def test_two_clean_clips_of_each_fish_are_no_slip(tmp_path):
    rows = "".join(f"2026-05-09,{fish},random,gill,0\n" for fish in range(4))
    assert not any("twice" in warning for warning in read(tmp_path, samples=HEAD + rows + rows).warnings)
    seen = rows.replace(",0\n", ",3\n", 1)
    assert any("twice" in warning for warning in read(tmp_path, samples=HEAD + seen + seen).warnings)


def test_words_with_commas_between_them_are_several(tmp_path):
    text = changed('["praziquantel", "formalin"]', '"praziquantel, formalin"')
    case = read(tmp_path, case=changed('"dactylogyrus"', '"Dactylogyrus , gyrodactylus"', text), samples=None)
    assert case.parasites == ("dactylogyrus", "gyrodactylus")
    assert case.limits.agents == ("praziquantel", "formalin")


def test_a_whole_column_in_another_unit_is_asked_about_once(tmp_path):
    head = "date,fish,chosen,site,count,weight_g\n"
    rows = "".join(f"2026-05-09,{fish},random,gill,2,0.4\n" for fish in range(7))
    (warning,) = read(tmp_path, samples=head + rows).warnings
    assert warning.startswith("samples.csv: fish 0 of 2026-05-09 weighs 0.4 g")
    assert warning.endswith("Units? Grams. 6 more rows like it.")


@pytest.mark.parametrize("species", ["Koi carp", "Cyprinus carpio", "common carp", "goldfish", "Goldfisch"])
def test_a_host_of_the_set_is_known_by_its_name(tmp_path, species):
    assert read(tmp_path, case=changed('"koi"', f'"{species}"')).warnings == ()


# --- the check result


def test_an_agent_that_cannot_be_at_hand_says_what_to_do_instead(tmp_path):
    (problem,) = [
        one for one in told(tmp_path, case=changed('"formalin"]', '"permanganate"]')) if one.value == "permanganate"
    ]
    assert "Leave it out here" in problem.fix
    assert "[[given]]" in problem.fix


def test_an_assumed_weight_claims_three_digits(tmp_path):
    case = read(tmp_path)
    group = replace(case.fish[0], mean_weight_g=None, length_mm=423.0)
    said = " ".join(replace(case, fish=(group,)).in_words())
    (weight,) = re.findall(r"mean weight (.*?) g \((.*?) to (.*?);", said)
    assert all(len(number.replace(" ", "").replace(".", "").strip("0")) <= 3 for number in weight)


def test_the_check_keeps_the_contract(tmp_path):
    good = check_case(write_case(tmp_path / "pond")).as_dict()
    assert (good["ok"], good["problems"], good["warnings"]) == (True, [], [])
    bad = check_case(write_case(tmp_path / "pond", case=changed("12000", "0"))).as_dict()
    assert bad["ok"] is False
    assert set(bad["problems"][0]) == {"file", "place", "value", "expected", "fix"}
    text = str(check_case(tmp_path / "pond"))
    assert "1 problem to put right" in text
    assert "[water] volume_l" in text


def test_what_was_given_against_no_fluke_is_read_and_named(tmp_path):
    """Its effect on flukes counts as unknown; that formalin must not follow permanganate is known (uflpermanganate)."""
    from burden.inference.estimate import estimate
    from burden.inference.sampler import Effort
    from burden.schedule.eligibility import agents_and_notes

    given = '\n[[given]]\ndate = 2026-05-09\nagent = "permanganate"\nmg_l = 2\nhours = 12\ntold_by = "owner"\n'
    case = read(tmp_path, case=GOOD + given, samples=COUNTED)
    (action,) = [one for one in case.given if one.product is not None]
    assert (action.agent, action.product) == ("unknown", "potassium_permanganate")
    agents, _ = agents_and_notes(case, [estimate(case, None, 20, effort=Effort(60, 100, 40))])
    assert "formalin" not in agents


def test_a_yes_or_no_that_nobody_knows_is_left_out():
    """A shop mostly does not know whether newcomers were treated; "unknown" was refused without a way on."""
    from burden.io.schema_values import _yes_no

    with pytest.raises(ValueError, match="leave the line out"):
        _yes_no("unknown")
    with pytest.raises(ValueError, match="true or false"):
        _yes_no("maybe")
