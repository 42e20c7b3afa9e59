"""Valid case folders drawn from the whole contract: every optional key and block on and off, in every form it takes.

A case is one level of each factor below. Levels hold whatever the others are, so each draw must be accepted; the draws
of some hundred seeds hold every pair of levels of two factors (`pairs`), which a test counts.
"""

from __future__ import annotations

from itertools import combinations
from random import Random

__all__ = ["FACTORS", "levels_of", "pairs", "valid_case"]

#: factor to its levels: text for the table the factor's name begins with, "" where it is left out
FACTORS: dict[str, tuple[str, ...]] = {
    "case trouble": ("", "trouble_since = 2026-04-20", "trouble_since = 2026-05-10"),
    "case aim": ("", 'aim = "control"', 'aim = "eradicate"'),
    "water volume": ("volume_l = 12000", 'volume_l = { value = 12000, low = 9000, high = 15000, how = "by salt" }'),
    "water temperature": (
        "temperature_c = 18.0",
        "temperature_c = 6.5",
        'temperature_c = { mean_c = 12.5, swing_c = 8.0, warmest_day = "07-25" }',
        'temperature_c = "temperature.csv"',
    ),
    "water exchange": ("", "exchange_per_day = 0.05", "exchange_per_day = 1.5\negg_removal_per_day = 0.2"),
    "water gases": ("", "oxygen_mg_l = 7.5\nph = 7.6", "oxygen_mg_l = 3\nph = 8.9"),
    "water chemistry": ("", "alkalinity_dkh = 6", "alkalinity_mg_l_caco3 = 90\nsalinity_g_l = 0.4"),
    "water nitrogen": ("", "total_ammonia_n_mg_l = 0.3\nnitrite_n_mg_l = 0.02\nchloride_mg_l = 30"),
    "water filter": ("", 'filter = "none"', 'filter = "naive"', 'filter = "adapted"\nuv = "yes"\naeration = "no"'),
    "fish count": ("count = 40", "count = 2000"),
    "fish use": ('food_fish = "no"', 'food_fish = "yes"'),
    "fish size": ("", "mean_weight_g = 400", "mean_weight_g = { value = 30, low = 20, high = 45 }", "length_mm = 240"),
    "fish killed": ("", 'lethal_sampling_allowed = "yes"', "lethal_sampling_allowed = 2"),
    "fish past": ("", 'naive = "yes"', "new_arrivals = [{ date = 2026-04-28, count = 3 }]"),
    "parasite set": ('set = "dactylogyrus"', 'set = "gyrodactylus"', 'set = ["dactylogyrus", "gyrodactylus"]'),
    "parasite skin": ("", 'gill_flukes_on_skin = "yes"'),
    "looking clip": ("", "gill_clip_share = 0.01", "gill_clip_share = { value = 0.01, low = 0.004, high = 0.03 }"),
    "findings other": ("", 'other = ["fungus"]\nnote = "pale"', 'other = ["virus_suspected"]\ngasping = "yes"'),
    "findings fish": ("", 'ulcers = "no"\nvirus_test = "sent"\nfish = [{ fish = "1", gill_colour = "brown" }]'),
    "limits agents": ("", 'agents = ["praziquantel", "formalin"]', "agents = []"),
    "limits dates": ("", 'visit_days = ["monday", "friday"]', "visit_days = [0, 7, 14]\nshortest_gap_days = 5"),
    "limits doses": ("", "max_doses = 0", 'max_doses = 2\ncan_heat_to_c = 24\nspare_tank = "yes"'),
    "limits burden": ("", "tolerable_flukes_per_fish = 5"),
    "arrivals": (
        "",
        "[[arrivals]]\ndate = 2026-05-06\ncount = 4",  # the day the death log begins
        '[[arrivals]]\ndate = 2026-05-01\ncount = 5\nflukes_seen = 3\npreparations = 4\ntreated = "no"\nnaive = "yes"',
    ),
    "given": (
        "",
        '[[given]]\ndate = 2026-05-01\nagent = "praziquantel"\nmg_l = 2.5\nhours = 24',
        '[[given]]\ndate = 2026-05-09\nagent = "unknown"\n'
        '[[given]]\ndate = 2026-05-06\naction = "water_change"\nwater_change_after = 0.3',
    ),
    "planned": ("", '[[planned]]\ndate = 2026-05-17\nagent = "praziquantel"\nmg_l = 2.5'),
    "samples": (
        "",
        "date,fish,chosen,site,count,parasite",
        "date,fish,chosen,site,count,parasite\n2026-05-09,1,netted,gill,12,{set}\n2026-05-10,1,moribund,gill,>50,{set}\n"
        "2026-05-10,2,netted,gill,,{set}",
        "date,fish,chosen,site,count,method,fraction_examined,weight_g,stage,parasite\n"
        "2026-04-29,1,random,gill,0,gill_clip,0.05,40,adult,{set}\n2026-05-10,2,dead,skin,10-20,skin_scrape,,,,{set}",
    ),
    "deaths": ("", "date,deaths", "date,deaths\n2026-05-06,1\n2026-05-08,2", "date,deaths\n2026-05-06,0\n2026-05-10,0"),
}  # fmt: skip
_TABLES = ("case", "water", "fish", "parasite", "looking", "findings", "limits")
_ALWAYS = {"case": "visit_date = 2026-05-10", "water": 'medium = "fresh"', "fish": 'species = "koi"'}
_READINGS = "date,temperature_c\n2026-04-01,11.5\n2026-04-20,14\n2026-05-01,16.5\n2026-05-09,18\n"


def levels_of(seed: int) -> dict[str, int]:
    """Return the level of each factor."""
    rng = Random(f"valid {seed}")
    return {name: rng.randrange(len(levels)) for name, levels in FACTORS.items()}


def pairs(levels: dict[str, int]) -> set[tuple[tuple[str, int], tuple[str, int]]]:
    """Return the pairs of levels of two factors that a draw holds."""
    return set(combinations(sorted(levels.items()), 2))


def valid_case(seed: int) -> dict[str, str]:
    """Return the files of a case."""
    said = {name: FACTORS[name][level] for name, level in levels_of(seed).items()}
    text = ""
    for table in _TABLES:
        lines = [_ALWAYS.get(table, ""), *(words for name, words in said.items() if name.startswith(f"{table} "))]
        if any(lines):
            text += f"[{table}]\n" + "".join(f"{line}\n" for line in lines if line)
    text += "".join(f"{said[block]}\n" for block in ("arrivals", "given", "planned"))
    first = "gyrodactylus" if said["parasite set"].endswith('= "gyrodactylus"') else "dactylogyrus"
    files = {"case.toml": text, "samples.csv": said["samples"].replace("{set}", first), "deaths.csv": said["deaths"]}
    if "temperature.csv" in said["water temperature"]:
        files["temperature.csv"] = _READINGS
    return {name: content if content.endswith("\n") else f"{content}\n" for name, content in files.items() if content}
