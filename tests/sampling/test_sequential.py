"""When to stop counting: stop lines by their formulas, and cards by independent simulations."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pytest
from printed_tables import given_numbers, rows
from scipy import stats

from burden import sampling
from burden.sampling.sequential import seen_k
from burden.sampling.stopping_lines import walk_to_decision
from burden.utils.errors import InputError


def test_a_card_with_many_flukes_is_followed_in_steps() -> None:
    """Thousands of flukes a fish: against simulated counts, in seconds."""
    card = sampling.stop_at_threshold(0.5, 5000.0, 9000.0, max_fish=60)
    assert max(line["high_at_least"] for line in card.lines) > 100_000
    rng = np.random.default_rng(3)
    total = rng.negative_binomial(0.5, 0.5 / (0.5 + 9000.0), (20_000, 60)).cumsum(1)
    low = np.array([-1 if r["low_at_most"] is None else r["low_at_most"] for r in card.lines])
    high = np.array([r["high_at_least"] for r in card.lines])
    stopped = (total <= low) | (total >= high)
    first = np.where(stopped.any(1), stopped.argmax(1), 59)
    called = (total[np.arange(20_000), first] >= high[first]).mean()
    assert card.expected["called_high_if_high"] == pytest.approx(called, abs=4 * math.sqrt(0.25 / 20_000))
    assert card.expected["fish_if_high"] == pytest.approx((first + 1).mean(), abs=0.5)


PLANS = rows("derived/sequential_plans.csv")


@pytest.mark.parametrize("row", PLANS, ids=lambda r: f"{r['check']} {r['inputs']}")
def test_stop_lines(row: dict[str, str]) -> None:
    at, tolerance = given_numbers(row["inputs"]), float(row["tolerance"])
    if row["check"].startswith("SPRT"):
        got = sampling.sprt_lines(at["m0"], at["m1"], at["k"], at["alpha"], at["beta"])
        want = [float(v) for v in re.findall(r"-?\d+\.\d+", row["expected"])]
    elif row["check"].startswith("green"):
        got = [float(sampling.green_line(at["n"], at["D"], at["a"], at["b"]))]
        want = [float(row["expected"])]
        # reached: variance of the mean over its square is the precision
        mean = got[0] / at["n"]
        assert at["a"] * mean ** at["b"] / at["n"] / mean**2 == pytest.approx(at["D"] ** 2)
    elif row["check"].startswith("kuno"):
        got = [float(sampling.kuno_line(at["n"], at["D"], at["alpha"], at["beta"]))]
        want = [float(row["expected"])]
        mean = got[0] / at["n"]
        assert (mean + mean**2) / at["n"] / mean**2 == pytest.approx(at["D"] ** 2)  # k = 1
    else:
        got = [float(v) for v in sampling.iwao_lines(at["n"], at["m0"], at["alpha"], at["beta"], at["t"])]
        want = [float(v) for v in row["expected"].split(",")]
    assert list(got) == pytest.approx(want, abs=tolerance)


def test_a_card_of_one_threshold_says_how_often_it_cries_wolf() -> None:
    """Three small clips a fish: the normal lines call a light burden high in more than the 10 % asked for."""
    card = sampling.stop_at_threshold(0.8, 3.0, look=sampling.Look(0.02, 3))
    rng, k, seen, fish = np.random.default_rng(7), seen_k(3.0, 0.8, sampling.Look(0.02, 3)), 1.5 * 0.06, card.fish
    totals = np.cumsum(rng.negative_binomial(k, k / (k + seen), (40_000, fish)), axis=1)
    low, high = (
        np.array([math.nan if row[name] is None else row[name] for row in card.lines])
        for name in ("low_at_most", "high_at_least")
    )
    up, down = totals >= high, totals <= low
    first_up, first_down = (np.where(x.any(1), x.argmax(1), fish) for x in (up, down))
    called = float((first_up < first_down).mean())
    assert called > 0.12
    assert card.expected["called_high_if_low"] == pytest.approx(called, abs=4 * math.sqrt(0.14 * 0.86 / 40_000))
    assert "A light one (1.5 a fish) is called high by mistake with 14 % chance." in card.text()


def test_probability_ratio_lines_are_where_the_ratio_meets_its_bounds() -> None:
    slope, lower, upper = sampling.sprt_lines(1.0, 3.0, 0.5, 0.05, 0.1)

    def log_ratio(total: float, n: int) -> float:
        # log of the negative binomial ratio with everything free of the mean cancelled
        high, low = (math.log(m / (0.5 + m)) * total - 0.5 * n * math.log1p(m / 0.5) for m in (3.0, 1.0))
        return high - low

    for n in (1, 7, 30):
        assert log_ratio(slope * n + upper, n) == pytest.approx(math.log(0.9 / 0.05))
        assert log_ratio(slope * n + lower, n) == pytest.approx(math.log(0.1 / 0.95))


@pytest.mark.parametrize("row", [r for r in PLANS if r["check"].startswith("SPRT")], ids=lambda r: r["inputs"])
def test_course_of_a_threshold_card_equals_an_independent_simulation(row: dict[str, str]) -> None:
    """The table's own 20,000 simulated counts per plan: chance of calling high, and mean number of fish."""
    at = given_numbers(row["inputs"])
    card = sampling.stop_at_threshold(at["k"], at["m0"], at["m1"], 300, call_high=at["alpha"], call_low=at["beta"])
    numbers = [float(v) for v in re.findall(r"(?<![\w.])\d+\.\d+", row["simulated"].replace("ASN", ""))][-4:]
    for name, (called, fish) in zip(("low", "high"), (numbers[:2], numbers[2:]), strict=True):
        error = 3 * math.sqrt(called * (1 - called) / 20_000) + 0.0005
        assert card.expected[f"called_high_if_{name}"] == pytest.approx(called, abs=error)
        assert card.expected[f"fish_if_{name}"] == pytest.approx(fish, abs=0.3)
    assert card.expected["called_high_if_low"] <= at["alpha"]


def test_truncated_card_equals_its_simulation() -> None:
    card = sampling.stop_at_threshold(0.6, 5.0, 15.0, max_fish=12, look=sampling.Look(0.02, preparations=2))
    rng = np.random.default_rng(9)
    runs, k, seen = 40_000, seen_k(math.sqrt(75), 0.6, sampling.Look(0.02, 2)), 15.0 * 0.04
    total = rng.poisson(rng.gamma(k, seen / k, (runs, 12))).cumsum(1)
    low = np.array([-1 if r["low_at_most"] is None else r["low_at_most"] for r in card.lines])
    high = np.array([r["high_at_least"] for r in card.lines])
    stopped = (total <= low) | (total >= high)
    first = np.where(stopped.any(1), stopped.argmax(1), 11)
    called_high = (total[np.arange(runs), first] >= high[first]).mean()
    assert card.expected["called_high_if_high"] == pytest.approx(called_high, abs=0.008)
    assert card.expected["fish_if_high"] == pytest.approx((first + 1).mean(), abs=0.06)
    assert sum(walk_to_decision(card.lines, seen, k)[:2]) <= 1


def test_one_threshold_card_uses_iwao_and_rounds_inwards() -> None:
    card = sampling.stop_at_threshold(1.0, 2.0, max_fish=25, call_high=0.05, call_low=0.05)
    line = card.lines[24]
    lower, upper = sampling.iwao_lines(25, 2.0, 0.0, 2.0, stats.norm.ppf(0.95))
    assert (line["low_at_most"], line["high_at_least"]) == (math.floor(lower), math.ceil(upper))
    assert card.method == "Iwao"
    assert card.lines[0]["low_at_most"] is None
    assert "go on" in str(card)


def test_precision_card_by_kuno_and_green() -> None:
    kuno = sampling.stop_at_precision(1.0, 0.5, max_fish=40)
    error = 0.5 / stats.norm.ppf(0.95)
    for row in kuno.lines:
        if row["stop_at_least"] is None:
            assert row["fish"] <= 1 / error**2 + 1e-9
        else:
            mean = row["stop_at_least"] / row["fish"]
            assert (1 / mean + 1) / row["fish"] <= error**2
    green = sampling.stop_at_precision(1.0, 0.5, max_fish=40, power_law=(2.0, 1.5))
    assert green.method == "Green"
    assert green.lines[9]["stop_at_least"] == math.ceil(float(sampling.green_line(10, error, 2.0, 1.5)))
    assert len(kuno.to_frame()) == 40
    assert json.loads(kuno.to_json())["lines"][0] == {"fish": 1, "stop_at_least": None}
    with pytest.raises(InputError) as caught:
        sampling.stop_at_precision(-1.0, 2.0, max_fish=0)
    assert len(caught.value.problems) == 3
    with pytest.raises(InputError, match="times `low`"):
        sampling.stop_at_threshold(1.0, 3.0, 2.0)


def test_a_clumped_part_moves_the_lines_apart() -> None:
    whole, part = (
        sampling.stop_at_threshold(0.8, 5.0, 15.0, 60, look) for look in (sampling.Look(1.0), sampling.Look(0.02, 3))
    )
    assert part.expected["fish_if_high"] > whole.expected["fish_if_high"]
