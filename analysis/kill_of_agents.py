"""What the published kills of an agent leave open.

Run: python analysis/kill_of_agents.py [AGENT] [FOLDER]    (default praziquantel, analysis/results)

Writes kill_of_AGENT.csv, every published point beside the model that did not see it, and kill_of_AGENT.svg: kill
against hours at three concentrations, and the ridge on which a weak agent with few sheltered flukes and a strong one
with many meet the same points. Prints what they show, and how far one hazard per mg h/L for all (concentration times
time, no shelter) misses the points at its best.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from scipy.optimize import minimize_scalar

from burden.evidence import Agent, KillPoint, load_agent
from burden.treatment.efficacy import attached_kill, kill
from burden.treatment.efficacy_checks import check_points
from burden.treatment.efficacy_fit import draw_kill, pool


def worst_miss_of_concentration_times_time(points: list[KillPoint]) -> float:
    """Least largest miss of 1 − exp(−a·c·t) over the points of one exposure [-]."""

    def worst(log_rate: float) -> float:
        return max(abs(-np.expm1(-np.exp(log_rate) * p.mg_l * p.hours[0]) - p.kill) for p in points)

    grid = np.linspace(-15, 3, 400)
    start = grid[int(np.argmin([worst(x) for x in grid]))]
    return float(minimize_scalar(worst, bounds=(start - 0.1, start + 0.1), method="bounded").fun)


def draw_figure(agent: Agent, path: Path) -> None:
    """Kill against hours, and the ridge."""
    draws = draw_kill(agent, 1000, 1)
    figure, (left, right) = plt.subplots(1, 2, figsize=(10, 4), layout="constrained")
    hours = np.geomspace(0.1, 72, 60)
    reference = draws.reference_mg_l
    for factor, colour in ((1, "tab:blue"), (3, "tab:orange"), (8, "tab:green")):
        bands = np.array([np.quantile(attached_kill(draws, factor * reference, t), [0.05, 0.5, 0.95]) for t in hours])
        left.plot(hours, bands[:, 1], color=colour, label=f"{factor * reference:g} mg/L, attached")
        left.fill_between(hours, bands[:, 0], bands[:, 2], color=colour, alpha=0.15, linewidth=0)
    for point in agent.kill_points:
        marker = "o" if point.role == "fitted" else "x"
        left.plot(np.sqrt(np.prod(point.hours)), point.kill, marker, color="black", markersize=5)
    left.set(xscale="log", xlabel="hours", ylabel="share killed", ylim=(0, 1.02))
    left.set_title("Kill in water not yet met, 5 to 95 %; o fitted, x predicted", fontsize=9)
    left.legend(fontsize=8)
    drawn = pool(agent).picked("ridge", 1500, 1).draws
    hidden = drawn.sheltered_fraction * drawn.attached_juvenile_share
    right.plot(drawn.exponent, hidden, ".", color="tab:blue", markersize=3, alpha=0.5)
    right.set(xlabel="exponent of concentration", ylabel="sheltered share of the attached flukes")
    right.set_title("The ridge: both meet the same points", fontsize=9)
    figure.savefig(path, metadata={"Date": None})
    plt.close(figure)


def main(name: str = "praziquantel", folder: str = "analysis/results") -> None:
    """Write the table and the figure, print what they show."""
    matplotlib.rcParams["svg.hashsalt"] = "burden"  # same draws, same bytes
    agent = load_agent(name)
    out = Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    checks = check_points(agent)
    with (out / f"kill_of_{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(checks.rows()[0]))
        writer.writeheader()
        writer.writerows(checks.rows())
    draw_figure(agent, out / f"kill_of_{name}.svg")
    exact = [p for p in agent.kill_points if p.role == "fitted" and p.relation == "equal" and p.hours[0] == p.hours[1]]
    print(checks)
    print(f"\nConcentration times time without shelter misses {len(exact)} exact fitted points by at least "
          f"{100 * worst_miss_of_concentration_times_time(exact):.0f} points at its best.")  # fmt: skip
    draws = draw_kill(agent, 2000, 1)
    bath = agent.customary
    total = bath.mg_l * bath.hours
    long, short = (kill(draws, "adult", total / t, t) for t in (bath.hours, bath.hours / 24))
    print(
        f"At {total:g} mg h/L a bath of {bath.hours:g} h kills {100 * long.mean():.1f} % of adults, one of "
        f"{bath.hours / 24:g} h {100 * short.mean():.1f} %; long is no worse in "
        f"{100 * np.mean(long >= short):.0f} % of the draws."
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
