"""What treatments killed: against known kills and a classical estimator, and the rule of suspicion against records."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, organs
from scipy.special import expit, logit, logsumexp
from scipy.stats import nbinom

from burden.inference.kill_record import SUSPECT, KillRecord, Trial, kill_records
from burden.inference.kill_trend import KILLS_TRIED, Trials
from burden.utils.results import CredibleInterval

KILLS = KILLS_TRIED[:, None]
YEARS = np.array([0.0, 300.0, 650.0, 1000.0])


def counted(kill: float, before: int = 200) -> np.ndarray:
    """Log-likelihood of whole counts before and after a dose: of so many flukes those left are binomial."""
    left = round(before * (1 - kill))
    return left * np.log(1 - KILLS) + (before - left) * np.log(KILLS)


def trials_of(logs, expected=0.96) -> Trials:
    expected = np.broadcast_to(expected, len(logs))
    return Trials(YEARS[: len(logs)], logs, [float(x) for x in expected])


def trend_of(trials: Trials):
    return trials.trend(range(len(trials.days)))


def test_counts_that_say_nothing_leave_what_was_believed():
    trials = trials_of([np.zeros((KILLS.size, 3))] * 4)
    trend = trend_of(trials)
    assert trend.chance == pytest.approx(trend.chance_before, abs=0.001)
    # the prior by simulation: any first kill on the grid as likely, a change of the logit as likely up as down
    rng = np.random.default_rng(1)
    first = logit(rng.random(400_000))
    change = 3.0 * rng.standard_normal(first.size)
    on_grid = (first > -3.1) & (first < 5.1) & (np.abs(change) < 7.1)
    first, last = first[on_grid], (first + change)[on_grid]
    fell = (expit(-last) / expit(-first) >= 2) & (expit(last) < 0.9)
    assert trend.chance_before == pytest.approx(fell.mean(), abs=0.02)
    assert trials.kill(0)[0].median == pytest.approx(0.5, abs=0.01)
    assert (trials.kill(0)[0].low, trials.kill(0)[0].high) == pytest.approx((0.05, 0.95), abs=0.02)


def trial_of(kill: float) -> Trial:
    killed = CredibleInterval(kill, kill - 0.03, kill + 0.03)
    expected, less = CredibleInterval(0.95, 0.8, 0.99), 1.0 if kill < 0.8 else 0.5
    return Trial("praziquantel", VISIT, VISIT, 1, VISIT, VISIT, killed, expected, less)


@pytest.mark.parametrize(
    ("kills", "verdict"),
    [
        ((0.95, 0.95, 0.95, 0.95), "no_sign"),
        ((0.97, 0.9, 0.75, 0.5), "suspect"),
        ((0.99, 0.8, 0.4), "suspect"),
        ((0.5, 0.75, 0.9, 0.97), "no_sign"),
        ((0.95, 0.95, 0.95, 0.3), "cannot_tell"),  # one that failed is no trend
        ((0.95, 0.95, 0.3), "cannot_tell"),
        ((0.95, 0.3, 0.95), "no_sign"),
    ],
)
def test_the_rule_on_well_counted_records(kills, verdict):
    trend = trend_of(trials_of([counted(kill) for kill in kills]))
    assert KillRecord("praziquantel", tuple(map(trial_of, kills)), trend).verdict == verdict


def test_a_weaker_dose_is_no_falling_kill():
    """Kills that fall as the doses given let one expect: the same record, had the doses been alike, is a suspicion."""
    kills = (0.97, 0.85, 0.6)
    logs = [counted(kill) for kill in kills]
    assert trend_of(trials_of(logs)).chance > SUSPECT
    assert trend_of(trials_of(logs, expected=kills)).chance < 0.1


def test_two_treatments_are_too_few():
    trend = trend_of(trials_of([counted(0.95), counted(0.3)]))
    assert KillRecord("praziquantel", (trial_of(0.95), trial_of(0.3)), trend).verdict == "too_few"


SPREADS = np.array([0.3, 0.6, 1.0, 2.0, 4.0, 8.0])
BURDENS = np.exp(np.linspace(0.0, 6.0, 40))


LEFT = np.exp(np.linspace(-8.0, 6.0, 141))


@cache
def law_of(count: int) -> np.ndarray:
    """Log-chance of a count, by aggregation (rows) and by the burdens before, then those left (columns)."""
    k, mean = SPREADS[:, None], np.concatenate([BURDENS, LEFT])
    return nbinom.logpmf(count, k, k / (k + mean))


def read(before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Negative binomial counts of fish on two days, any burden before as likely, by kill and aggregation."""
    first, then = (sum(law_of(int(count)) for count in counts) for counts in (before, after))
    found, at = [], np.log(BURDENS * (1 - KILLS))
    for i in range(SPREADS.size):
        later = np.interp(at, np.log(LEFT), then[i, BURDENS.size :])
        found.append(logsumexp(first[i, : BURDENS.size] + later, axis=1))
    return np.array(found).T


def alarms(rng, kills_of, records: int = 60) -> float:
    """Share of records that are called suspect: ten fish before and after, twenty flukes each at first, k of 1.5."""
    k, mean, fish, found = 1.5, 20.0, 10, 0
    for _ in range(records):
        kills = kills_of()
        each = [(rng.negative_binomial(k, k / (k + m), fish) for m in (mean, mean * (1 - x))) for x in kills]
        found += trend_of(trials_of([read(*pair) for pair in each])).chance >= SUSPECT
    return found / records


def test_suspicion_is_rare_where_nothing_falls_and_common_where_it_does():
    """The model here is closed: a kill, a negative binomial, scipy's; nothing of the pond's."""
    rng = np.random.default_rng(4)

    def steady():
        kill = expit(logit(0.95) + 0.7 * rng.standard_normal(3))
        return np.where(rng.random(3) < 0.2, kill * rng.random(3), kill)

    assert alarms(rng, steady) <= 0.1
    assert alarms(rng, lambda: (0.85, 0.85, 0.85)) <= 0.1
    assert alarms(rng, lambda: (0.97, 0.97, 0.97 * rng.random())) <= 0.1
    assert alarms(rng, lambda: (0.99, 0.8, 0.4)) >= 0.8
    assert alarms(rng, lambda: (0.99, 0.93, 0.75, 0.4)) >= 0.9


def test_three_years_of_a_failing_agent_are_a_suspicion():
    """Ten clips before and after two baths each year: 125 to 1, 123 to 23, 133 to 81 (an invented farm)."""
    years = {
        -740: ([12, 8, 31, 22, 5, 9, 17, 13, 2, 6], [0, 0, 0, 1, 0, 0, 0, 0, 0, 0]),
        -375: ([15, 10, 21, 28, 7, 4, 11, 19, 3, 5], [2, 3, 4, 1, 0, 2, 5, 4, 1, 1]),
        -18: ([14, 9, 26, 20, 8, 12, 19, 15, 4, 6], [9, 7, 13, 10, 4, 6, 16, 8, 3, 5]),
    }
    looks = [(day + later, counts) for day, pair in years.items() for later, counts in zip((0, 18), pair, strict=True)]
    rows = [
        row for i, (day, counts) in enumerate(looks) for row in clips(counts, None, day, "netted", 1 + 5 * i, each=2)
    ]
    given = tuple(dose(day + later) for day in years for later in (1, 11))
    (record,) = kill_records(a_case(rows, given=given, count=140, temperature_c=14.0), "dactylogyrus", 1)
    first, second, third = record.trials
    assert first.kill.low > 0.6
    assert third.kill.high < 0.6
    assert first.kill.median > second.kill.median > third.kill.median
    assert (first.verdict, third.verdict) == ("as_expected", "less")
    assert record.verdict == "suspect"


def test_a_well_counted_treatment_has_its_own_kill():
    """Whole gills of 120 flukes before and 60 the day after: half were killed, of grown ones a little more.

    Beside it the reduction of counts with Student's t on the log ratio (Coles et al. 1992, from memory), which knows
    nothing of ponds: the intervals must overlap.
    """
    rows = [*organs([120, 90, 150, 130, 110, 120], day=-2), *organs([60, 45, 75, 65, 55, 60], day=-1)]
    (record,) = kill_records(a_case(rows, given=(dose(-2),)), "dactylogyrus", 1)
    (trial,) = record.trials
    assert 0.2 < trial.kill.low < 0.55 < trial.kill.high < 0.85
    assert (trial.verdict, record.verdict) == ("less", "too_few")
    assert trial.counts_fell.estimate == pytest.approx(50.0)
    assert trial.kill.low < trial.counts_fell.high / 100
    assert trial.counts_fell.low / 100 < trial.kill.high


def test_a_mixture_and_a_look_too_late_are_no_trial_of_an_agent():
    rows = [*clips([4, 6], day=-90), *clips([3], day=-20), *clips([1], day=-10)]
    mixed = a_case(rows, given=(dose(-80), dose(-20), dose(-15, "formalin", 25.0, 1.0)))
    (record,) = kill_records(mixed, "dactylogyrus", 1)
    assert (record.agent, record.verdict, record.trend) == ("several", "too_few", None)
