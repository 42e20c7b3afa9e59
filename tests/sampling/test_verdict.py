"""How many fish tell whether a dose worked: the verdict is that of `response`, and what more fish do to it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import cache

import numpy as np
import pytest

import burden.report.text.sampling_verdict  # noqa: F401  (the writer of its plan)
from burden.inference.dose_accounts import Accounts, DoseRuns
from burden.inference.observation import log_likelihood_of_samples
from burden.report.text.sampling import headline_of, reason_of
from burden.sampling import SampledGroup, fish_for_verdict
from burden.sampling import verdict as room
from burden.sampling.simulated_looks import Shown
from burden.utils.errors import InputError

GROUP = SampledGroup("dactylogyrus", 20.0, draws=60)


def slides(looks, counts, day):
    """The preparations of one look as a case has them."""
    date = looks.pond.case.visit_date + timedelta(days=float(day))
    return [
        replace(looks.row, date=date, fish=str(fish), count_low=int(n), count_high=int(n))
        for fish, seen in enumerate(counts)
        for n in seen
    ]


def test_the_verdict_is_that_of_response_on_the_same_ponds_and_counts():
    """The quick way over kinds of fish against the likelihood of `response`, preparation by preparation."""
    between = room._between(GROUP, "praziquantel", 300.0, (2,), 40)
    runs, looks = DoseRuns.of(between), room._looks(GROUP, between)
    rng, one = np.random.default_rng(3), np.array([7])
    before = looks.counts(between.start[one], one, 6, rng)
    after = looks.counts(runs.failed["weak"][1].abundance[1][one], one, 6, rng)
    assert before.sum() > 0
    first, second = Shown.of(before), Shown.of(after)
    log_before = (first.tally(6) @ looks.log_likelihood(between.start, first.kinds))[0]
    log = {
        name: log_before + (second.tally(6) @ looks.log_likelihood(run.abundance[1], second.kinds))[0]
        for name, run in runs.by_name.items()
    }
    quick = runs.accounts(1, log, np.exp(log_before - log_before.max())).verdicts()

    p, weight_g = between.pond.setting.parameters, between.pond.setting.fish.weight_g.mean(0)
    rows = slides(looks, before[0], -2)
    exact = log_likelihood_of_samples(rows, between.start, p["aggregation"], between.seen, "gill", weight_g)
    np.testing.assert_allclose(log_before, exact, rtol=1e-5)
    slow = Accounts.of(replace(between, after=slides(looks, after[0], 0), log_before=exact)).verdicts()
    assert quick == pytest.approx(slow, abs=1e-3)


def test_fish_drawn_carry_what_the_pond_does():
    """Mean count of a clip: burden, share on the gills, share looked at, chance to count one."""
    between = room._between(GROUP, "praziquantel", 100.0, (2,), 40)
    looks, ponds = room._looks(replace(GROUP, fraction_examined=0.02), between), np.zeros(400, int)
    counts = looks.counts(np.full(400, 100.0), ponds, 40, np.random.default_rng(1))
    wanted = 100.0 * 0.02 * between.seen.site_share[0] * between.seen.detection[0]
    assert counts.mean() == pytest.approx(wanted, rel=0.1)


@cache
def plan():
    """300 ponds: of 100 the chances of two days differ by luck as much as by the days, from seed to seed."""
    return fish_for_verdict(replace(GROUP, draws=300, fraction_examined=0.05, preparations=1), burden_before=200.0)


def test_more_fish_make_a_verdict_likelier_and_the_first_look_tells_most():
    def of(name, fish, day=2):
        return next(row[name] for row in plan().options if (row["day"], row["fish"]) == (day, fish))

    last = max(row["day"] for row in plan().options)
    assert of("no_verdict", 40) < of("no_verdict", 10) < of("no_verdict", 5)
    assert of("worked_called_so", 40) > of("worked_called_so", 5) + 0.1
    assert of("fell_short_called_so", 40) > of("fell_short_called_so", 5) + 0.1
    assert of("fell_short_called_so", 40) > of("fell_short_called_so", 40, last)
    for row in plan().options:
        assert row["left_half_called_so"] >= row["fell_short_called_so"] - 0.05
        assert row["wrong"] < 0.2


def test_the_plan_is_the_fewest_fish_that_reach_the_chance_or_says_that_none_does():
    rows = plan().options
    surest = max(min(r["worked_called_so"], r["fell_short_called_so"]) for r in rows)
    asked = {"agent": "praziquantel", "preparations": 3, "burden_before": 200.0}
    reached = room._plan(rows, surest, **asked)
    assert min(reached.best["worked_called_so"], reached.best["fell_short_called_so"]) >= surest
    assert (reached.fish, reached.day, reached.reason) == (reached.best["fish"], reached.best["day"], "verdict_reached")
    beyond = room._plan(rows, min(surest + 0.01, 1.0), **asked)
    assert (beyond.fish, beyond.day, beyond.reason) == (None, None, "verdict_not_reached")
    assert beyond.best == reached.best
    assert "before the dose" in headline_of(reached)
    assert "Not even 40 fish" in headline_of(beyond)
    assert reason_of(beyond, beyond.reason).startswith("The best, ")


def test_small_groups_wrong_numbers_and_cold_water():
    assert room._numbers_of(12) == (5, 10, 12)
    assert room._numbers_of(3) == (3,)
    assert room._numbers_of(None) == room._numbers_of(500) == (5, 10, 20, 40)
    with pytest.raises(InputError) as found:
        fish_for_verdict(GROUP, burden_before=-1.0, chance=80.0)
    assert {problem.place for problem in found.value.problems} == {"level", "confidence"}
    assert max(room._days_after(SampledGroup("dactylogyrus", 6.0, draws=40).times())) == 42
