"""Values of options that are more than numbers: names of sets and agents, file names of figures."""

from __future__ import annotations

import math
import re
from datetime import date
from pathlib import Path
from typing import Any

import click

__all__ = [
    "DAY",
    "FIGURE",
    "SCHEDULER",
    "VOLUME",
    "AgentName",
    "FigureFile",
    "Number",
    "ParasiteName",
    "Scheduler",
    "Whole",
]

_ENDINGS = (".svg", ".png")


class Number(click.FloatRange):
    """A finite number from one end to another, and why no other is taken."""

    def __init__(self, low: float, high: float, why: str, above: bool = False) -> None:
        super().__init__(min=low, max=high, min_open=above)
        self.why = why

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number; one that is none, as nan, lies within no ends."""
        found = super().convert(value, param, ctx)
        if not math.isfinite(found):
            self.fail("a finite number", param, ctx)
        return found


class Whole(click.IntRange):
    """A whole number from one end to another, and why no other is taken."""

    def __init__(self, low: int, high: int, why: str) -> None:
        super().__init__(min=low, max=high)
        self.why = why


class _Name(click.ParamType):
    """A name out of those the evidence has; completes on Tab."""

    name = "name"
    kind = ""

    def known(self) -> tuple[str, ...]:
        raise NotImplementedError

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        from burden.utils.errors import InputError, Problem, near_miss

        if value in self.known():
            return value
        place = param.opts[0] if param is not None and param.param_type_name == "option" else self.kind
        hint = near_miss(str(value), self.known())
        fix = hint[0].upper() + hint[1:] if hint.endswith("?") else f"See `burden {self.kind}s`."
        fix = self.warning(str(value)) or fix
        raise InputError([Problem("command line", place, str(value), f"one of {', '.join(self.known())}", fix)])

    def warning(self, value: str) -> str:
        """Return what is known against a name that is none of ours; empty where nothing is."""
        return ""

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[click.shell_completion.CompletionItem]:
        from click.shell_completion import CompletionItem

        return [CompletionItem(name) for name in self.known() if name.startswith(incomplete)]


class ParasiteName(_Name):
    """Name of a parasite set."""

    kind = "parasite"

    def known(self) -> tuple[str, ...]:
        """Return every parasite set."""
        from burden.evidence import parasite_names

        return parasite_names()


class AgentName(_Name):
    """Name of an agent."""

    kind = "agent"

    def known(self) -> tuple[str, ...]:
        """Return every agent."""
        from burden.evidence import agent_names

        return agent_names()

    def warning(self, value: str) -> str:
        """Return why an agent is not to be given against flukes."""
        from burden.evidence import unsuitable
        from burden.utils.formatting import named

        bad = unsuitable(value)
        return f"{named(bad.name).capitalize()} {bad.verdict}: {bad.text} ({', '.join(bad.sources)})." if bad else ""


class _Day(click.ParamType):
    """A date, year-month-day."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Return the date."""
        try:
            return value if isinstance(value, date) else date.fromisoformat(value)
        except ValueError:
            self.fail("a date as 2026-05-10", param, ctx)


class FigureFile(click.ParamType):
    """A figure to write, .svg or .png, in a folder that exists."""

    name = "file"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path, or say what is wrong with it before anything is worked out."""
        path = Path(value)
        if path.suffix.lower() not in _ENDINGS:
            self.fail(f"a file name that ends in {' or '.join(_ENDINGS)}", param, ctx)
        if path.is_dir() or not path.absolute().parent.is_dir():
            self.fail("a file in a folder that exists", param, ctx)
        return path


class Scheduler(click.ParamType):
    """Address of a cluster's scheduler; what is none is refused before it is tried."""

    name = "address"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the address, of a host and a port."""
        if not re.fullmatch(r"(tcp|tls)://(\[[0-9a-fA-F:]+\]|[\w.-]+):\d{1,5}", str(value)):
            self.fail("an address as `dask scheduler` prints it, such as tcp://host:8786", param, ctx)
        return str(value)


DAY = _Day()
VOLUME = Number(0.01, 1e9, "From a vial to a reservoir of a million cubic metres.")
FIGURE = FigureFile()
SCHEDULER = Scheduler()
