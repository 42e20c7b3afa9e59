"""The files of a folder put together into one case, all that is wrong noted on the way."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from burden.case import Case, FishGroup
from burden.io import convert as build
from burden.io import plausibility as checks
from burden.io.case_toml import CaseTables, read_tables
from burden.io.csv_logs import SampleContext, read_deaths, read_samples
from burden.io.files import Notes
from burden.io.template import TEMPLATE_TITLE
from burden.io.whole_write import finish_pending
from burden.utils.safe_text import one_line

__all__ = ["assemble"]


def assemble(folder: Path, notes: Notes) -> Case | None:
    """Read a case folder; None where anything is wrong.

    Parameters
    ----------
    folder : Path
    notes : Notes
        Takes every problem and warning.

    Returns
    -------
    Case or None
    """
    if not folder.is_dir():
        fix = "Check the path; `burden new` makes a new case."
        notes.problem(str(folder), "folder", folder, "a case folder", fix)
        return None
    finish_pending(folder)
    tables = read_tables(folder, notes)
    case = _join(folder, tables, notes)
    if case is None or tables.water is None or notes.problems:
        return None
    if case.title == TEMPLATE_TITLE:
        notes.warn("The title is still that of the example: have all values been replaced?")
    notes.warnings.extend(checks.oddities(case))
    assumed = checks.assumptions(case, exchange_given=tables.water.exchange_per_day is not None)
    return replace(case, assumptions=(*assumed, *notes.assumptions), warnings=tuple(notes.warnings))


def _join(folder: Path, tables: CaseTables, notes: Notes) -> Case | None:
    """Read every part, whatever is wrong with the others, and join them where all are there."""
    checks.check_dates(tables, notes)
    water = build.build_water(folder, tables.water, notes) if tables.water else None
    fish = _fish(tables, notes)
    sets = build.build_parasites(tables.parasite, notes) if tables.parasite else ()
    overrides = build.build_overrides(tables.parasite, sets, notes) if tables.parasite else {}
    limits = build.build_limits(tables.limits, notes)
    given = build.build_actions("given", tables.given, notes)
    planned = build.build_actions("planned", tables.planned, notes)
    context = _context(tables, sets, fish)
    clip = build.build_clip_share(tables.looking, notes)
    samples = tuple(row.with_clip_share(clip) for row in read_samples(folder, context, notes))
    deaths = read_deaths(folder, context, notes)
    _warn_of_unnamed_record(folder, tables, notes)
    if notes.problems or tables.case is None or water is None:
        return None
    # the name goes onto a page and into a calendar, which take no bytes that are no text and nothing that acts on them
    name = one_line(folder.resolve().name)
    case = Case(
        name,
        tables.case.visit_date,
        water,
        fish,
        sets,
        title=tables.case.title,
        trouble_since=tables.case.trouble_since,
        aim=tables.case.aim,
        overrides=overrides,
        findings=build.build_findings(tables.findings, notes),
        limits=limits,
        given=given,
        planned=planned,
        samples=samples,
        deaths=deaths,
        gill_flukes_on_skin=tables.parasite.gill_flukes_on_skin if tables.parasite else True,
    )
    checks.check_stock(case, notes)
    return case


def _context(tables: CaseTables, sets: tuple[str, ...], fish: tuple[FishGroup, ...]) -> SampleContext:
    """What samples and deaths must agree with."""
    visit_date = tables.case.visit_date if tables.case else None
    return SampleContext(visit_date, parasites=sets, species=tuple(group.species for group in fish))


def _fish(tables: CaseTables, notes: Notes) -> tuple[FishGroup, ...]:
    """Return the groups that could be read; with one that could not, none, as rows may mean it."""
    many = len(tables.fish) > 1
    places = (f"[[fish]] {number}" if many else "[fish]" for number in range(1, len(tables.fish) + 1))
    groups = [build.build_fish(t, p, notes) for t, p in zip(tables.fish, places, strict=True) if t is not None]
    return build.with_arrivals(tuple(groups), tables.arrivals, notes) if len(groups) == len(tables.fish) else ()


def _warn_of_unnamed_record(folder: Path, tables: CaseTables, notes: Notes) -> None:
    named = tables.water.temperature_c if tables.water else None
    if tables.water and not isinstance(named, str) and (folder / "temperature.csv").exists():
        notes.warn('temperature.csv is not used: to use it, write temperature_c = "temperature.csv" in [water].')
