"""The answer of a dose: what to weigh or measure out, and everything to know beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from burden.evidence.cautions import Caution, by_weight
from burden.treatment.host_tolerance import LEFT_IN_HOURS
from burden.utils.formatting import plain
from burden.utils.results import Result, number

__all__ = ["DoseResult", "stock_recipe"]

# least mass a pocket scale that shows 0.1 g can be trusted with [g]; common practice, no source
_SCALE_STEP_G = 0.1
#: strongest stock of a badly soluble powder, under the lower of two figures for praziquantel (112 mg/L) [mg/L]
_STOCK_MG_L = 100.0
_STOCK_LIQUID_ML = 10.0  # of liquid made up to a litre


@dataclass(frozen=True)
class DoseResult(Result):
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
    mass_of, basis, reason, would_change : str
        What the mass is of, what mg/L counts, why this dose, and what would change it.
    cautions : tuple of Caution
        Everything to know before, during and after.
    stock : str or None
        Recipe where the amount is too small to weigh.
    sources : tuple of str
        Reference keys.
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
    reason: str
    would_change: str
    cautions: tuple[Caution, ...]
    stock: str | None = None
    sources: tuple[str, ...] = field(default=())

    @property
    def apart(self) -> bool:
        """Whether the bath is too short to be left in the water, so that it is given in a water of its own."""
        return self.hours < LEFT_IN_HOURS

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form; a product that does not apply is null."""
        numbers = ("volume_l", "mg_l", "hours", "mass_mg", "mass_g", "product_g", "product_ml", "strength_percent")
        words = ("basis", "reason", "would_change", "stock")
        return {
            "agent": self.agent,
            "route": self.route,
            **{key: number(getattr(self, key)) for key in numbers},
            **{key: getattr(self, key) for key in words},
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

    def text(self) -> str:
        """Return the dose in words."""
        lines = [
            f"{self.title}: {plain(self.mg_l)} mg/L in {plain(self.volume_l)} L for {plain(self.hours)} h.",
            f"Counted as {self.basis}.",
            self.amount(),
            *([self.stock] if self.stock else []),
            f"Why: {self.reason}.",
            f"What would change it: {self.would_change}.",
            "Cautions:",
            *(f"- {line}" for line in by_weight(self.cautions)),
        ]
        return "\n".join(lines)

    def amount(self) -> str:
        """Return what to weigh or measure out, in one sentence."""
        if self.product_ml is not None:
            return (
                f"Measure out {plain(self.product_ml)} mL of the {plain(self.strength_percent)} % solution "
                f"({plain(self.mass_g)} g {self.mass_of})."
            )
        return (
            f"Weigh out {plain(self.product_g)} g of the product with {plain(self.strength_percent)} % "
            f"active substance ({plain(self.mass_g)} g {self.mass_of})."
        )


def stock_recipe(product_g: float | None, product_ml: float | None) -> str | None:
    """Return how to measure an amount too small for the scale or the syringe; None where it is not.

    Examples
    --------
    >>> stock_recipe(0.05, None)[-27:]
    'ng, and use 500 mL of that.'
    """
    if product_g is not None and product_g < _SCALE_STEP_G:
        litres = 1000 / _STOCK_MG_L
        millilitres = product_g * 1000 / _STOCK_MG_L * 1000
        return (
            f"Too little for a scale that shows 0.1 g: stir 1 g of the product into {plain(litres)} L of the "
            f"water, keep it moving, and use {plain(millilitres)} mL of that."
        )
    if product_ml is not None and product_ml < 1.0:
        return (
            f"Too little for a 1 mL syringe: make {plain(_STOCK_LIQUID_ML)} mL up to 1 L with water, and use "
            f"{plain(product_ml / _STOCK_LIQUID_ML * 1000)} mL of that."
        )
    return None
