"""The whole-fluke simulator of the analysis folder: against the forward and the backward equations, and by itself."""

import ast
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from analysis.elimination_against_individuals import Setting, predicted, simulated  # noqa: E402
from analysis.individuals import Dose, Joining, Ponds, Start, Stock, draw_start, draw_stock, run_ponds  # noqa: E402
from analysis.samples import Look, pick_fish, take_samples  # noqa: E402
from burden.io import read_case  # noqa: E402
from burden.model import forward as forward  # noqa: E402
from burden.model.dose_effect import DoseEffect  # noqa: E402
from burden.model.hosts import Fish  # noqa: E402
from burden.model.lifecycle.parameters import draw_parameters  # noqa: E402
from burden.model.lifecycle.rates import establishment_for  # noqa: E402
from burden.model.lifecycle.transitions import build_cycle  # noqa: E402
from burden.model.temperature import Temperature  # noqa: E402

SOLVERS = {"simulate", "renewal", "elimination", "chains", "schedule"}


def parameters(density, **values):
    drawn = draw_parameters("dactylogyrus", 8, 1).replaced(**values)
    return establishment_for(drawn, density).take(np.array([3]))


def effect(kill, sheltered_kill=None, sheltered_fraction=0.0, larva_hazard=0.0):
    one = np.ones(1)
    sheltered = kill if sheltered_kill is None else sheltered_kill
    by_form = {"adult": kill * one, "juvenile": kill * one, "larva": kill * one}
    return DoseEffect(by_form, sheltered * one, sheltered_fraction * one, larva_hazard * one, 0 * one, 0.3 * one)


def a_pond(runs=1, fish=10, temperature=None, p=None, **more):
    p = p or parameters(5.0, reproduction_number=3.0, fecundity=3.0)
    stock = Stock(np.full((runs, fish), 400.0), np.ones((runs, fish)))
    return Ponds(build_cycle(p.evidence), p, stock, fish / 5.0, temperature or Temperature.constant(20.0), **more)


@pytest.mark.parametrize("module", ["individuals", "ageing", "samples"])
def test_shares_no_equation_with_the_solvers(module):
    tree = ast.parse((ROOT / "analysis" / f"{module}.py").read_text(encoding="utf-8"))
    imported = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert not imported & {f"burden.{name}" for name in SOLVERS}
    assert any(name.startswith("burden.") or name.startswith("analysis.") for name in imported)


# --- against the forward equations -----------------------------------------------------------------------------------
DAYS = [0.0, 12.0, 18.0, 25.0]


def whole_flukes(ponds, adults, doses):
    start = draw_start(np.random.default_rng(1), ponds, {"adult": adults}, exact=True)
    record = run_ponds(ponds, start, DAYS, doses, seed=2)
    return {name: x[1:] for name, x in record.numbers.items()} | {"deaths": record.deaths[1:].astype(float)}


def expected(ponds, adults, dose):
    cycle, fish = ponds.cycle, ponds.stock.weight_g.shape[1]
    setting = forward.Scenario(
        cycle,
        ponds.parameters,
        Fish(np.array([[400.0]]), np.ones((1, 1))),
        ponds.temperature,
        np.array([ponds.volume_m3]),
        ponds.exchange_per_day,
    )
    state = forward.State(
        water={f.name: np.zeros((f.stages, 1)) for f in cycle.forms if f.place == "water"},
        fish={f.name: np.zeros((f.stages, 1, 1)) for f in cycle.forms if f.place == "fish"},
        alive=np.full((1, 1, 1), float(fish)),
        haemoglobin=np.ones((1, 1, 1)),
        resistance=np.zeros(1),
        deaths=np.zeros(1),
        fluke_deaths=np.zeros(1),
    )
    state.fish["adult"][:] = adults / fish
    events = [forward.Event.dose(dose.day, dose.effect, cycle)]
    course = forward.simulate(setting, state, DAYS, events)
    on_fish = {name: (x * course.alive)[1:, 0] for name, x in course.fish.items()}
    return {name: x[1:, 0] for name, x in course.water.items()} | on_fish | {"deaths": course.deaths[1:, 0]}


def test_mean_is_that_of_the_forward_equations():
    """Warming water, both brakes, fish deaths, exchange, a dose that leaves something: all at once."""
    p = parameters(5.0, reproduction_number=4.0, fecundity=3.0, hazard_per_burden=0.05)
    warming = Temperature.linear([0.0, 25.0], [18.0, 25.0])
    # the equations have chains of 30 stages, so here the flukes have them too
    ponds = a_pond(100, p=p, temperature=warming, exchange_per_day=0.1, spread={"egg": 30.0, "juvenile": 30.0})
    dose = Dose(15.0, effect(0.6, larva_hazard=2.0))
    runs, means = whole_flukes(ponds, 1500, [dose]), expected(ponds, 1500, dose)
    worst = 0.0
    for name, x in runs.items():
        error = x.std(1, ddof=1) / np.sqrt(x.shape[1])
        z = (x.mean(1) - means[name]) / error
        assert np.all(np.abs(z) < 3.5), (name, z)
        if name == "egg":
            worst = np.max(error / x.mean(1))
    assert worst < 0.02  # sharp enough to tell a few percent
    # a model that is wrong by a fifth in one rate fails the same comparison
    other = expected(replace(ponds, parameters=p.replaced(adult_life_days=1.2 * p["adult_life_days"])), 1500, dose)
    x = runs["adult"]
    assert np.any(np.abs(x.mean(1) - other["adult"]) > 3.5 * x.std(1, ddof=1) / np.sqrt(x.shape[1]))


@pytest.mark.parametrize("carried", [150, 0])
def test_newcomers_bring_what_the_equations_bring(carried):
    """Four fish with flukes and eggs come on day 8 to six that carry some or none, and resistance brakes settling.

    The equations spread what comes evenly over a group at once. So crowding is off, and where all flukes are on four
    of ten fish nobody dies of them; how far that spreading then misleads is bounded at the end.
    """
    p = parameters(5.0, reproduction_number=4.0, fecundity=3.0, hazard_per_burden=0.05)
    ponds = a_pond(90, p=p, spread={"egg": 30.0, "juvenile": 30.0}, crowding_on=False, deaths_on=carried > 0)
    first, later = np.arange(10) < 6, np.arange(10) >= 6
    shape = (90, 10, 1)
    start = Start({"adult": np.where(first[:, None], carried, 0) * np.ones(shape, int)})
    bring = Start({"adult": np.where(later[:, None], 200, 0) * np.ones(shape, int), "egg": np.full((90, 1), 3000)})
    days = [0.0, 8.0, 16.0, 25.0]
    record = run_ponds(ponds, start, days, joins=[Joining(8.0, later, bring)], seed=2)
    means = joined(ponds, carried, 200.0, 3000.0, days)
    for name in ("adult", "juvenile", "egg", *(("deaths",) if carried else ())):
        x = (record.numbers[name] if name != "deaths" else record.deaths)[2:]
        z = (x.mean(1) - means[name]) / (x.std(1, ddof=1) / np.sqrt(x.shape[1]))
        assert np.all(np.abs(z) < 3.5), (name, z)
    clean = joined(ponds, carried, 0.0, 0.0, days)  # newcomers as they came before: clean
    assert np.all(clean["adult"] < 0.8 * record.numbers["adult"][2:].mean(1))
    if not carried:  # the worst case of crowding: all flukes on four of ten fish
        crowded = (
            run_ponds(replace(ponds, crowding_on=True), start, days, joins=[Joining(8.0, later, bring)], seed=2)
            .numbers["egg"][2:]
            .mean(1)
        )
        ratio = crowded / joined(replace(ponds, crowding_on=True), carried, 200.0, 3000.0, days)["egg"]
        assert np.all((ratio > 0.6) & (ratio < 1.0)), ratio


def joined(ponds, carried, brought, eggs, days):
    """Means of the forward equations with four newcomers on day 8, of the days after it."""
    setting = forward.Scenario(
        ponds.cycle,
        ponds.parameters,
        Fish(np.array([[400.0]]), np.ones((1, 1))),
        ponds.temperature,
        np.array([2.0]),
        crowding_on=ponds.crowding_on,
        deaths_on=ponds.deaths_on,
    )
    nothing = {f.name: np.zeros((f.stages, 1)) for f in ponds.cycle.forms if f.place == "water"}
    on_fish = {f.name: np.zeros((f.stages, 1, 1)) for f in ponds.cycle.forms if f.place == "fish"}
    on_fish["adult"][:] = carried
    one, none = np.ones((1, 1, 1)), np.zeros(1)
    state = forward.State(nothing, on_fish, 6 * one, one, none, none, none)
    water = {"egg": np.zeros_like(nothing["egg"])}
    water["egg"][0] = eggs
    bring = {"adult": np.full((1, 1, 1), brought), **water}
    course = forward.simulate(setting, state, days, [forward.Event(8.0, arrive=np.full((1, 1), 4.0), bring=bring)])
    flukes = {name: (x * course.alive)[2:, 0] for name, x in course.fish.items()}
    return {name: x[2:, 0] for name, x in course.water.items()} | flukes | {"deaths": course.deaths[2:, 0]}


# --- against the backward equations ----------------------------------------------------------------------------------
SMALL = (
    Setting("adults, no dose", "dactylogyrus", 0, {"fecundity": 4.0, "reproduction_number": 1.5},
            Temperature.constant(22.0), {"adult": 2}, horizon_days=60.0),
    Setting("all ages, two doses", "dactylogyrus", 6, {"fecundity": 4.0, "reproduction_number": 3.0},
            Temperature.constant(22.0),
            {"adult": 20, "juvenile": np.array([3, 3, 3, 3]), "egg": np.array([2, 2, 2, 2])},
            dose_days=(0.0, 9.0), loss_per_day=0.5, horizon_days=60.0),
)  # fmt: skip


@pytest.mark.parametrize("setting", SMALL, ids=lambda s: s.name)
def test_dies_out_as_often_as_the_backward_equations_say(setting):
    runs = 400
    p = predicted(setting)
    assert 0.1 < p < 0.9
    assert abs(simulated(setting, runs, 1, step_days=0.1) / runs - p) < 3.5 * np.sqrt(p * (1 - p) / runs)


# --- by itself -------------------------------------------------------------------------------------------------------
def test_all_take_equally_long_when_told_so():
    ponds = a_pond(spread={"juvenile": np.inf}, deaths_on=False, p=parameters(5.0, juvenile_mortality=1e-12))
    days = float(ponds.parameters.development.maturity.mean_days(20.0)[0])
    start = draw_start(np.random.default_rng(1), ponds, {"juvenile": 500}, exact=True)
    record = run_ponds(ponds, start, [0.0, days - 0.1, days + 0.1], seed=1)
    assert record.numbers["juvenile"][:, 0].tolist() == [500, 500, 0]
    assert record.numbers["adult"][1, 0] == 0
    assert record.numbers["adult"][2, 0] > 480


def test_adults_of_one_age_die_on_one_day():
    ponds = a_pond(spread={"adult": np.inf}, deaths_on=False)
    days = float(ponds.parameters["adult_life_days"][0])
    start = draw_start(np.random.default_rng(1), ponds, {"adult": 100}, exact=True)
    before = run_ponds(ponds, start, [0.0, days - 0.1], seed=1).burden["adult"][1].sum()
    left = run_ponds(replace(ponds, exchange_per_day=100.0), start, [0.0, days + 0.1], seed=1)
    assert before >= 100
    assert left.numbers["adult"][1, 0] == 0


def test_shelter_goes_by_age():
    ponds = a_pond(p=parameters(5.0, juvenile_mortality=1e-12), deaths_on=False)
    numbers = np.zeros((1, 10, 10), int)
    numbers[0] = np.arange(10, 20)  # in the tenths of development
    dose = Dose(0.0, effect(1.0, sheltered_kill=0.0, sheltered_fraction=0.3))
    record = run_ponds(ponds, Start({"juvenile": numbers}), [0.0], [dose], seed=1)
    assert record.burden["juvenile"][0, 0].tolist() == [10 + 11 + 12] * 10


def test_flukes_die_with_their_fish_and_settlers_choose_by_susceptibility():
    p = parameters(5.0, hazard_per_burden=1.0, reproduction_number=10.0, fecundity=3.0)
    ponds = a_pond(p=p)
    ponds = replace(ponds, stock=replace(ponds.stock, susceptibility=np.array([[0.0] * 5 + [1.0] * 5])))
    start = Start({"adult": np.array([0, 0, 0, 0, 50] + [40] * 5).reshape(1, 10, 1)})
    record = run_ponds(ponds, start, [0.0, 20.0], seed=3)
    alive, burden = record.alive[1, 0], sum(b[1, 0] for b in record.burden.values())
    assert 0 < alive.sum() < 10
    assert burden[~alive].sum() == 0
    assert burden[:4].sum() == 0  # nothing settles on a fish that takes nothing
    assert np.isfinite(record.death_day[0]).tolist() == (~alive).tolist()


def test_susceptibility_and_weight_have_the_moments_asked_for():
    stock = draw_stock(np.random.default_rng(1), 200, 100, 800.0, 1.6, 0.3)
    assert stock.susceptibility.mean() == pytest.approx(1.0, abs=3.5 * np.sqrt(1 / 1.6 / 20_000))
    assert stats.kstest(stock.susceptibility.ravel(), stats.gamma(1.6, scale=1 / 1.6).cdf).pvalue > 1e-3
    assert stock.weight_g.mean() == pytest.approx(800.0, abs=3.5 * 240 / np.sqrt(20_000))


# --- what is seen ----------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def looked_at():
    """Forty fish unevenly infected; flukes kill far more than the background, so that hazards differ."""
    p = parameters(5.0, reproduction_number=3.0, fecundity=3.0, hazard_per_burden=1e-3)
    ponds = replace(a_pond(fish=40, p=p), stock=draw_stock(np.random.default_rng(2), 1, 40, 400.0, 1.0))
    start = draw_start(np.random.default_rng(3), ponds, {"adult": 40 * 60}, exact=True)
    return run_ponds(ponds, start, [0.0], seed=1)


def test_part_count_is_beta_binomial(looked_at):
    """Against scipy.stats.betabinom, a general-purpose reference library."""
    fish = int(np.argmax(looked_at.burden["adult"][0, 0]))
    n, q, a = int(looked_at.burden["adult"][0, 0, fish]), 0.02, 1.3
    look = Look("gill", "gill_clip", q, shape=a, preparations=4000)
    rows = take_samples(looked_at, 0, np.random.default_rng(5), np.array([fish]), look)
    counts = np.array([row["count"] for row in rows])
    law = stats.betabinom(n, a, a * (1 - q) / q)
    edges = [-1, 0, 1, 2, 4, 7, 12, n]
    seen = np.histogram(counts, np.array(edges) + 0.5)[0]
    share = np.diff(law.cdf(edges))
    assert stats.chisquare(seen, share * counts.size).pvalue > 1e-3


def test_moribund_fish_are_picked_by_hazard(looked_at):
    rng = np.random.default_rng(6)
    picks = np.bincount([pick_fish(looked_at, 0, rng, 1, "moribund")[0] for _ in range(4000)], minlength=40)
    hazard = looked_at.hazard[0, 0]
    assert stats.chisquare(picks, picks.sum() * hazard / hazard.sum()).pvalue > 1e-3
    assert stats.chisquare(picks).pvalue < 1e-6  # and not at random


# --- the invented cases ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["koi_pond", "quarantine_tank", "estate_pond"])
def test_invented_case_reads_and_agrees_with_its_truth(name):
    folder = ROOT / "simulated_data" / name
    case = read_case(folder)
    truth = tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))
    killed = {row.fish for row in case.samples if row.lethal and row.date == case.visit_date}
    assert case.warnings == ()
    assert case.fish_count == truth["visit"]["fish_alive"] - len(killed)
    assert len(truth["visit"]["flukes_by_fish"]) == truth["visit"]["fish_alive"]
    assert sum(truth["visit"]["flukes_by_fish"]) == truth["visit"]["flukes_total"]
    assert len(truth["samples"]["flukes_on_fish_of_row"]) == len(case.samples)
    assert case.water.volume_l.low <= truth["water"]["volume_l"] <= case.water.volume_l.high
    assert 3 <= sum(row.deaths for row in case.deaths) <= 15
