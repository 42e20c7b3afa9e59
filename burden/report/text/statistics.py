"""Words of classical estimates."""

from __future__ import annotations

import math

from burden.statistics.count_summary import CountedSummary
from burden.statistics.point_estimate import PointEstimate
from burden.utils.formatting import counted, percent, plain
from burden.utils.wording import writes

__all__: list[str] = []  # writers are found by the type they write


@writes
def _point_estimate(found: PointEstimate) -> str:
    if math.isnan(found.estimate):
        return f"cannot be given ({found.method})"
    if math.isnan(found.low) or math.isnan(found.high):
        return f"{plain(found.estimate)} (no interval; {found.method})"
    limits = f"{plain(found.low)} to {plain(found.high)}"
    return f"{plain(found.estimate)} ({limits}; {found.method}, {percent(found.level)} interval)"


@writes
def _summary(found: CountedSummary) -> str:
    lines = [f"{row['measure']}: {getattr(found, name)}" for name, row in zip(_ORDER, found.rows(), strict=True)]
    return "\n".join([f"As counted on {counted(found.fish, 'fish')}:", *lines])


_ORDER = ("prevalence", "mean_intensity", "k")
