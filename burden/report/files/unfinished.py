"""Reports of several cases while they are being made: kept aside as they are done, so that a stopped run goes on."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import cache
from importlib.metadata import version
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import burden
from burden.io.aside import Aside, place_of
from burden.io.safe_files import inside, read_plain, write_new
from burden.report.files.folder import digest, fill, move_into_place

if TYPE_CHECKING:
    from burden.case import Case
    from burden.report.page.index import Water

__all__ = ["Unfinished", "code_of", "program"]

#: inside the folder aside: the reports, and what each note says of one
_REPORTS, _NOTES = "new", "notes"
_MAX_BYTES = 100_000_000


class Unfinished:
    """A hidden folder beside the target that holds the reports done so far.

    A run that was stopped leaves its folder; the next one to the same target takes over what is whole in it, file by
    file as the digests say, into a folder of its own. A report is taken over only where the case, the options and the
    package's own files are the very same; its note, written last, says so. The folder goes when all is done or an
    input is wrong.

    Parameters
    ----------
    target : Path
        Where the reports go in the end.
    options : str
        Everything beside the case that the report depends on.
    """

    def __init__(self, target: Path, options: str) -> None:
        self.options = options
        self.aside = Aside(place_of(target))
        self.notes: dict[str, dict[str, Any]] = {}

    def __enter__(self) -> Unfinished:
        self.aside.__enter__()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.aside.kept = bool(self.notes)
        self.aside.__exit__(kind, error, at)

    def _print_of(self, case: Case) -> str:
        """Fingerprint of all that a report depends on."""
        all_of_it = (code_of(Path(burden.__file__).parent), self.options, case)
        return digest(repr(all_of_it).encode("utf-8", "surrogatepass"))

    def water(self, case: Case) -> Water | None:
        """Return what a finished report says of its water; None where there is none of this very case."""
        from burden.report.page.index import Water

        if case.name not in self.notes and not any(self._taken_over(case, e) for e in self.aside.earlier):
            return None
        found: dict[str, Any] = self.notes[case.name]["water"]
        return Water(**{**found, **{key: tuple(found[key]) for key in ("urgency", "walk", "due")}})

    def _taken_over(self, case: Case, earlier: Path) -> bool:
        """Whether an earlier run left this very report whole; it is then in our own folder."""
        try:
            note = json.loads(read_plain(inside(earlier, f"{_NOTES}/{_note_of(case)}"), _MAX_BYTES))
            if note["of"] != self._print_of(case):
                return False
            root = inside(earlier, f"{_REPORTS}/{case.name}")
            files = {name: read_plain(inside(root, name), _MAX_BYTES) for name in note["files"]}
        except (OSError, ValueError, KeyError, TypeError):
            return False
        if any(digest(content) != note["files"][name] for name, content in files.items()):
            return False
        self._write(case, files, note)
        return True

    def put(self, case: Case, files: Mapping[str, bytes], water: Water) -> None:
        """Keep a report: its files first, the note that it is whole last."""
        listed = {name: digest(content) for name, content in files.items()}
        self._write(case, files, {"of": self._print_of(case), "files": listed, "water": asdict(water)})

    def _write(self, case: Case, files: Mapping[str, bytes], note: dict[str, Any]) -> None:
        fill(self.aside.path / _REPORTS / case.name, files)
        notes = self.aside.path / _NOTES
        notes.mkdir(exist_ok=True)
        write_new(notes / _note_of(case), json.dumps(note).encode("utf-8"))
        self.notes[case.name] = note

    def discard(self) -> None:
        """Throw everything away, what earlier runs left included."""
        self.notes = {}
        self.aside.forget_earlier()

    def finish(self, order: Sequence[str], more: Mapping[str, bytes]) -> tuple[list[str], list[str]]:
        """Add files beside the reports and move everything into place.

        Parameters
        ----------
        order : sequence of str
            Names of the cases, all of them put or found.
        more : mapping of str to bytes
            Files beside their folders.

        Returns
        -------
        list of str, list of str
            Paths of all files; names under which changed files of an earlier report were kept.
        """
        fill(self.aside.path / _REPORTS, more)
        listed = {name: digest(content) for name, content in more.items()}
        for name in order:
            listed |= {f"{name}/{file}": value for file, value in self.notes[name]["files"].items()}
        kept = move_into_place(self.aside, _REPORTS, listed)
        self.notes = {}
        return [*listed], kept


def _note_of(case: Case) -> str:
    """Name of a note: a case's own may be as long as a name can be."""
    return f"{digest(case.name.encode('utf-8'))[:32]}.json"


@cache
def code_of(package: Path) -> str:
    """Digest of a package's code, evidence and templates: a version alone does not move with every change of them.

    Parameters
    ----------
    package : Path
        Its folder.
    """
    found = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        if path.is_file() and path.parent.name != "__pycache__":
            found.update(path.relative_to(package).as_posix().encode("utf-8") + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()


@cache
def program() -> str:
    """Return what a report's bytes hang on besides case and options: our own files, Python, and what does arithmetic.

    Returns
    -------
    str
    """
    libraries = ("numpy", "scipy", "pandas", "matplotlib", "jinja2", "icalendar")
    versions = [f"{name} {version(name)}" for name in libraries]
    return " ".join([code_of(Path(burden.__file__).parent), platform.python_version(), *versions])
