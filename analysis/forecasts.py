"""Do forecasts hold? Ponds of whole flukes, sampled, estimated and forecast; what happened beside what was said.

Run: python analysis/forecasts.py [PONDS]     (default 300; about 15 s a pond on one core, so 75 minutes)

Each pond (`analysis/visited.py`) is drawn from the priors, runs 28 d with a death log and often a dose, is looked at
once or twice, and lives on for 60 d, with two doses or none. The spread of hatching and of maturing and the adult life
(exponential, gamma, fixed) are not the equations'. `burden` sees the case alone. Judged are the bands of flukes and of
deaths at 14, 30 and 60 d, against a forecast that ignores the samples; the verdict on the dose at its stated
probability; burden, hazard and the deaths that flukes explain.

Writes results/forecasts.csv, a row a pond, kept as it goes: a second start goes on where the first ended. Also
results/forecasts_summary.csv and figures/forecasts.svg.
"""

from __future__ import annotations

import csv
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from analysis.visited import AFTER_DAYS, AGENT, LOOK_DAYS, PARASITE, Truth, live_through  # noqa: E402
from burden.case import Case  # noqa: E402
from burden.inference.dose_accounts import VERDICTS  # noqa: E402
from burden.inference.estimate import estimate  # noqa: E402
from burden.inference.estimate_result import Estimate  # noqa: E402
from burden.inference.treatment_response import response  # noqa: E402
from burden.model.forward import simulate  # noqa: E402
from burden.schedule.projection import by_day  # noqa: E402
from burden.utils.results import CredibleInterval  # noqa: E402

__all__ = ["DRAWS", "held", "judge_pond", "summary"]

DRAWS = 150
RESULTS, FIGURE = HERE / "results" / "forecasts.csv", HERE / "figures" / "forecasts.svg"
SUMMARY = HERE / "results" / "forecasts_summary.csv"
#: points of the draws that are kept of each forecast
POINTS = {"low90": 0.05, "low80": 0.1, "low50": 0.25, "median": 0.5, "high50": 0.75, "high80": 0.9, "high90": 0.95}


def forecast_of(case: Case, treated: bool, seed: int) -> tuple[Estimate, np.ndarray, np.ndarray]:
    """Estimate a case and run it on: the estimate, deaths and flukes per fish by day and draw, (days, M) each."""
    found = estimate(case, PARASITE, DRAWS, seed)
    pond = found.pond
    doses = [pond.dose(float(day), AGENT) for day in AFTER_DAYS] if treated else []
    run = simulate(pond.setting, found.state, np.array([0.0, *LOOK_DAYS]), [*pond.given, *doses])
    return (found, *by_day(run, found.state, pond.seed))


def judge_pond(truth: Truth, seed: int) -> dict[str, object]:
    """Forecast one pond with and without its samples, judge its dose, and write down what was said and what was."""
    plot, row = truth.plot, {"seed": seed}
    row |= {"adult_life": truth.plot.adult_life, "egg_shape": plot.shapes["egg"], "chosen": plot.chosen}
    row |= {"temperature_c": plot.temperature_c, "dosed": plot.dose_day is not None, "fault": plot.fault or ""}
    row |= {"treated": plot.treated, "fish": truth.case.fish_count}
    row |= {"counted": sum(r.count_low for r in truth.case.samples)}
    found, deaths, flukes = forecast_of(truth.case, plot.treated, 500_000 + seed)
    _, blind_deaths, blind_flukes = forecast_of(replace(truth.case, samples=()), plot.treated, 600_000 + seed)
    for i, day in enumerate((0, *LOOK_DAYS)):
        row |= _said(f"flukes_{day}", truth.flukes[i], flukes[i], blind_flukes[i])
        if day:
            row |= _said(f"deaths_{day}", truth.deaths[i - 1], deaths[i], blind_deaths[i])
    row |= _recovered(truth, found)
    if plot.dose_day is not None:
        judged = response(truth.case, PARASITE, DRAWS, 700_000 + seed)
        row |= {f"p_{name}": judged.verdict_probability[name] for name in VERDICTS}
    else:
        row |= dict.fromkeys((f"p_{name}" for name in VERDICTS), "")
    return row | {"verdict": truth.verdict}


def _said(name: str, truth: float, draws: np.ndarray, blind: np.ndarray) -> dict[str, float]:
    points = {f"{name}_{point}": float(np.quantile(draws, share)) for point, share in POINTS.items()}
    wide = {f"{name}_blind_{end}": float(np.quantile(blind, POINTS[end])) for end in ("low90", "high90")}
    return {f"{name}_true": truth, **points, **wide}


def _recovered(truth: Truth, found: Estimate) -> dict[str, object]:
    """Burden, hazard, reproduction number and the deaths explained, each with its interval, beside what is true."""
    p = found.pond.setting.parameters
    number, told = CredibleInterval.missing(), ""
    if found.deaths_explained is not None:
        number, told = found.deaths_explained.by_flukes, found.deaths_explained.told
    row: dict[str, object] = {"explained_told": told, "effective_draws": found.effective_draws}
    for name, true, said in (
        ("total", truth.flukes_total, found.flukes_total),
        ("hazard", truth.hazard_per_burden, CredibleInterval.of(p["hazard_per_burden"])),
        ("r0", truth.reproduction_number, CredibleInterval.of(p["reproduction_number"])),
        ("explained", truth.by_flukes, number),
    ):
        row |= {f"{name}_true": true, f"{name}_low": said.low, f"{name}_median": said.median, f"{name}_high": said.high}
    return row


# --- what they show ------------------------------------------------------------------------------------------------
def held(rows: Sequence[dict[str, str]], name: str, low: str = "low90", high: str = "high90") -> tuple[int, int]:
    """Ponds whose band holds the truth, and ponds."""
    mine = [r for r in rows if r[f"{name}_true"] not in ("", "nan") and r[f"{name}_{low}"] not in ("", "nan")]
    inside = [float(r[f"{name}_{low}"]) <= float(r[f"{name}_true"]) * (1 + 1e-9) + 1e-9 for r in mine]
    below = [float(r[f"{name}_true"]) <= float(r[f"{name}_{high}"]) * (1 + 1e-9) + 1e-9 for r in mine]
    return sum(a and b for a, b in zip(inside, below, strict=True)), len(mine)


def _width(rows: Sequence[dict[str, str]], name: str, blind: str = "") -> dict[str, float]:
    """Mean width of the 90 % band, of ln(1 + flukes a fish) or in fish, and its mean interval score, less is better.

    The score adds to the width 20 times the distance of a truth outside (Gneiting & Raftery 2007, J Am Stat Assoc
    102:359, eq. 43), so that a narrow band is worth nothing where it misses.
    """
    said = np.array(
        [[float(r[f"{name}_{point}"]) for point in ("true", f"{blind}low90", f"{blind}high90")] for r in rows]
    )
    true, low, high = (np.log1p(said) if name.startswith("flukes") else said).T
    beyond = np.maximum(low - true, 0) + np.maximum(true - high, 0)
    end = blind.rstrip("_") and "_blind"
    return {f"width{end}": float(np.mean(high - low)), f"score{end}": float(np.nanmean(high - low + 20 * beyond))}


def summary(rows: Sequence[dict[str, str]]) -> Iterator[dict[str, object]]:
    """Return what the ponds show: coverage and width of each band, then what was recovered, then the verdicts."""
    for name in [f"{what}_{day}" for what in ("flukes", "deaths") for day in LOOK_DAYS]:
        inside, n = held(rows, name)
        half, most = (held(rows, name, f"low{share}", f"high{share}")[0] for share in (50, 80))
        blind = held(rows, name, "blind_low90", "blind_high90")[0]
        widths = _width(rows, name) | _width(rows, name, "blind_")
        yield _line(name, n, inside, held_50=half, held_80=most, held_blind=blind, **widths)
    yield from _parts(rows)
    for name in ("total", "hazard", "r0", "explained"):
        inside, n = held(rows, name, "low", "high")
        yield _line(name, n, inside)
    told = [r for r in rows if r["explained_told"] == "True"]
    yield _line("explained, where told", len(told), held(told, "explained", "low", "high")[0])
    for name in VERDICTS[:3]:
        yield from _verdict_lines(rows, name)


#: parts of the ponds that are looked at by themselves
PARTS = {
    "doses follow": lambda r: r["treated"] == "True",
    "no dose follows": lambda r: r["treated"] != "True",
    "exponential adult life": lambda r: r["adult_life"] == "exponential",
    "gamma adult life": lambda r: r["adult_life"] == "gamma",
    "fixed adult life": lambda r: r["adult_life"] == "fixed",
    "a dose before, at fault": lambda r: r["fault"] != "",
    "a dose before, as written": lambda r: r["dosed"] == "True" and r["fault"] == "",
}


def _parts(rows: Sequence[dict[str, str]]) -> Iterator[dict[str, object]]:
    """Coverage of the flukes at 60 d in parts of the ponds, and on which side the others lie."""
    for name, belongs in PARTS.items():
        mine = [r for r in rows if belongs(r)]
        if mine:
            yield _line(f"flukes_60, {name}", len(mine), held(mine, "flukes_60")[0])
    above = sum(float(r["flukes_60_true"]) > float(r["flukes_60_high90"]) * (1 + 1e-9) for r in rows)
    yield _line("flukes_60, above the band", len(rows), above)


def _line(name: str, ponds: int, inside: int, **more: float) -> dict[str, object]:
    columns = ("held_50", "held_80", "held_blind", "width", "width_blind", "score", "score_blind", "said", "came_true")
    return {"what": name, "ponds": ponds, "held_90": inside, **{c: more.get(c, "") for c in columns}}


def _verdict_lines(rows: Sequence[dict[str, str]], name: str) -> Iterator[dict[str, object]]:
    """Of the probability given to a verdict among those told, in thirds: its mean, and the share that came true."""
    mine = [r for r in rows if r["verdict"] and r["p_cannot_tell"] and float(r["p_cannot_tell"]) < 0.99]
    said = np.array([float(r[f"p_{name}"]) / (1 - float(r["p_cannot_tell"])) for r in mine])
    true = np.array([r["verdict"] == name for r in mine], float)
    told = np.array([1 - float(r["p_cannot_tell"]) for r in mine])
    for low, high in ((0, 1 / 3), (1 / 3, 2 / 3), (2 / 3, 1.0001)):
        inside = (said >= low) & (said < high)
        if inside.any():
            weight = told[inside]
            yield _line(f"verdict {name}, said {low:.2f} to {min(high, 1):.2f}", int(inside.sum()), "",
                        said=float(np.average(said[inside], weights=weight)),
                        came_true=float(np.average(true[inside], weights=weight)))  # fmt: skip


def draw_figure(rows: Sequence[dict[str, str]], path: Path) -> None:
    """Truth against the median forecast with its 90 % band, flukes above and deaths below, a column a day."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from burden.report.figures.style import BAND_90, LINE, bare, svg_bytes

    def figure():
        drawn, axes = plt.subplots(2, len(LOOK_DAYS), figsize=(11, 6.6), layout="constrained")
        for line, what in zip(axes, ("flukes", "deaths"), strict=True):
            for axis, day in zip(line, LOOK_DAYS, strict=True):
                _points(axis, rows, f"{what}_{day}")
                bare(axis)
                inside, n = held(rows, f"{what}_{day}")
                axis.set_title(f"{what} on day {day}: {inside} of {n} in the 90 % band", fontsize=8.5)
        axes[1, 1].set_xlabel("forecast: median and 90 % band")
        axes[0, 0].set_ylabel("true flukes a fish")
        axes[1, 0].set_ylabel("true deaths")
        return drawn

    def _points(axis, rows, name):
        kept = [r for r in rows if r[f"{name}_true"] != "nan"]
        true = np.array([float(r[f"{name}_true"]) for r in kept])
        low, middle, high = (np.array([float(r[f"{name}_{p}"]) for r in kept]) for p in ("low90", "median", "high90"))
        axis.hlines(true, low, high, color=BAND_90, linewidth=1.2)
        axis.plot(middle, true, ".", color=LINE, markersize=3)
        top = max(float(high.max()), float(true.max()), 1.0)
        axis.plot([0, top], [0, top], color=LINE, linewidth=0.6)
        scale = {"linthresh": 1.0} if name.startswith("flukes") else {"linthresh": 10.0}
        axis.set_xscale("symlog", **scale)
        axis.set_yscale("symlog", **scale)

    path.parent.mkdir(exist_ok=True)
    path.write_bytes(svg_bytes(figure, "forecasts"))
    plt.close("all")


def _kept() -> list[dict[str, str]]:
    if not RESULTS.exists():
        return []
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _append(row: dict[str, object]) -> None:
    new = not RESULTS.exists()
    RESULTS.parent.mkdir(exist_ok=True)
    with RESULTS.open("a", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(row), lineterminator="\n")
        if new:
            writer.writeheader()
        writer.writerow({key: f"{x:.5g}" if isinstance(x, float) else x for key, x in row.items()})


def main(ponds: int = 300) -> None:
    """Judge what is missing, keep the table, write summary and figure, print what they show."""
    kept = _kept()
    seed, count = max((int(r["seed"]) for r in kept), default=-1) + 1, len(kept)
    while count < ponds:
        began = time.process_time()
        truth = live_through(seed)
        if truth is not None:
            _append(judge_pond(truth, seed) | {"seconds": time.process_time() - began})
            count += 1
        seed += 1
    rows = _kept()
    lines = list(summary(rows))
    with SUMMARY.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(lines[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows({k: f"{x:.3g}" if isinstance(x, float) else x for k, x in line.items()} for line in lines)
    draw_figure(rows, FIGURE)
    for line in lines:
        print(", ".join(f"{k} {x:.3g}" if isinstance(x, float) else f"{k} {x}" for k, x in line.items() if x != ""))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
