"""What `burden new` wrote, as a result like any other."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from burden.result import Result

__all__ = ["NewCase"]


@dataclass(frozen=True)
class NewCase(Result):
    """A case folder just begun.

    Parameters
    ----------
    folder : Path
    files : tuple of Path
        Files written.
    """

    folder: Path
    files: tuple[Path, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {"folder": str(self.folder), "files": [path.name for path in self.files]}

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a file."""
        return [{"file": str(path)} for path in self.files]

    def text(self) -> str:
        """Return what is there and what comes next."""
        return (
            f"{self.folder} holds {', '.join(path.name for path in self.files)}.\n"
            "Write your own values over those in case.toml, and a row a preparation into samples.csv; then:\n"
            f"  burden check {self.folder}\n"
            f"  burden report {self.folder}"
        )
