"""Did the dose work: verdicts on plain cases, the ratio of counts against quadrature, classical intervals."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, fixed_values
from scipy import stats

from burden.inference.dose_accounts import VERDICTS
from burden.inference.response_result import ByTheRecord, RemovedFromWater, Unanswered
from burden.inference.treatment_response import response
from burden.statistics import paired_reduction, reduction, share_left

#: what is seen of a fish held fixed, where a test is about the verdict and not about looking
HELD = fixed_values(part_shape=2.0, detection_per_fluke=0.95, gill_share=0.97, aggregation=2.0)
BEFORE = (24, 9, 41, 17, 12, 30, 8, 22, 15, 27)
DRAWS = 300


def judge(before, after, day, given=None):
    """The dose of 5 d before the visit; counts on its day, and `day` d after it."""
    rows = [*clips(before, 0.05, day=-5, first=1), *clips(after, 0.05, day=day - 5, first=50)]
    given = given or dose(-5, mg_l=10.0, hours=48.0)
    return response(a_case(rows, given=(given,), temperature_c=18.0, overrides=HELD, count=200), draws=DRAWS)


judged = cache(judge)  # several tests ask about one visit


def check_sum(found) -> None:
    assert set(found.verdict_probability) == set(VERDICTS)
    assert sum(found.verdict_probability.values()) == pytest.approx(1.0, abs=1e-12)
    assert min(found.verdict_probability.values()) >= 0


@pytest.mark.parametrize(
    ("samples", "given"),
    [
        (clips([3, 1]), ()),
        ([], (dose(-5),)),
        (clips([3, 1]), (dose(-5),)),
        (clips([3, 1], day=-6), (dose(-5),)),
        ([replace(r, readable=False) for r in clips([3], day=-6)] + clips([1]), (dose(-5),)),
    ],
)
def test_without_samples_before_and_after_a_dose_it_cannot_be_told(samples, given):
    found = response(a_case(samples, given=given))
    check_sum(found)
    assert found.verdict == "cannot_tell"
    empty = {"median": None, "low": None, "high": None}
    told = found.as_dict()
    assert told["reduction_percent"] == told["expected_reduction_percent"] == empty
    assert [type(reason) for reason in found.reasons] == [Unanswered]
    assert (found.reasons[0].kind == "no_dose") == (not given)
    assert found.reason.startswith("No ")
    assert found.text().count("cannot show") == bool(given)


def test_a_lamp_left_on_is_told_whatever_the_samples_say():
    lamp = replace(dose(-5), uv_or_carbon_on=True)
    found = response(a_case(clips([3, 1]), given=(lamp,)))
    assert RemovedFromWater("praziquantel", VISIT - timedelta(days=5)) in found.reasons
    assert "lamp or carbon was on with the praziquantel of" in found.reason
    assert "lamp" not in response(a_case(clips([3, 1]), given=(dose(-5),))).reason


def test_an_obvious_success():
    found = judged(BEFORE, (0,) * 10, 2)
    check_sum(found)
    assert found.verdict == "worked"
    assert found.reduction_percent.low > 85
    assert found.verdict_probability["worked"] > 0.7


def test_an_obvious_failure():
    """The same high counts two days after a dose that should have killed nearly all."""
    found = judged(BEFORE, BEFORE[::-1], 2)
    check_sum(found)
    assert found.verdict == "fell_short"
    assert found.verdict_probability["fell_short"] > 0.7
    assert found.reduction_percent.median < 50
    assert found.next_steps[0].step == "check_volume"
    assert "volume" in found.what_next[0]


def test_more_than_before_is_none_gone_and_no_negative_percentage():
    found = judged(BEFORE, tuple(3 * n for n in BEFORE), 2)
    assert found.reduction_percent.median < 0
    (said,) = [line for line in found.text().splitlines() if line.startswith("Flukes gone: ")]
    assert "Flukes gone: none" in said
    assert "-" not in said


@pytest.mark.parametrize(("believed", "said"), [(5_000.0, "came to 5 mg/L"), (9_900.0, ""), (None, "")])
def test_a_dose_weighed_out_for_other_water_says_what_it_came_to(believed, said):
    """10 mg/L for 5 000 L are 5 mg/L in the 10 000 L of the case; a per cent off is no other water."""
    found = judged(BEFORE, BEFORE, 2, given=replace(dose(-5, mg_l=10.0), volume_l_believed=believed))
    assert said in found.reason
    assert ("weighed out for" in found.reason) == bool(said)


def test_clean_fish_after_tell_though_they_leave_the_ratio_open_downwards():
    found = judged(BEFORE[:4], (0,) * 4, 2)
    assert found.verdict == "worked"


def test_counts_that_say_nothing_tell_nothing():
    """Censored from 0 up; also of a weak dose, of which much may be left."""
    found = judged(((0, None),), ((0, None),), 2, given=dose(-5, mg_l=1.0, hours=6.0))
    check_sum(found)
    assert found.verdict_probability["cannot_tell"] > 0.95


def test_flukes_that_settled_since_are_told_from_survivors():
    """Counts 12 d after a total dip in warm water, well after the last hatch: what is seen has hatched since.

    The species is named: where it may be one that summer heat keeps down, the counts cannot tell.
    """
    rows = [*clips(BEFORE, 0.05, day=-12), *clips([5, 2, 6, 1, 3, 5, 1, 3, 2, 4], 0.05, first=50)]
    held = {**HELD, **fixed_values(reproduction_number=40.0, burden_scale=3.0, resistance_half_burden=3.0)}
    given = replace(dose(-12, mg_l=40.0, hours=72.0), route="dip")
    named = {"parasites": ("dactylogyrus_vastator",), "overrides": held}
    found = response(a_case(rows, given=(given,), temperature_c=26.0, count=200, **named), draws=DRAWS)
    check_sum(found)
    assert found.verdict == "new_settlers"
    assert found.new_share.median > 0.5


def test_few_fish_leave_it_open():
    found = judged((2,), (1,), 2)
    check_sum(found)
    assert found.verdict == "cannot_tell"
    assert [step.step for step in found.next_steps] == ["look_at_more_fish", "look_two_days_after"]
    assert "more fish" in found.what_next[0]


def test_ratio_of_large_counts_against_quadrature():
    """Many fish, large counts: the ratio's posterior is that of two negative-binomial means at the prior's ratio."""
    from burden.inference.prior import draw_pond
    from burden.inference.treatment_response import _RATIO_MEDIAN, _RATIO_SD, _ratio_of_counts
    from burden.utils.results import CredibleInterval

    rng, share, k, a = np.random.default_rng(2), 0.05, 2.0, 2.0
    size = (a + share) / (1 - share)

    def counts(mean: float, n: int) -> list[int]:
        rate = rng.gamma(k, mean / k, n)
        return [int(x) for x in rng.negative_binomial(size, size / (size + rate * share * 0.95 * 0.97))]

    before, after = counts(300.0, 6), counts(90.0, 6)
    case = a_case(overrides=HELD)
    ratio, weight, effective = _ratio_of_counts(case, "dactylogyrus", clips(before, share), clips(after, share), 1)
    told = CredibleInterval.of(ratio, weight)

    z = 1.6448536269514722
    value = draw_pond(case, "dactylogyrus", 2, 1).setting.parameters.evidence.values["abundance"]
    middle, spread = math.log(value.value * 400), math.log(value.high / value.low) / (2 * z)
    log_m, log_r = np.linspace(3, 8, 121), np.linspace(-6, 2, 201)
    ranks = stats.gamma.ppf((np.arange(600) + 0.5) / 600, k) / k

    def log_likelihood(mean: np.ndarray, seen: list[int]) -> np.ndarray:
        expected = ranks[:, None] * mean[None, :] * share * 0.95 * 0.97
        return sum(np.log(stats.nbinom.pmf(c, size, size / (size + expected)).mean(0)) for c in seen)

    both = np.linspace(3 - 6, 8 + 2, 501)
    later = np.interp(log_m[:, None] + log_r[None, :], both, log_likelihood(np.exp(both), after))
    log_p = (log_likelihood(np.exp(log_m), before) + stats.norm.logpdf(log_m, middle, spread))[:, None] + later
    log_p = log_p + stats.norm.logpdf(log_r, math.log(_RATIO_MEDIAN), _RATIO_SD)[None, :]
    below = np.cumsum(np.exp(log_p - log_p.max()).sum(0))
    assert effective > 200
    for point, p in ((told.low, 0.05), (told.median, 0.5), (told.high, 0.95)):
        assert np.interp(math.log(point), log_r, below / below[-1]) == pytest.approx(
            p, abs=4 * math.sqrt(p * (1 - p) / effective) + 0.005
        )


def test_a_dose_that_the_decision_takes_for_failed_has_one_verdict():
    """Whatever two samples leave open; what the record answers already is not asked."""
    record = ByTheRecord(0.7, False)
    open_ = replace(judged((2,), (1,), 2), by_record=record)
    assert open_.verdict == "fell_short"
    assert "most likely fell short (70 %)" in open_.text()
    assert "cannot show" not in open_.text()
    lamp = replace(dose(-5), uv_or_carbon_on=True)
    alone = response(a_case(clips([3, 1]), given=(lamp,)), by_record=record)
    assert alone.verdict == "fell_short"
    assert alone.reasons[0] == record
    assert alone.as_dict()["by_record"]["chance"] == 0.7
    assert [one.step for one in alone.next_steps] == ["check_volume", "longer_not_stronger", "sample_before_and_after"]


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.48, "cannot show"), (0.61, "most likely worked (61 %)"), (0.95, "the last dose worked (95 %)")],
)
def test_under_the_line_no_dose_has_worked(chance, said):
    found = replace(
        judged((2,), (1,), 2),
        verdict_probability={"worked": chance, "fell_short": 0.01, "new_settlers": 0.01, "cannot_tell": 0.98 - chance},
    )
    assert said in found.text()


def test_same_seed_same_answer():
    first, again = (judge(BEFORE[:4], (1, 0, 0, 2), 3).to_json() for _ in range(2))
    assert first == again


# --- counts as they stand --------------------------------------------------------------------------------------------
def test_counted_reduction_is_shown():
    found = judged(BEFORE, (2, 1, 0, 4, 1, 0, 2, 3, 1, 1), 2)
    mean = (np.mean(BEFORE), 1.5)
    assert found.as_dict()["counted"]["estimate"] == pytest.approx(100 * (1 - mean[1] / mean[0]))


def test_log_ratio_interval_is_students_on_two_samples():
    """Variance of a log mean by the delta method, s²/(n m²), each half; the quantile from scipy.stats (arithmetic)."""
    before, after, n = [30, 12, 55, 41, 8], [3, 9, 1, 6], 9
    found = reduction(before, after)
    v = sum(stats.sem(x) ** 2 / np.mean(x) ** 2 for x in (before, after))
    log_left = math.log(np.mean(after) / np.mean(before))
    limits = stats.t(n - 2, log_left, math.sqrt(v)).interval(0.9)
    assert (found.low, found.high) == pytest.approx(tuple(100 * (1 - math.exp(x)) for x in limits[::-1]))


def test_reduction_intervals_against_a_bootstrap():
    """Many fish: both intervals come to the bootstrap percentiles of scipy.stats (arithmetic, no outside figure)."""
    rng, n = np.random.default_rng(6), 250
    rate = rng.gamma(2.0, 20.0, n)
    before, after = rng.poisson(rate), rng.poisson(0.1 * rate)

    def gone(x, y, axis=-1):
        return 100 * (1 - y.mean(axis) / x.mean(axis))

    for found, paired in ((reduction(before, after), False), (paired_reduction(before, after), True)):
        way = {"paired": paired, "confidence_level": 0.9, "method": "percentile", "n_resamples": 3000}
        limits = stats.bootstrap((before, after), gone, vectorized=True, random_state=rng, **way).confidence_interval
        width = limits.high - limits.low
        assert found.low == pytest.approx(limits.low, abs=0.12 * width)
        assert found.high == pytest.approx(limits.high, abs=0.12 * width)
    assert paired_reduction(before, after).low > reduction(before, after).low


def test_nothing_counted_after_is_binomial():
    """0 of 100 flukes after: Clopper-Pearson upper limit 1 − 0.05^(1/100) of the share."""
    found = reduction([40, 60], [0, 0])
    share = 1 - 0.05 ** (1 / 100)
    assert (found.estimate, found.high) == (100, 100)
    assert found.low == pytest.approx(100 * (1 - share / (1 - share)))
    assert share_left([40, 60], [0]).low == pytest.approx(100 * (1 - 2 * share / (1 - share)))


def test_a_fluke_on_one_of_several_preparations_is_counted():
    """Four preparations a fish, one fluke of 72 left: not none of 18; whole flukes, whatever the preparations."""
    before = [[10, 9, 11, 10], [8, 7, 9, 8]]
    found = reduction(before, [[1, 0, 0, 0], [0, 0, 0, 0]])
    assert found.estimate == pytest.approx(100 * (1 - 1 / 72))
    share = stats.binomtest(1, 73).proportion_ci(0.9)
    assert (found.low, found.high) == pytest.approx([100 * (1 - p / (1 - p)) for p in (share.high, share.low)])
    one_clip = reduction([[10], [8]], [[1, 0, 0, 0], [0, 0, 0, 0]])
    assert one_clip.estimate == pytest.approx(100 * (1 - (1 / 8) / 9))
    # eight flukes on as many clips have a spread, however few there are to a clip
    assert "Student" in reduction(before, [[2, 1, 0, 2], [1, 0, 1, 1]]).method


@pytest.mark.parametrize(("before", "after"), [([0, 0, 5], [0, 0, 4]), ([8, 4, 12], [4, 2, 6])])
def test_fish_that_lose_the_same_share_are_not_certainty(before, after):
    """No spread between fish leaves that of the flukes: an interval of no width told a share of 20 % to be exact."""
    found = paired_reduction(before, after)
    share = stats.binomtest(sum(after), sum(before) + sum(after)).proportion_ci(0.9)
    assert found.low == pytest.approx(100 * (1 - share.high / (1 - share.high)))
    assert found.high - found.low > 20
    assert reduction([4, 4], [3, 3]).high - reduction([4, 4], [3, 3]).low > 20


def test_gill_flukes_that_strayed_are_not_read_here_either():
    """Scrapes of the skin after a dose that worked: read only where the case says so, as in the estimate."""
    plain = judged(BEFORE, (0,) * 10, 2)
    skin = [replace(r, site="skin", method="skin_scrape", count_low=2, count_high=2) for r in clips([2, 2], day=-3)]
    rows = [*plain.case.samples, *skin]
    found = response(replace(plain.case, samples=tuple(rows), gill_flukes_on_skin=False), draws=DRAWS)
    assert found.verdict_probability == plain.verdict_probability
    assert found.counted == plain.counted
    assert any("2 skin preparations (4 flukes) were not used" in note for note in found.warnings)
    read = response(replace(plain.case, samples=tuple(rows)), draws=DRAWS)
    assert read.verdict_probability != plain.verdict_probability


def test_reduction_says_when_it_cannot():
    assert math.isnan(reduction([0, 0], [1, 2]).estimate)
    assert math.isnan(reduction([5], [4]).low)
    with pytest.raises(ValueError, match="the same fish"):
        paired_reduction([1, 2], [1])
