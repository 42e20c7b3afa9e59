"""Are the customary courses right, and at which temperatures?

Run: python analysis/customary_courses.py [DRAWS] [FOLDER]    (default 60 draws, analysis; about 3 minutes)

Judges two courses of common practice (no source) for goldfish and carp gill flukes in the reference pond of
`burden interval`: every five days, three doses of praziquantel; and two weeks apart, three doses with formalin in the
middle. From 5 to 30 °C. Writes results/customary_courses.csv and figures/customary_courses.svg: flukes left of 1,000 a
day after the last dose, and the probability that none is left a year later. Prints between which temperatures each
leaves at most 10 of 1,000 (median), the aim of control, in three words: met; met on the fish while the eggs still wait,
where less than half of the eggs of the first day have hatched when it is counted (as a visit calls it); not met. Where
eggs still wait it is no success: in a pond that warms they hatch after the course. The probability beside it holds for
water that stays as cold for a year, in which waiting eggs die, and for no other.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from scipy.special import gammainc

from burden.evidence import load_agent
from burden.model.dose_effect import DoseEffect
from burden.model.elimination.dose_survival import Batch
from burden.model.elimination.probability import none_left, time_grid
from burden.model.elimination.renewal import Habitat, backward
from burden.model.lifecycle.parameters import Parameters, draw_parameters
from burden.model.lifecycle.rates import Surroundings, establishment_for
from burden.model.lifecycle.stable_stages import stable_population
from burden.model.lifecycle.transitions import build_cycle
from burden.model.temperature import Temperature
from burden.schedule.fixed_interval import step_for
from burden.schedule.reference_pond import REFERENCE_ADULTS, REFERENCE_FISH, REFERENCE_VOLUME_M3
from burden.treatment.bath import bath_effect
from burden.treatment.efficacy_fit import draw_kill
from burden.utils.results import CredibleInterval, Probability

PARASITE = "dactylogyrus"
TEMPERATURES_C = np.arange(5.0, 31.0, 2.5)
#: few flukes left on the fish: a mark of this study, not the aim of a decision
CONTROL_PER_1000 = 10.0
COLOURS = ("#1f4e79", "#8a97a6")


@dataclass(frozen=True)
class Custom:
    """A course of common practice."""

    name: str
    days: tuple[float, ...]
    agents: tuple[str, ...]


CUSTOMS = (
    Custom("every five days, three doses", (0.0, 5.0, 10.0), ("praziquantel",) * 3),
    Custom("two weeks apart, formalin in the middle", (0.0, 14.0, 28.0), ("praziquantel", "formalin", "praziquantel")),
)


def effect_of(agent: str, parameters: Parameters) -> DoseEffect:
    """The agent's customary bath on these flukes, acting at once."""
    kill = draw_kill(load_agent(agent), parameters.size, 1, parameters.evidence)
    return bath_effect(kill, kill.customary_mg_l).without_residue()


def hatched_share(parameters: Parameters, custom: Custom, temperature_c: float) -> float:
    """Share of the eggs laid on the first day that have hatched a day after the last dose, in the median draw."""
    hatch = parameters.development.hatch
    shape = hatch.shape_at(temperature_c)
    return float(np.median(gammainc(shape, shape * hatch.rate(temperature_c) * (custom.days[-1] + 1))))


def aim(left: CredibleInterval, hatched: float) -> str:
    """Which aim is met."""
    if left.median > CONTROL_PER_1000:
        return "not met"
    return "met" if hatched >= 0.5 else "met on the fish, eggs still wait"


def judged(parameters: Parameters, custom: Custom, temperature_c: float) -> tuple[CredibleInterval, Probability]:
    """Flukes left of 1,000 a day after the last dose, and elimination with both brakes off."""
    fish = np.full(parameters.size, float(REFERENCE_FISH))
    around = Surroundings(fish / REFERENCE_VOLUME_M3)
    wear = next((f.stages for f in build_cycle(parameters.evidence).forms if f.name == "fresh_egg"), 0)
    stages = (wear, 30, 30)
    population = stable_population(parameters, temperature_c, around, fish * REFERENCE_ADULTS, fish, stages)
    names = sorted(set(custom.agents))
    dt = step_for(parameters, temperature_c)
    steps = np.array([[round(day / dt) for day in custom.days]])
    kinds = np.array([[names.index(agent) for agent in custom.agents]])
    batch = Batch(steps, kinds, [effect_of(name, parameters) for name in names])

    def values(after: float, **how: bool):
        times, horizon = time_grid(0.0, custom.days[-1], dt, 120.0, after)
        place = Habitat(parameters, Temperature.constant(temperature_c), around.fish_per_m3, 0.0, times, horizon)
        return backward(place, batch, [np.array([0])], stages, **how)[0]

    before = population.adults + population.juveniles.sum(0)
    left = 1000 * sum(values(1.0, linear=True, on_fish_only=True).expected(population))[0] / before
    return CredibleInterval.of(left), Probability.of(none_left(values(365.0), population)[0])


def table(draws: int) -> list[dict[str, float | str]]:
    """A row a course and temperature."""
    parameters = establishment_for(draw_parameters(PARASITE, draws, 1), REFERENCE_FISH / REFERENCE_VOLUME_M3)
    rows = []
    for custom in CUSTOMS:
        for temperature in TEMPERATURES_C:
            left, gone = judged(parameters, custom, float(temperature))
            hatched = hatched_share(parameters, custom, float(temperature))
            rows.append(
                {
                    "course": custom.name,
                    "temperature_c": float(temperature),
                    "left_per_1000": round(left.median, 4),
                    "left_low": round(left.low, 4),
                    "left_high": round(left.high, 4),
                    "elimination_probability": round(gone.mean, 4),
                    "hatched_share": round(hatched, 4),
                    "control": aim(left, hatched),
                }
            )
    return rows


def draw_figure(rows: list[dict], path: Path) -> None:
    """Flukes left and elimination over temperature."""
    figure, (left, right) = plt.subplots(1, 2, figsize=(9, 3.6), layout="constrained")
    for custom, colour in zip(CUSTOMS, COLOURS, strict=True):
        mine = [row for row in rows if row["course"] == custom.name]
        x = [row["temperature_c"] for row in mine]
        left.plot(x, [row["left_per_1000"] for row in mine], color=colour, label=custom.name)
        left.fill_between(
            x, [r["left_low"] for r in mine], [r["left_high"] for r in mine], color=colour, alpha=0.15, linewidth=0
        )
        right.plot(x, [row["elimination_probability"] for row in mine], color=colour)
    left.axhline(CONTROL_PER_1000, color="#5b6770", linewidth=0.8, linestyle=":")
    left.set(yscale="log", ylim=(1e-2, 1e4), xlabel="water, °C", ylabel="left of 1 000 flukes on the fish")
    right.set(ylim=(0, 1), xlabel="water, °C", ylabel="probability that none is left")
    left.legend(fontsize=8, frameon=False, loc="upper left")
    for axis in (left, right):
        axis.spines[["top", "right"]].set_visible(False)
    figure.savefig(path, metadata={"Date": None})
    plt.close(figure)


def main(draws: str = "60", folder: str = "analysis") -> None:
    """Write the table and the figure, print what they show."""
    matplotlib.rcParams["svg.hashsalt"] = "burden"  # same draws, same bytes
    results, figures = Path(folder) / "results", Path(folder) / "figures"
    for place in (results, figures):
        place.mkdir(parents=True, exist_ok=True)
    rows = table(int(draws))
    with (results / "customary_courses.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    draw_figure(rows, figures / "customary_courses.svg")
    for custom in CUSTOMS:
        mine = [row for row in rows if row["course"] == custom.name]
        print(f"{custom.name}: at most {CONTROL_PER_1000:g} of 1 000 left")
        for word in ("met", "met on the fish, eggs still wait", "not met"):
            there = [f"{row['temperature_c']:g}" for row in mine if row["control"] == word]
            print(f"  {word}: {', '.join(there) or 'at none of the temperatures'}{' °C' if there else ''}")
        best = max((r for r in mine if "wait" not in r["control"]), key=lambda row: row["elimination_probability"])
        print(f"  best elimination with eggs hatched {best['elimination_probability']:.2f}, "
              f"at {best['temperature_c']:g} °C.")  # fmt: skip


if __name__ == "__main__":
    main(*sys.argv[1:])
