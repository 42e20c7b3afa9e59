"""Files read and written so that nobody else's links, pipes or half-written bytes are met.

Read: plain files of a bounded size alone; a pipe or a device is refused before it can keep the reader waiting.
Written: new files alone, on the disk before they get the name they are known by.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

__all__ = ["inside", "read_plain", "sync_folder", "write_new"]

#: flags some systems do not have
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)
_BYTES = getattr(os, "O_BINARY", 0)


def read_plain(path: Path, most: int) -> bytes:
    """Return what a plain file holds.

    Parameters
    ----------
    path : Path
        A link is not followed.
    most : int
        Largest size [bytes].

    Raises
    ------
    OSError
        For a file that cannot be read, that is no plain file, or that is larger.
    """
    with open(os.open(path, os.O_RDONLY | _NO_LINK | _NO_WAIT | _BYTES), "rb") as stream:
        if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
            raise OSError("no plain file")
        data = stream.read(most + 1)
    if len(data) > most:
        raise OSError(f"larger than {most / 1e6:g} MB")
    return data


def write_new(path: Path, content: bytes) -> None:
    """Write a new file and have it on the disk; one of that name, a link included, is an error."""
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _NO_LINK | _BYTES, 0o666), "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk, where the system lets a folder be opened."""
    if os.name != "posix":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    except OSError:  # some network disks know no such thing; the files themselves are written
        pass
    finally:
        os.close(fd)


def inside(root: Path, name: str) -> Path:
    """Return the path of a file inside a folder, no part of it below the folder a link.

    Raises
    ------
    OSError
        Where it would lead out of the folder or through a link.
    """
    path = root
    for part in name.split("/"):
        path = path / part
        if part in ("", ".", "..") or path.is_symlink():
            raise OSError(f"{name!r} leads elsewhere")
    return path
