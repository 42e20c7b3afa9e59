"""What a case begins with: plain facts put into the commented template, water from the pond's shape or from salt."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any

from burden.casefile.template import sample_case_toml

__all__ = ["SHAPES", "case_toml", "volume_by_salt_words", "volume_by_shape"]

#: share of length times width that the surface covers: low, middle, high. A rectangle and an ellipse by geometry, the
#: tape a tenth out (assumption); a free outline between the two or less (assumption)
SHAPES = {
    "rectangle": (0.9, 1.0, 1.1),
    "oval": (0.9 * math.pi / 4, math.pi / 4, 1.1 * math.pi / 4),
    "free": (0.65, 0.8, 0.95),
}


def volume_by_shape(length_m: float, width_m: float, depth_m: float, shape: str) -> dict[str, Any]:
    """Work out the water of a pond from its measures.

    Parameters
    ----------
    length_m, width_m : float
        At the surface, the longest of each [m].
    depth_m : float
        The mean, not the deepest [m].
    shape : str
        Of `SHAPES`.

    Returns
    -------
    dict
        value, low, high [L] and how it was found.

    Examples
    --------
    >>> volume_by_shape(4, 3, 1, "rectangle")["value"]
    12000
    """
    low, middle, high = (round(1000 * length_m * width_m * depth_m * share) for share in SHAPES[shape])
    how = f"{shape}, {length_m:g} m x {width_m:g} m, mean depth {depth_m:g} m; filter and pipes not counted"
    return {"value": middle, "low": low, "high": high, "how": how}


def volume_by_salt_words(mass_g: float, rise_g_l: float) -> dict[str, Any]:
    """Work out the water from salt added and the rise of salinity.

    Parameters
    ----------
    mass_g : float
        Salt added [g].
    rise_g_l : float
        Rise of salinity once mixed [g/L].

    Returns
    -------
    dict
        value, low, high [L] and how it was found.
    """
    from burden.volume import volume_by_salt

    found = volume_by_salt(mass_g, rise_g_l)
    # a rise lost in the meter's error has no upper end: ten times stands for it
    high = found.high_l if math.isfinite(found.high_l) else 10 * found.volume_l
    how = f"{mass_g:g} g of salt raised salinity by {rise_g_l:g} g/L"
    return {"value": round(found.volume_l), "low": round(found.low_l), "high": round(high), "how": how}


def case_toml(facts: Mapping[str, Any]) -> str:
    """Return the commented template with facts in the place of its examples.

    Parameters
    ----------
    facts : mapping of str to value
        By key of case.toml; a mapping becomes an inline table.

    Returns
    -------
    str
        TOML that reads as it stands; every explanation is kept.

    Examples
    --------
    >>> import tomllib
    >>> tomllib.loads(case_toml({"count": 7}))["fish"]["count"]
    7
    """
    text = sample_case_toml()
    for key, value in facts.items():
        stands = re.search(rf"^{key} = (?:\"[^\"\n]*\"|[^#\n]*?)(?=\s*(?:#|$))", text, flags=re.M)
        if stands is None:
            raise ValueError(f"the template has no key {key!r}")
        text = f"{text[: stands.start()]}{key} = {_toml(value)}{text[stands.end() :]}"
    return text


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(part)}" for key, part in value.items()) + " }"
    # a JSON string is a TOML string, but for the one control character JSON leaves as it is
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f") if isinstance(value, str) else f"{value}"
