"""Files of a case folder changed together or not at all, and never over what somebody else wrote meanwhile.

The new files are put into a hidden folder inside the case; renaming that folder is the moment they count. Then each is
moved to its place. Whoever comes after a run that was killed in between moves the rest (`finish_pending`).
"""

from __future__ import annotations

import hashlib
import os
import shutil
import time
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from burden.io.files import MAX_BYTES
from burden.utils.errors import BurdenError

__all__ = ["ConflictError", "digest_of", "finish_pending", "write_whole"]

_COLLECTED, _DECIDED = ".burden-new", ".burden-take"
#: a hidden folder older than this was left by a run that was killed; nobody takes so long to write four files [s]
_STALE_SECONDS = 20.0


class ConflictError(BurdenError):
    """The folder was changed since it was read, or is being written to right now."""


def digest_of(folder: Path, names: Iterable[str]) -> str:
    """Return a fingerprint of some files of a folder, absent ones included.

    Parameters
    ----------
    folder : Path
    names : iterable of str
    """
    digest = hashlib.sha256()
    for name in sorted(names):
        path = folder / name
        content = _content(path) if path.is_file() else b"\0absent"
        digest.update(f"{name}\0{len(content)}\0".encode("utf-8", "surrogatepass") + content)
    return digest.hexdigest()


def _content(path: Path) -> bytes:
    """Bytes of a file; of one too large to be a log, which nothing reads, its size and time."""
    about = path.stat()
    return path.read_bytes() if about.st_size <= MAX_BYTES else f"{about.st_size} {about.st_mtime_ns}".encode()


def write_whole(folder: Path, files: Mapping[str, str], seen: str | None, names: Iterable[str]) -> None:
    """Write some files of a folder, all or none.

    Parameters
    ----------
    folder : Path
        Is there already.
    files : mapping of str to str
        Name to text.
    seen : str or None
        Fingerprint of `names` when the folder was read; None writes whatever stands there.
    names : iterable of str
        Files that must not have changed meanwhile.

    Raises
    ------
    ConflictError
        Where they have, or somebody else is writing; nothing was written then.
    OSError
        Where the folder cannot be written.
    """
    aside = folder / _COLLECTED
    _claim(aside)
    try:
        finish_pending(folder)  # with the claim held nobody else's write begins to count meanwhile
        if seen is not None and digest_of(folder, names) != seen:
            raise ConflictError(f"{folder.name} was changed since it was read here")
        for name, text in files.items():
            with open(aside / name, "w", encoding="utf-8", newline="\n") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
        aside.rename(folder / _DECIDED)
    except BaseException:  # not in any case: once renamed, a hidden folder of that name is another's
        shutil.rmtree(aside, ignore_errors=True)
        raise
    finish_pending(folder)


def _claim(aside: Path) -> None:
    """Make the hidden folder, which only one can; one left by a run that was killed goes."""
    with suppress(OSError):
        if time.time() - aside.stat().st_mtime > _STALE_SECONDS:
            shutil.rmtree(aside, ignore_errors=True)
    try:
        aside.mkdir(mode=0o700)
    except FileExistsError:
        raise ConflictError(f"{aside.parent.name} is being written to right now") from None


def finish_pending(folder: Path) -> None:
    """Move the files of a write that counts but was killed before all stood in their place.

    Parameters
    ----------
    folder : Path
    """
    decided = folder / _DECIDED
    if decided.is_dir() and not decided.is_symlink():
        moving: list[Path] = []
        with suppress(FileNotFoundError):  # another window finishes the same write
            moving = list(decided.iterdir())
        for path in moving:
            with suppress(FileNotFoundError):
                os.replace(path, folder / path.name)
        with suppress(OSError):
            decided.rmdir()
