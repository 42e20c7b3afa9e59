"""The windows of each set of a case."""

from __future__ import annotations

from collections.abc import Sequence

from burden.inference.estimate import Estimate
from burden.model.windows import Windows, windows_after

__all__ = ["windows_of"]


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
