"""A new case folder: an example that reads as it stands, every value explained, to be written over."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from burden.io.aside import Aside, place_of
from burden.io.csv_logs import SAMPLE_COLUMNS
from burden.io.files import Notes
from burden.io.safe_files import sync_folder, write_new
from burden.utils.errors import InputError, Problem

__all__ = ["TEMPLATE_TITLE", "new_case", "sample_case_toml"]

#: the title by which a case nobody filled in is known
TEMPLATE_TITLE = "Example: replace every value"

_CASE_TOML = f"""\
# A case: who, where, water, fish, flukes, what was done. Text after # explains; `burden check` reads it back.
# A key with # before it is optional: take the # away to use it. Dates are year-month-day.

[case]
visit_date = 2026-05-10            # the date of decision; today's date is never read
title = "{TEMPLATE_TITLE}"
# trouble_since = 2026-04-20       # when flashing, gasping or deaths began
# aim = "control"                  # control, or eradicate (newcomers held apart: eradicate)

[water]
volume_l = 12000                   # all the water, filter, sump and pipes included [L]; taken as ± 10 %
# volume_l = {{ value = 12000, low = 11500, high = 12500, how = "water meter at filling" }}
medium = "fresh"                   # fresh or sea
temperature_c = 18.0               # [°C]; or a file of readings, or a yearly course:
# temperature_c = "temperature.csv"            # columns date (and time), temperature_c
# temperature_c = {{ mean_c = 12.0, swing_c = 8.0, warmest_day = "07-25" }}   # 12 ± 8 °C over the year
# outlook = {{ latitude = 51 }}      # what the temperature does next: outdoors at a latitude (south negative), or
#                                  # "indoors", "heated", or {{ mean_c = 12.0, swing_c = 8.0, warmest_day = "07-25" }}
# kind = "pond"                    # pond, tank, raceway or cage: where eggs cling
# neighbours = "none"              # fish with flukes upstream or near in the same water: none, some or many
# exchange_per_day = 0.05          # share of the water replaced a day, 0.05 is 5 %
# egg_removal_per_day = 0.1        # share of the eggs that cleaning and a mechanical filter carry off a day
# oxygen_mg_l = 8.5
# salinity_g_l = 0.3
# ph = 7.6
# alkalinity_dkh = 6               # or alkalinity_mg_l_caco3
# total_ammonia_n_mg_l = 0.1       # as nitrogen
# nitrite_n_mg_l = 0.02            # as nitrogen
# chloride_mg_l = 30               # protects from nitrite
# tap_chlorine_mg_l = 0.3          # of the water filled in; on record only
# filter = "naive"                 # none, naive (has not met the agent) or adapted
# uv = "no"
# aeration = "yes"

[fish]                             # several species: one [[fish]] block each
species = "koi"
count = 40                         # alive on the visit date
food_fish = "no"                   # may anybody eat them
mean_weight_g = 400                # [g]; without it a wide assumption is made. Or length_mm
# length_mm = 280
# new_arrivals = [{{ date = 2026-03-02, count = 5 }}]   # fish that came; or [[arrivals]] below
# lethal_sampling_allowed = 0      # how many fish may be killed to look at
# naive = "yes"                    # the fish that were here first had never met the fluke
# newcomers_apart = "yes"          # bought-in fish, held apart until they may join others
# harvest_date = 2026-09-20        # food fish: when they are to be harvested

# [[arrivals]]                     # one block for fish that came; those up to the visit stand in count
# date = 2026-04-12
# count = 5
# flukes_seen = 3                  # on so many preparations, of a fish each, as they came
# preparations = 2
# treated = "no"                   # against flukes, on arrival
# naive = "no"                     # whether they had never met the fluke
# species = "koi"                  # where there are several [[fish]]

[parasite]
set = "dactylogyrus"               # see `burden parasites`; a list for several: samples.csv then has a column parasite
# gill_flukes_on_skin = "no"       # leave skin scrapes out for gill flukes (read: how many stray is an assumption)
# [parasite.override.fecundity]    # a value you know better, with its range and source
# value = 20
# low = 10
# high = 40
# source = "own count, 12 flukes, 20 °C"

# [looking]
# gill_clip_share = {{ value = 0.0054, low = 0.0023, high = 0.013, how = "tips of 15 filaments" }}
#                                  # share of all gills on one of your slides, for rows that leave fraction_examined
#                                  # empty; `burden new --gill-clip 15 tips` works it out

# samples.csv, column method: gill_clip, gill_arch (one of eight), skin_scrape, or whole_organ: all the gills, or all
# the skin, of a fish that died or had to be put down (chosen: moribund; or dead, with hours_dead). One such count says
# more than many clips.

# [findings]
# other = ["ciliates"]             # ciliates, white_spot, flagellates, bacterial_gill_disease, fungus,
#                                  # leeches, crustaceans, virus_suspected, unknown
# gasping = "yes"                  # whether fish gasp today
# gill_colour = "pale"             # normal, pale or brown
# gill_mucus = "yes"
# gill_swollen = "no"
# haematocrit_percent = 18
# anaemia = "yes"
# fish = [{{ fish = "1", gill_colour = "pale", gill_mucus = "yes", gill_swollen = "no" }}]   # of single fish
# feeding = "less"                 # normal, less or none
# ulcers = "no"                    # on record only
# virus_test = "sent"              # sent, negative or positive
# note = "gills pale, much mucus"

# [limits]
# agents = ["praziquantel"]        # what is at hand; see `burden agents`
# max_doses = 4                    # of a course, those given counted
# visit_days = ["monday", "thursday"]          # or dates, or whole days after the visit
# shortest_gap_days = 3
# max_formalin_mg_l_total = 60
# can_heat_to_c = 25
# spare_tank = "yes"
# tolerable_flukes_per_fish = 50   # how many flukes a fish, on average, may stay
# strength_percent = {{ praziquantel = 50 }}      # of the products at hand, as their labels say
# first_dose = "today"             # usually a few fish are treated today and the pond tomorrow

# [[given]]                        # one block for each thing done up to the visit
# date = 2026-05-01
# action = "dose"                  # dose, water_change, move_fish, drain_dry or heat
# agent = "praziquantel"           # or "unknown"
# route = "bath"                   # bath, in_feed or dip
# mg_l = 2.5                       # active substance [mg/L] (formalin: of 37 % solution); or mg_per_kg_fish, g_l
# hours = 24
# strength_percent = 100           # active share of the product
# volume_l_believed = 10000        # the volume it was weighed out for [L]
# water_change_after = 0.3         # share of the water changed afterwards
# uv_or_carbon_on = "no"
# told_by = "owner"                # owner or record
# batch = "A-17"                   # batch number on the pack, for the treatment record

# [[planned]]                      # the same keys, from the visit on
# date = 2026-05-10
# agent = "praziquantel"
# mg_l = 2.5
"""


def sample_case_toml() -> str:
    """Return the commented case.toml that `new_case` writes.

    Returns
    -------
    str
        TOML that reads as it stands.

    Examples
    --------
    >>> import tomllib
    >>> tomllib.loads(sample_case_toml())["fish"]["count"]
    40
    """
    return _CASE_TOML


def new_case(
    folder: Path,
    toml: str = _CASE_TOML,
    temperature_csv: str | None = None,
    more: Mapping[str, str] = MappingProxyType({}),
) -> list[Path]:
    """Write a new case folder, whole or not at all.

    Parameters
    ----------
    folder : Path
        Must not exist, or be empty; its parent must exist.
    toml : str
        What case.toml holds.
    temperature_csv : str, optional
        What temperature.csv holds, where there is one.
    more : mapping of str to str
        Files in the place of empty logs, or beside them.

    Returns
    -------
    list of Path
        Files written.

    Raises
    ------
    InputError
        Where the folder holds something already, cannot be written, or would not read back as a case.
    """
    folder = Path(folder)
    _refuse_taken(folder)
    header = ",".join((*SAMPLE_COLUMNS[0], "method", "fraction_examined", "weight_g"))
    files = {"case.toml": toml, "samples.csv": f"{header}\n", "deaths.csv": "date,deaths\n"}
    if temperature_csv is not None:
        files["temperature.csv"] = temperature_csv
    files |= more
    try:
        content = {name: text.encode("utf-8") for name, text in files.items()}
        with Aside(place_of(folder)) as aside:
            new = aside.path / "new"
            new.mkdir()
            for name, data in content.items():
                write_new(new / name, data)
            _refuse_unreadable(new)
            _move(new, aside.target)
    except OSError as error:
        fix = "Choose a place that can be written."
        raise InputError([Problem(str(folder), "folder", str(error), "a folder to make", fix)]) from error
    except UnicodeEncodeError as error:
        value = repr(error.object[error.start : error.end])
        raise InputError([Problem("case.toml", "file", value, "text", "Write it in letters anew.")]) from error
    return [folder / name for name in files]


def _move(new: Path, target: Path) -> None:
    sync_folder(new)
    if target.exists():
        target.rmdir()  # empty, else it was refused; some systems rename onto no folder at all
    new.rename(target)
    sync_folder(target.parent)


def _refuse_unreadable(folder: Path) -> None:
    """Raise where what was written is no case: a number of the command line may be none that a case takes."""
    from burden.io.assembly import assemble

    notes = Notes()
    if assemble(folder, notes) is None:
        raise InputError(notes.problems)


def _refuse_taken(folder: Path) -> None:
    """Raise where the folder cannot become a new case."""
    name = str(folder)
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        problem = Problem(name, "folder", "a file or a link", "a new or empty folder", "Choose another name.")
    elif folder.is_dir() and any(folder.iterdir()):
        problem = Problem(name, "folder", "not empty", "a new or empty folder", "Choose another name.")
    elif not folder.resolve().parent.is_dir():
        problem = Problem(name, "folder", "parent missing", "a folder in one that exists", "Make the parent first.")
    else:
        return
    raise InputError([problem])
