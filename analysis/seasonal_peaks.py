"""In which month a pond carries most flukes, and whether one pond can show two seasons: one kind against two.

Run: python -m analysis.seasonal_peaks [FOLDER]    (default analysis/results; about a minute)

Each set is run for three years through the yearly course of the water of a published series (tests/published/
seasonal_peaks.csv; the water's temperatures are assumptions), with both brakes and without deaths of fish. What is
told is the month of the third year in which a fish carries most, over the draws whose flukes are still there. Two
species of one pond that were most in opposite halves of the year ask more: that in one pond some flukes grow faster
in winter (8 °C) and others in summer (28 °C). Flukes of one kind share their draw, so never both; of two kinds each
has its own clock. `opposite` is the chance of both, `reversed` that of a cold kind that grows faster in summer and a
warm one in winter. Writes seasonal_peaks.csv, a row a set and water.

What it shows: flukes like D. extensus peak from May to July and fall sharply in summer heat, as the lake's did.
Resistance of the fish, more than warmth, ends the spring rise of the others, so that D. vastator too is most in May
and June, with a second rise in autumn, where its relative on grass carp stayed high until autumn: a miss that stays
in sight.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from burden.evidence import ParasiteSet, load_parasite  # noqa: E402
from burden.inference.prior import CLASSES  # noqa: E402
from burden.model.forward import Scenario, State, simulate  # noqa: E402
from burden.model.hosts import Fish  # noqa: E402
from burden.model.lifecycle.parameters import draw_parameters  # noqa: E402
from burden.model.lifecycle.rates import Surroundings, establishment_for  # noqa: E402
from burden.model.lifecycle.stable_stages import growth_rate  # noqa: E402
from burden.model.lifecycle.transitions import build_cycle  # noqa: E402
from burden.model.susceptibility import susceptibility_classes  # noqa: E402
from burden.model.temperature import Temperature  # noqa: E402

__all__ = ["COOL", "WARM", "burdens", "opposite", "peak_months", "rows", "series"]

PUBLISHED = ROOT / "tests" / "published" / "seasonal_peaks.csv"
FISH, WEIGHT_G, VOLUME_M3, YEARS, DRAWS = 40.0, 400.0, 10.0, 3, 200
#: months of late winter and spring, and of summer and autumn, as the series of two species has them
COOL, WARM = (2, 3, 4, 5), (6, 7, 8, 9, 10, 11)
#: winter and summer water of the pond of two species, as in tests/published/seasons.csv: assumptions [°C]
WINTER_C, SUMMER_C = 8.0, 28.0
OF_CARP = ("dactylogyrus_vastator", "dactylogyrus_extensus", "dactylogyrus")
#: fewer flukes than this a fish at their peak are taken for none: a series is of flukes that were there
_THERE = 0.05


def series() -> list[dict[str, str]]:
    """Rows of the published series."""
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def burdens(evidence: ParasiteSet, row: dict[str, str], draws: int = DRAWS, seed: int = 1) -> np.ndarray:
    """Flukes a fish every five days of the last year, from 1 January on, shape (73, draws)."""
    month, day = map(int, row["warmest_day"].split("-"))
    since = -(date(2001, month, day) - date(2001, 1, 1)).days
    water = Temperature.yearly(float(row["mean_c"]), float(row["swing_c"]), since, (-10, 365 * YEARS + 10))
    p = establishment_for(draw_parameters(evidence, draws, seed), FISH / VOLUME_M3)
    cycle, classes = build_cycle(evidence), susceptibility_classes(p["aggregation"], CLASSES).means
    pond = Scenario(
        cycle, p, Fish(np.full((1, draws), WEIGHT_G), classes), water, np.full(draws, VOLUME_M3), deaths_on=False
    )
    none, alive = np.zeros(draws), np.full((1, CLASSES, draws), FISH / CLASSES)
    flukes = {f.name: np.full((f.stages, 1, draws), 20.0 / f.stages) for f in cycle.forms if f.place == "fish"}
    eggs = {f.name: np.full((f.stages, draws), 1000.0 / f.stages) for f in cycle.forms if f.place == "water"}
    start = State(eggs, flukes, alive, np.ones_like(alive), none, none, none)
    days = np.concatenate([[0.0], 365.0 * (YEARS - 1) + np.arange(0.0, 365.0, 5.0)])
    return simulate(pond, start, days, max_step_days=0.5).per_gram[1:] * WEIGHT_G


def peak_months(course: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Month with most flukes and whether there are any, shape (draws,) each."""
    return (course.argmax(0) * 5 / 365 * 12).astype(int) + 1, course.max(0) > _THERE


def _shares(evidence: ParasiteSet, row: dict[str, str]) -> dict[str, object]:
    month, there = peak_months(burdens(evidence, row))
    month = month[there]
    published = tuple(map(int, row["months"].split()))
    halves = {"chance_in_months": published, "chance_cool_half": COOL, "chance_warm_half": WARM}
    shares = {name: round(float(np.isin(month, months).mean()), 3) for name, months in halves.items() if months}
    nothing = {"chance_in_months": ""}
    return {"median_month": int(np.median(month)), "there": round(float(there.mean()), 3), **nothing, **shares}


def opposite(first: ParasiteSet, second: ParasiteSet, draws: int = 400, seed: int = 1) -> tuple[float, float]:
    """Chance that flukes of one pond grow faster in summer and others of it in winter, and the chance of the reverse.

    Parameters
    ----------
    first, second : ParasiteSet
        The kinds; twice the same set where there is one kind alone.
    draws, seed : int
    """
    grows = [[_growth(kind, t, draws, seed) for t in (WINTER_C, SUMMER_C)] for kind in (first, second)]
    there = np.all([np.maximum(*pair) > 0 for pair in grows], axis=0)
    warm, cold = (pair[1][there] > pair[0][there] for pair in grows)
    return round(float((warm & ~cold).mean()), 3), round(float((~warm & cold).mean()), 3)


def _growth(evidence: ParasiteSet, temperature_c: float, draws: int, seed: int) -> np.ndarray:
    p = establishment_for(draw_parameters(evidence, draws, seed), FISH / VOLUME_M3)
    return growth_rate(p, temperature_c, Surroundings(np.full(draws, FISH / VOLUME_M3)))


def rows() -> Iterator[dict[str, object]]:
    """Each series by its own set, then the water of the pond of two species by carp's flukes of one kind and of two."""
    pond = next(row for row in series() if row["parasite"] == "dactylogyrus_lamellatus")
    told = "that water for flukes of carp: can one pond show both seasons? Other hosts and species than the series"
    carp = [{**pond, "parasite": name, "months": "", "what": told, "role": "predicted", "note": ""} for name in OF_CARP]
    for row in (*series(), *carp):
        evidence = load_parasite(row["parasite"])
        kinds = list(evidence.mixture.kinds.values()) if evidence.mixture else [evidence]
        both, backwards = opposite(kinds[0], kinds[-1])
        yield {
            **{key: row[key] for key in ("source", "parasite", "what", "role")},
            **_shares(evidence, row),
            **{"opposite": both, "reversed": backwards, "note": row["note"]},
        }


def main(folder: str = "analysis/results") -> None:
    """Write the table and print it."""
    out, found = Path(folder), list(rows())
    out.mkdir(parents=True, exist_ok=True)
    with (out / "seasonal_peaks.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(found[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(found)
    for row in found:
        halves = f"cool half {row['chance_cool_half']:g}, warm half {row['chance_warm_half']:g}"
        told = (
            f"in the published months {row['chance_in_months'] or '-'}; {halves}; both in one pond {row['opposite']:g}"
        )
        print(f"{row['parasite']}: median month {row['median_month']}, {told} ({row['what']})")


if __name__ == "__main__":
    main(*sys.argv[1:])
