"""The windows of each set of a case, and what custom and print give beside them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from burden.inference.estimate import Estimate
from burden.model.windows import Windows, safe_below_c, windows_after
from burden.schedule.interval import cold_water_words, customary_words
from burden.utils.results import CredibleInterval

__all__ = ["customs_of", "windows_of"]


def windows_of(estimates: Sequence[Estimate], agents: Sequence[str]) -> tuple[tuple[str, Windows], ...]:
    """Windows after a dose today, by egg-laying set."""
    found = []
    for e in estimates:
        if e.pond.setting.parameters.development is not None:
            effect = e.pond.first_effect(agents)
            found.append(
                (
                    e.parasite,
                    windows_after(e.pond.setting.parameters, effect.sheltered_fraction, e.pond.setting.temperature),
                )
            )
    return tuple(found)


def customs_of(estimates: Sequence[Estimate], agents: Sequence[str]) -> tuple[str, ...]:
    """Custom and print beside the recommendation, by egg-laying set."""
    said = []
    for e in estimates:
        p = e.pond.setting.parameters
        said += customary_words(p.evidence, float(np.median(e.pond.setting.temperature.at(0.0))))
        if p.development is not None:
            effect = e.pond.first_effect(agents)
            said.append(cold_water_words(CredibleInterval.of(safe_below_c(p, effect.sheltered_fraction, 14.0))))
    return tuple(said)
