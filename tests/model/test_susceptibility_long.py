"""Two years with heavy deaths: eight classes of susceptibility against whole fish, each with its own."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.classes_against_fish import MEASURES, OUTBREAKS, by_classes, by_fish, departures

FISH, STOCKS = 400, 4
STEP_DAYS = 1.0  # both sides take the same steps: their error is not what is compared


class Compared:
    """One parasite set's outbreaks, both ways."""

    def __init__(self, parasite):
        self.outbreaks = [o for o in OUTBREAKS if o.parasite == parasite]
        self.fish = by_fish(self.outbreaks, FISH, STOCKS, step_days=STEP_DAYS)
        self._gaps = {}

    def misses(self, measure, **how):
        """By how much each outbreak passes its limit, and twice the Monte Carlo error, on its worst day."""
        key = tuple(how.items())
        if key not in self._gaps:
            self._gaps[key] = departures(by_classes(self.outbreaks, FISH, step_days=STEP_DAYS, **how), self.fish)
        departure, error = self._gaps[key][measure]
        return (np.abs(departure) - MEASURES[measure] - 2 * error).max(0)


@pytest.fixture(scope="module")
def grazers():
    return Compared("dactylogyrus")


@pytest.fixture(scope="module")
def blood_feeders():
    return Compared("sparicotyle")


def test_the_deaths_are_heavy(grazers, blood_feeders):
    dead = np.concatenate([c.fish.values["deaths"][-1].mean(1) for c in (grazers, blood_feeders)]) / FISH
    assert dead.min() > 0.35
    assert dead[:-1].max() > 0.75
    assert dead[-1] > 0.9


@pytest.mark.parametrize("measure", MEASURES)
def test_grazers(grazers, measure):
    assert (grazers.misses(measure) <= 0).all()


@pytest.mark.parametrize("measure", MEASURES)
def test_blood_feeders_until_nine_in_ten_are_dead(blood_feeders, measure):
    assert (blood_feeders.misses(measure)[:-1] <= 0).all()


@pytest.mark.parametrize("measure", ["burden", "prevalence", "k"])
@pytest.mark.xfail(
    strict=True,
    reason="where nineteen fish in twenty have died the survivors are the least susceptible of the lowest class, whose "
    "mean does not follow them; sixteen classes do",
)
def test_blood_feeders_when_one_in_twenty_is_left(blood_feeders, measure):
    assert blood_feeders.misses(measure)[-1] <= 0


def test_more_classes_mend_that(blood_feeders):
    for measure in MEASURES:
        assert blood_feeders.misses(measure, classes=16)[-1] <= 0


def test_class_means_alone_are_rejected(grazers):
    """The check bites: fish alike inside a class are too even, and k comes out too high."""
    assert (grazers.misses("k", classes=4, inside=False) > 0).any()
    assert (grazers.misses("burden", classes=2) > 0).any()


def test_deaths_by_grazers_leave_k_as_it_was(grazers):
    """Not a result of the model but a theorem.

    A death rate in proportion to burden leaves exp(−S w) of the fish of susceptibility w, S the same for all; a gamma
    times an exponential is a gamma of the same shape. So deaths thin the heavily infected and k stays.
    """
    for i, outbreak in enumerate(grazers.outbreaks):
        k = grazers.fish.values["k"][:, i]
        error = k.std(1, ddof=1) / np.sqrt(STOCKS)
        assert (np.abs(k.mean(1) - outbreak.aggregation) <= 0.08 * outbreak.aggregation + 3 * error).all(), outbreak
