"""The bar on standard error: what is being done, how much of it, how long yet. A terminal only."""

from __future__ import annotations

import io
import sys
import threading
import time
from types import TracebackType
from typing import TextIO

__all__ = ["Bar"]

_FIRST_SEEN_S = 1.0
_EVERY_S = 0.2
_WIDTH = 20


class Bar:
    """Shows what the core tells of its work, from a second on; removes itself at the end.

    Parameters
    ----------
    quiet : bool
        Show nothing.
    stream : text stream, optional
        Standard error when not given; nothing is shown where it is no terminal.
    """

    def __init__(self, quiet: bool, stream: TextIO | None = None) -> None:
        found = stream or sys.stderr
        # a program started without any standard error, as Windows does without a console, has None there
        self.stream: TextIO = found or io.StringIO()
        self.on = not quiet and self.stream.isatty()
        self.stage, self.since = "", time.monotonic()
        self.share: float | None = None
        self.width = 0

    def heard(self, stage: str, share: float | None) -> None:
        """Take what the core tells."""
        if stage != self.stage:
            self.since = time.monotonic()
        self.stage, self.share = stage, share

    def line(self, gone_s: float, in_stage_s: float) -> str:
        """Return the bar as a line of text.

        Examples
        --------
        >>> bar = Bar(quiet=True)
        >>> bar.heard("searching for a schedule", 0.25)
        >>> bar.line(12.0, 6.0)
        '[#####...............] searching for a schedule, about 18 s left, 12 s so far'
        """
        stage = self.stage or "working"
        if not self.share:
            place = int(gone_s / _EVERY_S) % _WIDTH
            return f"[{'.' * place}#{'.' * (_WIDTH - 1 - place)}] {stage}, {gone_s:.0f} s so far"
        left = in_stage_s * (1 - self.share) / self.share
        full = round(_WIDTH * self.share)
        return f"[{'#' * full}{'.' * (_WIDTH - full)}] {stage}, about {left:.0f} s left, {gone_s:.0f} s so far"

    def __enter__(self) -> Bar:
        if self.on:
            self.done, self.start = threading.Event(), time.monotonic()
            self.thread = threading.Thread(target=self._tick, daemon=True)
            self.thread.start()
        return self

    def _tick(self) -> None:
        while not self.done.wait(_EVERY_S):
            now = time.monotonic()
            if now - self.start >= _FIRST_SEEN_S:
                self._show(self.line(now - self.start, now - self.since))

    def _show(self, text: str) -> None:
        self.stream.write("\r" + text.ljust(self.width))
        self.stream.flush()
        self.width = len(text)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.on:
            self.done.set()
            self.thread.join()
            if self.width:
                self.stream.write("\r" + " " * self.width + "\r")
                self.stream.flush()
