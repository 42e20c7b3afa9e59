"""What the program takes from the machine it runs on, and what it leaves alone.

The command line draws by its own settings: matplotlib would read files of the user's and of the current folder, which
can change every byte of a figure or have it start other programs.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path

__all__ = ["cache_folder", "draw_by_own_settings", "no_programs_for_figures"]

_NOWHERE = os.path.join(os.sep, "nonexistent", "no-programs")


def cache_folder() -> Path:
    """Return the folder for what may be thrown away, in the user's own."""
    base = os.environ.get("LOCALAPPDATA") if os.name == "nt" else os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path(os.path.expanduser("~")) / ".cache") / "burden"


def draw_by_own_settings() -> None:
    """Have matplotlib, once it is loaded, read its own defaults and keep its list of fonts with us; no window opens."""
    spec = find_spec("matplotlib")
    if spec is not None and spec.origin is not None:
        os.environ["MATPLOTLIBRC"] = str(Path(spec.origin).parent / "mpl-data" / "matplotlibrc")
    os.environ["MPLBACKEND"] = "agg"  # no window is ever opened, so a backend that is not there must not matter
    os.environ["MPLCONFIGDIR"] = str(cache_folder() / "figures")


@contextmanager
def no_programs_for_figures() -> Iterator[None]:
    """Find no program while matplotlib first looks for fonts: it would ask others for their lists.

    Only where `draw_by_own_settings` was called: the list found then is kept apart from the user's.
    """
    if "matplotlib.font_manager" in sys.modules or os.environ.get("MPLCONFIGDIR") != str(cache_folder() / "figures"):
        yield
        return
    import logging

    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # it tells at length of a home that cannot be written
    path = os.environ.get("PATH")
    os.environ["PATH"] = _NOWHERE
    try:
        yield
    finally:
        os.environ.pop("PATH")
        if path is not None:
            os.environ["PATH"] = path
