"""When to look at the fish of a case again after the last dose, and at how many."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from burden.case import Case, Preparation
from burden.inference.estimate import Estimate, share_examined
from burden.model.windows import windows_after
from burden.sampling.burden_threshold import CleanSamplePlan, find_by_burden
from burden.sampling.development_times import LiveBearerTimes, NoTimes, Times, development_times
from burden.sampling.follow_up import LIVE_BEARER_RECHECK_DAYS, RecheckPlan, recheck
from burden.sampling.look import Look
from burden.utils.errors import CannotAnswerError, InputError

__all__ = ["LIVE_BEARER_RECHECK_DAYS", "look_again"]

#: no plan kills more healthy fish to look at them, whatever a case allows
_MOST_KILLED = 100


def look_again(case: Case, found: Estimate, agents: Sequence[str], last: float) -> RecheckPlan | None:
    """When to look again, how many fish, and how much of each, to show the burden is below a tenth of today's.

    Parameters
    ----------
    case : Case
    found : Estimate
        Of the parasite set looked for.
    agents : sequence of str
        What may be given; the first settles how old a settler must be to be seen.
    last : float
        Day of the last dose, from the visit [d].

    Returns
    -------
    RecheckPlan or None
        None where no day can be given.
    """
    try:
        times = _times(found, agents, last)
        return None if isinstance(times, NoTimes) else recheck(times, _sample(case, found))
    except (CannotAnswerError, InputError):
        return None


def _sample(case: Case, found: Estimate) -> CleanSamplePlan:
    seen, evidence = found.seen, found.pond.setting.parameters.evidence
    level = float(
        f"{max(found.mean_abundance.median / 10, 1.0):.2g}"
    )  # nobody plans a look to the hundredth of a fluke
    site = evidence.about["site"]
    row = Preparation(case.visit_date, "1", "random", site, method="gill_clip" if site == "gill" else "skin_scrape")
    share = share_examined(row, seen, found.pond.setting.fish.weight_g.mean(0))
    killed = min(sum(group.lethal_sampling_allowed or 0 for group in case.fish), _MOST_KILLED)
    k = found.pond.setting.parameters["aggregation"]
    return find_by_burden(level, k, Look(share, 3, seen.detection, seen.part_shape), 0.95, case.fish_count, killed)


def _times(found: Estimate, agents: Sequence[str], last: float) -> Times:
    setting = found.pond.setting
    if setting.parameters.development is None:
        return LiveBearerTimes(np.full(setting.parameters.size, np.nan))  # a recheck does not ask how fast they grow
    shelter = found.pond.first_effect(agents).sheltered_fraction
    after_dose = windows_after(setting.parameters, shelter, setting.temperature, last)
    hatch = float(np.median(after_dose.last_hatch))
    if not np.isfinite(hatch):
        return development_times(after_dose)
    # the last larva settles in the water of the day it hatches on, not in that of the dose
    return development_times(after_dose, windows_after(setting.parameters, shelter, setting.temperature, last + hatch))
