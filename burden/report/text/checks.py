"""Words of a check: what a case folder was read as, or what is wrong with it."""

from __future__ import annotations

from burden.io import CheckResult
from burden.utils.formatting import counted
from burden.utils.wording import lines_of, writes

__all__: list[str] = []  # writers are found by the type they write


@writes
def _check(found: CheckResult) -> str:
    if found.case is None:
        problems = list(map(str, found.problems))
        blocks = [(f"{found.folder}: {counted(len(problems), 'problem')} to put right", problems)]
    else:
        blocks = [
            (f"{found.folder} was read as", lines_of(found.case)),
            ("Assumed, most important first", list(found.case.assumptions)),
        ]
    blocks.append(("Looks odd", list(found.warnings)))
    return "\n\n".join("\n".join([f"{head}:", *(f"  - {x}" for x in body)]) for head, body in blocks if body)
