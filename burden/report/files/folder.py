"""Where a report goes: written aside, moved into place whole, and never over a folder that is not ours."""

from __future__ import annotations

import glob
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from burden.utils.errors import InputError, Problem

__all__ = ["MARKER", "fill", "is_ours", "move_into_place", "refuse_foreign", "write_folder"]

MARKER = ".burden-report"
_ASIDE_LETTERS = 8
_FIRST_LINE = "burden report 1: this folder is replaced by the next report; files of your own in it are kept"


def is_ours(folder: Path) -> bool:
    """Whether a folder is a report of ours: it holds our marker."""
    try:
        return (folder / MARKER).read_text(encoding="utf-8").startswith("burden report 1")
    except (OSError, UnicodeDecodeError):
        return False


def refuse_foreign(folder: Path) -> list[Problem]:
    """Return what speaks against writing a report to a folder: nothing for one that is new, empty or ours."""
    place = ("command line", "--out", str(folder))
    if not os.path.lexists(folder):
        return _refuse_closed(folder.absolute().parent, place)
    if not folder.is_dir():
        return [Problem(*place, "a folder", "Name a folder that does not exist yet, or an earlier report.")]
    if is_ours(folder) or not any(folder.iterdir()):
        return _refuse_closed(folder.absolute().parent, place)
    return [
        Problem(
            *place,
            "a new or empty folder, or an earlier report",
            "It holds other files and was left untouched. Name another folder with --out.",
        )
    ]


def _refuse_closed(parent: Path, place: tuple[str, str, str]) -> list[Problem]:
    """Return what speaks against a new folder: the nearest one there is, is none, or closed to us."""
    while not os.path.lexists(parent):
        parent = parent.parent
    if parent.is_dir() and os.access(parent, os.W_OK | os.X_OK):
        return []
    return [Problem(*place, "a place that can be written", f"{parent} is not. Name another folder with --out.")]


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write a report folder whole, or not at all.

    Parameters
    ----------
    folder : Path
        New, empty or an earlier report.
    files : mapping of str to bytes
        Path inside the folder, with slashes, to content.

    Raises
    ------
    InputError
        For a folder that is not ours: it is left untouched.
    """
    folder = folder.resolve()
    if problems := refuse_foreign(folder):
        raise InputError(problems)
    folder.parent.mkdir(parents=True, exist_ok=True)
    _bring_back(folder)
    with _aside(folder) as aside:
        new = aside / "new"
        fill(new, files)
        _put(new, [*files], folder, aside)


def move_into_place(new: Path, names: Sequence[str], folder: Path) -> None:
    """Make a folder that was filled bit by bit the report; the names are all its files, with slashes."""
    if problems := refuse_foreign(folder):
        raise InputError(problems)
    _bring_back(folder)
    with _aside(folder) as aside:
        _put(new, names, folder, aside)


def _put(new: Path, names: Sequence[str], folder: Path, aside: Path) -> None:
    (new / MARKER).write_text("\n".join([_FIRST_LINE, *names, ""]), encoding="utf-8")
    if folder.exists():
        _keep_own(folder, new)
    _swap(new, folder, aside / "old")


def _bring_back(folder: Path) -> None:
    """Put an earlier report back that a run killed between its two renames left aside."""
    # so many letters as the name of a folder aside ends with: of `koi` none is taken for `koi-2`
    for old in sorted(folder.parent.glob(f".{glob.escape(folder.name)}-{'?' * _ASIDE_LETTERS}/old")):
        if is_ours(old) and not os.path.lexists(folder):
            old.rename(folder)
            shutil.rmtree(old.parent, ignore_errors=True)


@contextmanager
def _aside(folder: Path) -> Iterator[Path]:
    """A hidden folder on the same disk as the target, gone afterwards whatever happens."""
    aside = folder.with_name(f".{folder.name}-{secrets.token_hex(_ASIDE_LETTERS // 2)}")
    aside.mkdir(mode=0o700)
    try:
        yield aside
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def fill(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a folder, making the folders their paths need."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def _keep_own(old: Path, new: Path) -> None:
    """Copy what somebody put into an earlier report: all that its marker does not list."""
    marker = old / MARKER
    listed = {MARKER, *(marker.read_text(encoding="utf-8").splitlines()[1:] if marker.exists() else ())}
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old).as_posix()
        if path.is_file() and name not in listed and not (new / name).exists():
            (new / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, new / name)


def _swap(new: Path, folder: Path, old: Path) -> None:
    """Two renames; if the second cannot be made, the first is taken back."""
    had = folder.exists()
    if had:
        folder.rename(old)
    try:
        new.rename(folder)
    except BaseException:
        if had and not folder.exists():
            old.rename(folder)
        raise
