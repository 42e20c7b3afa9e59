"""One quiet style for every figure: blues and greys that keep their order in grey, hatching, direct labels."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from burden.io.aside import place_of
from burden.io.safe_files import sync_folder, write_new
from burden.utils.environment import no_programs_for_figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "BAND_50",
    "BAND_90",
    "GREY",
    "INK",
    "LINE",
    "MARK",
    "PALE",
    "bare",
    "figure_bytes",
    "figure_of_size",
    "inline_svg",
    "quiet",
    "svg_bytes",
    "write_figure",
]

#: dark line, two bands, marks and words; lightness alone tells them apart (17, 32, 68, 86 % and paler)
INK, LINE, BAND_50, BAND_90, GREY, PALE, MARK = (
    *("#22303a", "#1b4965", "#8fb3c9", "#cddde8"),
    *("#7d868d", "#eef2f5", "#0d2a3d"),
)
_PNG_DPI = 150
#: settings of windows, not of figures: they stay as a notebook has them
_OF_THE_SESSION = {"backend", "backend_fallback", "interactive", "toolbar"}
#: how each form is written: nothing that differs from run to run
_HOW: dict[str, dict[str, Any]] = {
    "svg": {"metadata": {"Date": None, "Creator": None, "Format": None, "Type": None}},
    "png": {"dpi": _PNG_DPI, "metadata": {"Software": None}},
}


@contextmanager
def quiet(name: str) -> Iterator[None]:
    """Settings in force while a figure is made and written; `name` makes the ids of its SVG its own.

    Whatever a user's own files have set for figures is put aside meanwhile.
    """
    with no_programs_for_figures():
        import matplotlib.font_manager

    ours: dict[Any, Any] = {
        "svg.fonttype": "none",
        "svg.hashsalt": name,
        "font.family": "DejaVu Sans",
        "font.size": 8.5,
        "hatch.linewidth": 0.6,
        "axes.unicode_minus": True,
    }
    defaults: dict[Any, Any] = {
        key: value for key, value in matplotlib.rcParamsDefault.items() if key not in _OF_THE_SESSION
    }
    with matplotlib.rc_context({**defaults, **ours}):
        yield


@cache
def _self_showing() -> type[Figure]:
    from matplotlib.figure import Figure

    class ShownFigure(Figure):
        """A figure that a notebook shows by itself: matplotlib's own needs pyplot for that."""

        def _repr_png_(self) -> bytes:
            buffer = BytesIO()
            self.savefig(buffer, format="png", dpi=_PNG_DPI, facecolor="white")
            return buffer.getvalue()

    return ShownFigure


def figure_of_size(width: float, height: float, h_pad: float = 0.04167, w_pad: float = 0.04167) -> Figure:
    """Return an empty figure, its parts laid out so that no word is cut.

    Parameters
    ----------
    width, height : float
        [inch]
    h_pad, w_pad : float
        Room around the axes [inch].
    """
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    return _self_showing()(figsize=(width, height), layout=ConstrainedLayoutEngine(h_pad=h_pad, w_pad=w_pad))


def bare(axis: Axes, size: float = 8.0) -> None:
    """Leave an axis two lines, and words in ink."""
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axis.spines[side].set_color(GREY)
    axis.tick_params(labelsize=size, colors=INK, color=GREY, length=3)


def svg_bytes(draw: Callable[[], Figure], name: str) -> bytes:
    """Return a figure as SVG, the same bytes for the same figure."""
    return figure_bytes(draw, name, "svg")[0]


def write_figure(path: Path, draw: Callable[[], Figure], name: str) -> None:
    """Write a figure, SVG or PNG by the ending of the path, whole or not at all.

    Parameters
    ----------
    path : Path
        Ends in .svg or .png; one of that name is replaced.
    draw : callable
        Returns the figure.
    name : str
        As `svg_bytes` takes it.
    """
    content = figure_bytes(draw, name, path.suffix.lower().removeprefix("."))[0]
    path = place_of(path)  # a link of that name is replaced, not followed
    aside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        write_new(aside, content)
        aside.replace(path)
        sync_folder(path.parent)
    finally:
        aside.unlink(missing_ok=True)


def figure_bytes(draw: Callable[[], Figure], name: str, *kinds: str) -> list[bytes]:
    """Return a figure as svg, png or both, drawn and laid out once."""
    found = []
    with quiet(name):
        figure = draw()
        if (engine := figure.get_layout_engine()) is not None:  # else every form is laid out again, by a drawing more
            figure.set_dpi(_PNG_DPI)  # letters are widest where their edges are fitted to these pixels
            engine.execute(figure)
            figure.set_layout_engine("none")
        for kind in kinds:
            buffer = BytesIO()
            figure.savefig(buffer, format=kind, facecolor="white", **_HOW[kind])
            found.append(buffer.getvalue())
    return found


def inline_svg(svg: bytes, name: str, says: str) -> str:
    """Return an SVG as it goes into a page: no prolog, ids of its own, as wide as its place, read out as `says`.

    Parameters
    ----------
    svg : bytes
        From `svg_bytes`.
    name : str
        Letters, digits and hyphens; sets the ids of two figures of one page apart.
    says : str
        What someone hears who does not see it.
    """
    from html import escape

    text = svg.decode("utf-8")
    text = text[text.index("<svg") :]
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)
    text = re.sub(r'href="#([^"]+)"', rf'href="#{name}-\1"', text)
    head, rest = text.split(">", 1)
    head = re.sub(r'\s(width|height|version)="[^"]*"', "", head)
    return f'{head} role="img" aria-label="{escape(says)}">{rest}'
