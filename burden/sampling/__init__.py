"""How many fish, how much of each, and when: one plan a question.

```
find              find flukes at a stated prevalence             detection
find_with_false_positives   …with a test that errs both ways     imperfect_test
find_by_burden    …at a stated burden, seen through part-counts  burden_threshold
find_in_ponds     …on a farm of several ponds                    two_stage
absent_after_clean_rounds   how sure of absence rounds make one  freedom
with_clean_rounds           …added to a plan                     freedom
mean              a mean this precise                            precision
prevalence_within a prevalence this precise                      prevalence
stop_at_precision, stop_at_threshold   when to stop counting     sequential
recheck           after a dose                                   follow_up
fish_for_verdict  before and after a dose, to judge it           verdict
arrivals          new fish                                       quarantine
SampledGroup      what both need, of a set at a temperature      sampled_group
```

Live fish come first: no plan kills a healthy fish unless it is told how many may be. Plans carry numbers and codes;
`burden.report.text` writes them.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_NAMES = {
    "burden_threshold": ("CleanSamplePlan", "find_by_burden", "level_shown"),
    "detection": ("FindPlan", "find", "group_sensitivity"),
    "development_times": ("DevelopmentTimes", "LiveBearerTimes", "NoTimes"),
    "follow_up": ("RecheckPlan", "recheck"),
    "freedom": (
        "AbsenceAfterRounds",
        "absent_after_clean_rounds",
        "introduction_probability",
        "with_clean_rounds",
    ),
    "imperfect_test": ("PassMarkPlan", "chance_of_at_most", "find_with_false_positives"),
    "look": ("Look", "level_at_prevalence"),
    "plan": ("PlanRemark", "SamplingPlan"),
    "precision": ("MeanPlan", "fish_for_mean", "mean"),
    "prevalence": ("PrevalencePlan", "prevalence_within"),
    "quarantine": ("ArrivalsPlan", "arrivals"),
    "sampled_group": ("SampledGroup",),
    "sequential": ("StopCard", "stop_at_precision", "stop_at_threshold"),
    "stopping_lines": ("green_line", "iwao_lines", "kuno_line", "sprt_lines"),
    "two_stage": ("PondsPlan", "find_in_ponds"),
    "verdict": ("VerdictPlan", "fish_for_verdict"),
}
_HOME = {name: module for module, names in _NAMES.items() for name in names}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    """Load a plan's module when it is asked for: `find` alone must not wait for SciPy (0.5 s)."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
