"""Which uncertain numbers matter most: to the repeat interval, to deaths, and to being rid of the flukes.

Run: python analysis/sensitivity.py [DRAWS]     (default 512, a power of two; minutes stand in analysis/README.md)

Variance-based indices by pick and freeze. Two ensembles A and B are drawn apart; for each input a third is A with that
input alone taken from B. The first-order index of an input is the share of an answer's variance that would go if it
were known; the total index is the share that would stay if everything else were known, so it counts what an input does
together with others. Inputs are independent by construction: what the bath kills and shelters is one input, for its
draws are tied together by the published kills, and so are a law of hatching with its spread, and of maturity.

The pond is invented: 40 fish of 400 g in 10 m³ at 20 °C, give or take 1 °C, no exchange; Dactylogyrus; praziquantel as
is customary, acting at once, three doses five days apart. Answers: longest safe gap, earliest day of the last dose,
deaths by day 60 untreated and treated, probability of elimination of the three doses with both brakes off.

Writes results/sensitivity.csv (one row an answer and input) and figures/sensitivity.svg. Inputs already run are kept in
results/sensitivity_runs.npz, and a second start goes on where the first ended; delete the file after a change.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from burden.evidence import load_agent, load_parasite  # noqa: E402
from burden.inference.prior import CLASSES, Ensemble  # noqa: E402
from burden.model.dose_effect import DoseEffect  # noqa: E402
from burden.model.elimination.probability import DoseSchedule, eliminations  # noqa: E402
from burden.model.forward import COARSE_STEP_DAYS, Event, Scenario, simulate  # noqa: E402
from burden.model.hosts import Fish  # noqa: E402
from burden.model.lifecycle.development import Development, draw_development  # noqa: E402
from burden.model.lifecycle.durations import DurationTable  # noqa: E402
from burden.model.lifecycle.parameters import Parameters, draw_parameters  # noqa: E402
from burden.model.lifecycle.rates import establishment_for  # noqa: E402
from burden.model.lifecycle.transitions import build_cycle  # noqa: E402
from burden.model.susceptibility import susceptibility_classes  # noqa: E402
from burden.model.temperature import Temperature  # noqa: E402
from burden.model.windows import windows_after  # noqa: E402
from burden.treatment.bath import bath_effect  # noqa: E402
from burden.treatment.efficacy_fit import draw_kill  # noqa: E402
from burden.utils.random_streams import uniform_draws  # noqa: E402

__all__ = ["ANSWERS", "INPUTS", "Inputs", "answers_of", "draw_ensemble", "indices_of"]

FISH, WEIGHT_G, VOLUME_M3, WATER_C, WATER_SD_C = 40.0, 400.0, 10.0, 20.0, 1.0
DOSE_DAYS = (0.0, 5.0, 10.0)
_SEEDS = (1, 2)
_RESAMPLES = 200

#: numbers of the set that are swapped one by one, in words
_VALUES = {
    "reproduction_number": "reproduction number R0",
    "fecundity": "eggs per adult and day",
    "adult_life_days": "adult life",
    "adult_life_q10": "adult life, its Q10",
    "larval_life_days": "larval life",
    "juvenile_mortality": "juvenile mortality",
    "egg_mortality": "egg mortality",
    "contact_rate": "contact rate",
    "contact_half_density": "contact half-density",
    "burden_scale": "burden at which laying halves",
    "resistance_gain_degree_days": "heat needed to gain resistance",
    "resistance_loss_per_day": "loss of resistance",
    "resistance_half_burden": "burden that half saturates resistance",
    "background_hazard": "deaths without flukes",
    "hazard_per_burden": "deaths per fluke/g",
    "aggregation": "aggregation k",
    "strain_factor": "strain: all development slower or faster",
}
_OTHERS = {
    "hatching": "law and spread of hatching",
    "maturity": "law and spread of maturity",
    "bath": "what the bath kills and shelters",
    "water": "water temperature",
    "abundance": "flukes on the fish today",
    "resistance": "resistance of the fish today",
}
INPUTS = {**_VALUES, **_OTHERS}
ANSWERS = {
    "longest_safe_gap_days": "Longest safe gap",
    "last_dose_not_before_day": "Earliest last dose",
    "deaths_untreated": "Deaths by day 60, untreated",
    "deaths_treated": "Deaths by day 60, three doses",
    "elimination_probability": "Rid of them by three doses",
}


@dataclass(frozen=True)
class Inputs:
    """M draws of every input.

    Parameters
    ----------
    parameters : Parameters
        Without establishment; development as of a strain factor of one.
    effect : DoseEffect
    water_c, abundance, resistance : numpy.ndarray
        Departure of the water from 20 °C [°C], flukes per fish, and how far resistance has come to its balance (M,).
    """

    parameters: Parameters
    effect: DoseEffect
    water_c: np.ndarray
    abundance: np.ndarray
    resistance: np.ndarray

    def with_input(self, name: str, other: Inputs) -> Inputs:
        """Return the ensemble with one input taken from another."""
        if name in _VALUES:
            return replace(self, parameters=self.parameters.replaced(**{name: other.parameters[name]}))
        if name in ("hatching", "maturity"):
            mine, theirs = self.parameters.development, other.parameters.development
            # whatever belongs to eggs goes with hatching
            mixed = replace(theirs, maturity=mine.maturity) if name == "hatching" else replace(
                mine, maturity=theirs.maturity)  # fmt: skip
            return replace(self, parameters=replace(self.parameters, development=mixed))
        field = {"bath": "effect", "water": "water_c"}.get(name, name)
        return replace(self, **{field: getattr(other, field)})


def draw_ensemble(draws: int, seed: int) -> Inputs:
    """Draw every input from what is believed of it; of flukes of one kind, as inputs of two are not apart."""
    from scipy.special import ndtri

    mixture = load_parasite("dactylogyrus").mixture
    assert mixture is not None
    evidence = mixture.kinds["dactylogyrus_vastator"]
    one = replace(evidence.values["strain_factor"], value=1.0, low=1.0, high=1.0)
    plain = draw_development(evidence.with_overrides({"strain_factor": one}), draws, seed)
    kill = draw_kill(load_agent("praziquantel"), draws, seed)
    normal = {name: ndtri(uniform_draws(f"sensitivity {name}", draws, seed)) for name in ("water", "abundance")}
    return Inputs(
        replace(draw_parameters(evidence, draws, seed), development=plain),
        bath_effect(kill, kill.customary_mg_l).without_residue(),
        WATER_SD_C * normal["water"],
        # prior mean abundance of 400 g fish: median 100, standard deviation of its logarithm 2
        100.0 * np.exp(2.0 * normal["abundance"]),
        uniform_draws("sensitivity resistance", draws, seed),
    )


def _strained(parameters: Parameters) -> Parameters:
    """Let the strain factor slow all development."""
    d, strain = parameters.development, parameters["strain_factor"]

    def slower(table: DurationTable) -> DurationTable:
        return replace(table, mean_rate=table.mean_rate / strain)

    fresh = replace(d.fresh, rate_at_20=d.fresh.rate_at_20 / strain)
    slow: Development = replace(d, hatch=slower(d.hatch), maturity=slower(d.maturity), fresh=fresh)
    return replace(parameters, development=slow)


def answers_of(ensemble: Inputs, timing_only: bool = False) -> dict[str, np.ndarray]:
    """Every answer, draw by draw, shape (M,) each; only those on the interval if so asked."""
    p = establishment_for(_strained(ensemble.parameters), FISH / VOLUME_M3)
    # the departure has been there long before day 0
    water = replace(Temperature.constant(WATER_C), drift_c=ensemble.water_c, known_until_days=-1000.0)
    windows = windows_after(p, ensemble.effect.sheltered_fraction, water)
    timing = {
        "longest_safe_gap_days": windows.longest_safe_gap,
        "last_dose_not_before_day": windows.last_dose_not_before,
    }
    return timing if timing_only else {**timing, **_courses(ensemble, p, water)}


def _courses(ensemble: Inputs, p: Parameters, water: Temperature) -> dict[str, np.ndarray]:
    m, effect = p.size, ensemble.effect
    fish = Fish(np.full((1, m), WEIGHT_G), susceptibility_classes(p["aggregation"], CLASSES).means)
    setting = Scenario(build_cycle(p.evidence), p, fish, water, np.full(m, VOLUME_M3))
    pond = Ensemble(None, p.evidence.name, setting, 0)  # the pond of no case: only its start is asked
    state = pond.start(ensemble.abundance, np.array([FISH]), 0.0, ensemble.resistance)
    doses = [Event.dose(day, effect, setting.cycle) for day in DOSE_DAYS]
    deaths = {
        name: simulate(setting, state, [0.0, 60.0], events, COARSE_STEP_DAYS).deaths[-1]
        for name, events in (("deaths_untreated", ()), ("deaths_treated", doses))
    }
    plan = DoseSchedule(DOSE_DAYS, ("praziquantel",) * len(DOSE_DAYS))
    return {
        **deaths,
        "elimination_probability": np.exp(eliminations(setting, state, [plan], {"praziquantel": effect})[0]),
    }


def indices_of(f_a: np.ndarray, f_b: np.ndarray, f_ab: np.ndarray, seed: int = 1) -> dict[str, np.ndarray]:
    """First-order and total indices with their 5 and 95 % points by bootstrap.

    Parameters
    ----------
    f_a, f_b : numpy.ndarray
        The answer in both ensembles, shape (M,), M a power of two.
    f_ab : numpy.ndarray
        In A with each input from B, shape (D, M).
    seed : int
        Of the bootstrap.

    Returns
    -------
    dict of str to numpy.ndarray
        first and total, shape (3, D): estimate, low, high.
    """
    rng, whole = np.random.default_rng(seed), _orders(f_a, f_b, f_ab)
    again = []
    for _ in range(_RESAMPLES):
        rows = rng.integers(0, len(f_a), len(f_a))
        again.append(_orders(f_a[rows], f_b[rows], f_ab[:, rows]))
    low, high = np.quantile(again, [0.05, 0.95], axis=0)
    return {order: np.array([whole[i], low[i], high[i]]) for i, order in enumerate(("first", "total"))}


def _orders(f_a: np.ndarray, f_b: np.ndarray, f_ab: np.ndarray) -> np.ndarray:
    """First-order and total indices, shape (2, D)."""
    from scipy.stats import sobol_indices

    found = sobol_indices(func={"f_A": f_a[None], "f_B": f_b[None], "f_AB": f_ab[:, None]}, n=len(f_a))
    return np.array([np.ravel(found.first_order), np.ravel(found.total_order)])


def _run_all(draws: int, inputs: Sequence[str], store: Path) -> tuple[dict, dict, dict[str, dict]]:
    """Answers of A, of B, and of A with each input from B, by input; kept as they come."""
    a, b = (draw_ensemble(draws, seed) for seed in _SEEDS)
    jobs = {"A": a, "B": b, **{name: a.with_input(name, b) for name in inputs}}
    kept = dict(np.load(store)) if store.exists() else {}
    for job, ensemble in jobs.items():
        if f"{job}/{draws}/deaths_treated" not in kept:
            print(f"running {job}", flush=True)
            kept |= {f"{job}/{draws}/{answer}": x for answer, x in answers_of(ensemble).items()}
            np.savez_compressed(store, **kept)
    table = {job: {answer: kept[f"{job}/{draws}/{answer}"] for answer in ANSWERS} for job in jobs}
    return table.pop("A"), table.pop("B"), table


def _known(name: str) -> str:
    """How an input is known, in the words of the evidence."""
    value = load_parasite("dactylogyrus").values.get(name)
    if value is not None:
        return value.known
    return {"bath": "read, and assumptions", "hatching": "read", "maturity": "read, scaled by assumption"}.get(
        name, "of the case"
    )


def _draw_figure(rows: list[dict[str, object]], path: Path) -> None:
    import matplotlib.pyplot as plt

    from burden.report.figures.style import BAND_50, GREY, INK, LINE, bare, svg_bytes

    def draw():
        figure, axes = plt.subplots(len(ANSWERS), 1, figsize=(7, 8.5), sharex=True, layout="constrained")
        for axis, (answer, title) in zip(axes, ANSWERS.items(), strict=True):
            mine = [r for r in rows if r["answer"] == answer and float(r["total"]) > 0.001]
            top = sorted(mine, key=lambda r: -float(r["total"]))[:5]
            places = np.arange(len(top))[::-1]
            axis.barh(places, [float(r["total"]) for r in top], 0.7, color=BAND_50)
            axis.barh(places, [max(float(r["first"]), 0) for r in top], 0.3, color=LINE)
            for place, row in zip(places, top, strict=True):
                axis.plot([float(row["total_low"]), float(row["total_high"])], [place, place], color=GREY, linewidth=1)
            axis.set_yticks(places, [r["words"] for r in top])
            axis.set_title(title, loc="left", fontsize=9, color=INK)
            bare(axis, 7.5)
        axes[-1].set_xlabel(
            "share of the variance\nbroad bar: alone and with others (line: 5 to 95 %); narrow bar: alone"
        )
        return figure

    path.write_bytes(svg_bytes(draw, "sensitivity"))


def main(draws: int = 512) -> None:
    """Write the table and the figure, print the five inputs that matter most to each answer."""
    for folder in ("results", "figures"):
        (HERE / folder).mkdir(exist_ok=True)
    in_a, in_b, swapped = _run_all(draws, list(INPUTS), HERE / "results" / "sensitivity_runs.npz")
    rows = []
    for answer, title in ANSWERS.items():
        found = indices_of(in_a[answer], in_b[answer], np.array([x[answer] for x in swapped.values()]))
        mine = [
            {"answer": answer, "input": name, "words": INPUTS[name], "known": _known(name),
             **{f"{order}{end}": f"{found[order][i, d]:.4f}" for order in ("first", "total")
                for i, end in enumerate(("", "_low", "_high"))}}
            for d, name in enumerate(swapped)
        ]  # fmt: skip
        rows += sorted(mine, key=lambda r: -float(r["total"]))
        print(f"{title}: " + ", ".join(f"{r['words']} {float(r['total']):.2f}" for r in rows[-len(mine) :][:5]))
    with (HERE / "results" / "sensitivity.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    _draw_figure(rows, HERE / "figures" / "sensitivity.svg")


if __name__ == "__main__":
    import matplotlib

    matplotlib.use("Agg")
    main(*map(int, sys.argv[1:]))
