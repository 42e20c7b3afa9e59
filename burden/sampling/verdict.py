"""How many fish to look at before and after a dose, and on which day after it, for a verdict on the dose.

A look after a dose is judged by `burden response`. Here ponds are run with a dose that does what it should and with
doses that fall short, fish of them are looked at, and the verdict of `response` is worked out as often as it takes to
say how often it is right.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from burden.case import Action, Case, ConstantTemperature, FishGroup, Override, Preparation, Uncertain, Water
from burden.evidence import load_agent
from burden.inference.dose_accounts import Accounts, DoseRuns, verdict_of
from burden.inference.observation_parameters import draw_seen
from burden.inference.paired_samples import Between, weakly_regulated
from burden.inference.prior import draw_pond
from burden.sampling.development_times import SURE, DevelopmentTimes, LiveBearerTimes, Times
from burden.sampling.follow_up import LIVE_BEARER_RECHECK_DAYS
from burden.sampling.plan import MOST_PREPARATIONS, SamplingPlan
from burden.sampling.ranges import check_numbers
from burden.sampling.sampled_group import SampledGroup
from burden.sampling.simulated_looks import Looks, Shown
from burden.utils.random_streams import uniform_draws
from burden.utils.results import number

__all__ = ["VerdictPlan", "fish_for_verdict"]

#: numbers of fish tried, before and after each: common practice, no source
_NUMBERS = (5, 10, 20, 40)
#: first day after a dose on which its dead flukes are off the fish (common practice, no source), and the latest on
#: which anybody judges it (assumption) [d]
_FIRST_DAY, _LATEST_DAY = 2, 42
#: the true burden lies within this factor of the one believed, and `response` is not sure of it within that factor:
#: assumptions
_WITHIN, _UNSURE_WITHIN = 2.0, 10.0
#: looks simulated of doses that worked, and as many of doses that fell short
_LOOKS = 200
#: fewer looks than these give no chance of their own
_ENOUGH_LOOKS = 30
#: fish where nobody says how many there are, and water to a gram of fish, as in the pond of `burden interval` [L/g]
_FISH, _LITRES_A_GRAM = 40, 0.625
#: of the doses that do less than they should, those that fall short must be at least so many to be told apart
_HARDLY = 0.01
_ANY_DAY = date(2000, 6, 1)


@dataclass(frozen=True, kw_only=True)
class VerdictPlan(SamplingPlan):
    """How many fish before and after a dose, and on which day, tell whether it worked.

    Parameters
    ----------
    agent : str
    preparations : int
        Of each fish.
    burden_before : float
        Mean burden before the dose, as believed [flukes per fish].
    within_factor : float
        By which the true one may differ from it [-].
    chance : float
        Asked for: that a dose that worked is called so, and one that fell short [-].
    day : int or None
        Days after the dose; None where no plan reaches the chance [d].
    best : mapping or None
        The plan of `options` that answers, or comes nearest.
    options : tuple of mapping
        Day, fish, and the chances that a dose that worked is called so, that one that fell short is called so, that
        one is that left half of the flukes or more (null where hardly one does), that the verdict is wrong (the larger
        of both ways to be wrong), and that there is none.
    simulated : int
        Looks simulated for each chance.
    """

    agent: str
    preparations: int
    burden_before: float
    within_factor: float = _WITHIN
    chance: float
    day: int | None
    best: Mapping[str, Any] | None
    options: tuple[Mapping[str, Any], ...]
    simulated: int = _LOOKS

    def rows(self) -> list[dict[str, Any]]:
        """Return the plans tried, one a row."""
        return [{name: number(value) if isinstance(value, float) else value for name, value in row.items()}
                for row in self.options]  # fmt: skip


@dataclass(frozen=True)
class _Truth:
    """Looks to be judged: the pond of each, what the dose did there, and the burden on each day."""

    ponds: np.ndarray  # (looks,)
    burden: np.ndarray  # (days, looks), the day of the dose first
    worked: np.ndarray  # (looks,)

    @property
    def left_half(self) -> np.ndarray:
        """Whether the dose fell short so far that half of the flukes were left on the first day, shape (looks,)."""
        return ~self.worked & (self.burden[1] >= 0.5 * self.burden[0])


def fish_for_verdict(
    group: SampledGroup,
    agent: str = "praziquantel",
    burden_before: float | None = None,
    chance: float = 0.8,
    population: int | None = None,
) -> VerdictPlan:
    """How many fish before and after a dose, and on which day after it, tell whether it worked.

    Parameters
    ----------
    group : SampledGroup
        Flukes, water, and how the fish are looked at.
    agent : str
        Given as its customary bath.
    burden_before : float, optional
        Mean burden before the dose; what is usual for the set on fish of this weight when not given [flukes per fish].
    chance : float
        Wanted, that a dose that worked is called so and one that fell short is called so [-].
    population : int, optional
        Fish in the group.

    Returns
    -------
    VerdictPlan
        Without fish and day where no plan reaches the chance.

    Notes
    -----
    Ponds are run as `burden.inference.treatment_response.response` runs them, with the whole dose and in each way to
    fall short. Then looks are drawn: a pond, an account of the dose, fish before and after. Each is judged by the same
    ponds, its own left out. A dose fell short where more than twice as many flukes are left on the first day as the
    whole dose leaves. The more fish of a look include the fewer, so that plans differ by their size alone.
    """
    check_numbers(level=burden_before, confidence=chance, population=population)
    if burden_before is None:
        burden_before = group.evidence.for_fish_of(group.weight_g).values["abundance"].value * group.weight_g
    days = _days_after(group.times(agent))
    between = _between(group, agent, burden_before, days, population or _FISH)
    runs = DoseRuns.of(between)
    truth = _truths(between, runs, burden_before)
    rows = tuple(_judged(group, between, runs, truth, days, _numbers_of(population))) if truth is not None else ()
    return _plan(rows, chance, agent=agent, preparations=group.preparations, burden_before=float(burden_before))


def _days_after(times: Times) -> tuple[int, ...]:
    """Days after the dose to look on: soon, when all eggs laid before it have shown, and between [d]."""
    if isinstance(times, DevelopmentTimes):
        last = min(int(np.ceil(np.quantile(times.all_shown(), SURE))), _LATEST_DAY)
    else:
        last = LIVE_BEARER_RECHECK_DAYS if isinstance(times, LiveBearerTimes) else _FIRST_DAY
    return tuple(sorted({_FIRST_DAY, (_FIRST_DAY + max(last, _FIRST_DAY)) // 2, max(last, _FIRST_DAY)}))


def _numbers_of(population: int | None) -> tuple[int, ...]:
    """Numbers of fish to try in a group of so many."""
    if population is None or population >= _NUMBERS[-1]:
        return _NUMBERS
    return (*(n for n in _NUMBERS if n < population), population)


def _between(group: SampledGroup, agent: str, burden: float, days: Sequence[int], fish: int) -> Between:
    """Ponds from the day of the dose to the last look, each with a burden of its own before it."""
    pond = weakly_regulated(draw_pond(_case(group, agent, fish, days[-1]), group.parasite, group.draws, group.seed))
    rank = uniform_draws("burden believed before a dose", group.draws, group.seed)
    return Between(
        pond,
        draw_seen(pond.setting.parameters.evidence, group.draws, group.seed),
        np.array([0.0, *days]) - days[-1],
        (),
        burden * _UNSURE_WITHIN ** (2 * rank - 1),
        np.zeros(group.draws),
    )


def _case(group: SampledGroup, agent: str, fish: int, last_day: int) -> Case:
    litres, grams = fish * group.weight_g * _LITRES_A_GRAM, group.weight_g
    water = Water(
        Uncertain(litres, litres, litres),
        "sea" if group.evidence.water == ("sea",) else "fresh",
        ConstantTemperature(group.temperature_c),
        outlook="indoors",
        kind="tank",
    )
    bath = load_agent(agent).customary
    dose = Action(_ANY_DAY - timedelta(days=last_day), agent=agent, route="bath", mg_l=bath.mg_l, hours=bath.hours)
    known = {} if group.k is None else {"aggregation": Override("aggregation", group.k, group.k, group.k, "asked")}
    stock = (FishGroup("any", fish, False, Uncertain(grams, grams, grams)),)
    return Case("reference", _ANY_DAY, water, stock, (group.parasite,), given=(dose,), overrides=known)


def _truths(between: Between, runs: DoseRuns, burden: float) -> _Truth | None:
    """Draw the looks to be judged, half of doses that worked; None where hardly a dose can fall short."""
    rng = _rng(between.pond.seed, "truth")
    away = np.abs(np.log(between.start / burden))
    usual = away <= max(np.log(_WITHIN), away.min())
    ways = runs.accounts(1, dict.fromkeys(runs.by_name, usual * 0.0), usual * 1.0)
    names = list(ways.failed)
    chance = np.array([ways.failed[name].chance * (ways.short(name) & usual) for name in names])
    if chance.sum() < _HARDLY * usual.sum():
        return None
    good = rng.choice(np.flatnonzero(usual), _LOOKS)
    bad = rng.choice(chance.size, _LOOKS, p=chance.ravel() / chance.sum())
    way, ponds = np.divmod(bad, usual.size)
    failed = np.array([runs.failed[name][1].abundance for name in names])  # (ways, days, M)
    burdens = np.concatenate([runs.whole.abundance[:, good], failed[way, :, ponds].T], axis=1)
    both = np.concatenate([good, ponds])
    burdens[0] = between.start[both]  # a report on the day of the dose may come after it
    return _Truth(both, burdens, np.arange(2 * _LOOKS) < _LOOKS)


def _judged(
    group: SampledGroup, between: Between, runs: DoseRuns, truth: _Truth, days: Sequence[int], numbers: Sequence[int]
) -> Iterator[dict[str, Any]]:
    """Judge every look on every day, with every number of fish."""
    looks, rng = _looks(group, between), _rng(group.seed, "fish")
    before = Shown.of(looks.counts(truth.burden[0], truth.ponds, numbers[-1], rng))
    log_before = looks.log_likelihood(between.start, before.kinds)
    for i, day in enumerate(days, 1):
        after = Shown.of(looks.counts(truth.burden[i], truth.ponds, numbers[-1], rng))
        log_after = {name: looks.log_likelihood(run.abundance[i], after.kinds) for name, run in runs.by_name.items()}
        for fish in numbers:
            first = before.tally(fish) @ log_before
            tally = after.tally(fish)
            log = {name: first + tally @ each for name, each in log_after.items()}
            called = [_verdict(runs, i, first, log, look, pond) for look, pond in enumerate(truth.ponds)]
            yield {"day": day, "fish": fish, **_chances(np.array(called), truth)}


def _verdict(
    runs: DoseRuns, day: int, log_before: np.ndarray, log: Mapping[str, np.ndarray], look: int, pond: int
) -> str:
    """The verdict of `response` on one look, the look's own pond left out."""
    others = np.arange(log_before.shape[1]) != pond
    weight = np.where(others, np.exp(log_before[look] - log_before[look].max()), 0.0)
    accounts: Accounts = runs.accounts(
        day, {name: np.where(others, each[look], -np.inf) for name, each in log.items()}, weight
    )
    return verdict_of(accounts.verdicts())


def _chances(called: np.ndarray, truth: _Truth) -> dict[str, float | None]:
    """How often each kind of dose is called what it was, and what it was not."""

    def share(verdict: str, among: np.ndarray) -> float:
        return float(np.mean(called[among] == verdict))

    worked, half = truth.worked, truth.left_half
    return {
        "worked_called_so": share("worked", worked),
        "fell_short_called_so": share("fell_short", ~worked),
        "left_half_called_so": share("fell_short", half) if half.sum() >= _ENOUGH_LOOKS else None,
        "wrong": max(share("fell_short", worked), share("worked", ~worked)),
        "no_verdict": float(np.mean((called == "cannot_tell") | (called == "new_settlers"))),
    }


def _looks(group: SampledGroup, between: Between) -> Looks:
    site = group.evidence.site
    row = Preparation(
        _ANY_DAY,
        "1",
        "random",
        site,
        method="gill_clip" if site == "gill" else "skin_scrape",
        fraction_examined=group.fraction_examined,
    )
    return Looks(between.pond, between.seen, row, group.preparations)


def _rng(seed: int, what: str) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(f"verdict of a dose: {what}".encode())])


def _surer(row: Mapping[str, Any]) -> float:
    return min(row["worked_called_so"], row["fell_short_called_so"])


def _plan(rows: tuple[Mapping[str, Any], ...], chance: float, **asked: Any) -> VerdictPlan:
    """The fewest fish that reach the chance, on the day that is surest; else what comes nearest."""
    enough = [row for row in rows if _surer(row) >= chance]
    nearest = [max(rows, key=_surer)] if rows else []
    best = min(enough, key=lambda row: (row["fish"], -_surer(row))) if enough else next(iter(nearest), None)
    reason = "verdict_reached" if enough else "verdict_not_reached" if rows else "hardly_differs"
    fish, day = (best["fish"], best["day"]) if enough and best is not None else (None, None)
    later = ("later_look",) if best is not None and best["day"] == _FIRST_DAY else ()
    more = ("more_of_each_fish",) if asked["preparations"] < MOST_PREPARATIONS else ()
    changes = (*more, *later, "other_burden", "same_way_both_days")
    return VerdictPlan(
        fish=fish, day=day, best=best, options=rows, chance=chance, reason=reason, what_would_change=changes, **asked
    )
