"""Does the advice save fish? Ponds of whole flukes, visited every two weeks and dosed as decided, beside custom.

Run: python -m analysis.closed_loop [--first 0] [--ponds 300] [--draws 100]   about two minutes of a processor a pond
     python -m analysis.closed_loop --folder SEED DAY PLACE          the case of one visit, to look at by hand

Each pond (`analysis/followed.py`) is lived through five times with the same luck. By the tool: at each of nine visits
a few clips go into a case with the doses and deaths so far, `burden.decide` is asked, and the doses it plans before the
next visit are given; where it asks to look at more fish today, up to ten more are looked at and it is asked once again.
By custom (common practice, no source): three doses of praziquantel once a fluke is seen, every five days in warm water,
weekly near 20 °C, two weeks apart with formalin in the middle in the cold; again on a clear relapse, or (custom at
sight) as soon as a fluke is seen again. At every sight: a dose after each visit that showed a fluke. Never: none.

Judged on day 120: fish killed by flukes, as they died and as their flukes were expected to kill them (the luck of who
dies left out); doses; doses into a pond without fluke, egg and larva; whether the burden is below the tolerable level.
Writes results/closed_loop.csv, a row a pond and way, and results/closed_loop_visits.csv, a row a decision, kept as they
come: a second start goes on where the first ended. Also results/closed_loop_summary.csv and figures/closed_loop.svg.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from types import MappingProxyType

import numpy as np

from analysis.followed import (
    EVERY_DAYS,
    LAST_DAY,
    TOLERABLE_PER_G,
    Followed,
    draw_followed,
    write_folder,
)
from analysis.pond import Record
from analysis.visited import FIRST_DAY
from analysis.ways import WAYS, Told, Visit, Way, by_tool, dose_on
from burden.case import Action, Case, Preparation

__all__ = ["MEASURES", "VISIT_DAYS", "case_of", "follow", "outcome", "summarise"]

HERE = Path(__file__).resolve().parent
DRAWS = 100
#: days of the visits [d]
VISIT_DAYS = tuple(range(0, LAST_DAY - EVERY_DAYS // 2, EVERY_DAYS))
#: what is judged: mean over ponds
MEASURES = ("killed", "expected_killed", "dead", "doses", "doses_without_flukes", "below_level", "fish_looked_at")


# --- one pond ---------------------------------------------------------------------------------------------------------
def follow(
    pond: Followed,
    way: Way,
    kept: Mapping[int, Mapping[str, str]] = MappingProxyType({}),
    note: Callable[[dict[str, object]], None] = lambda row: None,
) -> dict[str, object]:
    """Visit a pond to the end, treating it one way.

    Parameters
    ----------
    pond : Followed
    way : callable
    kept : mapping of int to mapping
        Rows of visits by day that were answered before: what was given then is given again, and nobody is asked.
    note : callable
        Takes the row of each other visit as it comes.

    Returns
    -------
    dict
        What came of it.
    """
    given: list[Action] = []
    samples: list[Preparation] = []
    record = pond.lived(given)
    for day in VISIT_DAYS:
        if not record.alive[day - FIRST_DAY, 0].any():
            break
        samples += pond.looked_at(day, record)
        visit = _visit(pond, day, record, given, samples)
        if day in kept:
            told = _as_before(pond, visit, kept[day])
            due = list(told.doses)
        else:
            told = way(visit)
            due = [dose for dose in told.doses if pond.day_of(dose.date) < min(day + EVERY_DAYS, LAST_DAY)]
        samples = list(told.case.samples) if told.case else samples
        if day not in kept:
            note(_seen(pond, day, record, samples) | told.said | {"given": _spelt(pond, due)})
        if due:
            given += due
            record = pond.lived(given)
    return outcome(pond, record, given, samples)


def _spelt(pond: Followed, doses: Sequence[Action]) -> str:
    return " ".join(f"{pond.day_of(d.date)}:{d.agent}:{d.mg_l:g}:{d.hours:g}" for d in doses)


def _as_before(pond: Followed, visit: Visit, row: Mapping[str, str]) -> Told:
    """What was done on a visit that is in the table."""
    more = len(row["clips"].split()) - len(visit.case.samples_on(visit.case.visit_date))
    spelt = [dose.split(":") for dose in row["given"].split()]
    first = pond.case.visit_date
    doses = [dose_on(first + timedelta(int(day)), agent, float(mg_l), float(h)) for day, agent, mg_l, h in spelt]
    return Told(tuple(doses), visit.again(more) if more else visit.case)


def _visit(pond: Followed, day: int, record: Record, given: Sequence[Action], samples: Sequence[Preparation]) -> Visit:
    case = pond.case_on(day, record, given, samples)

    def again(fish: int) -> Case:
        more = pond.looked_at(day, record, fish, case.samples_on(case.visit_date))
        return pond.case_on(day, record, given, [*samples, *more])

    return Visit(case, again)


def _seen(pond: Followed, day: int, record: Record, samples: Sequence[Preparation]) -> dict[str, object]:
    """What the clips of a visit showed, and the truth: burden today, and what would come without a further dose."""
    rows = [row for row in samples if pond.day_of(row.date) == day]
    today, ahead = day - FIRST_DAY, slice(day - FIRST_DAY, min(day + 60, LAST_DAY) - FIRST_DAY + 1)
    per_gram = pond.per_gram(record)
    return {
        "seed": pond.seed,
        "day": day,
        "date": pond.case.visit_date + timedelta(day),
        "temperature_c": float(np.interp(day, *pond.readings)),
        "alive": int(record.alive[today, 0].sum()),
        "clips": " ".join(f"{row.count_low}{'m' if row.chosen == 'moribund' else ''}" for row in rows),
        "true_per_g": float(per_gram[today]),
        "true_per_g_in_60_d": float(per_gram[ahead.stop - 1]),
        "true_most_ahead": float(np.nanmax(per_gram[ahead.start + EVERY_DAYS : ahead.stop], initial=0.0)),
        "true_kills_ahead": float(pond.expected_kills(record)[ahead].sum()),
    }


def outcome(
    pond: Followed, record: Record, given: Sequence[Action], samples: Sequence[Preparation]
) -> dict[str, object]:
    """Return what came of a pond by day 120.

    Parameters
    ----------
    pond : Followed
    record : Record
    given : sequence of Action
        Doses.
    samples : sequence of Preparation
    """
    gone = record.death_day[0]
    late = gone > 0
    burden = float(pond.per_gram(record)[-1])
    return {
        "seed": pond.seed,
        "clean": pond.clean,
        "fish": pond.case.fish_count,
        "start_per_g": float(pond.per_gram(record)[-FIRST_DAY]),
        "temperature_c": float(pond.readings[1][4]),
        "killed": float(np.nansum(record.fluke_share[0][late])),
        "expected_killed": float(pond.expected_kills(record)[-FIRST_DAY:-1].sum()),
        "dead": int(late.sum()),
        "doses": len(given),
        "formalin": sum(dose.agent == "formalin" for dose in given),
        "doses_without_flukes": sum(pond.empty_on(pond.day_of(dose.date), record) for dose in given),
        "per_g_at_end": burden,
        "below_level": int(burden <= TOLERABLE_PER_G),
        "fish_looked_at": len(samples),
    }


# --- what they show ---------------------------------------------------------------------------------------------------
def summarise(rows: Sequence[dict[str, str]], resamples: int = 4000) -> list[dict[str, object]]:
    """Return the mean of each measure by way, and its paired difference to custom, each with its 90 % interval.

    Parameters
    ----------
    rows : sequence of dict
        A row a pond and way.
    resamples : int
        Bootstrap samples of ponds.
    """
    ponds = sorted({int(row["seed"]) for row in rows})
    at = {seed: i for i, seed in enumerate(ponds)}
    again = np.random.default_rng(1).integers(len(ponds), size=(resamples, len(ponds)))
    lines = []
    for group, belongs in _GROUPS.items():
        for measure in MEASURES:
            values: dict[str, np.ndarray] = {}
            for row in rows:
                values.setdefault(row["way"], np.full(len(ponds), np.nan))[at[int(row["seed"])]] = float(row[measure])
            mine = np.array([belongs(row["clean"]) for row in sorted(rows, key=_seed) if row["way"] == "custom"])
            for way, value in values.items():
                line = {"ponds of": group, "ponds": int(mine.sum()), "measure": measure, "way": way}
                lines.append(line | _with_interval(value, mine, again) | _against(value, values["custom"], mine, again))
    return [line for line in lines if line["ponds"]]


_GROUPS: dict[str, Callable[[str], bool]] = {
    "all": lambda clean: True,
    "flukes": lambda clean: str(clean) == "False",
    "no flukes": lambda clean: str(clean) == "True",
}


def _seed(row: dict[str, str]) -> int:
    return int(row["seed"])


def _resampled(value: np.ndarray, mine: np.ndarray, again: np.ndarray) -> np.ndarray:
    weight = mine[again]
    return np.divide(
        (value[again] * weight).sum(1), weight.sum(1), out=np.full(len(again), np.nan), where=weight.any(1)
    )


def _with_interval(value: np.ndarray, mine: np.ndarray, again: np.ndarray, name: str = "") -> dict[str, float]:
    low, high = np.nanquantile(_resampled(value, mine, again), [0.05, 0.95]) if mine.any() else (np.nan, np.nan)
    return {f"{name}mean": float(value[mine].mean()) if mine.any() else np.nan, f"{name}low": low, f"{name}high": high}


def _against(value: np.ndarray, other: np.ndarray, mine: np.ndarray, again: np.ndarray) -> dict[str, float]:
    return _with_interval(value - other, mine, again, "less_custom_")


def draw_figure(rows: Sequence[dict[str, str]], path: Path) -> None:
    """Expected kills and doses by way: the tool against custom, a point a pond."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from burden.report.figures.style import LINE, bare, svg_bytes

    by = {(row["way"], int(row["seed"])): row for row in rows}
    seeds = sorted({seed for _, seed in by})

    def figure():
        drawn, axes = plt.subplots(1, 2, figsize=(9, 4.2), layout="constrained")
        titles = {"expected_killed": "fish killed by flukes, expected", "doses": "doses"}
        for axis, (measure, title) in zip(axes, titles.items(), strict=True):
            x, y = (np.array([float(by[way, s][measure]) for s in seeds]) for way in ("custom", "tool"))
            axis.plot(x, y, ".", color=LINE, markersize=4, alpha=0.6)
            top = max(float(x.max()), float(y.max()), 1.0)
            axis.plot([0, top], [0, top], color=LINE, linewidth=0.6)
            axis.set(xlabel="by custom", ylabel="by the tool", title=f"{title}: {x.mean():.2f} and {y.mean():.2f}")
            bare(axis)
        axes[0].set_xscale("symlog", linthresh=1.0)
        axes[0].set_yscale("symlog", linthresh=1.0)
        return drawn

    path.parent.mkdir(exist_ok=True)
    path.write_bytes(svg_bytes(figure, "closed_loop"))
    plt.close("all")


# --- tables kept as they come -----------------------------------------------------------------------------------------
_VISIT_COLUMNS = (
    "seed", "day", "date", "temperature_c", "alive", "clips", "true_per_g", "true_per_g_in_60_d", "true_most_ahead",
    "true_kills_ahead", "first", "action", "reasons", "plan", "why", "present", "high_now", "high", "aim_planned",
    "check_day", "given", "seconds",
)  # fmt: skip


def _read(path: Path) -> list[dict[str, str]]:
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _append(path: Path, rows: Sequence[dict[str, object]], columns: Sequence[str]) -> None:
    path.parent.mkdir(exist_ok=True)
    new = not path.exists()
    with path.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        if new:
            writer.writeheader()
        writer.writerows({k: f"{x:.4g}" if isinstance(x, float) else x for k, x in row.items()} for row in rows)


def run(seeds: range, draws: int, folder: Path, until: str = "", with_clean: bool = False) -> None:
    """Follow what ponds are missing, and keep the tables; a visit that was answered before is not asked again."""
    table, visits = folder / "closed_loop.csv", folder / "closed_loop_visits.csv"
    done = {int(row["seed"]) for row in _read(table)}
    for seed in (seed for seed in seeds if seed not in done):
        pond, found = draw_followed(seed), []
        if pond.clean and not with_clean:
            continue
        kept = {int(row["day"]): row for row in _read(visits) if int(row["seed"]) == seed}

        def note(row: dict[str, object]) -> None:
            _append(visits, [row], _VISIT_COLUMNS)
            if until and time.strftime("%H:%M") >= until:
                raise SystemExit("out of time; a second start goes on here")

        for name, way in WAYS.items():
            found.append({"way": name, **follow(pond, way)})
        found.append({"way": "tool", **follow(pond, by_tool(draws), kept, note)})
        _append(table, found, list(found[0]))
        print(seed, *(f"{r['way']} {r['expected_killed']:.1f}/{r['doses']}" for r in found), flush=True)


def show(folder: Path, figure: Path) -> None:
    """Write summary and figure, print what they show."""
    rows = _read(folder / "closed_loop.csv")
    lines = summarise(rows)
    (folder / "closed_loop_summary.csv").unlink(missing_ok=True)
    _append(folder / "closed_loop_summary.csv", lines, list(lines[0]))
    draw_figure(rows, figure)
    for line in lines:
        less = "{less_custom_mean:+.2f} ({less_custom_low:+.2f} to {less_custom_high:+.2f})".format(**line)
        print("{ponds of:9} {ponds:3} {measure:20} {way:11} {mean:6.2f} ({low:.2f} to {high:.2f})".format(**line), less)


def case_of(seed: int, day: int, folder: Path) -> Case:
    """Return the case of one visit of a pond that the tool has followed, as it was last asked."""
    kept = {int(row["day"]): row for row in _read(folder / "closed_loop_visits.csv") if int(row["seed"]) == seed}
    pond, met = draw_followed(seed), []

    def keep(visit: Visit) -> Told:
        met.append(_as_before(pond, visit, kept[day]).case if not met else visit.case)
        return Told()

    follow(pond, keep, {on: row for on, row in kept.items() if on < day})
    return met[0]


def main() -> None:
    """Follow ponds, or write one visit as a case folder."""
    parser = argparse.ArgumentParser(description="Ponds visited every two weeks and dosed as decided.")
    parser.add_argument("--ponds", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="seed of the first pond")
    parser.add_argument("--draws", type=int, default=DRAWS)
    parser.add_argument("--until", default="", help="ask no further visit from this time on, HH:MM")
    parser.add_argument("--with-clean", action="store_true", help="ask in ponds that never had a fluke too")
    parser.add_argument("--results", type=Path, default=HERE / "results")
    parser.add_argument("--folder", nargs=3, metavar=("SEED", "DAY", "PLACE"), help="write one visit's case")
    options = parser.parse_args()
    if options.folder:
        seed, day, place = options.folder
        write_folder(case_of(int(seed), int(day), options.results), Path(place))
        return
    try:
        run(
            range(options.first, options.first + options.ponds),
            options.draws,
            options.results,
            options.until,
            options.with_clean,
        )
    finally:  # out of time too
        if (options.results / "closed_loop.csv").exists():
            show(options.results, options.results.parent / "figures" / "closed_loop.svg")


if __name__ == "__main__":
    main()
