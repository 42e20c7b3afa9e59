"""Does the elimination probability hold for whole flukes?

Run: python analysis/elimination_against_individuals.py [RUNS]     (default 2000; about 8 minutes on one core)

Twelve settings, each started with at most 50 individuals: the share of whole-fluke runs in which none is left, neither
fluke nor egg nor larva, 365 d after the last dose (or the start), against the backward equations. The two share the
list of transitions and the rates, no equation. Both brakes are off and no fish dies, as the definition says.

Writes results/elimination_against_individuals.csv and figures/elimination_against_individuals.svg. The table is kept
setting by setting; a second start goes on where the first ended, and a setting whose prediction has changed since is
run anew. P-values are exact binomial ones, Holm-corrected over the settings: one below 0.05 speaks against them.
"""

from __future__ import annotations

import csv
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.stats import binomtest

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from analysis.individuals import STEP_DAYS, Dose, Ponds, Stock, draw_start, run_ponds  # noqa: E402
from burden.evidence import load_agent  # noqa: E402
from burden.model.dose_effect import DoseEffect  # noqa: E402
from burden.model.elimination.dose_survival import Batch  # noqa: E402
from burden.model.elimination.probability import HORIZON_DAYS, chain_values, time_grid  # noqa: E402
from burden.model.elimination.renewal import Habitat, backward  # noqa: E402
from burden.model.lifecycle.parameters import Parameters, draw_parameters  # noqa: E402
from burden.model.lifecycle.rates import establishment_for  # noqa: E402
from burden.model.lifecycle.transitions import build_cycle  # noqa: E402
from burden.model.temperature import Temperature  # noqa: E402
from burden.treatment.bath import bath_effect  # noqa: E402
from burden.treatment.efficacy_fit import draw_kill  # noqa: E402

__all__ = ["SETTINGS", "Setting", "predicted", "simulated"]

FISH, VOLUME_M3 = 8, 2.0
#: step of the backward equations [d]
_DT = 0.05
#: ponds run side by side
_BATCH = 500
#: chance of dying out below which a pond is given up as lasting
_SURE = 1e-9


@dataclass(frozen=True)
class Setting:
    """One comparison.

    Parameters
    ----------
    name : str
    parasite : str
    draw : int
        Which draw of the parameters.
    values : mapping of str to float
        Values that replace the draw's.
    temperature : Temperature
    start : mapping of str to array_like
        Whole individuals by life form, a number or by equal share of development done.
    dose_days : tuple of float
        Multiples of the step, from 0 on [d].
    bath : (float, float)
        Praziquantel [mg/L], [h].
    loss_per_day : float or None
        Fading of what the dose leaves in the water; None: nothing is left [1/d].
    exchange_per_day : float
        [1/d]
    """

    name: str
    parasite: str
    draw: int
    values: Mapping[str, float]
    temperature: Temperature
    start: Mapping[str, object]
    dose_days: tuple[float, ...] = ()
    bath: tuple[float, float] = (5.0, 24.0)
    loss_per_day: float | None = None
    exchange_per_day: float = 0.0
    horizon_days: float = HORIZON_DAYS

    def parameters(self) -> Parameters:
        """Return the one draw."""
        drawn = draw_parameters(self.parasite, 32, 5).replaced(**self.values)
        return establishment_for(drawn, FISH / VOLUME_M3).take(np.array([self.draw]))

    def effect(self) -> DoseEffect:
        """Return what one dose does."""
        killed = draw_kill(load_agent("praziquantel"), 32, 5)
        effect = bath_effect(killed, *self.bath, loss_per_day=self.loss_per_day or 0.0)
        return (effect if self.loss_per_day else effect.without_residue()).take(np.array([self.draw]))

    @property
    def last_dose(self) -> float:
        """Day from which the horizon counts [d]."""
        return max(self.dose_days, default=0.0)


def predicted(setting: Setting) -> float:
    """Probability by the backward equations that nothing is left at the horizon."""
    parameters = setting.parameters()
    times, horizon = time_grid(0.0, setting.last_dose, _DT, 60.0, after_days=setting.horizon_days)
    density = np.array([FISH / VOLUME_M3])
    habitat = Habitat(parameters, setting.temperature, density, setting.exchange_per_day, times, horizon)
    steps = [round(day / _DT) for day in setting.dose_days]
    values = _by_stage(setting, parameters, habitat, steps) if parameters.development is None else None
    if values is None:
        values = _by_age(setting, habitat, steps)
    log_none = 0.0
    for form, number in setting.start.items():
        number, value = np.atleast_1d(number), values[form]
        log_none += float((number * np.log1p(-np.minimum(value[: number.size], 1 - 1e-15))).sum())
    return float(np.exp(log_none))


def _by_stage(
    setting: Setting, parameters: Parameters, habitat: Habitat, steps: Sequence[int]
) -> dict[str, np.ndarray]:
    effect = setting.effect()
    found = chain_values(build_cycle(parameters.evidence), parameters, habitat, [(step, effect) for step in steps])
    return {form: value[:, 0] for form, value in found.items()}


def _by_age(setting: Setting, habitat: Habitat, steps: Sequence[int]) -> dict[str, np.ndarray]:
    """Values of new adults, larvae and fresh eggs, and of eggs and juveniles by share of development done."""
    row = np.array([sorted(steps, reverse=True) or [-1]])
    batch = Batch(row, np.zeros_like(row), [setting.effect()])
    wear = next((f.stages for f in build_cycle(habitat.parameters.evidence).forms if f.name == "fresh_egg"), 0)
    stages = (wear, *(np.size(setting.start.get(form, 1)) for form in ("egg", "juvenile")))
    found = backward(habitat, batch, [np.array([0])], stages)[0]
    return {
        "fresh_egg": found.fresh_egg[:, 0, 0],
        "egg": found.eggs[:, 0, 0],
        "larva": found.larva[0],
        "juvenile": found.juveniles[:, 0, 0],
        "adult": found.adult[0],
    }


def _safe_number(setting: Setting) -> float:
    """Flukes on the fish, doses over, from which dying out by the horizon is out of the question."""
    first_form = "adult" if setting.parameters().development is not None else "young"
    one = replace(setting, dose_days=(), start={first_form: 1})
    return 2 * np.log(_SURE) / np.log(predicted(one))


def simulated(setting: Setting, runs: int, seed: int, step_days: float = STEP_DAYS) -> int:
    """Number of whole-fluke runs in which nothing is left at the horizon."""
    parameters, effect = setting.parameters(), setting.effect()
    safe = _safe_number(setting)
    end = setting.last_dose + setting.horizon_days
    gone = 0
    for batch, first in enumerate(range(0, runs, _BATCH)):
        count = min(_BATCH, runs - first)
        stock = Stock(np.full((count, FISH), 400.0), np.ones((count, FISH)))
        ponds = Ponds(
            build_cycle(parameters.evidence),
            parameters,
            stock,
            VOLUME_M3,
            setting.temperature,
            setting.exchange_per_day,
            resistance_on=False,
            crowding_on=False,
            deaths_on=False,
        )
        rng = np.random.default_rng([seed, batch, 1])
        start = draw_start(rng, ponds, setting.start, exact=True)
        doses = [Dose(day, effect) for day in setting.dose_days]
        stops = {"stop_above": safe, "stop_when_gone": True, "step_days": step_days}
        record = run_ponds(ponds, start, [0.0, end], doses, seed=[seed, batch], **stops)
        gone += int(np.isfinite(record.gone_day).sum())
    return gone


def _spread(number: int, slots: int) -> np.ndarray:
    """So many individuals, one after the other, over equal shares of development."""
    return np.bincount((np.arange(number) * slots) // number, minlength=slots)


def _first(number: int) -> np.ndarray:
    """So many individuals in the first fortieth of development."""
    return np.append(number, np.zeros(39, int))


def _fixed(value: float) -> Temperature:
    return Temperature.constant(value)


def _egg_layer(
    name: str, draw: int, number: float, temperature: Temperature, start: Mapping[str, object], **more
) -> Setting:
    """A setting of the carp gill fluke that lays few eggs, so that whole eggs can be followed."""
    parasite = more.pop("parasite", "dactylogyrus")
    return Setting(name, parasite, draw, {"fecundity": 6.0, "reproduction_number": number}, temperature, start, **more)


#: everybody: adults, juveniles and eggs of all ages
_ALL = {"adult": 16, "juvenile": _spread(10, 10), "egg": _spread(24, 12)}
_WARMING = Temperature.linear([0.0, 60.0], [14.0, 22.0])
_YEAR = Temperature.yearly(14.0, 7.0, 80.0)

SETTINGS = (
    _egg_layer("two adults, no dose, 20 °C", 0, 1.4, _fixed(20.0), {"adult": 2}),
    _egg_layer("three new settlers, no dose, 15 °C", 1, 2.0, _fixed(15.0), {"juvenile": _first(3)}),
    _egg_layer("40 eggs, water exchanged, 22 °C", 2, 6.0, _fixed(22.0), {"egg": _spread(40, 8)}, exchange_per_day=0.05),
    _egg_layer("30 adults, one dose, 20 °C", 3, 3.0, _fixed(20.0), {"adult": 30}, dose_days=(0.0,)),
    _egg_layer("all ages, two doses 7 d apart, 20 °C", 4, 1.6, _fixed(20.0), _ALL, dose_days=(0.0, 7.0)),
    _egg_layer("all ages, two doses 12 d apart, 20 °C", 5, 2.5, _fixed(20.0), _ALL, dose_days=(0.0, 12.0)),
    _egg_layer("all ages, three doses 6 d apart, 24 °C", 6, 5.0, _fixed(24.0), _ALL, dose_days=(0.0, 6.0, 12.0)),
    _egg_layer(
        "all ages, two doses that linger, 18 °C", 7, 4.0, _fixed(18.0), _ALL, dose_days=(0.0, 10.0), loss_per_day=0.4
    ),
    _egg_layer("all ages, two doses 10 d apart, 14 to 22 °C", 8, 3.0, _WARMING, _ALL, dose_days=(0.0, 10.0)),
    _egg_layer(
        "all ages, three weak doses, yearly course", 9, 3.0, _YEAR, _ALL, dose_days=(0.0, 8.0, 16.0), bath=(2.0, 12.0)
    ),
    _egg_layer(
        "eel gill fluke, all ages, two doses 8 d apart, 24 °C",
        10,
        3.0,
        _fixed(24.0),
        _ALL,
        parasite="pseudodactylogyrus",
        dose_days=(0.0, 8.0),
    ),
    Setting(
        "skin fluke that bears live, one dose, 15 °C",
        "gyrodactylus",
        11,
        {},
        _fixed(15.0),
        {"young": 20, "mother": 10},
        dose_days=(0.0,),
    ),
)

RESULTS = HERE / "results" / "elimination_against_individuals.csv"
FIGURE = HERE / "figures" / "elimination_against_individuals.svg"
_COLUMNS = ("setting", "predicted", "runs", "gone", "share", "low", "high", "p_value", "minutes")


def compare(setting: Setting, runs: int, number: int) -> dict[str, object]:
    """Predict and simulate one setting: a row of the table."""
    began = time.monotonic()
    p = predicted(setting)
    gone = simulated(setting, runs, number)
    test = binomtest(gone, runs, p)
    interval = test.proportion_ci(0.95, "exact")
    minutes = (time.monotonic() - began) / 60
    numbers = (p, runs, gone, gone / runs, interval.low, interval.high, test.pvalue, minutes)
    cells = (f"{float(x):.6g}" if isinstance(x, float) else x for x in numbers)
    return dict(zip(_COLUMNS, (setting.name, *cells), strict=True))


def still_holds(row: Mapping[str, str], setting: Setting, runs: int) -> bool:
    """Tell whether a kept row answers the question as it is put now."""
    return int(row["runs"]) == runs and abs(float(row["predicted"]) - predicted(setting)) < 5e-4


def holm(p_values: Sequence[float]) -> np.ndarray:
    """P-values corrected for their number by Holm's step-down method."""
    order = np.argsort(p_values)
    steps = np.array(p_values)[order] * np.arange(len(order), 0, -1)
    corrected = np.empty(len(order))
    corrected[order] = np.minimum(np.maximum.accumulate(steps), 1)
    return corrected


def draw_figure(rows: Sequence[Mapping[str, object]], path: Path) -> None:
    """Predicted beside simulated, with 95 % intervals."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    matplotlib.rcParams["svg.hashsalt"] = "burden"  # same table, same bytes
    figure, axes = plt.subplots(figsize=(9, 5), layout="constrained")
    places = np.arange(len(rows))[::-1]
    share, low, high = (np.array([float(row[key]) for row in rows]) for key in ("share", "low", "high"))
    axes.errorbar(share, places, xerr=[share - low, high - share], fmt="o", capsize=3, label="whole flukes, 95 %")
    axes.plot([float(row["predicted"]) for row in rows], places, "x", color="black", label="backward equations")
    axes.set_yticks(places, [str(row["setting"]) for row in rows])
    axes.set(xlim=(0, 1), xlabel="probability that nothing is left 365 d after the last dose")
    axes.legend()
    path.parent.mkdir(exist_ok=True)
    figure.savefig(path, metadata={"Date": None})
    plt.close(figure)


def _kept() -> dict[str, Mapping[str, object]]:
    if not RESULTS.exists():
        return {}
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return {row["setting"]: row for row in csv.DictReader(file)}


def _keep(rows: Sequence[Mapping[str, object]]) -> None:
    RESULTS.parent.mkdir(exist_ok=True)
    with RESULTS.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, _COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main(runs: int = 2000) -> None:
    """Run what is missing, write the table and the figure, print what they show."""
    rows = _kept()
    for number, setting in enumerate(SETTINGS, start=1):
        if setting.name not in rows or not still_holds(rows[setting.name], setting, runs):
            rows[setting.name] = compare(setting, runs, number)
            print(rows[setting.name], flush=True)
            _keep([rows[s.name] for s in SETTINGS if s.name in rows])
    done = [rows[s.name] for s in SETTINGS]
    draw_figure(done, FIGURE)
    corrected = holm([float(row["p_value"]) for row in done])
    middle = sum(0.05 < float(row["predicted"]) < 0.95 for row in done)
    worst = max(abs(float(row["share"]) - float(row["predicted"])) for row in done)
    print(
        f"{len(done)} settings of {runs} runs, {middle} with a probability between 0.05 and 0.95: largest difference "
        f"{worst:.3f}, smallest Holm-corrected p-value {corrected.min():.2f}. "
        f"{sum(float(row['minutes']) for row in done):.0f} minutes."
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
