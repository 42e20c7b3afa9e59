"""What a case begins with: plain facts put into the commented template, water from the pond's shape or from salt."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from burden.case.gill_share import GillPiece, gill_share
from burden.io.csv_logs import read_temperature
from burden.io.files import Notes, read_text
from burden.io.template import sample_case_toml
from burden.utils.errors import InputError, Problem

__all__ = [
    "SHAPES",
    "Shape",
    "case_toml",
    "clip_share_words",
    "logger_record",
    "volume_by_salt_words",
    "volume_by_shape",
]

#: where the template's explanations stand
_REMARK_COLUMN = 35
Shape = Literal["rectangle", "oval", "free"]

#: share of length times width that the surface covers: low, middle, high. A rectangle and an ellipse by geometry, the
#: tape a tenth out (assumption); a free outline between the two or less (assumption)
SHAPES: Mapping[Shape, tuple[float, float, float]] = {
    "rectangle": (0.9, 1.0, 1.1),
    "oval": (0.9 * math.pi / 4, math.pi / 4, 1.1 * math.pi / 4),
    "free": (0.65, 0.8, 0.95),
}


def volume_by_shape(length_m: float, width_m: float, depth_m: float, shape: Shape) -> dict[str, Any]:
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

    Raises
    ------
    InputError
        For measures of no finite pond, or of one below a litre.

    Examples
    --------
    >>> volume_by_shape(4, 3, 1, "rectangle")["value"]
    12000
    """
    litres = 1000 * length_m * width_m * depth_m
    if not (math.isfinite(litres) and litres * SHAPES[shape][0] >= 1):
        measures = f"{length_m:g} {width_m:g} {depth_m:g}"
        raise InputError([Problem("command line", "--size-m", measures, "metres of a pond", "Measure in metres.")])
    low, middle, high = (round(litres * share) for share in SHAPES[shape])
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
    from burden.case.volume import volume_by_salt

    found = volume_by_salt(mass_g, rise_g_l)
    # a rise lost in the meter's error has no upper end: ten times stands for it
    high = found.high_l if math.isfinite(found.high_l) else 10 * found.volume_l
    how = f"{mass_g:g} g of salt raised salinity by {rise_g_l:g} g/L"
    return {"value": round(found.volume_l), "low": round(found.low_l), "high": round(high), "how": how}


def clip_share_words(pieces: float, of: GillPiece, weight_g: float | None) -> dict[str, Any]:
    """Work out what one slide shows of all gills, from what was put on it.

    Parameters
    ----------
    pieces, of
        As `burden.case.gill_share` takes them.
    weight_g : float or None
        Of the fish [g].

    Returns
    -------
    dict
        value, low, high [-] and how it was found.
    """
    share = gill_share(pieces, of, weight_g)
    value, low, high = (float(f"{x:.2g}") for x in (share.median, share.low, share.high))
    what = {"tips": "tips of {} filaments", "filaments": "{} whole filaments", "arches": "{} of 8 arches"}[of]
    return {"value": value, "low": low, "high": high, "how": what.format(f"{pieces:g}")}


def logger_record(path: Path) -> str:
    """Return what a logger's file holds, as text.

    Raises
    ------
    InputError
        Where it is no record of temperatures that a case can name.
    """
    path, notes = path.resolve(), Notes()
    text = None if read_temperature(path.parent, path.name, notes) is None else read_text(path.parent, path.name, notes)
    if text is None:
        raise InputError(notes.problems)
    return text


def case_toml(facts: Mapping[str, Any], remarks: Mapping[str, str] = MappingProxyType({})) -> str:
    """Return the commented template with facts in the place of its examples.

    Parameters
    ----------
    facts : mapping of str to value
        By key of case.toml; a mapping becomes an inline table.
    remarks : mapping of str to str
        What the template says beside a key, where that no longer holds.

    Returns
    -------
    str
        TOML that reads as it stands; every other explanation is kept.

    Examples
    --------
    >>> import tomllib
    >>> tomllib.loads(case_toml({"count": 7}))["fish"]["count"]
    7
    >>> tomllib.loads(case_toml({"gill_clip_share": 0.01}))["looking"]
    {'gill_clip_share': 0.01}
    """
    text = sample_case_toml()
    for key, value in facts.items():
        # a key of a table that is itself an example takes its table with it
        text = re.sub(rf"^# (\[\w+\]\n)# (?={key} = )", r"\1", text, flags=re.M)
        stands = re.search(rf"^{key} = (?P<value>\"[^\"\n]*\"|{{.*}}|[^#\n]*?)(?P<remark> *#.*)?$", text, flags=re.M)
        if stands is None:
            raise ValueError(f"the template has no key {key!r}")
        said = f"{key} = {_toml(value)}"
        if key in remarks:
            said += f"\n{'#':<{_REMARK_COLUMN}}# {remarks[key]}"
        elif stands["remark"]:
            said = f"{said:<{_REMARK_COLUMN - 1}} {stands['remark'].strip()}"
        text = f"{text[: stands.start()]}{said}{text[stands.end() :]}"
    return text


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(part)}" for key, part in value.items()) + " }"
    if isinstance(value, float) and value.is_integer():
        return f"{value:.0f}"
    # a JSON string is a TOML string, but for the one control character JSON leaves as it is
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f") if isinstance(value, str) else f"{value}"
