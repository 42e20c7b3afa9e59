"""Files of a case folder as text, safely, and the notes taken on the way.

A named file stays inside the case folder, is a plain file and no larger than `MAX_BYTES`, case.toml `MAX_CASE_BYTES`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath

from burden.io.safe_files import read_plain
from burden.utils.errors import Problem, near_miss

__all__ = ["MAX_BYTES", "MAX_CASE_BYTES", "Notes", "decode", "hint", "leaves_folder", "read_text"]

#: larger files are no case log: forty thousand readings with date, time and eight digits stay below
MAX_BYTES = 4_000_000
#: some five hundred doses; a longer file of keys within keys keeps the TOML reader busy for minutes
MAX_CASE_BYTES = 100_000


@dataclass
class Notes:
    """Everything found wrong, odd or left open while reading, gathered so that all of it is told at once."""

    problems: list[Problem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)

    def problem(self, file: str, place: str, value: object, expected: str, fix: str) -> None:
        """Note one thing that is wrong; what is long is cut."""
        said = (_cut(place, 120), _cut(str(value), 80), _cut(expected, 600), _cut(fix, 600))
        self.problems.append(Problem(file, *said))

    def warn(self, sentence: str) -> None:
        """Note one thing that looks odd."""
        self.warnings.append(sentence)

    def assume(self, sentence: str) -> None:
        """Note what is taken where the case says too little."""
        self.assumptions.append(sentence)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}…"


def hint(word: str, known: Iterable[str]) -> str:
    """Return the near miss of a word as a sentence.

    Examples
    --------
    >>> hint("dactylogirus", ["dactylogyrus"]), hint("x", ["gill", "skin"])
    ('Did you mean "dactylogyrus"?', 'Known: gill, skin.')
    """
    text = near_miss(_cut(word, 80), known)
    return text[0].upper() + text[1:] + ("" if text.endswith("?") else ".")


def leaves_folder(name: str) -> bool:
    """Tell whether a file name points out of its folder: absolute, with a drive, or through "..".

    Examples
    --------
    >>> leaves_folder("../secret.csv"), leaves_folder("C:/t.csv"), leaves_folder("logs/t.csv")
    (True, True, False)
    """
    windows = PureWindowsPath(name)
    return bool(windows.anchor or PurePosixPath(name).is_absolute() or ".." in windows.parts)


def read_text(folder: Path, name: str, notes: Notes) -> str | None:
    """Return a file of the case folder as text, or None with the problem noted.

    Parameters
    ----------
    folder : Path
    name : str
        Name relative to the folder.
    notes : Notes
        Takes what is wrong.

    Returns
    -------
    str or None
    """
    path = folder / name
    most = MAX_CASE_BYTES if path.suffix == ".toml" else MAX_BYTES
    try:
        if leaves_folder(name) or not path.resolve().is_relative_to(folder.resolve()):
            expected = "a file inside the case folder"
            notes.problem(name, "file", name, expected, "Copy the file into the case folder.")
            return None
        if not path.is_file():
            value = "no plain file" if path.exists() else "missing"
            fix = "Check the name, capitals included, or put the file into the case folder."
            notes.problem(name, "file", value, "a file of the case folder", fix)
            return None
        if (size := path.stat().st_size) > most:
            expected = f"at most {most / 1e6:g} MB"
            fix = "Leave out what lies long before the visit, or thin the readings."
            notes.problem(name, "file", f"{size / 1e6:.3g} MB", expected, fix)
            return None
        data = read_plain(path.resolve(), most)
    except (OSError, ValueError, RuntimeError) as error:  # a NUL character in the name; a link that leads to itself
        notes.problem(name, "file", error, "a file that can be read", "Check the name and the permissions.")
        return None
    return decode(data, name, notes)


def decode(data: bytes, name: str, notes: Notes) -> str | None:
    """Return bytes as text: UTF-8, UTF-16 with its mark, else Windows-1252, as spreadsheets write them."""
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if marked else ("utf-8-sig", "cp1252"):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    notes.problem(name, "file", "bytes that are no text", "text in UTF-8", "Save it as plain text, UTF-8.")
    return None
