"""Where a report goes: written aside, moved into place whole, and never over a folder that is not ours.

Ours in a report is what its marker lists and nobody has changed since; all else in it is its owner's and is kept. No
link is ever followed: one in the place of the folder is refused, one in a report is kept as the link it is.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterator, Mapping
from itertools import count
from pathlib import Path, PurePosixPath

from burden.io.aside import Aside, locked, place_of
from burden.io.safe_files import inside, read_plain, sync_folder, write_new
from burden.utils.errors import InputError, Problem

__all__ = ["MARKER", "digest", "fill", "is_ours", "move_into_place", "refuse_foreign", "write_folder"]

MARKER = ".burden-report"
_BEGINS = "burden report "
_FIRST_LINE = f"{_BEGINS}2: the next report takes this folder's place; files of your own, and ours you changed, stay"
_MAX_MARKER = 20_000_000
#: a page with its figures is a tenth of it
_MAX_FILE = 100_000_000


def digest(content: bytes) -> str:
    """Return the fingerprint a marker lists."""
    return hashlib.sha256(content).hexdigest()


def _marker(folder: Path) -> list[str]:
    """Lines of a folder's marker; none where it is no report of ours."""
    try:
        if folder.is_symlink():
            return []
        text = read_plain(folder / MARKER, _MAX_MARKER).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return []
    return text.splitlines() if text.startswith(_BEGINS) else []


def is_ours(folder: Path) -> bool:
    """Whether a folder is a report of ours: it holds our marker."""
    return bool(_marker(folder))


def refuse_foreign(folder: Path) -> list[Problem]:
    """Return what speaks against writing a report to a folder: nothing for one that is new, empty or ours."""
    place = ("command line", "--out", str(folder))
    if not os.path.lexists(folder):
        return _refuse_closed(folder.absolute().parent, place)
    if folder.is_symlink():
        return [Problem(*place, "a folder, no link to one", "Name the folder it leads to with --out.")]
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


def write_folder(folder: Path, files: Mapping[str, bytes]) -> list[str]:
    """Write a report folder whole, or not at all.

    Parameters
    ----------
    folder : Path
        New, empty or an earlier report.
    files : mapping of str to bytes
        Path inside the folder, with slashes, to content.

    Returns
    -------
    list of str
        Names under which files of ours that somebody had changed were kept.

    Raises
    ------
    InputError
        For a folder that is not ours: it is left untouched.
    """
    folder = place_of(folder)
    if problems := refuse_foreign(folder):
        raise InputError(problems)
    with Aside(folder) as aside:
        fill(aside.path / "new", files)
        return move_into_place(aside, "new", {name: digest(content) for name, content in files.items()})


def move_into_place(aside: Aside, name: str, listed: Mapping[str, str]) -> list[str]:
    """Make a folder inside one aside the report, and return the names of what was kept though it was ours.

    Parameters
    ----------
    aside : Aside
    name : str
        The folder in it.
    listed : mapping of str to str
        All its files, with slashes, and their digests.
    """
    new, folder = aside.path / name, aside.target
    with locked(folder.parent):
        for earlier in aside.earlier:
            _bring_back(earlier / "old", folder)
        if problems := refuse_foreign(folder):
            raise InputError(problems)
        lines = [f"{value} {name}" for name, value in listed.items()]
        write_new(new / MARKER, "\n".join([_FIRST_LINE, *lines, ""]).encode("utf-8"))
        kept = _keep_own(folder, new) if folder.exists() else []
        for inner in {new, *((new / name).parent for name in listed)}:
            sync_folder(inner)
        _swap(new, folder, aside.path / "old")
        sync_folder(folder.parent)
        aside.forget_earlier()
    return kept


def _bring_back(old: Path, folder: Path) -> None:
    """Put an earlier report back that a run killed between its two renames left aside."""
    if is_ours(old) and not os.path.lexists(folder):
        os.rename(old, folder)


def fill(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write new files into a folder, making the folders their paths need."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        write_new(path, content)


def _keep_own(old: Path, new: Path) -> list[str]:
    """Bring what is not ours of an earlier report into the new one: by a second name, so nothing is opened.

    Returns
    -------
    list of str
        New names of files of ours that somebody had changed.
    """
    listed = _listed(old)
    folders = {str(parent) for name in listed for parent in PurePosixPath(name).parents}
    own = [(p, n) for p, n in _walk(old) if n != MARKER and not _unchanged(old, n, listed)]
    for path, name in own:
        if path.is_dir() and not path.is_symlink() and name not in folders and not (new / name).is_dir():
            _free(new, name).mkdir(parents=True, exist_ok=True)
    files = [(p, n) for p, n in own if p.is_symlink() or not p.is_dir()]
    changed = []
    for path, name in sorted(files, key=lambda file: file[1] in listed):
        place = _free(new, name)
        place.parent.mkdir(parents=True, exist_ok=True)
        _same_again(path, place)
        if name in listed:
            changed.append(place.relative_to(new).as_posix())
    return changed


def _walk(folder: Path) -> Iterator[tuple[Path, str]]:
    """Everything inside a folder, folders before what is in them, with its name from there; links are not followed."""
    for place, inner, files in os.walk(folder, followlinks=False, onerror=_raise):
        for name in (*sorted(inner), *sorted(files)):
            path = Path(place, name)
            yield path, path.relative_to(folder).as_posix()


def _raise(error: OSError) -> None:
    raise error


def _listed(folder: Path) -> dict[str, str]:
    """Files of ours by what they held; those of the first kind of marker by nothing, as it held no digests."""
    first, *lines = _marker(folder) or [""]
    if first.startswith(f"{_BEGINS}1"):
        return dict.fromkeys(lines, "")
    return {name: value for value, _, name in (line.partition(" ") for line in lines)}


def _unchanged(folder: Path, name: str, listed: Mapping[str, str]) -> bool:
    """Whether a file is ours and holds what we wrote."""
    if name not in listed:
        return False
    try:
        content = read_plain(inside(folder, name), _MAX_FILE)
    except OSError:  # a link or a pipe in its place, or too large to be ours
        return False
    return listed[name] in ("", digest(content))


def _free(new: Path, name: str) -> Path:
    """A place for a name of the old report in the new one: that name, or in a folder `kept` where it is taken."""
    for number in count():
        place = new / ("" if number == 0 else "kept" if number == 1 else f"kept {number}") / name
        above = [p for p in place.parents if p.is_relative_to(new)]
        if not os.path.lexists(place) and all(p.is_dir() or not os.path.lexists(p) for p in above):
            return place
    raise AssertionError("numbers end nowhere")


def _same_again(path: Path, place: Path) -> None:
    """Give a file, a link or a pipe a second name; where the disk cannot, a copy of a file or link."""
    try:
        os.link(path, place, follow_symlinks=False)
    except (OSError, NotImplementedError):
        if not (path.is_symlink() or path.is_file()):
            raise
        shutil.copy2(path, place, follow_symlinks=False)


def _swap(new: Path, folder: Path, old: Path) -> None:
    """Two renames; if the second cannot be made, the first is taken back."""
    had = folder.exists()
    if had:
        os.rename(folder, old)
    try:
        os.rename(new, folder)
    except BaseException:
        if had and not folder.exists():
            os.rename(old, folder)
        raise
