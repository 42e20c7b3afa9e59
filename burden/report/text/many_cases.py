"""Words about many cases at once: what became of a table, what a check of several folders found, what was written."""

from __future__ import annotations

from collections.abc import Mapping

from burden.io.many_checks import ManyChecks
from burden.io.spreadsheet_cases import ImportResult
from burden.report.tidy import TableResult
from burden.utils.formatting import counted
from burden.utils.wording import writes

__all__: list[str] = []  # writers are found by the type they write

_CHANGES = {"new": "new case", "updated": "brought up to date", "unchanged": "as it was"}


@writes
def _imported(found: ImportResult) -> str:
    if found.cases:
        head = f"{found.table} was read into {counted(len(found.cases), 'case')} in {found.folder}"
        body = [_case(case) for case in found.cases]
    else:
        head = f"{found.mapping} was written; no case was"
        body = ["Fill in its blanks, then run the same command without --mapping-only."]
    blocks = [(head, body), ("Not read", [f"{place}: {why}" for place, why in found.skipped])]
    return "\n\n".join("\n".join([f"{head}:", *(f"  - {x}" for x in body)]) for head, body in blocks if body)


def _case(case: Mapping[str, object]) -> str:
    rows = f"{case['rows_added']} rows added, {case['rows_changed']} changed"
    said = _CHANGES[str(case["change"])]
    return f"{case['unit']}: {case['case']}, {said}" + ("" if case["change"] == "unchanged" else f", {rows}")


@writes
def _checked(found: ManyChecks) -> str:
    good = [check for check in found.checks if check.ok]
    lines = [f"{counted(len(good), 'case')} of {len(found.checks)} can be used."]
    lines += [f"  - {problem}" for problem in found.problems]
    odd = [f"  - {check.folder}: {text}" for check in found.checks for text in check.warnings]
    return "\n".join([*lines, *(["Looks odd:", *odd] if odd else [])])


@writes
def _tabled(found: TableResult) -> str:
    return f"{found.file}: {counted(len(found.table), 'row')} of {counted(len(found.cases), 'case')}."
