"""When to look at the fish again after the last dose, and at how many."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from burden.case import Case, Preparation
from burden.inference.estimate import Estimate, share_examined
from burden.model.windows import windows_after
from burden.sampling import CleanSamplePlan, Look, RecheckPlan, find_by_burden, recheck, sample_windows
from burden.utils.errors import CannotAnswerError, InputError
from burden.utils.results import CredibleInterval

__all__ = ["LIVE_BEARER_RECHECK_DAYS", "look_again"]

LIVE_BEARER_RECHECK_DAYS = 7


def look_again(case: Case, found: Estimate, agents: Sequence[str], last: float) -> RecheckPlan | None:
    """When to look again, how many fish, and how much of each, to show the burden is below a tenth of today's."""
    p, e = found.pond.setting.parameters, found
    level = float(f"{max(e.mean_abundance.median / 10, 1.0):.2g}")  # nobody plans a look to the hundredth of a fluke
    weight = found.pond.setting.fish.weight_g.mean(0)
    site = p.evidence.site
    row = Preparation(case.visit_date, "1", "random", site, method="gill_clip" if site == "gill" else "skin_scrape")
    look = Look(share_examined(row, e.seen, weight), 3, e.seen.detection, e.seen.part_shape)
    killed = sum(group.lethal_sampling_allowed or 0 for group in case.fish)
    try:
        if p.development is None:
            sample = find_by_burden(level, p["aggregation"], look, population=case.fish_count, lethal_allowed=killed)
            return _recheck_of_live_bearer(sample)
        effect = found.pond.first_effect(agents)
        temperature = found.pond.setting.temperature
        w = windows_after(p, effect.sheltered_fraction, temperature, last)
        hatch = float(np.median(w.last_hatch))
        # the last larva settles in the water of the day it hatches on, not in that of the dose
        after = windows_after(p, effect.sheltered_fraction, temperature, last + hatch) if np.isfinite(hatch) else None
        shown = sample_windows(w, after)
        return recheck(shown, level, p["aggregation"], look, population=case.fish_count, lethal_allowed=killed)
    except (CannotAnswerError, InputError):
        return None


def _recheck_of_live_bearer(sample: CleanSamplePlan) -> RecheckPlan:
    """No egg to wait for: what survived shows at once, and a week lets a few survivors become enough to find."""
    return RecheckPlan(
        fish=sample.fish,
        fish_killed=sample.fish_killed,
        day=LIVE_BEARER_RECHECK_DAYS,
        all_shown_days=CredibleInterval.of(np.zeros(1)),
        survivors_only_until_day=0,
        offspring_from_day=CredibleInterval.of(np.zeros(1)),
        sample=sample,
        reason=(
            "Live-bearers lay no eggs: every fluke is on a fish at the dose, and newborn flukes settle at once. A week "
            f"(common practice, no source) lets survivors multiply enough to be found. {sample.reason}"
        ),
        what_would_change=("colder water: they multiply more slowly, so wait longer", *sample.what_would_change[:2]),
    )
