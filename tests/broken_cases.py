"""Case folders with one thing wrong each: what is changed, and where, what and how it must be told.

Each row of `BROKEN` changes the good case below: (name, file, (old text, new text) or whole new text,
place, part of the value, part of what was expected or of the fix).
"""

from __future__ import annotations

from pathlib import Path

__all__ = ["BROKEN", "COUNTED", "GOOD", "SAMPLES", "write_case"]

GOOD = """\
[case]
visit_date = 2026-05-10
title = "Garden pond"
trouble_since = 2026-04-20

[water]
volume_l = 12000
medium = "fresh"
temperature_c = 18.0
exchange_per_day = 0.05
ph = 7.6
alkalinity_dkh = 6
filter = "naive"

[fish]
species = "koi"
count = 40
food_fish = "no"
mean_weight_g = 400

[parasite]
set = "dactylogyrus"

[limits]
agents = ["praziquantel", "formalin"]

[[given]]
date = 2026-05-01
agent = "praziquantel"
route = "bath"
mg_l = 2.5
hours = 24
strength_percent = 100

[[planned]]
date = 2026-05-17
agent = "praziquantel"
mg_l = 2.5
"""
SAMPLES = """\
date,fish,chosen,site,count,method,fraction_examined,weight_g
2026-05-09,1,netted,gill,12,gill_clip,0.05,410
2026-05-09,2,moribund,gill,>50,gill_clip,0.05,380
2026-05-10,1,netted,skin,10-20,skin_scrape,,
2026-05-10,1,netted,skin,,skin_scrape,,
"""
#: the same with plain counts, for what is estimated: ranges of counts take twice as long
COUNTED = SAMPLES.replace(">50", "52").replace("10-20", "12")
DEATHS = "date,deaths\n2026-05-06,1\n2026-05-08,2\n"
TEMPERATURES = "date,temperature_c\n2026-05-01,16.5\n2026-05-09,18\n"
READS_RECORD = ("temperature_c = 18.0", 'temperature_c = "temperature.csv"')


def write_case(folder: Path, **files: str | None) -> Path:
    """Write the good case with some files (case, samples, deaths, temperature) replaced, None for absent."""
    texts = {"case": GOOD, "samples": SAMPLES, "deaths": DEATHS, "temperature": None} | files
    folder.mkdir(exist_ok=True)
    for name, text in texts.items():
        if text is not None:
            path = folder / ("case.toml" if name == "case" else f"{name}.csv")
            path.write_text(text, encoding="utf-8", newline="")
    return folder


def _water(old: str, new: str, place: str, value: str, told: str):
    return ("case", (old, new), f"[water] {place}", value, told)


def _limit(line: str, place: str, value: str, told: str):
    return ("case", ("[limits]", f"[limits]\n{line}"), f"[limits] {place}", value, told)


def _given(line: str, place: str, value: str, told: str):
    return ("case", ("hours = 24", line), f"[[given]] 1 {place}".strip(), value, told)


def _sample(cells: str, column: str, value: str, told: str):
    row = "2026-05-09,1,netted,gill,12,gill_clip,0.05,410"
    return ("samples", (row, cells), f"row 2, column {column}", value, told)


BROKEN = {
    # case.toml as a file
    "not toml": ("case", ("volume_l = 12000", "volume_l = 12000,5"), "line 7", "12000,5", "a point for decimals"),
    "unit": ("case", ("volume_l = 12000", "volume_l = 12000 L"), "line 7", "volume_l = 12000 L", "without its unit"),
    "bare day": ("case", ("2026-04-20", "20.4.2026"), "line 4", "20.4.2026", "the date as 2026-05-10"),
    "bare word": ("case", ('"fresh"', "fresh"), "line", "medium = fresh", "in quotes"),
    "curly quotes": ("case", ('"fresh"', "“fresh”"), "line", "medium", "straight quotes"),
    "open quotes": ("case", ('"fresh"', '"fresh'), "line", "medium", "Close the quotes"),
    "no value": ("case", ("volume_l = 12000", "volume_l ="), "line 7", "volume_l =", "Write the value"),
    "no equals sign": ("case", ("volume_l = 12000", "volume_l 12000"), "line 7", "volume_l 12000", "Put = between"),
    "key twice": ("case", ("ph = 7.6", "ph = 7.6\nph = 7.7"), "line 12", "", "each key stands once"),
    "unknown table": ("case", ("[limits]", "[limit]"), "[limit]", "limit", "limits"),
    "unknown key": _water("ph = 7.6", "hp = 7.6", "hp", "hp", "ph"),
    "key of another table": _water("ph = 7.6", "count = 5", "count", "count", "[fish]"),
    "no water": ("case", (GOOD[GOOD.index("[water]") : GOOD.index("[fish]")], ""), "[water]", "missing", "volume_l"),
    "no volume": _water("volume_l = 12000", "", "volume_l", "missing", "litres"),
    "no visit": ("case", ("visit_date = 2026-05-10", ""), "[case] visit_date", "missing", "2026-05-10"),
    "table is a value": ("case", ("[case]", "findings = 3\n[case]"), "[findings]", "3", "on its own line"),
    # dates
    "note is a number": ("case", ("[limits]", "[findings]\nnote = 3\n[limits]"), "[findings] note", "3", "words"),
    "date in words": ("case", ("2026-04-20", '"last spring"'), "[case] trouble_since", "last spring", "2026-05-10"),
    "31 june": ("case", ("2026-04-20", '"31.06.2025"'), "[case] trouble_since", "31.06.2025", "no such day"),
    "either order": ("case", ("2026-04-20", '"03/04/2026"'), "[case] trouble_since", "03/04/2026", "2026-04-03"),
    "month first": ("case", ("2026-04-20", '"04/20/2026"'), "[case] trouble_since", "04/20", "2026-04-20"),
    "year 26": ("case", ("2026-04-20", '"20.04.26"'), "[case] trouble_since", "20.04.26", "four digits"),
    "year 2206": ("case", ("2026-04-20", "2206-04-20"), "[case] trouble_since", "2206", "year"),
    "trouble later": ("case", ("2026-04-20", "2026-06-20"), "[case] trouble_since", "2026-06-20", "2026-05-10"),
    "given later": ("case", ("2026-05-01", "2026-05-11"), "[[given]] 1 date", "2026-05-11", "[[planned]]"),
    "planned for a grandchild": (
        "case", ("2026-05-17", "2081-02-18"), "[[planned]] 1 date", "2081-02-18", "up to 2027-06-14"
    ),
    "planned before": ("case", ("2026-05-17", "2026-05-07"), "[[planned]] 1 date", "2026-05-07", "[[given]]"),
    # water
    "zero volume": _water("12000", "0", "volume_l", "0", "above 0"),
    "negative volume": _water("12000", "-5", "volume_l", "-5", "above 0"),
    "volume is true": _water("12000", "true", "volume_l", "true", "plain number"),
    "volume is nan": _water("12000", "nan", "volume_l", "nan", "finite"),
    "volume is inf": _water("12000", "inf", "volume_l", "inf", "finite"),
    "volume in quotes": _water("12000", '"12000 L"', "volume_l", "12000 L", "no quotes"),
    "range upside down": _water("12000", "{value=9,low=11,high=12}", "volume_l", "11, 9, 12", "low <= value"),
    "range without high": _water("12000", "{value=9,low=8}", "volume_l high", "missing", "upper end"),
    "range key": _water("12000", "{value=9,low=8,high=10,hwo='guess'}", "volume_l hwo", "hwo", "how"),
    "medium": _water('"fresh"', '"freshwater"', "medium", "freshwater", "fresh"),
    "fahrenheit": _water("18.0", "77", "temperature_c", "77", "Fahrenheit? 77 °F is 25 °C"),
    "kelvin": _water("18.0", "280", "temperature_c", "280", "Kelvin? 280 K is 6.85 °C"),
    "yearly fahrenheit": _water(
        "18.0", '{mean_c=54,swing_c=8,warmest_day="07-25"}', "temperature_c mean_c", "54", "54 °F is 12.2 °C"
    ),
    "yearly day": _water(
        "18.0", '{mean_c=12,swing_c=8,warmest_day="07-32"}', "temperature_c warmest_day", "07-32", "no such day"
    ),
    "yearly too warm": _water("18.0", '{mean_c=30,swing_c=15,warmest_day="07-25"}', "temperature_c", "45", "half"),
    "temperature true": _water("18.0", "true", "temperature_c", "true", "plain number"),
    "temperature list": _water("18.0", "[18, 19]", "temperature_c", "18", "plain number"),
    "temperature quoted": _water("18.0", '"18 °C"', "temperature_c", "18 °C", "without quotes"),
    "record missing": _water("18.0", '"pond.csv"', "temperature_c", "pond.csv", "into the case folder"),
    "record above": _water("18.0", '"../t.csv"', "temperature_c", "../t.csv", "into the case folder"),
    "record absolute": _water("18.0", '"/etc/hostname"', "temperature_c", "/etc", "into the case folder"),
    "record on a drive": _water("18.0", "'C:\\t.csv'", "temperature_c", "C:\\t", "into the case folder"),
    "record empty name": _water("18.0", '""', "temperature_c", "", "not empty"),
    "ph 12": _water("7.6", "12", "ph", "12", "3 to 11"),
    "ph 76": _water("7.6", "76", "ph", "76", "3 to 11"),
    "oxygen 85": _water("ph = 7.6", "oxygen_mg_l = 85", "oxygen_mg_l", "85", "0 to 25"),
    "salt": _water("ph = 7.6", "salinity_g_l = -1", "salinity_g_l", "-1", "from 0"),
    "two alkalinities": _water(
        "ph = 7.6", "alkalinity_mg_l_caco3 = 6", "alkalinity_mg_l_caco3", "6", "6 °dKH is 106.8 mg/L"
    ),
    "filter": _water('"naive"', '"nave"', "filter", "nave", "naive"),
    "uv": _water("ph = 7.6", 'uv = "sometimes"', "uv", "sometimes", "yes"),
    "uv is 1": _water("ph = 7.6", "uv = 1", "uv", "1", "yes"),
    # fish
    "no fish": ("case", ("count = 40", "count = 0"), "[fish] count", "0", "1 or more"),
    "half a fish": ("case", ("count = 40", "count = 40.5"), "[fish] count", "40.5", "whole"),
    "count is true": ("case", ("count = 40", "count = true"), "[fish] count", "true", "whole"),
    "food maybe": ("case", ('food_fish = "no"', 'food_fish = "maybe"'), "[fish] food_fish", "maybe", "yes"),
    "no species": ("case", ('species = "koi"', ""), "[fish] species", "missing", "species"),
    "a fish heavier than the world": (
        "case", ("weight_g = 400", "weight_g = 1e299"), "[fish] mean_weight_g", "1e+299", "0.0001 to 10000000"
    ),
    "a range of weights down to nothing": (
        "case", ("weight_g = 400", "weight_g = { value = 400, low = 1e-9, high = 500 }"), "[fish] mean_weight_g",
        "{value = 400, low = 1e-09, high = 500}", "0.0001 to 10000000",
    ),
    "weight 0": ("case", ("weight_g = 400", "weight_g = 0"), "[fish] mean_weight_g", "0", "above 0"),
    "arrival": (
        "case",
        ("mean_weight_g = 400", "new_arrivals = [{date=2026-05-01,count=2}, {date=2026-05-02,count=-2}]"),
        "[fish] new_arrivals 2 count",
        "-2",
        "1 or more",
    ),
    "samples older than the fish": (
        "case",
        ("mean_weight_g = 400", "new_arrivals = [{date=2026-05-10,count=43}]"),
        "[[arrivals]]",
        "2026-05-09",
        "all of them came on 2026-05-10 or later",
    ),
    "half a look at newcomers": (
        "case",
        ("mean_weight_g = 400", "new_arrivals = [{date=2026-05-02,count=3,flukes_seen=2}]"),
        "[fish] new_arrivals 1 preparations",
        "missing",
        "together",
    ),
    "newcomers of no species here": (
        "case",
        ("[parasite]", '[[arrivals]]\ndate = 2026-05-02\ncount = 3\nspecies = "goldfish"\n[parasite]'),
        "[[arrivals]] 1 species",
        "goldfish",
        "koi",
    ),
    "lethal": (
        "case",
        ("mean_weight_g = 400", "lethal_sampling_allowed = -1"),
        "[fish] lethal_sampling_allowed",
        "-1",
        "0 or more",
    ),
    # parasite
    "set": ("case", ('"dactylogyrus"', '"dactylogirus"'), "[parasite] set", "dactylogirus", "dactylogyrus"),
    "empty sets": ("case", ('"dactylogyrus"', "[]"), "[parasite] set", "[]", "at least one"),
    "set is a number": ("case", ('"dactylogyrus"', "[3]"), "[parasite] set 1", "3", "text"),
    "override": (
        "case",
        ("[limits]", "[parasite.override.fecundty]\nvalue = 20\n[limits]"),
        "[parasite.override.fecundty]",
        "fecundty",
        "fecundity",
    ),
    "override below 0": (
        "case",
        ("[limits]", "[parasite.override.fecundity]\nvalue = -20\n[limits]"),
        "[parasite.override.fecundity]",
        "-20",
        "above 0",
    ),
    "override order": (
        "case",
        ("[limits]", "[parasite.override.fecundity]\nvalue = 20\nlow = 30\nhigh = 40\n[limits]"),
        "[parasite.override.fecundity]",
        "30, 20, 40",
        "in order",
    ),
    "override without value": (
        "case",
        ("[limits]", "[parasite.override.fecundity]\nlow = 30\n[limits]"),
        "[parasite.override.fecundity] value",
        "missing",
        "number",
    ),
    # findings and limits
    "finding": (
        "case",
        ("[limits]", '[findings]\nother = ["fungus", "cilliates"]\n[limits]'),
        "[findings] other 2",
        "cilliates",
        "ciliates",
    ),
    "agent at hand": ("case", ('"formalin"', '"formaline"'), "[limits] agents", "formaline", "formalin"),
    "doses": _limit("max_doses = -1", "max_doses", "-1", "0 or more"),
    "weekday": _limit('visit_days = ["monday", "thurzday"]', "visit_days 2", "thurzday", "thursday"),
    "heat": _limit("can_heat_to_c = 86", "can_heat_to_c", "86", "86 °F is 30 °C"),
    # doses
    "agent": (
        "case",
        ('agent = "praziquantel"\nroute', 'agent = "praziquantal"\nroute'),
        "[[given]] 1 agent",
        "praziquantal",
        '"praziquantel"',
    ),
    "no agent": ("case", ('agent = "praziquantel"\nroute', "route"), "[[given]] 1 agent", "missing", "unknown"),
    "planned unknown": (
        "case",
        ('agent = "praziquantel"\nmg_l', 'agent = "unknown"\nmg_l'),
        "[[planned]] 1 agent",
        "unknown",
        "praziquantel",
    ),
    "action": _given('action = "dosed"', "action", "dosed", "dose"),
    "route": ("case", ('"bath"', '"pour"'), "[[given]] 1 route", "pour", "bath"),
    "dose in two units": _given("g_l = 2", "", "mg_l, g_l", "one amount"),
    "in feed by litre": ("case", ('"bath"', '"in_feed"'), "[[given]] 1 mg_l", "in feed", "mg_per_kg_fish"),
    "dose 0": ("case", ("mg_l = 2.5\nhours", "mg_l = 0\nhours"), "[[given]] 1 mg_l", "0", "above 0"),
    "strength": (
        "case",
        ("strength_percent = 100", "strength_percent = 250"),
        "[[given]] 1 strength_percent",
        "250",
        "100",
    ),
    "change in percent": _given("water_change_after = 30", "water_change_after", "30", "30 % is 0.3"),
    "change in words": _given('water_change_after = "lots"', "water_change_after", "lots", '"no"'),
    "told by": _given('told_by = "neighbour"', "told_by", "neighbour", "owner"),
    # samples.csv
    "after the visit": _sample("2026-05-11,1,netted,gill,12,,,", "date", "2026-05-11", "up to the visit"),
    "no date": _sample(",1,netted,gill,12,,,", "date", "empty", "2026-05-10"),
    "day number": _sample("46151,1,netted,gill,12,,,", "date", "46151", "46151 is 2026-05-09"),
    "no label": _sample("2026-05-09,,netted,gill,12,,,", "fish", "empty", "label"),
    "chosen": _sample("2026-05-09,1,netting,gill,12,,,", "chosen", "netting", "netted"),
    "site": _sample("2026-05-09,1,netted,gills,12,,,", "site", "gills", "gill"),
    "negative count": _sample("2026-05-09,1,netted,gill,-3,,,", "count", "-3", "negative"),
    "mean count": _sample("2026-05-09,1,netted,gill,3.5,,,", "count", "3.5", "whole"),
    "count upside down": _sample("2026-05-09,1,netted,gill,20-10,,,", "count", "20-10", "10-20"),
    "count is a date": _sample("2026-05-09,1,netted,gill,20-Oct,,,", "count", "20-Oct", "spreadsheet"),
    "count in words": _sample("2026-05-09,1,netted,gill,many,,,", "count", "many", ">50"),
    "method": _sample("2026-05-09,1,netted,gill,12,gil clip,,", "method", "gil clip", "gill_clip"),
    "fraction 0": _sample("2026-05-09,1,netted,gill,12,,0,", "fraction_examined", "0", "empty"),
    "fraction 5": _sample("2026-05-09,1,netted,gill,12,,5,", "fraction_examined", "5", "5 % is 0.05"),
    "fraction -1": _sample("2026-05-09,1,netted,gill,12,,-1,", "fraction_examined", "-1", "sign"),
    "fraction nan": _sample("2026-05-09,1,netted,gill,12,,nan,", "fraction_examined", "nan", "plain number"),
    "weight inf": _sample("2026-05-09,1,netted,gill,12,,,inf", "weight_g", "inf", "plain number"),
    "weight 1e999": _sample("2026-05-09,1,netted,gill,12,,,1e999", "weight_g", "1e999", "finite"),
    "weight in kg": _sample("2026-05-09,1,netted,gill,12,,,0.4 kg", "weight_g", "0.4 kg", "no unit"),
    "comma in a comma table": _sample('2026-05-09,1,netted,gill,12,,"0,05",', "fraction_examined", "0,05", "point"),
    "comma unquoted": _sample("2026-05-09,1,netted,gill,12,,0,05,410", "after weight_g", "9 cells", "decimal comma"),
    "row cut off": _sample("2026-05-09,1,netted", "site", "3 cells", "8 cells"),
    "column": ("samples", ("fraction_examined", "fraction"), "header, column 7", "fraction", "fraction_examined"),
    "column twice": ("samples", ("weight_g", "method"), "header, column 8", "method", "once"),
    "no column": ("samples", "date,fish,chosen,count\n", "header", "missing", "site"),
    "samples empty": ("samples", "", "header", "empty", "column names"),
    "samples either order": (
        "samples",
        "date;fish;chosen;site;count\n03/04/2026;1;random;gill;2\n05/05/2026;2;random;gill;0\n",
        "row 2, column date",
        "03/04/2026",
        "2026-04-03 or 2026-03-04",
    ),
    "thousands or decimals": (
        "samples",
        "date;fish;chosen;site;count;weight_g\n2026-05-09;1;random;gill;2;1.200\n2026-05-09;2;random;gill;0;0,5\n",
        "row 2, column weight_g",
        "1.200",
        "one way",
    ),
    "another set": (
        "samples",
        "date,fish,chosen,site,count,parasite\n2026-05-09,1,random,gill,2,dactilogyrus\n",
        "row 2, column parasite",
        "dactilogyrus",
        "dactylogyrus",
    ),
    "another species": (
        "samples",
        "date,fish,chosen,site,count,species\n2026-05-09,1,random,gill,2,koy\n",
        "row 2, column species",
        "koy",
        "koi",
    ),
    # deaths.csv
    "deaths negative": ("deaths", ("2026-05-06,1", "2026-05-06,-1"), "row 2, column deaths", "-1", "negative"),
    "deaths empty": ("deaths", ("2026-05-06,1", "2026-05-06,"), "row 2, column deaths", "empty", "0"),
    "deaths half": ("deaths", ("2026-05-06,1", "2026-05-06,1.5"), "row 2, column deaths", "1.5", "whole"),
    "deaths later": ("deaths", ("2026-05-06", "2026-05-12"), "row 2, column date", "2026-05-12", "visit"),
    "deaths twice": ("deaths", ("2026-05-08", "2026-05-06"), "row 3, column date", "2026-05-06", "once"),
    "deaths column": ("deaths", "date,deaths,deathz\n2026-05-06,1,\n", "header, column 3", "deathz", "deaths"),
}  # fmt: skip
