"""What a plan moved by hand does, tried on ponds that are kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from burden.inference.estimate import estimate
from burden.io import read_case
from burden.model.forward import stepper
from burden.page.what_if import Plan, trial_of, tried

KOI = Path(__file__).parents[2] / "simulated_data" / "koi_pond"


@pytest.fixture
def counted(monkeypatch) -> Callable[[Callable[[], Any]], tuple[Any, int]]:
    """What work gives, and how often one pond was moved on by one step for it: the same on any machine."""
    moved: list[int] = []
    real = stepper.Stepper._step

    def step(self, *given):
        moved.append(self.setting.parameters.size)
        return real(self, *given)

    monkeypatch.setattr(stepper.Stepper, "_step", step)

    def count(work: Callable[[], Any]) -> tuple[Any, int]:
        moved.clear()
        return work(), sum(moved)

    return count


def test_a_plan_is_tried_on_kept_ponds_in_a_small_share_of_the_estimate(counted):
    """Half a second (issue 20) where the estimate takes five: less than that tenth of its work; measured 0.03."""
    case = read_case(KOI)
    estimates, whole = counted(lambda: [estimate(case, parasite, 40, 1) for parasite in case.parasites])
    trial = trial_of(case, estimates)
    plans = [Plan((), ()), Plan((1,), ("praziquantel",)), Plan((1, 8, 15), ("praziquantel",) * 3)]
    found, work = zip(*(counted(lambda plan=plan: tried(trial, plan)) for plan in plans), strict=True)
    assert 0 < max(work) < 0.06 * whole
    left = [one["left"]["median"] for one in found]
    assert left[0] > left[1] > left[2]
    assert [one["chance"] for one in found] == sorted(one["chance"] for one in found)
