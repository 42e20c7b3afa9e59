"""The page of the koi pond, worked out once a file."""

from __future__ import annotations

import pytest
from report_cases import koi_files, page_of


@pytest.fixture(scope="module")
def page() -> str:
    return page_of(koi_files())
