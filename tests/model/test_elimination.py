"""The probability that the last fluke dies: closed forms, two solvers of one equation, plans of a case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ponds import DENSITY, FISH, dose_effect, drawn, fixed, one_form_cycle, plain_cycle, pond
from scipy import linalg, stats
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import gammaincc
from walks_back import N_EGG, N_JUVENILE, PRODUCT_STEP, STAGES, by_age, habitat, mix, steps_of

from burden.evidence import load_parasite, parasite_names
from burden.model.dose_effect import DoseEffect
from burden.model.elimination.dose_survival import Batch
from burden.model.elimination.probability import (
    HORIZON_DAYS,
    DoseSchedule,
    _doses_side_by_side,
    _form_back,
    chain_none_left,
    chain_values,
    eliminations,
    none_left,
    population_of,
    time_grid,
)
from burden.model.elimination.renewal import Habitat, Values, backward
from burden.model.forward import simulate
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.rates import Surroundings, establishment_for, rates_at
from burden.model.lifecycle.stable_stages import Population, growth_rate
from burden.model.lifecycle.transitions import LifeCycle, LifeForm, Transition, build_cycle
from burden.model.temperature import Temperature

DRAWS = 6


@pytest.fixture(scope="module")
def parameters() -> Parameters:
    return establishment_for(fixed(drawn("dactylogyrus", DRAWS, 3), N_EGG, N_JUVENILE), DENSITY)


def by_stage(where, effect, days, cycle=None):
    cycle = cycle or plain_cycle(egg=N_EGG, juvenile=N_JUVENILE)
    return chain_values(cycle, where.parameters, where, [(step, effect) for step in steps_of(where, days)])


# --- closed forms -------------------------------------------------------------------------------------------------
def survival_of_a_line(birth: float, death: float, days: float) -> float:
    """Probability that the line of one lasts: births at rate b, deaths at rate d (Kendall 1948, from memory)."""
    if birth == death:
        return 1 / (1 + birth * days)
    return (birth - death) / (birth - death * np.exp(-(birth - death) * days))


@pytest.mark.parametrize("birth", [0.5, 0.2, 0.1])
def test_birth_and_death(birth):
    """Within 1e-8 by halving a fine step once more, and within 0.005 at the product's step."""
    cycle, death = one_form_cycle(), 0.2
    p = drawn("dactylogyrus", 1).replaced(fecundity=birth, fecundity_q10=1.0, adult_life_days=1 / death)

    def chain(days, dt):
        times = np.linspace(0.0, days, round(days / dt) + 1)
        where = Habitat(p, Temperature.constant(20.0), np.full(1, DENSITY), 0.0, times, len(times) - 1)
        return float(chain_values(cycle, p, where, [])["adult"][0, 0])

    for days in (1.0, 5.0):
        exact = survival_of_a_line(birth, death, days)
        # the error falls with the square of the step, so two steps together leave its fourth power
        assert (4 * chain(days, 0.01) - chain(days, 0.02)) / 3 == pytest.approx(exact, abs=1e-8)
        assert chain(days, PRODUCT_STEP) == pytest.approx(exact, abs=0.005)
    where = habitat(p)
    assert float(chain_values(cycle, p, where, [])["adult"][0, 0]) == pytest.approx(
        survival_of_a_line(birth, death, HORIZON_DAYS), abs=0.005
    )


@pytest.fixture(scope="module")
def growing(parameters):
    """Draws whose lines have settled after a year: reproduction numbers of 1.6 to 12."""
    wanted = np.geomspace(1.6, 12.0, DRAWS)
    return parameters.replaced(
        establishment=parameters["establishment"] * wanted / parameters["reproduction_number"],
        reproduction_number=wanted,
    )


def passed_on(parameters, n_egg=N_EGG, n_juvenile=N_JUVENILE):
    """Share of eggs that become adults, by scipy's expectation over both gamma durations."""
    rates = rates_at(parameters, 20.0, Surroundings(DENSITY))
    shares = []
    for m in range(parameters.size):
        rate = {name: float(np.broadcast_to(x, parameters.size)[m]) for name, x in rates.items()}
        egg, juvenile = (
            stats.gamma(n, scale=1 / (n * rate[pace])).expect(lambda a, loss=rate[loss]: np.exp(-loss * a))
            for n, pace, loss in ((n_egg, "egg_rate", "egg_loss"), (n_juvenile, "juvenile_rate", "juvenile_loss"))
        )
        met = rate["contact"] / (rate["contact"] + rate["larva_loss"]) * rate["establishment"]
        shares.append(egg * rate["hatch_success"] * met * juvenile)
    return np.array(shares)


def end_values(parameters, cycle=None, dt=PRODUCT_STEP):
    """Probability of an adult and of an egg after a year without doses, by age and by stage."""
    where = habitat(parameters, dt=dt)
    age, stage = by_age(where, None, []), by_stage(where, None, [], cycle)
    return {"age": (age.adult[0], age.eggs[0, 0]), "stage": (stage["adult"][0], stage["egg"][0])}


def test_end_values_of_exponential_life_and_single_eggs(growing):
    """p_A = 1 − 1/R0, and an egg's line ends with q_egg = 1 − S (1 − q_adult)."""
    share = passed_on(growing)
    rates = rates_at(growing, 20.0, Surroundings(DENSITY))
    np.testing.assert_allclose(rates["laying_rate"] / rates["adult_loss"] * share, growing["reproduction_number"], 1e-6)
    adult = 1 - 1 / growing["reproduction_number"]
    for solver, (p_adult, p_egg) in end_values(growing).items():
        np.testing.assert_allclose(p_adult, adult, atol=0.005, err_msg=solver)
        np.testing.assert_allclose(1 - p_egg, 1 - share * (1 - (1 - adult)), atol=0.005 * share.max())


def test_end_values_to_1e8_where_no_one_dies_on_the_way(growing):
    """Without deaths of eggs and juveniles the renewal form is exact at any step once the lines have settled."""
    immortal = growing.replaced(egg_mortality=0.0, juvenile_mortality=0.0)
    number = growing["reproduction_number"] * 0 + 5.0
    rates = rates_at(immortal.replaced(establishment=1.0), 20.0, Surroundings(DENSITY))
    met = rates["contact"] / (rates["contact"] + rates["larva_loss"])
    share = number * rates["adult_loss"] / (rates["laying_rate"] * rates["hatch_success"] * met)
    immortal = immortal.replaced(establishment=share)
    found = by_age(habitat(immortal, after=800.0), None, [])
    np.testing.assert_allclose(found.adult[0], 1 - 1 / number, atol=1e-8)


def test_two_eggs_for_one_are_rejected(growing):
    """The check of the end value fails on a cycle that lays two eggs at a time."""
    right = plain_cycle(egg=N_EGG, juvenile=N_JUVENILE)
    double = Transition("adult", "bears", "laying_rate", (("egg", None), ("egg", None)))
    wrong = replace(right, transitions=(double, *right.transitions[1:]))
    found = by_stage(habitat(growing), None, [], wrong)["adult"][0]
    assert np.abs(found - (1 - 1 / growing["reproduction_number"])).max() > 0.1


def test_below_one_the_line_ends(parameters):
    fading = parameters.replaced(establishment=parameters["establishment"] * 0.5 / parameters["reproduction_number"])
    assert by_age(habitat(fading, after=1500.0), None, []).adult.max() < 1e-3


# --- the two solvers ----------------------------------------------------------------------------------------------
def a_bath(draws, fraction=0.0):
    return dose_effect(
        draws, 0.97, 0.95, 0.9, sheltered=0.1, fraction=fraction, larva_hazard=1.0, settler_kill=0.0, fade=0.5
    ).without_residue()


def both(parameters, temperature, days, effect, dt=PRODUCT_STEP):
    where = habitat(parameters, temperature, last=days[-1], dt=dt)
    start = float(temperature.at(0.0)) if isinstance(temperature, Temperature) else temperature
    who = mix(parameters, start)
    stage = by_stage(where, effect, days)
    as_values = replace(
        by_age(where, effect, days),
        eggs=stage["egg"][:, None], larva=stage["larva"], juveniles=stage["juvenile"][:, None], adult=stage["adult"],
    )  # fmt: skip
    return none_left(by_age(where, effect, days), who)[0], none_left(as_values, who)[0]


@pytest.mark.parametrize("temperature", [20.0, Temperature.linear([0, 20], [14, 20])], ids=["constant", "warming"])
def test_renewal_and_chain_agree_on_every_draw(parameters, temperature):
    """No shelter: one equation, two solvers."""
    by_renewal, by_chain = both(parameters, temperature, [0.0, 5.0, 10.0], a_bath(DRAWS))
    np.testing.assert_allclose(by_renewal, by_chain, atol=0.005)
    assert 0.05 < by_renewal.mean() < 0.95  # neither solver has an easy question


def test_fresh_eggs_wear_in_the_cold_as_an_erlang_does():
    """Below the block nothing starts: an egg in stage j of m is there after 21 d if fewer than m − j of the steps of a
    Poisson process have come (its distribution function from scipy.special), and nothing carried it off.
    """
    parameters, days = establishment_for(drawn("dactylogyrus", DRAWS, 3), DENSITY), 21.0
    stages = next(form.stages for form in build_cycle(parameters.evidence).forms if form.name == "fresh_egg")
    rates = rates_at(parameters, 3.0, Surroundings(np.full(DRAWS, DENSITY)))
    found = by_age(habitat(parameters, 3.0, after=days), None, [], (stages, 30, 30)).fresh_egg[:, 0]
    to_go = stages - np.arange(stages)[:, None]
    left = gammaincc(to_go, stages * rates["chill_rate"] * days) * np.exp(-rates["egg_loss"] * days)
    np.testing.assert_allclose(found, left, rtol=1e-9)
    assert left[-1].max() < 0.02 < 0.2 < left[0].max()  # wear and loss both tell


def test_fresh_eggs_that_wear_and_start_at_once_against_quadrature():
    """Half a degree about the block both go on: an egg that has not worn through by a day may start on it, and then
    lives on as a started egg, which cold does not wear; within the horizon none hatches.
    """
    drawn_ones, days = establishment_for(drawn("dactylogyrus", DRAWS, 3), DENSITY), 6.0
    parameters = drawn_ones.take(np.array([0]))
    stages = next(form.stages for form in build_cycle(parameters.evidence).forms if form.name == "fresh_egg")
    temperature = float(parameters.of_eggs.fresh.block_c[0]) + 0.1
    rates = rates_at(parameters, temperature, Surroundings(np.full(1, DENSITY)))
    wear, start, loss = (float(rates[name][0]) for name in ("chill_rate", "fresh_rate", "egg_loss"))
    assert min(wear, start) * days > 0.05  # neither is idle
    found = by_age(habitat(parameters, temperature, after=days), None, [], (stages, 30, 30)).fresh_egg[:, 0, 0]
    for stage, value in enumerate(found):

        def whole(day, to_go=stages - stage):
            return gammaincc(to_go, stages * wear * day) * np.exp(-start * day)

        left = (whole(days) + start * quad(whole, 0, days)[0]) * np.exp(-loss * days)
        assert value == pytest.approx(left, rel=2e-3)


def test_an_adult_that_lays_in_vain_lives_its_own_life(parameters):
    """Counted on the fish a day later, eggs laid meanwhile are nothing: exp(−death rate · day) is left of an adult."""
    where = habitat(parameters, after=1.0)
    found = by_age(where, None, [], linear=True, on_fish_only=True)
    death = rates_at(parameters, 20.0, Surroundings(np.full(DRAWS, DENSITY)))["adult_loss"]
    np.testing.assert_allclose(found.adult[0], np.exp(-death), rtol=1e-9)
    np.testing.assert_allclose(found.eggs[0], 0.0, atol=1e-12)


def test_a_later_start_of_one_walk_is_the_start_of_a_shorter_one(parameters):
    """At constant temperature only the days to the horizon count, for every stage of eggs and juveniles."""
    long, short = habitat(parameters, after=9.0), habitat(parameters, after=5.0)
    later = backward(long, NO_DOSE, [np.array(steps_of(long, [4.0]))], STAGES)[0]
    same_values(later, by_age(short, None, []))


def test_two_starts_of_one_walk_are_two_walks(parameters):
    """In warming water, where no two starts are alike."""

    def warming() -> Habitat:
        return habitat(parameters, Temperature.linear([0, 20], [14, 20]), after=9.0)

    starts = [np.array([0]), np.array(steps_of(warming(), [4.0]))]
    for found, start in zip(backward(warming(), NO_DOSE, starts, STAGES), starts, strict=True):
        same_values(found, backward(warming(), NO_DOSE, [start], STAGES)[0])


NO_DOSE = Batch(np.array([[-1]]), np.array([[0]]), [dose_effect(DRAWS, 0, 0)])


def same_values(found: Values, wanted: Values) -> None:
    for name in ("eggs", "juveniles", "larva", "adult"):
        np.testing.assert_allclose(getattr(found, name), getattr(wanted, name), rtol=1e-9, atol=1e-12)


def test_renewal_and_chain_agree_in_the_mean_with_shelter(parameters):
    """With shelter they differ draw by draw: by age every settler leaves it at the same development, by stage when its
    own chain has come so far, which is spread. The mean over draws still agrees.
    """
    by_renewal, by_chain = both(parameters, 20.0, [0.0, 5.0, 10.0], a_bath(DRAWS, 0.3), dt=0.125)
    assert by_renewal.mean() == pytest.approx(by_chain.mean(), abs=0.005)


def test_every_number_of_doses_of_one_walk_is_that_of_a_walk_of_its_own(parameters):
    effect, gap = a_bath(DRAWS, 0.2), 5.0
    where = habitat(parameters, last=3 * gap)
    steps = np.array([steps_of(where, [3 * gap, 2 * gap, gap, 0.0])])
    starts = [steps[:, k] for k in range(1, 4)]
    together = backward(where, Batch(steps, np.zeros_like(steps), [effect]), starts, STAGES)
    for count, values in zip((2, 3, 4), together, strict=True):
        alone = habitat(parameters, last=(count - 1) * gap)
        lone = by_age(alone, effect, [k * gap for k in range(count)])
        np.testing.assert_allclose(none_left(values, mix(parameters)), none_left(lone, mix(parameters)), atol=1e-6)


def test_draws_are_independent_of_each_other(parameters):
    effect, at = a_bath(DRAWS, 0.2), np.array([2])
    together = by_age(habitat(parameters, last=5.0), effect, [0.0, 5.0])
    alone = by_age(habitat(parameters.take(at), last=5.0), effect.take(at), [0.0, 5.0])
    np.testing.assert_allclose(alone.adult[:, 0], together.adult[:, 2], rtol=1e-5)
    np.testing.assert_allclose(alone.juveniles[..., 0], together.juveniles[..., 2], rtol=1e-5)


def test_a_frozen_brake_that_stops_laying_leaves_the_adult_its_own_life(parameters):
    where = habitat(parameters, after=60.0)
    nothing = np.zeros((where.horizon, DRAWS))
    none = np.array([[-1]])
    batch = Batch(none, np.zeros_like(none), [dose_effect(DRAWS, 0, 0)], laying=nothing)
    adult = backward(where, batch, [np.array([0])], STAGES)[0].adult[0]
    np.testing.assert_allclose(adult, np.exp(-60.0 / parameters["adult_life_days"]), rtol=1e-9)


def test_frozen_brakes_act_alike_in_both_solvers(parameters):
    where = habitat(parameters, after=60.0)
    rng = np.random.default_rng(3)
    laying, settling = rng.uniform(0.2, 1.0, (2, len(where.times) - 1, DRAWS))
    none = np.array([[-1]])
    batch = Batch(none, np.zeros_like(none), [dose_effect(DRAWS, 0, 0)], laying=laying, settling=settling)
    age = backward(where, batch, [np.array([0])], STAGES)[0].adult[0]
    cycle = plain_cycle(egg=N_EGG, juvenile=N_JUVENILE)
    stage = chain_values(cycle, parameters, where, [], {"laying_rate": laying, "establishment": settling})
    np.testing.assert_allclose(age, stage["adult"][0], atol=0.005)


# --- plans of a case ----------------------------------------------------------------------------------------------
def pond_of(parameters, **more):
    return pond(parameters, 20.0, cycle=plain_cycle(egg=N_EGG, juvenile=N_JUVENILE), **more)


def test_plans_of_a_case_are_the_walks_they_stand_for(parameters):
    """Several plans at once, from a state, against one finer walk each: in the mean within 0.005, a draw within 0.02.

    The edge of the shelter falls between two grid times; in one draw of six the case's own step costs 0.017 there.
    """
    setting, state = pond_of(parameters, per_fish=2.0, in_water=20.0)
    effects = {"a": a_bath(DRAWS, 0.2), "b": dose_effect(DRAWS, 0.8, 0.6)}
    plans = [
        DoseSchedule((0.0, 5.0, 10.0), ("a", "a", "a")),
        DoseSchedule((1.0, 10.0), ("b", "a")),
        DoseSchedule((), ()),
    ]
    together = np.exp(eliminations(setting, state, plans, effects))
    where = habitat(parameters, last=10.0, dt=0.125)
    names = sorted(effects)
    for found, plan in zip(together, plans, strict=True):
        steps = np.array([steps_of(where, plan.days) or [-1]])
        kinds = np.array([[names.index(agent) for agent in plan.agents] or [0]])
        values = backward(where, Batch(steps, kinds, [effects[n] for n in names]), [np.array([0])], STAGES)[0]
        finer = none_left(values, population_of(state, setting))[0]
        np.testing.assert_allclose(found, finer, atol=0.02)
        assert found.mean() == pytest.approx(finer.mean(), abs=0.005)
    assert together[0].mean() > together[1].mean() > together[2].mean()


def test_brakes_along_the_path_make_elimination_likelier(parameters):
    """Both off is the cautious choice: it never gives the higher probability. A brake that leaves all is none."""
    setting, state = pond_of(parameters, per_fish=2.0, in_water=20.0)
    effects, plans = {"a": a_bath(DRAWS, 0.2)}, [DoseSchedule((0.0, 5.0, 10.0), ("a",) * 3)]
    days = np.array([0.0, 40.0, 400.0])
    whole = (days, np.ones((3, DRAWS)))
    off = eliminations(setting, state, plans, effects)
    same = eliminations(setting, state, plans, effects, [{"laying": whole, "settling": whole}])
    np.testing.assert_allclose(same, off, rtol=1e-9)
    half = (days, np.full((3, DRAWS), 0.5))
    for on in ({"laying": half, "settling": whole}, {"laying": whole, "settling": half}):
        alone = eliminations(setting, state, plans, effects, [on])
        assert (alone > off).all()
        beside = eliminations(setting, state, plans * 2, effects, [None, on])
        np.testing.assert_allclose(beside, np.concatenate([off, alone]), rtol=1e-9)


def test_doses_of_plans_side_by_side_stand_at_their_own_times_and_in_their_own_columns():
    plans = [DoseSchedule((2.0,), ("a",)), DoseSchedule((2.0, 5.0), ("a", "a"))]
    columns = np.tile(np.arange(3), 2)
    found = _doses_side_by_side(plans, np.arange(0.0, 9.0, 0.5), {"a": dose_effect(3, 0.8, 0.8)}, columns)
    assert [step for step, _ in found] == [4, 10]
    kills = [effect.by_form["adult"].tolist() for _, effect in found]
    assert kills == [[0.8] * 6, [0.0] * 3 + [0.8] * 3]


LIVE_BEARERS = [name for name in parasite_names() if not load_parasite(name).lays_eggs]


@pytest.mark.parametrize("name", LIVE_BEARERS[:1])
def test_plans_against_live_bearers(name):
    """A live-bearer has no egg to wait for: two total kills a day apart leave nobody, a half kill leaves some."""
    p = drawn(name, 4)
    setting, state = pond(p, 18.0, per_fish=20.0)
    kills = {share: {form: np.full(4, share) for form in ("young", "mother")} for share in (1.0, 0.5)}
    zeros = np.zeros((5, 4))
    effects = {"total": DoseEffect(kills[1.0], *zeros), "half": DoseEffect(kills[0.5], *zeros)}
    plans = [
        DoseSchedule((0.0, 1.0), ("total", "total")),
        DoseSchedule((0.0, 1.0), ("half", "half")),
        DoseSchedule((), ()),
    ]
    total, half, none = eliminations(setting, state, plans, effects)
    np.testing.assert_allclose(total, 0.0, atol=1e-9)
    assert (none <= half + 1e-12).all()
    assert half.mean() < -0.1


def test_which_juveniles_are_sheltered_matters_at_the_same_mean_kill(growing):
    """The youngest third spared, or as large a share of every age: far apart in the probability, as the design says."""
    who = mix(growing, adults=50.0 * FISH)
    days, fraction = [0.0, 4.0, 8.0, 12.0, 16.0], 1 / 3
    young = np.clip(fraction * N_JUVENILE - np.arange(N_JUVENILE), 0, 1)[:, None]
    spared = (who.juveniles * young).sum(0) / who.juveniles.sum(0)
    by_shelter = dose_effect(DRAWS, 1.0, 1.0, 1.0, fraction=fraction)
    everywhere = DoseEffect(
        {**by_shelter.by_form, "juvenile": 1 - spared}, 1 - spared, np.zeros(DRAWS), *(np.zeros((3, DRAWS)))
    )
    where = habitat(growing, last=16.0)
    youngest, all_ages = (none_left(by_age(where, e, days), who)[0].mean() for e in (by_shelter, everywhere))
    assert youngest - all_ages > 0.4


# --- who is there -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("k", [0.8, 0.02])
def test_none_left_is_the_mean_over_counts(k):
    """Poisson in the water, negative binomial on the fish: sums over scipy's probabilities of every count."""
    fish, mean, p = 3.0, 2.4, 0.3
    one = np.ones((1, 1))
    zero = np.zeros((0, 1, 1))
    values = Values(zero, 0.2 * one[None], 0 * one, 0 * one[None], p * one)
    who = Population(
        np.zeros((0, 1)), np.full((1, 1), 1.5), np.zeros(1), np.zeros((1, 1)), np.full(1, fish * mean),
        np.full(1, fish), np.full(1, k),
    )  # fmt: skip
    counts = np.arange(2000)
    on_one = (stats.nbinom.pmf(counts, k, k / (k + mean)) * (1 - p) ** counts).sum()
    in_water = (stats.poisson.pmf(counts, 1.5) * (1 - 0.2) ** counts).sum()
    assert none_left(values, who)[0, 0] == pytest.approx(on_one**fish * in_water, rel=1e-9)


def test_both_ways_to_ask_give_the_same_answer(parameters):
    """`population_of` and `chain_none_left` read one state alike."""
    cycle = plain_cycle(egg=30, juvenile=30)
    setting, state = pond(parameters, 20.0, cycle=cycle, per_fish=2.0, in_water=20.0)
    values = chain_values(cycle, parameters, habitat(parameters, after=60.0), [])
    by_state = chain_none_left(values, state, setting)
    as_values = Values(
        np.zeros((0, 1, DRAWS)), values["egg"][:, None], values["larva"], values["juvenile"][:, None], values["adult"]
    )
    np.testing.assert_allclose(none_left(as_values, population_of(state, setting))[0], by_state, rtol=1e-9)


def test_growth_rate_against_a_root_finder(growing):
    rates = rates_at(growing, 20.0, Surroundings(DENSITY))
    found = growth_rate(growing, 20.0, Surroundings(DENSITY))
    for m in range(DRAWS):
        x = {name: float(np.broadcast_to(a, DRAWS)[m]) for name, a in rates.items()}

        def excess(r, x=x):
            egg = (1 + (x["egg_loss"] + r) / (N_EGG * x["egg_rate"])) ** -N_EGG * x["hatch_success"]
            settled = x["contact"] * x["establishment"] / (x["contact"] + x["larva_loss"] + r)
            mature = (1 + (x["juvenile_loss"] + r) / (N_JUVENILE * x["juvenile_rate"])) ** -N_JUVENILE
            return x["laying_rate"] / (x["adult_loss"] + r) * egg * settled * mature - 1

        assert found[m] == pytest.approx(brentq(excess, 1e-6, 2.0), abs=1e-6)


def test_stable_mix_is_what_the_forward_equations_come_to(growing):
    """After 100 d without brakes every life form stands to the adults as the stable mix says, to 5 %."""
    at = np.array([2, 5])
    p, cycle = fixed(growing.take(at), 30.0, 30.0), plain_cycle()
    setting, state = pond(p, 20.0, cycle=cycle, resistance_on=False, crowding_on=False, deaths_on=False)
    run = simulate(setting, state, [0.0, 100.0], (), 0.2)
    adults = run.fish["adult"][-1] * run.alive[-1]
    who = mix(p, adults=1.0, stages=(0, 30, 30))
    np.testing.assert_allclose(run.water["egg"][-1] / adults, who.eggs.sum(0), rtol=0.05)
    np.testing.assert_allclose(run.water["larva"][-1] / adults, who.larvae, rtol=0.05)
    np.testing.assert_allclose(run.fish["juvenile"][-1] * run.alive[-1] / adults, who.juveniles.sum(0), rtol=0.05)


def test_grid_keeps_the_doses_and_ends_at_the_horizon():
    times, horizon = time_grid(0.0, 20.0, 0.25, 12.0)
    assert times[horizon] == pytest.approx(20.0 + HORIZON_DAYS)
    assert (np.diff(times) > 0).all()
    assert np.allclose(times[: round(32 / 0.25) + 1], np.arange(0, 32.01, 0.25))
    assert times[-1] >= times[horizon] + 12.0


def test_one_step_back_of_a_chain_that_can_be_left_from_any_stage_against_its_generator():
    """Three stages worn through to death, left at any time for an egg of a known value, or lost: scipy's expm."""
    wear, go, loss, egg, dt, n = 0.5, 0.7, 0.2, 0.6, 0.8, 3
    cycle = LifeCycle(
        forms=(LifeForm("fresh_egg", "water", n), LifeForm("egg", "water", 1)),
        transitions=(
            Transition("fresh_egg", "any time", "go", (("egg", None),)),
            Transition("fresh_egg", "any time", "loss"),
            Transition("fresh_egg", "completes", "wear"),
        ),
        burden_forms=(),
    )
    rates = {"wear": np.array([wear]), "go": np.array([go]), "loss": np.array([loss])}
    later = np.array([[0.9], [0.5], [0.3]])
    found = _form_back(cycle, "fresh_egg", rates, {}, {"egg": np.array([[egg]])}, later, dt)
    generator = np.diag(np.full(n, -(n * wear + go + loss))) + np.diag(np.full(n - 1, n * wear), 1)
    affine = np.block([[generator, np.full((n, 1), go * egg)], [np.zeros((1, n + 1))]])
    want = linalg.expm(affine * dt) @ np.append(later[:, 0], 1.0)
    np.testing.assert_allclose(found[:, 0], want[:n], rtol=1e-7)
