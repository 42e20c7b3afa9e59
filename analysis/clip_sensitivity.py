"""What share of the gills must a biopsy have shown to be as blind as was measured?

Run: python analysis/clip_sensitivity.py          (a few seconds)

Larrat, Marvin & Lair 2012 (J Zoo Wildl Med 43:190): whole gills held flukes in 70 % of 54 eels, and a biopsy of the
live fish found 29 % of the eels that had them (11 of 38; 15.4 to 45.9 % by Clopper-Pearson). Prevalence and aggregation
k fix the mean, mean and k and the share seen fix the chance of a find: one figure leaves a curve of k against share.
Nobody measured k in these eels, so the figure cannot prove the model of a clip: it says which pairs agree with it.

Writes results/clip_sensitivity.csv and figures/clip_sensitivity.svg.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from burden.statistics import detection_per_fish  # noqa: E402

__all__ = ["FOUND", "PREVALENCE", "mean_of", "share_for"]

PREVALENCE, FOUND = 0.70, (0.29, 0.154, 0.459)
#: clumping of a part-count and chance that a fluke in view is counted: the ranges of the parasite sets
SHAPES, DETECTION = (0.5, 1.0, 2.0), 0.9
KS = np.geomspace(0.15, 5.0, 41)


def mean_of(k: float) -> float:
    """Mean abundance that goes with the measured prevalence [flukes]."""
    return k * ((1 - PREVALENCE) ** (-1 / k) - 1)


def share_for(k: float, found: float, shape: float = 1.0) -> float:
    """Share of the gills a biopsy must show to find so many of the infected, NaN where the whole gill would not do."""

    def miss(log_share: float) -> float:
        return float(detection_per_fish(mean_of(k), k, np.exp(log_share), 1, DETECTION, shape)) - found

    low, high = np.log(1e-5), np.log(0.98)
    return float(np.exp(brentq(miss, low, high))) if miss(low) < 0 < miss(high) else float("nan")


def table() -> list[dict[str, float]]:
    """One row a k: mean, and the share for the measured figure and for its limits, by clumping."""
    rows = []
    for k in KS:
        row = {"k": float(k), "mean": mean_of(k)}
        for shape in SHAPES:
            for name, found in zip(("share", "share_low", "share_high"), FOUND, strict=True):
                row[f"{name}_shape_{shape:g}"] = share_for(k, found, shape)
        rows.append(row)
    return rows


def draw_figure(rows: list[dict[str, float]], path: Path) -> None:
    """The curve, the band of the measured interval, and the curves of other clumping."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from burden.report.figures.style import BAND_90, GREY, INK, LINE, bare, svg_bytes

    def figure():
        drawn, axis = plt.subplots(figsize=(6.2, 4.2), layout="constrained")
        k = [row["k"] for row in rows]
        low, high = ([row[f"{name}_shape_1"] for row in rows] for name in ("share_low", "share_high"))
        axis.fill_between(k, low, high, color=BAND_90, linewidth=0)
        for shape, colour, style in ((0.5, GREY, "--"), (1.0, LINE, "-"), (2.0, GREY, ":")):
            axis.plot(k, [row[f"share_shape_{shape:g}"] for row in rows], style, color=colour)
        words = "line: 29 % of the infected found\nband: 15 % (below) to 46 % (above)\ndashed, dotted: clumping 0.5, 2"
        axis.text(0.45, 0.12, words, transform=axis.transAxes, color=INK)
        axis.set(xscale="log", yscale="log", xlabel="aggregation k across fish", ylabel="share of the gills seen [%]")
        axis.set_xticks([0.2, 0.5, 1, 2, 5], ["0.2", "0.5", "1", "2", "5"])
        axis.set_yticks([0.001, 0.01, 0.1], ["0.1", "1", "10"])
        axis.minorticks_off()
        bare(axis)
        return drawn

    path.parent.mkdir(exist_ok=True)
    path.write_bytes(svg_bytes(figure, "clip-sensitivity"))
    plt.close("all")


def main() -> None:
    """Write the table and the figure, print what they show."""
    rows = table()
    path = HERE / "results" / "clip_sensitivity.csv"
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows({name: f"{x:.5g}" for name, x in row.items()} for row in rows)
    draw_figure(rows, HERE / "figures" / "clip_sensitivity.svg")
    for k in (0.3, 1.0, 1.6, 4.0):
        shares = [100 * share_for(k, found) for found in FOUND]
        print(
            f"k {k:g}, mean {mean_of(k):.1f} flukes: a biopsy that finds 29 % of the infected shows {shares[0]:.2g} % "
            f"of the gills ({shares[1]:.2g} to {shares[2]:.2g} %)."
        )


if __name__ == "__main__":
    main()
