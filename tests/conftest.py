"""What several commands would each work out anew for one case: made once for all tests of a module.

For tests that compare what is shown of one case; that the same case, draws and seed give the same estimate and the
same decision is tested where nothing is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from inspect import signature
from typing import Any

import pytest

from burden.decision import assessment
from burden.inference import estimate

__all__ = ["each_case_once", "pytest_collection_modifyitems"]

#: files that take longest: a worker that begins one of them last would let the others wait
_LONGEST = (
    "test_visits",
    "test_estimate",
    "test_cli",
    "test_page",
    "test_page_browser",
    "test_parallel",
    "test_release",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Run the longest files first."""
    items.sort(key=lambda item: item.path.stem not in _LONGEST)


@pytest.fixture(scope="module")
def each_case_once() -> Iterator[None]:
    """Keep estimates and decisions by everything they were asked with."""
    with pytest.MonkeyPatch.context() as patch:
        kept = _kept(estimate.estimate)
        patch.setattr(estimate, "estimate", kept)
        patch.setattr(assessment, "estimate", kept)
        patch.setattr(assessment, "_decided", _kept(assessment._decided))
        yield


def _kept(work: Callable[..., Any]) -> Callable[..., Any]:
    """The same work; a case is known by all that it holds, which no two cases share by chance."""
    made: dict[str, Any] = {}

    def of(*given: Any, **named: Any) -> Any:
        bound = signature(work).bind(*given, **named)
        bound.apply_defaults()
        asked = repr(bound.arguments)
        if asked not in made:
            made[asked] = work(*given, **named)
        return made[asked]

    return of
