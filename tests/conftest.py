"""Which test files share a worker."""

from __future__ import annotations

from pathlib import Path

import pytest

#: files that look at the same visits, worked out once a process (report_cases.py)
SAME_VISITS = ("test_report", "test_report_browser", "test_decision")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep each file on one worker, and those of `SAME_VISITS` together; before the plugin looks for groups."""
    for item in items:
        name = Path(item.path).stem
        item.add_marker(pytest.mark.xdist_group("visits" if name in SAME_VISITS else str(item.path)))
