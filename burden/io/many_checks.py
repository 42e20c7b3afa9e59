"""Several case folders checked together: one list, each problem with the case it is in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from burden.case import Case
from burden.io import CheckResult, check_case
from burden.utils.errors import InputError, Problem
from burden.utils.results import Result

__all__ = ["ManyChecks", "check_cases", "read_cases"]


@dataclass(frozen=True)
class ManyChecks(Result):
    """Checks of several folders.

    Parameters
    ----------
    checks : tuple of CheckResult
    """

    checks: tuple[CheckResult, ...]

    @property
    def ok(self) -> bool:
        """Whether every case can be used."""
        return all(check.ok for check in self.checks)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Every problem, its file named with its case."""
        return tuple(
            problem if problem.file == check.folder else replace(problem, file=f"{check.folder}: {problem.file}")
            for check in self.checks
            for problem in check.problems
        )

    def as_dict(self) -> dict[str, Any]:
        """Return ok, all problems in one list, and each case's own check."""
        return {
            "ok": self.ok,
            "problems": [problem.as_dict() for problem in self.problems],
            "warnings": [f"{check.folder}: {text}" for check in self.checks for text in check.warnings],
            "cases": [{"case": check.folder, **check.as_dict()} for check in self.checks],
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a problem, with its case."""
        return [{"case": check.folder, **row} for check in self.checks for row in check.rows()]


def check_cases(folders: Sequence[Path | str]) -> ManyChecks:
    """Check several case folders.

    Parameters
    ----------
    folders : sequence of Path or str

    Returns
    -------
    ManyChecks
    """
    return ManyChecks(tuple(check_case(folder) for folder in folders))


def read_cases(folders: Sequence[Path | str]) -> list[Case]:
    """Read several case folders.

    Parameters
    ----------
    folders : sequence of Path or str

    Returns
    -------
    list of Case
        In the order given.

    Raises
    ------
    InputError
        With what is wrong with any of them.
    """
    checks = check_cases(folders)
    if not checks.ok:
        raise InputError(checks.problems)
    return [check.case for check in checks.checks if check.case is not None]
