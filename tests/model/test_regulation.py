"""Two brakes: burdens stay bounded, ponds grow, last or fade, and either brake alone fails in its own way.

The bounds are those of the project's own design, derived beside each check; no outside source prints them.
"""

import numpy as np
import pytest
from cases import a_case
from ponds import DENSITY, FISH, dose_effect, pond, warm_kind

from burden.inference.prior import draw_pond
from burden.model.forward import Event, simulate
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.lifecycle.rates import establishment_for
from burden.model.temperature import Temperature
from burden.schedule.forecast import regime_of

R0 = np.array([1.2, 2.0, 3.5, 6.0, 10.0, 15.0])
WATERS = {"20 °C": Temperature.constant(20.0), "4 to 24 °C": Temperature.yearly(14.0, 10.0, -100.0)}
STEP_DAYS = 0.5
#: K, Θ, δ and x50 at the middle of their ranges; laying high enough that no draw needs more larvae than there are
MIDDLE = {
    "burden_scale": 1.0,
    "resistance_gain_degree_days": 400.0,
    "resistance_loss_per_day": 0.0077,
    "resistance_half_burden": 1.0,
    "fecundity": 100.0,
}


def a_pond(reproduction, water, **more):
    """Ponds alike but for their reproduction number, lightly infected."""
    one = draw_parameters(warm_kind(), 4, 1).take(np.full(len(reproduction), 2))
    p = establishment_for(one.replaced(**MIDDLE, reproduction_number=np.array(reproduction)), DENSITY)
    assert p["reproduction_number"] == pytest.approx(np.array(reproduction))
    return pond(p, water, per_fish=40.0, in_water=400.0, **more)


def by_month(setting, state, years=2):
    """Feeding flukes per gram every five days, (K, M); fish that died in a month are replaced at its end."""
    seen, arrivals = [], ()
    for start in np.arange(0.0, 365.0 * years, 30.0):
        days = start + np.arange(0.0, 31.0, 5.0)
        run = simulate(setting, state, days, arrivals, max_step_days=STEP_DAYS)
        seen.append(run.per_gram[:-1])
        died = (run.end.deaths - state.deaths)[None, :]
        state, arrivals = run.end, (Event(days[-1], arrive=died),)
    return np.concatenate(seen), state


@pytest.mark.parametrize("deaths", [False, True], ids=["no deaths", "deaths and new fish"])
@pytest.mark.parametrize("water", WATERS)
def test_both_brakes_keep_burdens_bounded(water, deaths):
    setting, state = a_pond(R0, WATERS[water], deaths_on=deaths)
    seen, end = by_month(setting, state)
    half = len(seen) // 2
    first, second = seen[:half].max(0), seen[half:].max(0)
    assert (seen.max(0) < 100 * MIDDLE["burden_scale"]).all()
    assert (second <= 1.5 * first).all()
    assert (end.deaths > 1).all() == deaths
    if deaths:  # the last month's dead are not yet replaced
        assert (end.alive.sum((0, 1)) > 0.8 * FISH).all()


def test_without_brakes_the_same_ponds_run_away():
    """The check above bites."""
    setting, state = a_pond(R0[-1:], WATERS["20 °C"], deaths_on=False, resistance_on=False, crowding_on=False)
    run = simulate(setting, state, [0.0, 365.0, 730.0], max_step_days=STEP_DAYS)
    assert run.per_gram[1, 0] > 100 * MIDDLE["burden_scale"]
    assert run.per_gram[2, 0] > 1.5 * run.per_gram[1, 0]


def two_waves(dose_day, **brakes):
    """Highest burden before and, for as long or longer, after a dose that leaves a fluke in a thousand."""
    setting, state = a_pond([6.0, 12.0], WATERS["20 °C"], deaths_on=False, **brakes)
    days = np.arange(0.0, max(2 * dose_day, 365.0) + 1, 3.0)
    dose = Event.dose(dose_day, dose_effect(2, 0.999, 0.999, 0.999), setting.cycle)
    swept = {form: np.full(2, 0.999) for form in state.water}  # the water is changed with it
    run = simulate(setting, state, days, [dose, Event(dose_day, swept)], max_step_days=STEP_DAYS)
    return run.per_gram[days < dose_day].max(0), run.per_gram[days > dose_day].max(0)


def test_crowding_alone_has_no_memory():
    first, second = two_waves(330.0, resistance_on=False)
    assert second == pytest.approx(first, rel=0.05)


def test_resistance_remembers_the_first_wave():
    """Twice the 5 % within which crowding alone repeats itself; without resistance the second is no lower at all."""
    first, second = two_waves(120.0)
    assert (second < 0.9 * first).all()
    first, second = two_waves(120.0, resistance_on=False)
    assert (second > first).all()


def test_resistance_alone_fails_above_its_limit():
    """R0 (1 − R) = 1 at balance, and R is at most (T/Θ)/(T/Θ + δ): no balance above R0 = 1 + T/(Θ δ), 7.5 here."""
    limit = 1 + 20.0 / (MIDDLE["resistance_gain_degree_days"] * MIDDLE["resistance_loss_per_day"])
    setting, state = a_pond([0.8 * limit, 1.5 * limit], WATERS["20 °C"], deaths_on=False, crowding_on=False)
    run = simulate(setting, state, [0.0, 365.0, 730.0, 1095.0], max_step_days=STEP_DAYS)
    below, above = run.per_gram.T
    # what balance asks: (T/Θ) x/(x + x50) (1 − R) = δ R with R = 1 − 1/R0
    share = (0.8 * limit - 1) * MIDDLE["resistance_loss_per_day"] * MIDDLE["resistance_gain_degree_days"] / 20.0
    assert below[-1] == pytest.approx(share / (1 - share) * MIDDLE["resistance_half_burden"], rel=0.1)
    assert above[2] > 10 * above[1]
    assert above[3] > 10 * above[2]


def test_prior_ponds_grow_last_and_fade():
    """At 18 °C with the flukes a fish of 400 g is thought to carry before anyone looks, over 60 days."""
    found = draw_pond(a_case(temperature_c=18.0), "dactylogyrus", 120, 1)
    u = (np.arange(120) * 0.618) % 1  # resistance anywhere on its way to balance
    state = found.start(np.full(120, 100.0), np.array([40.0]), 0.0, u)
    run = simulate(found.setting, state, [0.0, 60.0], max_step_days=0.25)
    shares = regime_of(run.abundance[0], run.abundance[-1], 60.0)
    assert sum(shares.values()) == pytest.approx(1.0)
    assert min(shares.values()) > 0.05, shares
