"""Where does the full model break a rule that holds without its brakes: a stronger dose, and more flukes later?

Run: python analysis/invariants.py    (under 1 minute)

With no acquired resistance, no crowding and no deaths of fish, more kill never leaves more flukes, on any day. With the
brakes it can: a pond that was dosed hard forgets its resistance, and crowding no longer holds laying down, so what is
left grows past those of the pond dosed gently. Ponds from the prior take one dose with a kill of 0.5 or of
0.95; the pond and day with the largest ratio of flukes is shown, and how many ponds break the rule at all. The rule
the tests hold the model to is therefore: right after a dose always, later with the brakes off.
Writes invariants.csv and invariants.svg.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from ponds import dose_effect, drawn, pond  # noqa: E402

from burden.model.forward import Event, simulate  # noqa: E402

__all__ = ["Broken", "worst_case"]

GENTLE, HARD, TEMPERATURE_C = 0.5, 0.95, 20.0
DAYS = np.arange(0.0, 121.0, 4.0)


@dataclass(frozen=True)
class Broken:
    """Flukes a fish after a gentle and after a hard dose, in the pond where the hard one leaves relatively most.

    Parameters
    ----------
    gentle, hard : numpy.ndarray
        Mean abundance by day, shape (T,).
    ratio : float
        Largest hard / gentle [-].
    day : float
        When [d].
    share : float
        Share of ponds in which the ratio passes 1.01 on some day [-].
    """

    gentle: np.ndarray
    hard: np.ndarray
    ratio: float
    day: float
    share: float


def worst_case(members: int = 200, brakes: bool = True, seed: int = 3) -> Broken:
    """Return the pond out of so many draws of the prior in which the rule is broken most."""
    parameters = drawn("dactylogyrus", members, seed)
    setting, start = pond(parameters, TEMPERATURE_C, resistance_on=brakes, crowding_on=brakes, deaths_on=False)
    gentle, hard = (
        simulate(
            setting, start, DAYS, [Event.dose(0.0, dose_effect(members, kill, kill), setting.cycle)], 0.5
        ).abundance
        for kill in (GENTLE, HARD)
    )
    ratio = hard / gentle
    day, one = np.unravel_index(np.argmax(ratio), ratio.shape)
    return Broken(
        gentle[:, one], hard[:, one], float(ratio.max()), float(DAYS[day]), float((ratio.max(0) > 1.01).mean())
    )


def main(results: Path, figures: Path) -> None:
    """Write the table and the figure."""
    from matplotlib.figure import Figure

    found = worst_case()
    with (results / "invariants.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["day", "flukes_per_fish_after_kill_0.5", "flukes_per_fish_after_kill_0.95"])
        writer.writerows(
            [f"{d:g}", f"{a:.4g}", f"{b:.4g}"] for d, a, b in zip(DAYS, found.gentle, found.hard, strict=True)
        )
    figure = Figure(figsize=(6, 3.5), layout="constrained")
    axes = figure.subplots()
    axes.plot(DAYS, found.gentle, color="0.2", label=f"kill {GENTLE:g}")
    axes.plot(DAYS, found.hard, color="tab:blue", linestyle="--", label=f"kill {HARD:g}")
    axes.set(xlabel="Days after the dose [d]", ylabel="Flukes a fish", yscale="log")
    axes.legend(frameon=False)
    figure.savefig(figures / "invariants.svg", metadata={"Date": None})
    print(
        f"The hard dose leaves up to {found.ratio:.2f} times the flukes of the gentle one, on day {found.day:g}; "
        f"in {100 * found.share:.0f} of 100 ponds it leaves more on some day of {DAYS[-1]:g}. "
        f"Without brakes the largest ratio is {worst_case(brakes=False).ratio:.3f}."
    )


if __name__ == "__main__":
    main(ROOT / "analysis" / "results", ROOT / "analysis" / "figures")
