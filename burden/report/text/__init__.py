"""Every sentence the package says: one module a subject, each registering the words of its results and remarks."""

from __future__ import annotations

from functools import cache
from importlib import import_module

__all__ = ["load_writers"]

#: which module here writes what another module defines
_SUBJECTS = {
    "burden.case": "case",
    "burden.case.volume": "dose",
    "burden.decision.records": "decision",
    "burden.inference.diagnostics": "burden",
    "burden.inference.estimate_result": "burden",
    "burden.inference.group_result": "group",
    "burden.inference.mortality": "deaths",
    "burden.inference.pond_history": "pond_history",
    "burden.inference.treatment_failure": "treatment_response",
    "burden.inference.response_result": "treatment_response",
    "burden.inference.visit_comparison": "visit_comparison",
    "burden.io": "checks",
    "burden.io.many_checks": "many_cases",
    "burden.io.spreadsheet_cases": "many_cases",
    "burden.report.tidy": "many_cases",
    "burden.report.visit_round": "visit_round",
    "burden.statistics.count_summary": "statistics",
    "burden.statistics.point_estimate": "statistics",
    "burden.treatment.dose_result": "dose",
    "burden.treatment.efficacy_checks": "dose",
    "burden.treatment.efficacy_contradiction": "dose",
    "burden.treatment.withdrawal": "dose",
    "burden.schedule.by_killer": "forecast",
    "burden.schedule.fixed_interval": "interval",
    "burden.schedule.forecast": "forecast",
    "burden.schedule.interval_result": "interval",
    "burden.schedule.water_limits": "interval",
    "burden.schedule.projection": "forecast",
    "burden.sampling.burden_threshold": "sampling_sizes",
    "burden.sampling.detection": "sampling",
    "burden.sampling.follow_up": "sampling_days",
    "burden.sampling.freedom": "sampling",
    "burden.sampling.imperfect_test": "sampling_sizes",
    "burden.sampling.plan": "sampling",
    "burden.sampling.precision": "sampling_sizes",
    "burden.sampling.prevalence": "sampling_sizes",
    "burden.sampling.quarantine": "sampling_days",
    "burden.sampling.sequential": "sampling_sizes",
    "burden.sampling.two_stage": "sampling",
    "burden.sampling.verdict": "sampling_verdict",
}


@cache
def load_writers(module: str) -> None:
    """Register the words of all that a module defines; nothing to do for one that says nothing.

    Parameters
    ----------
    module : str
        Full name, as `type.__module__` gives it.
    """
    if module in _SUBJECTS:
        import_module(f"{__name__}.{_SUBJECTS[module]}")
