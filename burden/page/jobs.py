"""The queue of cases to work out, and the two processes that do it: one decides, one tries plans."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any

from burden.page.work import DRAWS, decider, trier

__all__ = ["Job", "Jobs", "Trials"]

#: how long a plan may take before its worker counts as stuck [s]
_PATIENCE_S = 180.0
_MOST_KEPT = 40


class _Worker:
    """A process with a pipe to it; ended and begun anew where it was stopped or died."""

    def __init__(self, work: Callable[[Connection], None]) -> None:
        self._work = work
        self._process: SpawnProcess | None = None
        self.connection: Connection | None = None

    def start(self) -> None:
        """Begin the process, unless it runs."""
        if self._process is not None and self._process.is_alive():
            return
        context = get_context("spawn")  # a copy of this process would have none of its threads
        self.connection, other = context.Pipe()
        self._process = context.Process(target=self._work, args=(other,), daemon=True)
        self._process.start()
        other.close()

    def stop(self) -> None:
        """End the process, whatever it is at."""
        if self._process is not None:
            self._process.terminate()
            self._process.join(5)
        if self.connection is not None:
            self.connection.close()
        self._process = None


@dataclass
class Job:
    """One case being worked out.

    Parameters
    ----------
    name : str
        Of the case folder.
    folder : Path
    state : str
        queued, working, done, failed or stopped.
    stage : str
        What is being done, in words.
    share : float or None
        Of the stage [-].
    burden : list
        First figures, one a parasite set.
    answer : dict or None
    faults : list of str
    """

    name: str
    folder: Path
    state: str = "queued"
    stage: str = ""
    share: float | None = None
    burden: list[dict[str, Any]] = field(default_factory=list)
    answer: dict[str, Any] | None = None
    faults: list[str] = field(default_factory=list)
    began: float = 0.0
    ended: float = 0.0

    def as_dict(self, before: int) -> dict[str, Any]:
        """Return it as the page asks for it; `before` is how many wait in front."""
        until = self.ended or time.monotonic()
        return {
            "state": self.state,
            "stage": self.stage,
            "share": self.share,
            "burden": self.burden,
            "answer": self.answer,
            "faults": self.faults,
            "before": before,
            "seconds": round(until - self.began, 1) if self.began else 0.0,
        }


class Jobs:
    """Works out one case at a time, in a process that is kept warm.

    Parameters
    ----------
    draws : int
        As `burden report` takes them, so that both write the same file.

    Attributes
    ----------
    ponds : dict of str to bytes
        Of the cases last decided, for plans to be tried on: each a pickled `burden.page.what_if.Trial`.
    found : dict of str to dict
        For other programs, of the cases last decided: `seen`, `decision` and `rows` of the tidy table.
    """

    def __init__(self, draws: int = DRAWS) -> None:
        self._draws = draws
        self._worker = _Worker(decider)
        self._worker.start()
        self._waiting: deque[Job] = deque()
        self._jobs: dict[str, Job] = {}
        self.ponds: dict[str, bytes] = {}
        self.found: dict[str, dict[str, Any]] = {}
        self._wake = threading.Condition()
        self._closed = False
        self._thread = threading.Thread(target=self._run, daemon=True, name="burden jobs")
        self._thread.start()

    def begin(self, name: str, folder: Path) -> Job:
        """Put a case into the queue, unless it is there."""
        with self._wake:
            job = self._jobs.get(name)
            if job is None or job.state not in ("queued", "working"):
                job = self._jobs[name] = Job(name, folder)
                self._waiting.append(job)
                self._forget()
                self._wake.notify()
            return job

    def _forget(self) -> None:
        for name in [name for name, job in self._jobs.items() if job.ended][: max(0, len(self._jobs) - _MOST_KEPT)]:
            self._jobs.pop(name)
            self.ponds.pop(name, None)
            self.found.pop(name, None)

    def stop(self, name: str) -> None:
        """Stop working a case out, or take it out of the queue."""
        with self._wake:
            job = self._jobs.get(name)
            if job is None or job.ended:
                return
            if job in self._waiting:
                self._waiting.remove(job)
            job.state, job.ended = "stopped", time.monotonic()

    def about(self, name: str) -> dict[str, Any] | None:
        """Return how far a case is; None where it was not asked for."""
        with self._wake:
            job = self._jobs.get(name)
            if job is None:
                return None
            before = self._waiting.index(job) + 1 if job in self._waiting else 0
            return job.as_dict(before)

    def close(self) -> None:
        """End the process."""
        with self._wake:
            self._closed = True
            self._wake.notify()
        self._worker.stop()

    def _run(self) -> None:
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._waiting or self._closed)
                if self._closed:
                    return
                job = self._waiting.popleft()
                job.state, job.began = "working", time.monotonic()
            try:
                self._worker.start()
                self._follow(job)
            except (EOFError, OSError):
                self._end(job, "failed")
            if job.state == "stopped" and not self._closed:
                self._worker.stop()
                self._worker.start()

    def _follow(self, job: Job) -> None:
        """Pass on what the worker says of one case, until it is done or was stopped."""
        connection = self._worker.connection
        if connection is None:
            return
        connection.send(("decide", str(job.folder), self._draws))
        while job.state == "working":
            if connection.poll(0.1):
                self._take(job, *connection.recv())

    def _take(self, job: Job, name: str, *values: Any) -> None:
        with self._wake:
            if job.state != "working":
                return
            if name == "stage":
                job.stage, job.share = values
            elif name == "burden":
                job.burden, self.ponds[job.name] = values
            elif name == "done":
                job.answer, self.found[job.name] = values
            elif name == "failed":
                (job.faults,) = values
        if name in ("done", "failed"):
            self._end(job, name)

    def _end(self, job: Job, state: str) -> None:
        with self._wake:
            if job.state == "working":
                job.state, job.ended = state, time.monotonic()


class Trials:
    """Tries plans on the ponds of the case last asked for, in a process of its own.

    Parameters
    ----------
    draws : int
        At most, where the ponds have to be worked out anew.
    """

    def __init__(self, draws: int = DRAWS) -> None:
        self._draws = draws
        self._worker = _Worker(trier)
        self._lock = threading.Lock()
        self._case: tuple[str, str] | None = None

    def ready(self, name: str, folder: Path, version: str, ponds: bytes | None) -> dict[str, Any]:
        """Have the ponds of a case at hand.

        Parameters
        ----------
        name : str
        folder : Path
        version : str
            Fingerprint of the case, so that ponds of an older one are not kept.
        ponds : bytes or None
            From the worker that decided, where it still holds.
        """
        with self._lock:
            found = self._asked("ponds", str(folder), ponds, self._draws)
            self._case = (name, version)
            return found

    def tried(self, name: str, version: str, plan: dict[str, Any]) -> dict[str, Any] | None:
        """Return what a plan does; None where the ponds at hand are not those of this case."""
        with self._lock:
            return None if self._case != (name, version) else self._asked("try", plan)

    def _asked(self, *message: Any) -> dict[str, Any]:
        self._worker.start()
        connection = self._worker.connection
        try:
            if connection is None:
                raise EOFError
            connection.send(message)
            if not connection.poll(_PATIENCE_S):
                raise EOFError
            name, found = connection.recv()
        except (EOFError, OSError):
            self._worker.stop()
            self._case = None
            return {"failed": ["stopped"]}
        return {"failed": found} if name == "failed" else found

    def close(self) -> None:
        """End the process."""
        self._worker.stop()
