"""A population model of monogenean flukes on a group of fish, for the person who treats them.

```python
from burden import draw_forecast, read_case
from burden.visit import visit

found = visit(read_case("simulated_data/koi_pond"))
found.estimates[0]                  # the burden, in words and as a table; a notebook shows it
found.forecasts[0].to_frame()       # flukes and deaths by day
draw_forecast(found.forecasts[0])   # the same as a figure
```

The names below are loaded when they are asked for, so that `import burden` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from burden.utils.wording import words_come_from

__version__ = "0.1.0"
_NAMES = {
    "case": ("Case",),
    "io": ("check_case", "new_case", "read_case"),
    "utils.errors": ("BurdenError", "CannotAnswerError", "InputError", "Problem"),
    "evidence": ("Evidence", "agent_names", "load_agent", "load_parasite", "parasite_names", "reference"),
    "report.figures.concentration": ("draw_concentration",),
    "report.figures.forecast": ("draw_forecast",),
    "report.figures.interval": ("draw_interval_chart",),
    "report.figures.thermal": ("draw_thermal_laws",),
    "utils.results": ("Probability", "Result", "CredibleInterval"),
}
_HOME = {name: room for room, names in _NAMES.items() for name in names}
__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    """Load a public name from its room."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def _load_words(module: str) -> None:
    """Bring the writers of a room's results, from the one room that holds sentences."""
    import_module(f"{__name__}.report.text").load_writers(module)


words_come_from(_load_words)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
