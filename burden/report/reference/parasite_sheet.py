"""What is known of the parasite sets: one line a set, or one sheet with every value, law and point."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from burden.evidence import KIND_SHARE, ParasiteSet, Value, load_parasite, parasite_names, reference
from burden.model.lifecycle.development import days_per_egg
from burden.model.lifecycle.thermal_curves import Curve, thermal_curves
from burden.model.lifecycle.thermal_laws import LawFit, fit_laws
from burden.model.lifecycle.viviparous import LIFE_TABLE, LifeTableFit, fit_life_table
from burden.report.reference.how_known import how_known, mover_words, movers_of_set
from burden.utils.results import Result, number

__all__ = ["QUESTIONS", "ParasiteList", "ParasiteSheet", "parasite_list", "parasite_sheet"]

#: what a set can be asked
QUESTIONS = ("windows", "burden", "deaths", "elimination")
_NO_EGGS = "a live-bearer has no eggs to wait for: newborn flukes are on the fish already"
_FITTED = ("first_hatch_days", "last_hatch_days", "mean_hatch_days", "earliest_maturity_days")


def _answers(evidence: ParasiteSet) -> dict[str, str | None]:
    """Why each question is refused; None where it is answered."""
    reasons = {question: evidence.refusal(question) for question in QUESTIONS}
    if not evidence.lays_eggs:
        reasons["windows"] = _NO_EGGS
    return reasons


def _kind(evidence: ParasiteSet) -> str:
    return "egg_layer" if evidence.lays_eggs else "live_bearer"


def _measured(evidence: ParasiteSet) -> dict[str, tuple[float, float]]:
    """Coldest and warmest temperature measured, by quantity; borrowed points are not the set's own."""
    found: dict[str, tuple[float, float]] = {}
    for point in evidence.points:
        if point.borrowed_from is None and not point.quantity.startswith("hatch_after_"):
            low, high = found.get(point.quantity, (point.temperature_c, point.temperature_c))
            found[point.quantity] = (min(low, point.temperature_c), max(high, point.temperature_c))
    return dict(sorted(found.items()))


def _borrowed(evidence: ParasiteSet) -> dict[str, list[str]]:
    """Names of what was borrowed, by lender; general assumptions come from the set they were written for."""
    lent: dict[str, set[str]] = {}
    for item in evidence.figures:
        if item.borrowed_from:
            name = item.name if isinstance(item, Value) else item.quantity
            lent.setdefault(item.borrowed_from, set()).add(name)
    return {lender: sorted(names) for lender, names in sorted(lent.items())}


def _range(low_high: tuple[float, float]) -> str:
    low, high = low_high
    return f"{low:g} °C" if low == high else f"{low:g} to {high:g} °C"


@dataclass(frozen=True)
class ParasiteList(Result):
    """Every parasite set: what it is, what it can answer, what was measured and what is borrowed."""

    sets: tuple[ParasiteSet, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"parasites": [self._entry(evidence) for evidence in self.sets]}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a set."""
        return [
            {
                "name": e.name,
                "title": e.title,
                "kind": _kind(e),
                "site": e.site,
                "water": " ".join(e.water),
                **{question: "no" if reason else "yes" for question, reason in _answers(e).items()},
                "measured": "; ".join(f"{name} {_range(r)}" for name, r in _measured(e).items()),
                "borrowed": "; ".join(f"{len(names)} from {lender}" for lender, names in _borrowed(e).items()),
            }
            for e in self.sets
        ]

    def text(self) -> str:
        """Return the list in words."""
        lines = []
        for row in self.rows():
            answers = [question for question in QUESTIONS if row[question] == "yes"]
            lines += [
                f"{row['name']}: {row['title']}",
                f"  {row['site']}, {row['water'].replace(' ', ' or ')} water; answers {', '.join(answers)}",
                f"  measured: {row['measured'] or 'nothing of its own against temperature'}",
            ]
            lines += [f"  borrowed: {row['borrowed']}"] if row["borrowed"] else []
        return "\n".join(lines)

    @staticmethod
    def _entry(evidence: ParasiteSet) -> dict[str, Any]:
        return {
            "name": evidence.name,
            "title": evidence.title,
            "kind": _kind(evidence),
            "site": evidence.site,
            "water": list(evidence.water),
            "hosts": list(evidence.hosts),
            "blood_feeder": evidence.blood_feeder,
            "answers": {q: reason is None for q, reason in _answers(evidence).items()},
            "refusals": {q: reason for q, reason in _answers(evidence).items() if reason},
            "measured_c": {name: list(r) for name, r in _measured(evidence).items()},
            "borrowed": _borrowed(evidence),
        }


@dataclass(frozen=True)
class ParasiteSheet(Result):
    """All that is known of one parasite set.

    Parameters
    ----------
    evidence : ParasiteSet
    laws : mapping of str to tuple of LawFit
        Every law fitted to every duration measured at two temperatures or more, by quantity.
    life_table : LifeTableFit or None
        Of live-bearers with a life table of their own.
    curves : tuple of Curve
        What follows, against temperature.
    """

    evidence: ParasiteSet
    laws: Mapping[str, tuple[LawFit, ...]]
    life_table: LifeTableFit | None
    curves: tuple[Curve, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            **ParasiteList._entry(self.evidence),
            "notes": list(self.evidence.notes),
            "not_for": list(self.evidence.not_for),
            "values": self.rows(),
            "points": self._points(),
            "mixture": _mixture(self.evidence),
            "moves_most": [asdict(mover) for mover in movers_of_set(self.evidence)],
            "laws": self.law_rows(),
            "life_table": self.life_table_rows(),
            "curves": [curve.as_dict() for curve in self.curves],
            "sources": {key: reference(key) for key in self.evidence.source_keys()},
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a value."""
        fitted = self.life_table.values if self.life_table else {}
        return [
            {
                "name": v.name,
                "value": v.value,
                "low": v.low,
                "high": v.high,
                "fitted": number(fitted.get(v.name)),
                "unit": v.unit,
                "temperature_c": v.temperature_c,
                "known": v.known,
                "how_known": how_known(v.known, v.sources),
                "sources": " ".join(v.sources),
                "borrowed_from": v.borrowed_from,
                "conditions": v.conditions,
            }
            for v in sorted(self.evidence.values.values(), key=lambda v: v.name)
        ]

    def law_rows(self) -> list[dict[str, Any]]:
        """Return one row a law and point: measured, fitted, and predicted from the other points."""
        return [
            {
                "quantity": quantity,
                "law": fit.law,
                "weight": fit.weight,
                "temperature_c": float(t),
                "measured": float(measured),
                "fitted": number(fitted),
                "residual": number(fitted - measured),
                "left_out": number(left_out),
                "role": "fitted; left_out is predicted from the other points",
            }
            for quantity, fits in self.laws.items()
            for fit in fits
            for t, measured, fitted, left_out in zip(fit.points_c, fit.measured, fit.fitted, fit.left_out, strict=True)
        ]

    def life_table_rows(self) -> list[dict[str, Any]]:
        """Return one row a point of the life table: measured, fitted, and predicted from the other points."""
        table = self.life_table
        if table is None:
            return []
        return [
            {
                "quantity": p.quantity,
                "temperature_c": p.temperature_c,
                "measured": p.value,
                "low": p.low,
                "high": p.high,
                "fitted": float(fitted),
                "residual": float(fitted - p.value),
                "left_out": float(left_out),
                "role": "fitted; left_out is predicted from the other points",
            }
            for p, fitted, left_out in zip(table.points, table.fitted, table.left_out, strict=True)
        ]

    def text(self) -> str:
        """Return the sheet in words."""
        known = self.evidence
        blocks = {
            f"{self.evidence.title}": [
                f"{_kind(known).replace('_', '-')}, on the {known.site}, {' or '.join(known.water)} water",
                f"hosts: {', '.join(known.hosts)}",
                f"not for: {', '.join(known.not_for)}",
            ],
            "Notes": list(self.evidence.notes),
            "Kinds": _kind_lines(known),
            "Answers": [f"{q}: {reason or 'yes'}" for q, reason in _answers(self.evidence).items()],
            "Values (5 to 95 %)": [_value_line(row) for row in self.rows()],
            "What moves the answers of a default case most (rank correlation)": [
                mover_words(mover) for mover in movers_of_set(known)
            ],
            "Points": [_point_line(row) for row in self._points()],
            "Laws fitted to the points": list(self._law_lines()),
            "Life table": [_table_line(row) for row in self.life_table_rows()],
            "Sources": [f"{key}: {reference(key)}" for key in self.evidence.source_keys()],
        }
        return "\n".join(
            line for title, lines in blocks.items() if lines for line in (title, *(f"- {words}" for words in lines))
        )

    def _points(self) -> list[dict[str, Any]]:
        return [
            {
                "quantity": p.quantity,
                "temperature_c": p.temperature_c,
                "value": p.value,
                "low": p.low,
                "high": p.high,
                "known": p.known,
                "sources": list(p.sources),
                "borrowed_from": p.borrowed_from,
                "conditions": p.conditions,
            }
            for p in self.evidence.points
        ]

    def _law_lines(self) -> Iterator[str]:
        for quantity, fits in self.laws.items():
            for fit in fits:
                missed = ", ".join(f"{r:+.2g} at {t:g} °C" for t, r in zip(fit.points_c, fit.residuals, strict=True))
                guess = ", ".join(
                    f"{number(x) if number(x) is None else format(x, '.3g')} for {m:.3g}"
                    for x, m in zip(fit.left_out, fit.measured, strict=True)
                    if x == x
                )
                left = f"; left out, predicted {guess}" if guess else "; too few points to leave one out"
                yield f"{quantity}, {fit.law} ({100 * fit.weight:.0f} % of the weight): misses by {missed}{left}"


def _mixture(evidence: ParasiteSet) -> dict[str, Any] | None:
    """Kinds that nobody told apart, with the values of each; None for a set of one kind."""
    mixture = evidence.mixture
    if mixture is None:
        return None
    values = {
        name: {value: _triple(kind.values[value]) for value in mixture.by_kind if value in kind.values}
        for name, kind in mixture.kinds.items()
    }
    shares = [{"hosts": list(one.words), **_triple(one.share)} for one in mixture.hosts]
    return {"of": list(mixture.kinds), "values": values, "second_share_on": shares}


def _triple(value: Value) -> dict[str, float]:
    return {"value": value.value, "low": value.low, "high": value.high}


def _kind_lines(evidence: ParasiteSet) -> list[str]:
    mixture = evidence.mixture
    if mixture is None:
        return []
    (first, warm), (second, cold) = mixture.kinds.items()
    own = [name for name in mixture.by_kind if name in cold.values and _middle(warm, name) != _middle(cold, name)]
    shares = [("", evidence.values[KIND_SHARE]), *((f" on {', '.join(h.words)}", h.share) for h in mixture.hosts)]
    return [
        f"each simulated pond holds flukes like those of the set {first} or of the set {second}",
        *(_share_line(second + where, share) for where, share in shares),
        f"{second} has its own {', '.join(map(_spaced, own))}; the rest of its timing is that of {first}, less certain",
    ]


def _middle(evidence: ParasiteSet, name: str) -> float | None:
    return evidence.values[name].value if name in evidence.values else None


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _share_line(of: str, share: Value) -> str:
    where = "" if share.temperature_c is None else f" in water of {share.temperature_c:g} °C"
    known = how_known(share.known, share.sources)
    return f"like {of}: {share.value:g} ({share.low:g} to {share.high:g}){where}, {known}: {share.conditions}"


def _value_line(row: Mapping[str, Any]) -> str:
    where = f", borrowed from {row['borrowed_from']}" if row["borrowed_from"] else ""
    fitted = f", {row['fitted']:.3g} after the fit" if row["fitted"] is not None else ""
    keys = f" [{row['sources']}]" if row["sources"] else ""
    return (
        f"{row['name']}: {row['value']:g} ({row['low']:.3g} to {row['high']:.3g}) {row['unit']}"
        f"{fitted}, {row['how_known']}{where}{keys}: {row['conditions']}"
    )


def _point_line(row: Mapping[str, Any]) -> str:
    where = f", borrowed from {row['borrowed_from']}" if row["borrowed_from"] else ""
    return (
        f"{row['quantity']} at {row['temperature_c']:g} °C: {row['value']:g} ({row['low']:.3g} to {row['high']:.3g}), "
        f"{row['known']}{where} [{' '.join(row['sources'])}]: {row['conditions']}"
    )


def _table_line(row: Mapping[str, Any]) -> str:
    return (
        f"{row['quantity']} at {row['temperature_c']:g} °C: measured {row['measured']:g}, fitted {row['fitted']:.3g}, "
        f"predicted from the others {row['left_out']:.3g}"
    )


def parasite_list() -> ParasiteList:
    """Return every parasite set with what it can answer.

    Examples
    --------
    >>> [row["name"] for row in parasite_list().rows() if row["windows"] == "no"][:2]
    ['cichlidogyrus', 'dactylogyrus_ctenopharyngodonis']
    """
    return ParasiteList(tuple(load_parasite(name) for name in parasite_names()))


def parasite_sheet(name: str, n: int = 200, seed: int = 1) -> ParasiteSheet:
    """Put together all that is known of a parasite set.

    Parameters
    ----------
    name : str
        One of `burden.evidence.parasite_names`.
    n, seed : int
        Draws and seed of the curves.

    Raises
    ------
    InputError
        For a name that is no set, with the near miss.

    Examples
    --------
    >>> sheet = parasite_sheet("discocotyle", 20)
    >>> sheet.laws["eggs_per_day"][0].law
    'degree-days'
    """
    evidence = load_parasite(name)
    table = fit_life_table(evidence) if _has_life_table(evidence) else None
    return ParasiteSheet(evidence, _fitted_laws(evidence), table, thermal_curves(evidence, n, seed))


def _has_life_table(evidence: ParasiteSet) -> bool:
    return bool(evidence.points_of("fluke_life_days")) and all(v in evidence.values for v in LIFE_TABLE)


def _fitted_laws(evidence: ParasiteSet) -> dict[str, tuple[LawFit, ...]]:
    """Every law of every quantity at two temperatures or more; eggs a day are fitted as days an egg takes."""
    upper = evidence.values.get("egg_upper_limit_c")
    fits = {}
    for quantity in _FITTED:
        points = evidence.points_of(quantity)
        if len(points) >= 2:
            limit = upper.value if upper and "hatch" in quantity else None
            fits[quantity] = fit_laws(points, limit)
    eggs = days_per_egg(evidence)
    if len(eggs) >= 2:
        fits["eggs_per_day"] = tuple(fit.inverted() for fit in fit_laws(eggs))
    return fits
