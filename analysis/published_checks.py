"""Every outside figure the model is held against, beside what the model says: pass or miss.

Run: python analysis/published_checks.py [FOLDER]    (default analysis/results; about 2 minutes)

Writes published_checks.csv and prints the misses. Roles: fitted (the model was tuned to the figure, so it counts as no
evidence), left out (fitted, but predicted here by a fit without it), predicted, arithmetic. Only left out and
predicted count as evidence. Tolerances stand beside each row with why. Lot by lot sample-size tables are summed up in
one row a source.
"""

from __future__ import annotations

import csv
import re
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from analysis import deaths_and_blood as toll
from burden.evidence import load_agent, load_parasite
from burden.model.lifecycle.development import draw_development
from burden.model.lifecycle.durations import FIRST, LAST
from burden.model.lifecycle.viviparous import fit_life_table
from burden.sampling import find
from burden.schedule.interval import interval
from burden.treatment.dose import dose
from burden.treatment.efficacy_checks import check_points
from burden.treatment.water_chemistry import unionised_share

PUBLISHED = Path(__file__).parents[1] / "tests" / "published"
DRAWS = 300


@dataclass(frozen=True)
class Check:
    """One outside figure. `tolerance` is the largest difference that passes, in the figure's own unit."""

    what: str
    published: float
    model: float
    role: str
    tolerance: float
    why: str
    source: str

    @property
    def passes(self) -> bool:
        """Whether the model comes close enough."""
        return abs(self.model - self.published) <= self.tolerance + 1e-12

    def row(self) -> dict[str, object]:
        """Return a row of the table."""
        numbers = {name: float(f"{getattr(self, name):.5g}") for name in ("published", "model", "tolerance")}
        return {**asdict(self), **numbers, "result": "pass" if self.passes else "miss"}


def rows(name: str) -> list[dict[str, str]]:
    """Rows of one outside source."""
    with (PUBLISHED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def hatching() -> Iterator[Check]:
    """First and last hatch of the gill fluke of goldfish, and of the other egg-layers."""
    hatch = draw_development(load_parasite("dactylogyrus_vastator"), DRAWS, 20).hatch  # on which it was measured
    for row in rows("zhang_2015_hatching"):
        t = float(row["temperature_c"])
        for name, share in (("first_hatch_days", FIRST), ("last_hatch_days", LAST)):
            value, model = float(row[name]), float(np.median(hatch.quantile_days(share, t)))
            why = "30 %: read by the day, and two readings of the second figure"
            what = f"dactylogyrus_vastator {name} {t:g} °C"
            yield Check(what, value, model, "fitted", 0.3 * value, why, row["source"])
    for row in rows("egg_layers"):
        value, t = float(row["value"]), float(row["temperature_c"])
        model = float(np.median(_read(draw_development(load_parasite(row["set"]), DRAWS, 4), row["quantity"], t)))
        tolerance = float(row["tolerance"])
        why = f"{100 * tolerance:g} %: " + ("close where fitted" if row["role"] == "fitted" else "two laws multiplied")
        what = f"{row['set']} {row['quantity']} {t:g} °C"
        yield Check(what, value, model, row["role"], tolerance * value, why, row["source"])


def _read(development, quantity: str, t: float) -> np.ndarray:
    hatch, maturity = development.hatch, development.maturity
    if quantity.endswith("_hatch_days"):
        return {"f": hatch.quantile_days(FIRST, t), "l": hatch.quantile_days(LAST, t), "m": hatch.mean_days(t)}[
            quantity[0]
        ]
    if quantity == "earliest_maturity_days":
        return maturity.quantile_days(FIRST, t)
    if quantity == "generation_days":
        return hatch.mean_days(t) + maturity.mean_days(t)
    if quantity == "earliest_cycle_days":
        return hatch.quantile_days(FIRST, t) + maturity.quantile_days(FIRST, t)
    return development.hatch_success(t) if quantity == "hatch_success_share" else development.laying_rate(t)


def life_tables() -> Iterator[Check]:
    """Live-bearers: the fit, and each point predicted by the others."""
    for name in ("gyrodactylus_salmonids", "gyrodactylus_guppies"):
        fit = fit_life_table(load_parasite(name))
        sources = {(r["quantity"], float(r["temperature_c"])): r for r in rows("live_bearers") if r["set"] == name}
        for point, fitted, left_out in zip(fit.points, fit.fitted, fit.left_out, strict=True):
            row = sources.get((point.quantity, point.temperature_c))
            if row is None:
                continue
            what = f"{name} {point.quantity} {point.temperature_c:g} °C"
            close = float(row["fit_tolerance"])
            yield Check(
                what,
                point.value,
                fitted,
                "fitted",
                close * point.value,
                f"{100 * close:g} %: as printed",
                row["source"],
            )
            wide = float(row["left_out_tolerance"] or 0.3)
            why = f"{100 * wide:g} %: a life table of some tens of flukes"
            yield Check(what, point.value, left_out, "left out", wide * point.value, why, row["source"])


def kills() -> Iterator[Check]:
    """Every exact published kill of praziquantel, predicted without it where it was fitted."""
    for check in check_points(load_agent("praziquantel")).checks:
        point = check.point
        if point.relation == "equal":
            what = f"praziquantel kill {point.form} {point.mg_l:g} mg/L {point.hours[0]:g} h"
            role = "predicted" if check.left_out is None else "left out"
            half = min(0.5 * (check.blind.high - check.blind.low) + 1.645 * point.scatter, 0.5 * point.kill)
            yield Check(
                what,
                point.kill,
                check.blind.mean,
                role,
                half,
                "half the blind 90 % interval, half the kill at most",
                ", ".join(point.sources),
            )


def deaths() -> Iterator[Check]:
    """Hazard of guppies and sticklebacks with flukes; the weights and the loads within a group are assumptions."""
    slope, power, *loads = toll.table(toll.DERIVED, "guppy_hazard")
    half = 0.5 * (float(slope["high"]) - float(slope["low"]))
    yield Check("guppy hazard per fluke and day", float(slope["value"]), toll.guppy_slope(), "fitted", half,
                "half its 95 % interval", slope["source"])  # fmt: skip
    yield Check("guppy hazard: power of length with which it falls", float(power["value"]), toll.length_power(),
                "fitted", 1.45, "half of it: 4.4 units of log-likelihood put its standard error at about 1",
                power["source"])  # fmt: skip
    for row in loads:
        low, high, value = (float(row[name]) for name in ("load_low", "load_high", "value"))
        error = 1.645 * np.sqrt(float(row["deaths"])) / (2 * float(row["intervals"]))
        yield Check(f"guppy hazard at {low:g} to {high:g} flukes", value, toll.guppy_hazard(low, high), "fitted",
                    error, "90 % of a Poisson number of deaths", loads[0]["source"])  # fmt: skip
    many, few = toll.table(toll.PUBLISHED, "lester_1974_sticklebacks")
    lived = [np.log1p(-int(row["dead"]) / int(row["fish"])) for row in (many, few)]
    yield Check("sticklebacks: hazard above 150 flukes over that below (54 of 67, 33 of 174 dead)", lived[0] / lived[1],
                toll.stickleback_ratio(), "predicted", 0.5 * lived[0] / lived[1],
                "half: loads of 300 and 50 within the groups and a fish of 0.3 g are assumptions",
                many["source"])  # fmt: skip


def blood() -> Iterator[Check]:
    """Haemoglobin of kingfish, by both readings of its fall after the flukes had peaked."""
    four, six = toll.table(toll.PUBLISHED, "mansell_2005_haemoglobin")
    value = float(six["haemoglobin_lost"])
    for reading in ("a lag", "mature flukes"):
        what, model = f"kingfish haemoglobin lost at 6 weeks, as {reading}", toll.kingfish(reading, 6)
        yield Check(what, value, model, "predicted",
                    0.1, "a tenth of the blood: no spread in the abstract; the toll is set by week 4 alone, the "
                    "course of the flukes between is an assumption", six["source"])  # fmt: skip
    lost = float(four["haemoglobin_lost"])
    yield Check("kingfish haemoglobin lost at 4 weeks, by what an adult drinks", lost, toll.kingfish_unfitted(),
                "predicted", 0.5 * lost, "half: weight of the fish (1 kg) and share that feeds (half) are assumptions",
                four["source"])  # fmt: skip


def arithmetic() -> Iterator[Check]:
    """Doses, un-ionised ammonia, and fish to sample: nothing biological."""
    for row in rows("doses"):
        if row["product_ml"]:
            mg_l, litres, strength = (float(row[n]) for n in ("mg_l", "volume_l", "strength_percent"))
            given = dose(row["agent"], litres, mg_l, strength, accept_unpublished=True)
            what = f"{row['agent']} {mg_l:g} mg/L in {litres:g} L at {strength:g} %, mL"
            why = "the digits printed"
            yield Check(what, float(row["product_ml"]), given.product_ml, "arithmetic", float(row["tolerance"]), why,
                        row["source"])  # fmt: skip
    for row in rows("unionised_ammonia"):
        ph, t, value = float(row["ph"]), float(row["temperature_c"]), float(row["percent"])
        share = 100 * unionised_share(ph, t)
        yield Check(f"un-ionised ammonia % pH {ph:g} {t:g} °C", value, share, "arithmetic", 0.02 * value,
                    "2 %: three digits printed, from memory", row["source"])  # fmt: skip
    for name in ("ispm_31_2008", "tcvn_8597_2010"):
        cells = [r for r in rows(name) if r["check"] == "n_detect_finite_hypergeom"]
        right = sum(_fish(cell["inputs"]) == int(cell["expected"]) for cell in cells)
        yield Check(
            f"cells of {name} reproduced", len(cells), right, "arithmetic", 0.0, "whole fish", cells[0]["source"]
        )


def _fish(inputs: str) -> int:
    """Fish to look at by the cell's own rule: printed tables round the infected fish down."""
    at = {name: float(value) for name, value in re.findall(r"(N|prev|conf)=([\d.]+)", inputs)}
    return find(at["prev"], at["conf"], int(at["N"]), round_infected="down").fish


def intervals() -> Iterator[Check]:
    """What print and custom give as a repeat interval against the recommended gap, which was tuned to neither."""
    given = (
        (
            20.0,
            7.0,
            1.0,
            "one day: doses go in on whole days",
            "zhang2015: second treatment a week after the first, 20 °C",
        ),
        (26.0, 5.0, 2.0, "3 to 7 d are in use", "common practice, no source"),
    )
    found = {temperature: interval("dactylogyrus", temperature) for temperature, *_ in given}
    for temperature, gap, tolerance, why, source in given:
        model = found[temperature].recommended.gap_days
        yield Check(f"dactylogyrus repeat gap {temperature:g} °C", gap, model, "predicted", tolerance, why, source)
    printed = next(c for c, known in found[20.0].customary if "zhang2015" in known)
    yield Check("dactylogyrus two doses 7 d apart at 20 °C: left per 1 000", 0.0, printed.survivors_per_1000.median,
                "predicted", 10.0, "control leaves at most 10", "zhang2015")  # fmt: skip


def checks() -> list[Check]:
    """Return every check."""
    return [c for part in (hatching, life_tables, kills, deaths, blood, arithmetic, intervals) for c in part()]


def main(folder: str = "analysis/results") -> list[Check]:
    """Write the table, print how many pass and every miss."""
    found, out = checks(), Path(folder)
    out.mkdir(parents=True, exist_ok=True)
    with (out / "published_checks.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(found[0].row()))
        writer.writeheader()
        writer.writerows(check.row() for check in found)
    for role in dict.fromkeys(check.role for check in found):
        mine = [check for check in found if check.role == role]
        print(f"{role}: {sum(check.passes for check in mine)} of {len(mine)} pass")
    for check in found:
        if not check.passes:
            print(f"miss: {check.what} ({check.role}): {check.published:g} published, {check.model:.4g} by the model")
    return found


if __name__ == "__main__":
    main(*sys.argv[1:])
