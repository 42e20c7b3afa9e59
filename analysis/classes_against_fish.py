"""Do eight classes of susceptibility stand for whole fish while many of them die?

Run: python analysis/classes_against_fish.py [FISH]     (default 2000 fish, 6 stocks; about 3 minutes on one core)

The model follows fish in eight classes of a gamma, the gamma kept inside each class for prevalence and variance. The
other side follows every fish: thousands of fish, each of its own gamma susceptibility, its own survival and a Poisson
burden about its own mean, under the same differential equations with no classes at all. The two share the stepper, so
what is compared is the cutting into classes and nothing else; the stepper itself is held against an adaptive solver
and against whole flukes elsewhere. Several stocks drawn apart give the Monte Carlo error of the fish.

Writes results/classes_against_fish.csv and figures/classes_against_fish.svg: over two years of a yearly course of the
water from 4 to 24 °C burden, deaths, prevalence and k, every half-quarter, both ways.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from burden.model.forward import Scenario, State, simulate  # noqa: E402
from burden.model.hosts import Fish  # noqa: E402
from burden.model.lifecycle.parameters import Parameters, draw_parameters  # noqa: E402
from burden.model.lifecycle.rates import establishment_for  # noqa: E402
from burden.model.lifecycle.transitions import build_cycle  # noqa: E402
from burden.model.susceptibility import class_prevalence, class_variance, susceptibility_classes  # noqa: E402
from burden.model.temperature import Temperature  # noqa: E402

__all__ = ["MEASURES", "OUTBREAKS", "Outbreak", "Seen", "by_classes", "by_fish", "departures"]

#: what is compared; the first three within 5 %, k within 15 %, beyond the Monte Carlo error of the fish
MEASURES = {"burden": 0.05, "deaths": 0.05, "prevalence": 0.05, "k": 0.15}
CLASSES = 8
DENSITY = 4.0  # fish per m³, as in the pond of the interval command
WEIGHT_G = 400.0
DAYS = np.linspace(0.0, 730.0, 17)
STEP_DAYS = 0.5
_COURSE = Temperature.yearly(14.0, 10.0, -100.0)
_DRAW = 3  # which draw of everything that is not said below


@dataclass(frozen=True)
class Outbreak:
    """One setting: parasite set, k of the settlers, reproduction number, and the scale of the fish's death rate.

    Parameters
    ----------
    parasite : str
    aggregation, reproduction_number : float
        [-]
    deadliness : float
        Times the median death rate of the set [-].
    """

    parasite: str
    aggregation: float
    reproduction_number: float
    deadliness: float

    @property
    def label(self) -> str:
        """Name of the setting."""
        return f"{self.parasite}, k {self.aggregation:g}, R0 {self.reproduction_number:g}, {self.deadliness:g} x hazard"


#: k 0.6 and 1.6 are the low end and the middle of what one place on one day showed; hazards so that two fifths to
#: nine tenths of the fish die. The last one kills nineteen in twenty, and there eight classes are known to be too few.
OUTBREAKS = (
    Outbreak("dactylogyrus", 0.6, 3.0, 50.0),
    Outbreak("dactylogyrus", 0.6, 8.0, 50.0),
    Outbreak("dactylogyrus", 1.6, 3.0, 50.0),
    Outbreak("dactylogyrus", 1.6, 8.0, 50.0),
    Outbreak("dactylogyrus", 0.6, 8.0, 150.0),
    Outbreak("sparicotyle", 1.6, 2.0, 0.1),
    Outbreak("sparicotyle", 0.6, 6.0, 0.03),
    Outbreak("sparicotyle", 0.6, 6.0, 0.3),
)


@dataclass(frozen=True)
class Seen:
    """What is compared, by measure: shape (days, outbreaks) for classes, (days, outbreaks, stocks) for fish."""

    values: dict[str, np.ndarray]


def _parameters(outbreaks: Sequence[Outbreak]) -> Parameters:
    """One draw an outbreak, all alike but for what the outbreak says."""
    parasite = outbreaks[0].parasite
    drawn = draw_parameters(parasite, 16, 1).take(np.full(len(outbreaks), _DRAW))
    hazard = "anaemia_hazard" if drawn.evidence.blood_feeder else "hazard_per_burden"
    median = drawn.evidence.values[hazard].value
    said = {
        "aggregation": [o.aggregation for o in outbreaks],
        "reproduction_number": [o.reproduction_number for o in outbreaks],
        hazard: [o.deadliness * median for o in outbreaks],
    }
    return establishment_for(drawn.replaced(**{name: np.array(x) for name, x in said.items()}), DENSITY)


def _pond(parameters: Parameters, susceptibility: np.ndarray, fish: int) -> tuple[Scenario, State]:
    """So many fish in as many classes as there are susceptibilities, lightly infected in spring water."""
    cycle, m = build_cycle(parameters.evidence), parameters.size
    setting = Scenario(
        cycle, parameters, Fish(np.full((1, m), WEIGHT_G), susceptibility), _COURSE, np.full(m, fish / DENSITY)
    )
    water = {f.name: np.full((f.stages, m), 5.0 * fish / f.stages) for f in cycle.forms if f.place == "water"}
    flukes = {f.name: np.full((f.stages, 1, m), 10.0 / f.stages) for f in cycle.forms if f.place == "fish"}
    alive = np.full((1, len(susceptibility), m), fish / len(susceptibility))
    return setting, State(water, flukes, alive, np.ones_like(alive), *np.zeros((3, m)))


def _states(setting: Scenario, state: State, step_days: float) -> list[State]:
    states = [state]
    for start, end in pairwise(DAYS):
        states.append(simulate(setting, states[-1], [start, end], max_step_days=step_days).end)
    return states


def _means(setting: Scenario, state: State) -> np.ndarray:
    """Mean burden of a fish of each class, or of each fish, shape (C, M)."""
    return sum(chain.sum((0, 1)) for chain in state.fish.values()) * setting.fish.susceptibility


def _summary(means: np.ndarray, inside: np.ndarray, infected: np.ndarray, state: State) -> dict[str, np.ndarray]:
    """Measures from mean, variance and prevalence inside each class (or of each fish), all (C, M)."""
    share = state.alive[0] / state.alive[0].sum(0)
    mean = (share * means).sum(0)
    variance = (share * (inside + means**2)).sum(0) - mean**2
    prevalence = (share * infected).sum(0)
    return {"burden": mean, "deaths": state.deaths, "prevalence": prevalence, "k": mean**2 / (variance - mean)}


def _stacked(rows: list[dict[str, np.ndarray]], shape: tuple[int, ...]) -> Seen:
    return Seen({name: np.array([row[name].reshape(shape) for row in rows]) for name in MEASURES})


def by_classes(
    outbreaks: Sequence[Outbreak], fish: int, classes: int = CLASSES, inside: bool = True, step_days: float = STEP_DAYS
) -> Seen:
    """Follow classes.

    Parameters
    ----------
    outbreaks : sequence of Outbreak
        Of one parasite set.
    fish, classes : int
        Fish in the pond, and classes they are put in.
    inside : bool
        Whether the gamma is kept inside each class; without it every fish of a class is alike.
    step_days : float
        [d]
    """
    p = _parameters(outbreaks)
    cut = susceptibility_classes(p["aggregation"], classes)
    setting, state = _pond(p, cut.means, fish)
    rows = []
    for later in _states(setting, state, step_days):
        means = _means(setting, later)
        variance = class_variance(means, cut) if inside else means
        infected = class_prevalence(means, cut) if inside else -np.expm1(-means)
        rows.append(_summary(means, variance, infected, later))
    return _stacked(rows, (p.size,))


def by_fish(outbreaks: Sequence[Outbreak], fish: int, stocks: int, seed: int = 1, step_days: float = STEP_DAYS) -> Seen:
    """Follow every fish of several stocks drawn apart, as `by_classes`.

    Notes
    -----
    A fish is a class of its own with survival between 0 and 1: no chance but the drawing of the stock is left. Given
    its mean a fish's burden is Poisson, so its variance is its mean and it is infected with 1 − exp(−mean).
    """
    p = _parameters([o for o in outbreaks for _ in range(stocks)])
    rng, k = np.random.default_rng(seed), p["aggregation"]
    setting, state = _pond(p, rng.gamma(k, 1 / k, (fish, p.size)), fish)
    rows = []
    for later in _states(setting, state, step_days):
        means = _means(setting, later)
        rows.append(_summary(means, means, -np.expm1(-means), later))
    return _stacked(rows, (len(outbreaks), stocks))


def departures(classes: Seen, fish: Seen) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Relative departure of the classes from the mean of the stocks, and its standard error, (days, outbreaks) each.

    The first day is left out: nothing has happened yet.
    """
    found = {}
    for name in MEASURES:
        stocks = fish.values[name][1:]
        mean, error = stocks.mean(2), stocks.std(2, ddof=1) / np.sqrt(stocks.shape[2])
        found[name] = classes.values[name][1:] / mean - 1, error / mean
    return found


def _draw_figure(found: list[tuple[Outbreak, dict, dict]], path: Path) -> None:
    import matplotlib.pyplot as plt

    from burden.report.figures.style import BAND_90, INK, LINE, bare, svg_bytes

    def draw():
        figure, axes = plt.subplots(4, len(found), figsize=(2.1 * len(found), 7), sharex=True, layout="constrained")
        for column, (outbreak, classes, fish) in zip(axes.T, found, strict=True):
            column[0].set_title(outbreak.label.replace(", ", "\n", 1), fontsize=7, color=INK)
            for axis, name in zip(column, MEASURES, strict=True):
                axis.fill_between(DAYS, fish[name].min(1), fish[name].max(1), color=BAND_90, linewidth=0)
                axis.plot(DAYS, fish[name].mean(1), color=LINE, linewidth=2.5, alpha=0.4)
                axis.plot(DAYS, classes[name], color=INK, linewidth=0.9)
                axis.set_ylim(0, None)
                bare(axis, 7)
        for axis, name in zip(axes[:, 0], MEASURES, strict=True):
            axis.set_ylabel(name, color=INK)
        figure.supxlabel("days; thin line eight classes, broad line and band whole fish, mean and extremes of stocks")
        return figure

    path.write_bytes(svg_bytes(draw, "classes"))


def main(fish: int = 2000, stocks: int = 6) -> None:
    """Write the table and the figure, print what they show."""
    rows, drawn = [], []
    for parasite in dict.fromkeys(o.parasite for o in OUTBREAKS):
        outbreaks = [o for o in OUTBREAKS if o.parasite == parasite]
        classes, whole = by_classes(outbreaks, fish), by_fish(outbreaks, fish, stocks)
        gaps = departures(classes, whole)
        for i, outbreak in enumerate(outbreaks):
            drawn.append((outbreak, *({n: s.values[n][:, i] for n in MEASURES} for s in (classes, whole))))
            for name, limit in MEASURES.items():
                gap, error = (x[:, i] for x in gaps[name])
                worst = int(np.argmax(np.abs(gap)))
                stock = whole.values[name][:, i].mean(1)
                rows.append({
                    "outbreak": outbreak.label, "measure": name, "limit": limit,
                    "fish_start": f"{stock[0]:.4g}", "fish_end": f"{stock[-1]:.4g}",
                    "classes_end": f"{classes.values[name][-1, i]:.4g}", "worst_departure": f"{gap[worst]:.4f}",
                    "its_standard_error": f"{error[worst]:.4f}", "its_day": f"{DAYS[1 + worst]:.0f}",
                    "holds": bool(np.all(np.abs(gap) <= limit + 2 * error)),
                })  # fmt: skip
                print(*rows[-1].values(), sep="  ", flush=True)
    for folder in ("results", "figures"):
        (HERE / folder).mkdir(exist_ok=True)
    with (HERE / "results" / "classes_against_fish.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    _draw_figure(drawn, HERE / "figures" / "classes_against_fish.svg")


if __name__ == "__main__":
    import matplotlib

    matplotlib.use("Agg")
    main(*map(int, sys.argv[1:]))
