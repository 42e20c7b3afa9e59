"""A population model of monogenean flukes on a group of fish, for the person who treats them.

```python
from burden import assess, draw_forecast, read_case

found = assess(read_case("simulated_data/koi_pond"))
found.decision                      # what to do, and why, in words; a notebook shows it
found.estimates[0]                  # the burden, in words and as a table
found.forecasts[0].to_frame()       # flukes and deaths by day
draw_forecast(found.forecasts[0])   # the same as a figure
```

The names below are loaded when they are asked for, so that `import burden` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from burden.utils.wording import words_come_from

__version__ = "0.2.0"
#: rooms and what of each is public under its own name
_NAMES = {
    "case": ("Case",),
    "decision": ("Assessment", "Decision", "assess", "decide"),
    "evidence": ("Evidence", "agent_names", "load_agent", "load_parasite", "parasite_names", "reference"),
    "inference.estimate_result": ("Estimate",),
    "inference.group_result": ("GroupEstimate",),
    "inference.links": ("Link",),
    "inference.pond_history": ("History",),
    "inference.response_result": ("Response",),
    "io": ("check_case", "new_case", "read_case"),
    "io.many_checks": ("check_cases",),
    "io.spreadsheet_cases": ("import_table",),
    "report.figures.concentration": ("draw_concentration",),
    "report.figures.forecast": ("draw_forecast",),
    "report.figures.history": ("draw_history",),
    "report.figures.interval": ("draw_interval_chart",),
    "report.figures.thermal": ("draw_thermal_laws",),
    "report.tidy": ("tidy_table",),
    "report.visit_round": ("RoundLimits", "plan_round"),
    "schedule.aim": ("Aim", "aim_of"),
    "schedule.forecast": ("Forecast",),
    "utils.errors": ("BurdenError", "CannotAnswerError", "InputError", "Problem"),
    "utils.results": ("CredibleInterval", "Probability", "Result"),
}
#: public functions whose module has the plain word
_RENAMED = {
    "assess_response": ("inference.treatment_response", "response"),
    "calculate_dose": ("treatment.dose", "dose"),
    "estimate_burden": ("inference.estimate", "estimate"),
    "estimate_group": ("inference.group", "group"),
    "forecast": ("decision.assessment", "forecast_case"),
    "history": ("inference.pond_history", "history"),
    "justify_interval": ("schedule.interval", "interval"),
    "search_schedule": ("schedule.search", "search"),
}
_HOME = {name: (room, name) for room, names in _NAMES.items() for name in names} | _RENAMED
__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    """Load a public name from its room."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    room, own = _HOME[name]
    return getattr(import_module(f"{__name__}.{room}"), own)


def _load_words(module: str) -> None:
    """Bring the writers of a room's results, from the one room that holds sentences."""
    import_module(f"{__name__}.report.text").load_writers(module)


words_come_from(_load_words)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
