"""What treatments killed: against known kills, and the rule of suspicion against simulated records."""

from __future__ import annotations

import numpy as np
import pytest
from cases import VISIT, a_case, clips, dose, organs

from burden.inference.kill_record import KillRecord, Trial, kill_records, trend_of
from burden.utils.results import CredibleInterval

GRID = (np.arange(60) + 0.5) / 60
YEARS = [0.0, 300.0, 650.0, 1000.0]


def counted(kill: float, before: int = 200, rng=None) -> np.ndarray:
    """Log-likelihood of whole counts before and after a dose: of so many flukes those left are binomial."""
    left = round(before * (1 - kill)) if rng is None else rng.binomial(before, 1 - kill)
    return left * np.log(1 - GRID) + (before - left) * np.log(GRID)


def test_counts_that_say_nothing_leave_what_was_believed():
    trend = trend_of(YEARS, [np.zeros(60)] * 4)
    assert trend.chance == pytest.approx(trend.chance_before, abs=0.01)
    # the prior by simulation: a change of the log as likely up as down, and a share left that cannot exceed all
    rng = np.random.default_rng(1)
    first = rng.uniform(-5.0, -0.05, 200_000)
    last = np.minimum(first + 1.5 * rng.standard_normal(200_000), -0.01)
    fell = (last - first >= np.log(2)) & (last > np.log(0.1))
    assert trend.chance_before == pytest.approx(fell.mean(), abs=0.02)


def trial_of(kill: float) -> Trial:
    killed = CredibleInterval(kill, kill - 0.03, kill + 0.03)
    return Trial("praziquantel", VISIT, VISIT, 1, VISIT, VISIT, killed, CredibleInterval(0.95, 0.8, 0.99), GRID)


@pytest.mark.parametrize(
    ("kills", "verdict"),
    [
        ((0.95, 0.95, 0.95, 0.95), "no_sign"),
        ((0.97, 0.9, 0.75, 0.5), "suspect"),
        ((0.5, 0.75, 0.9, 0.97), "no_sign"),
        ((0.95, 0.95, 0.95, 0.3), "cannot_tell"),  # one that failed is no trend
    ],
)
def test_the_rule_on_well_counted_records(kills, verdict):
    trend = trend_of(YEARS, [counted(kill) for kill in kills])
    assert KillRecord("praziquantel", tuple(map(trial_of, kills)), trend).verdict == verdict


def test_two_treatments_are_too_few():
    trend = trend_of(YEARS[:2], [counted(0.95), counted(0.3)])
    assert KillRecord("praziquantel", (trial_of(0.95), trial_of(0.3)), trend).verdict == "too_few"


def test_suspicion_is_rare_where_nothing_falls_and_common_where_it_does():
    """Records of four treatments that scatter about one kill, a fifth of them failed; and such that truly fall."""
    rng = np.random.default_rng(4)
    false, true = 0, 0
    for _ in range(20):
        kill = 1 - np.exp(rng.uniform(-4, -1) + 0.3 * rng.standard_normal(4)).clip(0.01, 0.99)
        kill = np.where(rng.random(4) < 0.2, kill * rng.random(4), kill)
        false += trend_of(YEARS, [counted(x, 60, rng) for x in kill]).chance >= 0.8
        true += trend_of(YEARS, [counted(x, 60, rng) for x in (0.97, 0.88, 0.7, 0.4)]).chance >= 0.8
    assert false <= 3
    assert true >= 17


def test_a_well_counted_treatment_has_its_own_kill():
    """Whole gills of 120 flukes before and 60 the day after: half were killed, of grown ones a little more."""
    rows = [*organs([120, 90, 150, 130, 110, 120], day=-2), *organs([60, 45, 75, 65, 55, 60], day=-1)]
    (record,) = kill_records(a_case(rows, given=(dose(-2),)), "dactylogyrus", 1)
    (trial,) = record.trials
    assert 0.2 < trial.kill.low < 0.55 < trial.kill.high < 0.85
    assert (trial.verdict, record.verdict) == ("less", "too_few")


def test_a_mixture_and_a_look_too_late_are_no_trial_of_an_agent():
    rows = [*clips([4, 6], day=-90), *clips([3], day=-20), *clips([1], day=-10)]
    mixed = a_case(rows, given=(dose(-80), dose(-20), dose(-15, "formalin", 25.0, 1.0)))
    (record,) = kill_records(mixed, "dactylogyrus", 1)
    assert (record.agent, record.verdict, record.trend) == ("several", "too_few", None)
