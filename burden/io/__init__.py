"""Reads and checks a case folder, and writes a new one. Every problem of a case is told at once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from burden.case import Case
from burden.io.files import Notes
from burden.io.template import new_case, sample_case_toml
from burden.utils.errors import InputError, Problem, listed
from burden.utils.results import Result

__all__ = ["CheckResult", "check_case", "new_case", "read_case", "sample_case_toml"]


@dataclass(frozen=True)
class CheckResult(Result):
    """What a case folder was read as, or what is wrong with it.

    Parameters
    ----------
    folder : str
        The folder checked.
    problems : tuple of Problem
        Empty where the case can be used.
    case : Case or None
        None with problems.
    warnings : tuple of str
        What looks odd but may be right.
    """

    folder: str
    problems: tuple[Problem, ...]
    case: Case | None
    warnings: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether the case can be used."""
        return not self.problems

    def as_dict(self) -> dict[str, Any]:
        """Return ok, problems and warnings, and what was read and assumed in words."""
        return {
            "ok": self.ok,
            "problems": [problem.as_dict() for problem in self.problems],
            "warnings": list(self.warnings),
            "assumptions": list(self.case.assumptions) if self.case else [],
            "in_words": self.case.in_words() if self.case else [],
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a problem."""
        return [problem.as_dict() for problem in self.problems]


def read_case(folder: Path | str) -> Case:
    """Read a case folder.

    Parameters
    ----------
    folder : Path or str
        Holds case.toml, and optionally samples.csv, deaths.csv and a temperature record.

    Returns
    -------
    Case
        With what was assumed, and what looks odd.

    Raises
    ------
    InputError
        With every problem of all the files.
    """
    from burden.io.assembly import assemble

    notes = Notes()
    case = assemble(Path(folder), notes)
    if case is None:
        raise InputError(notes.problems)
    return case


def check_case(folder: Path | str) -> CheckResult:
    """Read a case folder and tell what it was read as, or what is wrong with it.

    Parameters
    ----------
    folder : Path or str

    Returns
    -------
    CheckResult
    """
    from burden.io.assembly import assemble

    notes = Notes()
    case = assemble(Path(folder), notes)
    return CheckResult(str(folder), listed(notes.problems), case, tuple(notes.warnings))
