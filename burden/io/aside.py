"""A hidden folder beside a target, in which something is made whole before it is moved into place.

Its name cannot be foreseen and it carries our mark, held locked as long as the run lives. A marked folder nobody holds
belongs to a run that was killed: the next run to the same target takes what is whole in it and removes it. A folder
without the mark is never touched. Whatever has to happen at once happens under one lock on the folder around both.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType

from burden.io.safe_files import read_plain, write_new

__all__ = ["Aside", "locked", "place_of"]

_MARK = ".burden-aside"
_SAYS = b"burden aside 1: made by a run of burden; removed by the next one to the same place\n"
_LETTERS = 8


def place_of(target: Path) -> Path:
    """Return a target with every link above it followed, its own name as it is."""
    absolute = Path(os.path.abspath(target))
    return absolute.parent.resolve() / absolute.name


class Aside:
    """The folder of one run; gone afterwards unless it is kept.

    Parameters
    ----------
    target : Path
        From `place_of`; what is made here gets this name in the end. Folders above it are made.
    """

    def __init__(self, target: Path) -> None:
        self.target = target
        self.path = target.with_name(f".{target.name}-{secrets.token_hex(_LETTERS // 2)}")
        self.kept = False
        #: folders of runs that were killed, ours to read and to remove as long as this one lives
        self.earlier: dict[Path, int] = {}
        self._made: list[Path] = []
        self._held = -1

    def __enter__(self) -> Aside:
        self._made = [parent for parent in self.target.parents if not parent.exists()]
        try:
            self.target.parent.mkdir(parents=True, exist_ok=True)
            with locked(self.target.parent):
                self.earlier = dict(_abandoned(self.target))
                self.path.mkdir(mode=0o700)
                write_new(self.path / _MARK, _SAYS + os.fsencode(self.path.name))
                self._held = _held(self.path) or -1
        except BaseException:
            self._remove()
            raise
        return self

    def forget_earlier(self) -> None:
        """Remove what killed runs left."""
        for path, fd in self.earlier.items():
            shutil.rmtree(path, ignore_errors=True)
            os.close(fd)
        self.earlier = {}

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        for fd in self.earlier.values():
            os.close(fd)
        if self.kept:
            os.close(self._held)
        else:
            self._remove()

    def _remove(self) -> None:
        shutil.rmtree(self.path, ignore_errors=True)
        if self._held >= 0:
            os.close(self._held)
        with suppress(OSError):  # the folders made on the way here go as well, up to the first that holds something
            for parent in self._made:
                parent.rmdir()


def _abandoned(target: Path) -> Iterator[tuple[Path, int]]:
    """Folders of killed runs to the same target, each held from now on; one killed before it was marked is removed."""
    named = re.compile(re.escape(f".{target.name}-") + f"[0-9a-f]{{{_LETTERS}}}")
    for path in sorted(p for p in target.parent.iterdir() if named.fullmatch(p.name)):
        if path.is_symlink() or not path.is_dir():
            continue
        with suppress(FileNotFoundError):  # a run that ends removes its own at this moment, and holds no lock around it
            held = _held(path) if _is_mine(path) else None
            if held is not None:
                yield path, held
            elif _is_mine(path) and not any(path.iterdir()):
                path.rmdir()


def _is_mine(path: Path) -> bool:
    return not hasattr(os, "getuid") or path.lstat().st_uid == os.getuid()


def _held(path: Path) -> int | None:
    """Return the mark of a folder, opened and locked; None where it is not ours or another run holds it."""
    mark = path / _MARK
    try:
        if read_plain(mark, 10_000) != _SAYS + os.fsencode(path.name):
            return None
        fd = os.open(mark, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
    except OSError:
        return None
    if _lock(fd, wait=False):
        return fd
    os.close(fd)
    return None


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep other runs from changing what stands in a folder; held for moments only, so others wait."""
    if sys.platform == "win32":  # a folder cannot be opened there; untried
        yield
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        _lock(fd, wait=True)
        yield
    finally:
        os.close(fd)


def _lock(fd: int, wait: bool) -> bool:
    """Lock an open file for this process until it is closed, or dies; a disk that knows no locks is taken as free."""
    import errno

    if sys.platform == "win32":  # untried
        import msvcrt

        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(fd, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError as error:
        return error.errno not in (errno.EWOULDBLOCK, errno.EACCES)
    return True
