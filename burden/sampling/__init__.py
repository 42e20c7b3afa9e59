"""How many fish, how much of each, and when: one plan a question.

```
find              find flukes at a stated prevalence             detection
find_with_false_positives   …with a test that errs both ways     imperfect
find_by_burden    …at a stated burden, seen through part-counts  by_burden
find_in_ponds     …on a farm of several ponds                    freedom
absent_after_clean_rounds   how sure of absence rounds make one  freedom
with_clean_rounds           …added to a plan                     rounds
mean              a mean this precise                            precision
prevalence_within a prevalence this precise                      prevalence
stop_at_precision, stop_at_threshold   when to stop counting     sequential
recheck           after a dose                                   followup
arrivals          new fish                                       followup
recheck_at, arrivals_at   …of a set at a temperature             at_temperature
```

Live fish come first: no plan kills a healthy fish unless it is told how many may be.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_NAMES = {
    "at_temperature": ("Waters", "arrivals_at", "recheck_at", "sample_windows"),
    "burden_threshold": ("CleanSamplePlan", "Look", "find_by_burden", "level_shown"),
    "detection": ("FindPlan", "find", "group_sensitivity"),
    "follow_up": ("ArrivalsPlan", "RecheckPlan", "DevelopmentTimes", "arrivals", "recheck"),
    "freedom": (
        "AbsenceAfterRounds",
        "PondsPlan",
        "absent_after_clean_rounds",
        "find_in_ponds",
        "introduction_probability",
    ),
    "imperfect_test": ("PassMarkPlan", "chance_of_at_most", "find_with_false_positives"),
    "plan": ("SamplingPlan",),
    "rounds": ("with_clean_rounds",),
    "precision": ("MeanPlan", "fish_for_mean", "mean"),
    "prevalence": ("PrevalencePlan", "prevalence_within"),
    "sequential": ("StopCard", "stop_at_precision", "stop_at_threshold"),
    "stop_lines": ("green_line", "iwao_lines", "kuno_line", "sprt_lines"),
}
_HOME = {name: module for module, names in _NAMES.items() for name in names}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    """Load a plan's module when it is asked for: `find` alone must not wait for SciPy (0.5 s)."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
