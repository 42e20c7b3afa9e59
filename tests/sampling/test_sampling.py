"""All sampling plans: numbers that make no sense, figures of the plans, and what the room exports."""

from __future__ import annotations

import math

import pytest

from burden import sampling
from burden.utils.errors import InputError

NO_NUMBER = (math.nan, math.inf, -math.inf, 1e-300, 1e300, -1.0)


@pytest.mark.parametrize("value", NO_NUMBER)
def test_no_number_that_makes_no_sense_gets_past(value: float) -> None:
    """Each is refused as what it is, with the range and what to write; none ends in an error of arithmetic."""
    look = sampling.Look(0.01)
    calls = {
        "prevalence": lambda: sampling.find(value, 0.95),
        "confidence": lambda: sampling.find(0.05, value),
        "k": lambda: sampling.mean(10.0, value, 0.5),
        "precision": lambda: sampling.mean(10.0, 1.0, value),
        "mean": lambda: sampling.mean(value, 1.0, 0.5),
        "low": lambda: sampling.stop_at_threshold(1.0, value),
        "half_width": lambda: sampling.prevalence_within(0.3, value),
        "level": lambda: sampling.find_by_burden(value, 1.0, look),
        "temperature_c": lambda: sampling.SampledGroup("dactylogyrus", value if value else 0.0),
    }
    for name, call in calls.items():
        if name == "temperature_c" and 0 <= value <= 40:
            continue
        with pytest.raises(InputError) as caught:
            call()
        assert [problem.place for problem in caught.value.problems] == [name]


def test_figures_show_the_numbers_of_their_plans() -> None:
    from burden.report.figures.sampling import draw_effort, draw_stop_card

    card = sampling.stop_at_threshold(1.0, 5.0, 20.0, 12)
    high, low = (line.get_ydata() for line in draw_stop_card(card).axes[0].lines)
    assert high.tolist() == [line["high_at_least"] for line in card.lines]
    assert low.tolist() == [line["low_at_most"] for line in card.lines if line["low_at_most"] is not None]
    words = {text.get_text() for text in draw_stop_card(card).axes[0].texts}
    assert words == {"stop: high", "stop: low", "go on"}
    assert len(draw_stop_card(sampling.stop_at_precision(1.0, 0.3, 9)).axes[0].lines) == 0  # no total is enough
    plan = sampling.mean(100.0, 1.0, 0.5, sampling.Look(0.01), 3.0)
    fish, work = (([bar.get_height() for bar in axis.patches]) for axis in draw_effort(plan).axes)
    assert fish == [option["fish"] for option in plan.options]
    assert work == [option["work"] for option in plan.options]
    assert "none" not in plan.text()


def test_every_name_the_package_exports_is_there() -> None:
    for name in sampling.__all__:
        assert getattr(sampling, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = sampling.nothing
