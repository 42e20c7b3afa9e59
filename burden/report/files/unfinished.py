"""Reports of several cases while they are being made: kept aside as they are done, so that a stopped run goes on."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import burden
from burden.report.files.folder import fill, move_into_place
from burden.utils.errors import InputError, Problem

if TYPE_CHECKING:
    from burden.case import Case
    from burden.report.page.index import Water

__all__ = ["Unfinished", "code_of"]

_NOTE = ".water.json"


class Unfinished:
    """A hidden folder beside the target that holds the reports done so far.

    A report is taken over only where the case, the options and the package's own files are the very same; its note,
    written last, says so. The folder goes when all is done or an input is wrong; it stays when a run is stopped.

    Parameters
    ----------
    target : Path
        Where the reports go in the end.
    options : str
        Everything beside the case that the report depends on.
    """

    def __init__(self, target: Path, options: str) -> None:
        self.target = target.resolve()
        self.options = options
        self.folder = self.target.parent / f".{self.target.name}-unfinished"
        self.waters: dict[str, Water] = {}
        self.made: list[Path] = []

    def __enter__(self) -> Unfinished:
        if self.folder.is_symlink() or (self.folder.exists() and not self.folder.is_dir()):
            place, fix = str(self.folder), "Move it away: unfinished reports are kept there."
            raise InputError([Problem("command line", "--out", place, "no file of that name", fix)])
        self.made = [parent for parent in self.folder.parents if not parent.exists()]
        self.folder.mkdir(parents=True, exist_ok=True)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self.folder.exists() and not any(self.folder.iterdir()):
            self.folder.rmdir()
        with suppress(OSError):  # the folders made on the way here go as well, up to the first that holds something
            for parent in self.made:
                parent.rmdir()

    def _print_of(self, case: Case) -> str:
        """Fingerprint of all that a report depends on."""
        all_of_it = (code_of(Path(burden.__file__).parent), self.options, case)
        return hashlib.sha256(repr(all_of_it).encode("utf-8")).hexdigest()

    def water(self, case: Case) -> Water | None:
        """Return what a finished report says of its water; None where there is none of this very case."""
        from burden.report.page.index import Water

        if case.name not in self.waters:
            try:
                note = json.loads((self.folder / case.name / _NOTE).read_text(encoding="utf-8"))
            except (OSError, ValueError):
                return None
            if note.get("of") != self._print_of(case) or not self._whole(case.name, note["files"]):
                return None
            found: dict[str, Any] = note["water"]
            tuples = {key: tuple(found[key]) for key in ("urgency", "walk", "due")}
            self.waters[case.name] = Water(**{**found, **tuples})
        return self.waters[case.name]

    def _whole(self, name: str, files: Sequence[str]) -> bool:
        return all((self.folder / name / file).is_file() for file in files)

    def put(self, case: Case, files: Mapping[str, bytes], water: Water) -> None:
        """Keep a report: its files first, the note that it is whole last."""
        folder = self.folder / case.name
        shutil.rmtree(folder, ignore_errors=True)
        fill(folder, files)
        note = {"of": self._print_of(case), "files": [*files], "water": asdict(water)}
        fill(folder, {_NOTE: json.dumps(note).encode("utf-8")})

    def discard(self) -> None:
        """Throw everything away."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def finish(self, order: Sequence[str], more: Mapping[str, bytes]) -> list[str]:
        """Add files beside the reports, move everything into place and return the paths of all files.

        Parameters
        ----------
        order : sequence of str
            Names of the cases, all of them put or found.
        more : mapping of str to bytes
            Files beside their folders.
        """
        names = [*more]
        for name in order:
            note = self.folder / name / _NOTE
            names += [f"{name}/{file}" for file in json.loads(note.read_text(encoding="utf-8"))["files"]]
        for strange in {p.name for p in self.folder.iterdir()} - {*order}:
            shutil.rmtree(self.folder / strange, ignore_errors=True)
        fill(self.folder, more)
        for name in order:
            (self.folder / name / _NOTE).unlink()
        move_into_place(self.folder, names, self.target)
        return names


@cache
def code_of(package: Path) -> str:
    """Digest of a package's code, evidence and templates: a version alone does not move with every change of them.

    Parameters
    ----------
    package : Path
        Its folder.
    """
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        if path.is_file() and path.parent.name != "__pycache__":
            digest.update(path.relative_to(package).as_posix().encode("utf-8") + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()
