"""Which of the unknowns the answer hangs on, worded for the page."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from burden.decision import Assessment
from burden.inference.diagnostics import Quantity
from burden.inference.sensitivity import Influence, influences
from burden.utils.formatting import named

__all__ = ["distinct_draws", "unknowns_of"]

_MOST = 5
_NOISE = 2.0  # standard errors a correlation must pass before it is named
#: the prior of the burden and the act of looking move the answer only through the burden of today
_NOT_OF_THE_COURSE = {"abundance", "detection_per_fluke"}


def unknowns_of(visit: Assessment) -> tuple[tuple[tuple[str, Influence], ...], float]:
    """Return the unknowns that matter most to the flukes at the end of the forecast.

    Parameters
    ----------
    visit : Assessment

    Returns
    -------
    tuple of (str, Influence), float
        Name in words and influence, by falling strength, empty where the draws are too few to tell; and the least
        correlation that chance does not give.
    """
    forecast, found = visit.forecasts[0], visit.estimates[0]
    course = forecast.recommended or forecast.untreated
    least = _NOISE / np.sqrt(max(distinct_draws(visit), 4.0))
    rows = influences(found.pond.setting.parameters, course.end, _of_this_case(visit))
    strong = [
        (str(Quantity(row.parameter)), row)
        for row in rows
        if abs(row.correlation) > least and row.parameter not in _NOT_OF_THE_COURSE
    ]
    return tuple(strong[:_MOST]), float(least)


def distinct_draws(visit: Assessment) -> float:
    """Draws the answer is worth: copies of one pond count once."""
    found = visit.estimates[0]
    return min(float(np.unique(found.pond.setting.volume_m3).size), found.effective_draws, float(found.draws))


def _of_this_case(visit: Assessment) -> Mapping[str, np.ndarray]:
    """Numbers drawn that no set carries, by name, shape (M,) each."""
    found = visit.estimates[0]
    pond, state = found.pond, found.state
    numbers = {
        "flukes on the fish today": sum(chain.sum((0, 1)) for chain in state.fish.values()),
        "resistance of the fish today": state.resistance,
        "volume of the water": pond.setting.volume_m3,
    }
    if pond.setting.temperature.drift_c is not None:
        numbers["warmth of the weeks ahead"] = pond.setting.temperature.drift_c
    for agent in dict.fromkeys(d.agent for d in visit.doses):
        effect = pond.effects[agent]
        forms = {form.name for form in pond.setting.cycle.forms} & set(effect.by_form)
        shares = {form: effect.by_form[form] for form in ("adult", "mother", "juvenile", "young") if form in forms}
        for i, (form, share) in enumerate(shares.items()):
            # one number drawn for several forms is one unknown
            if not any(np.array_equal(share, other) for other in list(shares.values())[:i]):
                numbers[f"share of {_plural(form)} that {named(agent)} kills"] = share
        numbers[f"share of juvenile life sheltered from {named(agent)}"] = effect.sheltered_fraction
    return {name: x for name, x in numbers.items() if np.shape(x) == (found.draws,)}


def _plural(form: str) -> str:
    return "young" if form == "young" else f"{form}s"
