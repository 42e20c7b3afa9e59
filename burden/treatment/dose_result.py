"""The answer of a dose: what to weigh or measure out, and everything to know beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from burden.evidence import FRESH_WATER
from burden.evidence.cautions import Caution
from burden.treatment.water_chemistry import LEFT_IN_HOURS
from burden.utils.results import Result, number
from burden.utils.wording import Remark

__all__ = ["DoseReason", "DoseResult", "Poured", "StockSolution", "WouldChangeDose", "stock_solution"]

# least mass a pocket scale that shows 0.1 g can be trusted with [g]; common practice, no source
_SCALE_STEP_G = 0.1
#: strongest stock of a badly soluble powder, under the lower of two figures for praziquantel (112 mg/L) [mg/L]
_STOCK_MG_L = 100.0
_STOCK_LIQUID_ML = 10.0  # of liquid made up to a litre


@dataclass(frozen=True)
class StockSolution(Remark):
    """How to measure an amount too small for the scale or the syringe.

    Parameters
    ----------
    product : str
        solid or liquid.
    amount : float
        Of the product in the stock [g] or [mL].
    stock_l : float
        Of stock made of it [L].
    use_l : float
        Of the stock to use [L].
    """

    product: Literal["solid", "liquid"]
    amount: float
    stock_l: float
    use_l: float


@dataclass(frozen=True)
class DoseReason(Remark):
    """Why this dose: the customary one, one inside a published range, or one accepted that no source gives.

    Parameters
    ----------
    kind : str
    evidence : str
        The evidence file's words for it.
    sources : tuple of str
        Reference keys.
    """

    kind: Literal["customary", "published", "unpublished"]
    evidence: str = ""
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class WouldChangeDose(Remark):
    """What would change a dose; a bath in water alone has no strength."""

    water_alone: bool = False


class Poured:
    """What is put in for a dose: so much of a product at once, and what is dripped in besides while the bath lasts."""

    product_g: float | None
    product_ml: float | None
    hours: float
    drip_per_hour: float

    @property
    def in_all(self) -> float:
        """What goes in over the whole bath, by the amount put in at once [-]."""
        return 1 + self.drip_per_hour * self.hours

    def product_times(self, share: float) -> tuple[float | None, float | None]:
        """Return a share of the product put in at once, or several of it [g], [mL].

        Parameters
        ----------
        share : float
            [-]
        """
        grams, millilitres = self.product_g, self.product_ml
        return (None if grams is None else grams * share), (None if millilitres is None else millilitres * share)


@dataclass(frozen=True)
class DoseResult(Result, Poured):
    """What to weigh or measure out.

    Parameters
    ----------
    agent, title, route : str
        Agent and how it is given.
    volume_l : float
        Water [L].
    mg_l : float
        Concentration, as `basis` words it [mg/L].
    hours : float
        Length of the bath [h].
    mass_mg, mass_g : float
        mg_l × volume_l [mg], [g].
    product_g, product_ml : float or None
        Of a solid product [g]; of a liquid one [mL].
    strength_percent : float
        Active substance in the product [%].
    mass_of, basis : str
        What the mass is of, and what mg/L counts.
    why : DoseReason
        Why this dose.
    cautions : tuple of Caution
        Everything to know before, during and after.
    stock_solution : StockSolution or None
        Where the amount is too small to weigh.
    sources : tuple of str
        Reference keys.
    place : str or None
        Where: water, tank, enclosed, flow_stopped or dripped; None where nobody asked for a case.
    drip_per_hour : float
        How much of the same amount is dripped into the inflow besides, while the bath lasts [1/h].
    """

    agent: str
    title: str
    route: str
    volume_l: float
    mg_l: float
    hours: float
    mass_mg: float
    mass_g: float
    product_g: float | None
    product_ml: float | None
    strength_percent: float
    mass_of: str
    basis: str
    why: DoseReason
    cautions: tuple[Caution, ...]
    stock_solution: StockSolution | None = None
    sources: tuple[str, ...] = field(default=())
    place: Literal["water", "tank", "enclosed", "flow_stopped", "dripped"] | None = None
    drip_per_hour: float = 0.0

    @property
    def apart(self) -> bool:
        """Whether the bath is given in a water of its own; one too short to be left in the water, unless said."""
        return self.hours < LEFT_IN_HOURS if self.place is None else self.place in ("tank", "enclosed")

    @property
    def reason(self) -> str:
        """Why this dose, in words."""
        return str(self.why)

    @property
    def would_change(self) -> str:
        """What would change it, in words."""
        return str(WouldChangeDose(self.agent == FRESH_WATER))

    @property
    def stock(self) -> str | None:
        """How to measure so little, in words; None where it is enough to weigh."""
        return None if self.stock_solution is None else str(self.stock_solution)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form; a product that does not apply is null."""
        numbers = ("volume_l", "mg_l", "hours", "mass_mg", "mass_g", "product_g", "product_ml", "strength_percent")
        words = ("basis", "reason", "would_change", "stock")
        return {
            "agent": self.agent,
            "route": self.route,
            **{key: number(getattr(self, key)) for key in numbers},
            **{key: getattr(self, key) for key in words},
            "why": self.why.as_dict(),
            "stock_solution": None if self.stock_solution is None else self.stock_solution.as_dict(),
            "cautions": list(self.cautions),
            "sources": list(self.sources),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return the amounts as rows of a table."""
        units = {
            "volume_l": "L",
            "mg_l": "mg/L",
            "hours": "h",
            "mass_g": "g",
            "product_g": "g",
            "product_ml": "mL",
            "strength_percent": "%",
        }
        given = ((key, getattr(self, key), unit) for key, unit in units.items())
        return [{"quantity": k, "value": v, "unit": u} for k, v, u in given if v is not None]


def stock_solution(product_g: float | None, product_ml: float | None) -> StockSolution | None:
    """Return how to measure an amount too small for the scale or the syringe; None where it is not.

    Examples
    --------
    >>> found = stock_solution(0.05, None)
    >>> found.amount, found.stock_l, found.use_l
    (1.0, 10.0, 0.5)
    """
    if product_g is not None and product_g < _SCALE_STEP_G:
        return StockSolution("solid", 1.0, 1000 / _STOCK_MG_L, product_g * 1000 / _STOCK_MG_L)
    if product_ml is not None and product_ml < 1.0:
        return StockSolution("liquid", _STOCK_LIQUID_ML, 1.0, product_ml / _STOCK_LIQUID_ML)
    return None
