"""Where a run begins, as `burden` or as `python -m burden`."""

from __future__ import annotations

import os
import sys
import warnings

__all__ = ["run"]


def run() -> None:
    """Run one command line; stopped while the command line itself is still being loaded, leave as quietly as later."""
    if sys.path[:1] in ([""], [os.getcwd()]):  # `python -m`: a file in the current folder is no part of the program
        sys.path.append(sys.path.pop(0))
    if not sys.warnoptions:  # warnings of other packages are for those who write this one
        warnings.simplefilter("ignore")
    try:
        from burden.cli import main

        main(prog_name="burden")
    except KeyboardInterrupt:
        sys.stderr.write("\nburden: stopped\n")
        sys.exit(130)


if __name__ == "__main__":
    run()
