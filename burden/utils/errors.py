"""What can be wrong, as data.

BurdenError
├── InputError          the input or the options are wrong: exit code 2, every problem listed
└── CannotAnswerError   the evidence does not answer: the caller gives null with a reason
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass

from burden.utils.safe_text import shown

__all__ = ["BurdenError", "CannotAnswerError", "InputError", "Problem", "listed", "near_miss"]

#: of one file so many problems are listed, then the rest by number
_LISTED = 100


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input.

    Parameters
    ----------
    file : str
        File the problem is in, or "command line".
    place : str
        Key, row and column, or option.
    value : str
        What stands there, as text.
    expected : str
        What should stand there.
    fix : str
        What to do about it.
    """

    file: str
    place: str
    value: str
    expected: str
    fix: str

    def __str__(self) -> str:
        said = f"{self.file}: {self.place}: {self.value!r}: expected {self.expected}. {self.fix}"
        return shown(said, lines=False)

    def as_dict(self) -> dict[str, str]:
        """Return the problem as the JSON contract has it."""
        return asdict(self)


def listed(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return problems, of each file a hundred at most and how many more there are."""
    counts: dict[str, int] = {}
    kept = []
    for problem in problems:
        counts[problem.file] = counts.get(problem.file, 0) + 1
        if counts[problem.file] <= _LISTED:
            kept.append(problem)
    more = {file: number - _LISTED for file, number in counts.items() if number > _LISTED}
    fix = "Put the first ones right and check again."
    return (*kept, *(Problem(file, "file", f"and {number} more", "as above", fix) for file, number in more.items()))


class BurdenError(Exception):
    """Base of every error this package raises on purpose."""


class InputError(BurdenError):
    """The input is wrong; carries every problem found, not the first alone."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = listed(problems)
        super().__init__("\n".join(map(str, self.problems)))


class CannotAnswerError(BurdenError):
    """The evidence at hand does not answer the question; the message says why."""


def near_miss(word: str, known: Iterable[str]) -> str:
    """Return a hint naming the closest known word, or the known words when none is close.

    Parameters
    ----------
    word : str
        What was written.
    known : iterable of str
        What could have been meant.

    Examples
    --------
    >>> near_miss("dactylogirus", ["dactylogyrus", "gyrodactylus"])
    'did you mean "dactylogyrus"?'
    >>> near_miss("xyz", ["a", "b"])
    'known: a, b'
    """
    from difflib import get_close_matches

    known = sorted(known)
    close = get_close_matches(word.lower(), known, n=1, cutoff=0.6)
    return f'did you mean "{close[0]}"?' if close else "known: " + ", ".join(known)
