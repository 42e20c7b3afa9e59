"""Where a run begins, as `burden` or as `python -m burden`."""

from __future__ import annotations

import sys

__all__ = ["run"]


def run() -> None:
    """Run one command line; stopped while the command line itself is still being loaded, leave as quietly as later."""
    try:
        from burden.cli import main

        main(prog_name="burden")
    except KeyboardInterrupt:
        sys.stderr.write("\nburden: stopped\n")
        sys.exit(130)


if __name__ == "__main__":
    run()
