"""Do forecasts from visit to visit hold? Ponds of the prior, looked at three times; each look beside its forecast.

Run: python analysis/visit_forecasts.py [PONDS]     (default 24; about 5 s a pond on one core)

Each pond is one draw of the prior: 40 carp at 20 °C, a bath of praziquantel after the first look in every second one,
five random fish clipped on days −42, −21 and 0, counts drawn here and not by the code under test. `burden` sees the
case alone, and says what the second and the third look were to show, by the rows before each. If its forecasts are
right, the places of what was counted are uniform: nine of ten lie inside the band, and their mean is 0.5. Besides,
whether the true burden of the day lies in its band.

Writes results/visit_forecasts.csv, a row a forecast.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from burden.case import Action, Case, ConstantTemperature, FishGroup, Preparation, Uncertain, Water  # noqa: E402
from burden.inference.estimate import estimate  # noqa: E402
from burden.inference.history import HistoryRuns, run_past  # noqa: E402
from burden.inference.pond_history import Calibration  # noqa: E402
from burden.inference.sampler import Effort, TooFewDrawsError  # noqa: E402
from burden.inference.visit_forecasts import VisitForecast, past_ponds, visit_forecasts  # noqa: E402
from burden.statistics import part_count_size  # noqa: E402

__all__ = ["a_pond", "looked_at", "study"]

VISIT, DAYS, FISH, SHARE = date(2026, 7, 1), (-42, -21, 0), 5, 0.02
RESULTS = HERE / "results" / "visit_forecasts.csv"
EFFORT = Effort(300, 700, 80.0)


def a_pond(dosed: bool) -> Case:
    """Return the pond before anything was counted."""
    known = Uncertain(10_000.0, 10_000.0, 10_000.0, "study"), Uncertain(400.0, 400.0, 400.0, "study")
    water = Water(known[0], "fresh", ConstantTemperature(20.0), outlook="heated")
    bath = Action(VISIT + timedelta(days=DAYS[0]), agent="praziquantel", route="bath", mg_l=5.0, hours=24.0)
    rows = tuple(
        Preparation(
            VISIT + timedelta(days=day), str(i), "random", "gill", 0, 0, method="gill_clip", fraction_examined=SHARE
        )
        for day in DAYS
        for i in range(FISH)
    )
    fish = (FishGroup("common carp", 40, False, known[1]),)
    given = (bath,) if dosed else ()
    return Case(
        "study", visit_date=VISIT, water=water, fish=fish, parasites=("dactylogyrus",), samples=rows, given=given
    )


def looked_at(case: Case, truth: HistoryRuns, pond: int, rng: np.random.Generator) -> Case:
    """Return the case with what one of the true ponds showed."""
    k, seen = float(truth.pond.setting.parameters["aggregation"][pond]), truth.seen
    size = float(part_count_size(np.array([SHARE]), seen.part_shape[[pond]])[0])
    rows = []
    for row in case.samples:
        mean = float(truth.by_day[float(case.day_of(row.date))]["all"][pond])
        on_site = rng.gamma(k) * mean / k * seen.site_share[pond] * seen.detection[pond]
        count = int(rng.poisson(on_site * SHARE * rng.gamma(size) / size))
        rows.append(replace(row, count_low=count, count_high=count))
    return replace(case, samples=tuple(rows))


def study(ponds: int) -> Iterator[tuple[int, VisitForecast, float]]:
    """Yield number of the pond, one forecast, and the true burden on that day [flukes/fish]."""
    for dosed in (False, True):
        case = a_pond(dosed)
        truth = run_past(case, "dactylogyrus", ponds // 2, 90_001 + dosed)
        for pond in range(ponds // 2):
            seen = looked_at(case, truth, pond, np.random.default_rng([7, dosed, pond]))
            try:
                found = estimate(seen, draws=60, seed=500 + pond, effort=EFFORT)
            except TooFewDrawsError:
                continue
            for one in visit_forecasts(found, past_ponds(found)):
                yield 2 * pond + dosed, one, float(truth.by_day[float(case.day_of(one.date))]["all"][pond])


def main(ponds: int) -> None:
    """Run the study, write its table, and print what it comes to."""
    rows, forecasts, held = [], [], 0
    for pond, one, burden in study(ponds):
        forecasts.append(one)
        inside = one.burden.low <= burden <= one.burden.high
        held += inside and one.can_be_judged
        rows.append({"pond": pond, **_flat(one), "burden": burden, "burden_inside": inside})
    with RESULTS.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    c = Calibration.of(forecasts)
    said = f"{len(forecasts)} forecasts, {c.checked} judged: {c.more} showed more, {c.fewer} fewer flukes than expected"
    print(said)
    print(f"mean place {c.lean:.2f} (chance {c.chance_lean:.2f}), verdict {c.verdict}; true burden inside in {held}")


def _flat(one: VisitForecast) -> dict[str, object]:
    return {
        "date": one.date.isoformat(),
        "counted": one.counted,
        **{f"counts_{end}": getattr(one.counts, end) for end in ("low", "median", "high")},
        **{f"burden_{end}": getattr(one.burden, end) for end in ("low", "median", "high")},
        "place": one.place,
        "effective_draws": one.effective_draws,
        "verdict": one.verdict,
    }


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)
