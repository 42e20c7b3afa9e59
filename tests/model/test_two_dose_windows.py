"""Two doses inside the window leave nothing, and a gap counted from the wrong dose is rejected."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from ponds import DENSITY, dose_effect, drawn, fixed
from walks_back import by_age, habitat, mix

from burden.model.elimination.probability import none_left
from burden.model.lifecycle.parameters import Parameters
from burden.model.lifecycle.rates import establishment_for

HATCH, MATURITY, SHELTER, LARVA = 4.0, 12.0, 0.1, 0.02


def hard(draws=1) -> Parameters:
    """Stage lengths hard to 1.6 % (shape 4000): hatching after 4 d, maturity after 12 d, larvae of half an hour."""
    p = fixed(drawn("dactylogyrus", draws, 3), 4000.0, 4000.0).replaced(larval_life_days=LARVA, larval_life_q10=1.0)
    d = p.development
    tables = {
        "hatch": replace(d.hatch, mean_rate=np.full_like(d.hatch.mean_rate, 1 / HATCH)),
        "maturity": replace(d.maturity, mean_rate=np.full_like(d.maturity.mean_rate, 1 / MATURITY)),
    }
    p = replace(p, development=replace(d, **tables)).replaced(reproduction_number=3.0, adult_life_days=20.0)
    return establishment_for(p, DENSITY)


def from_the_first(first, gap):
    """Days of two doses, the gap counted from the first dose."""
    return [first, first + gap]


def from_the_visit(first, gap):
    """The same, counted wrongly from the visit, day 0."""
    return [first, gap]


def left_after_two(gap, plan=from_the_first, larvae_killed=0.0, shelter=SHELTER, first=2.0):
    """All eggs, larvae and flukes left a day after the second dose, per 1,000 flukes on the fish; and P a year on.

    By the linear backward form, which holds hard stage lengths exactly; the chains of the forward equations would
    need 4,000 stages.
    """
    p = hard()
    effect = dose_effect(1, 1.0, 1.0, larvae_killed, sheltered=0.0, fraction=shelter)
    days, dt = plan(first, gap), 0.1
    who = mix(p, stages=(0, 40, 40))
    short = habitat(p, last=max(days), dt=dt, after=1.0)
    left = sum(by_age(short, effect, days, (0, 40, 40), linear=True).expected(who))[0, 0]
    year = by_age(habitat(p, last=max(days), dt=dt), effect, days, (0, 40, 40))
    return 1000 * left / float(who.adults[0] + who.juveniles.sum()), float(none_left(year, who)[0, 0])


def window_holds(plan):
    """Whether two doses leave nothing inside the window and something a day outside either edge."""
    low, high = HATCH + SHELTER * MATURITY, MATURITY * (1 - SHELTER)
    inside = [left_after_two(gap, plan) for gap in (low + 1.5, 0.5 * (low + high), high - 1.5)]
    outside = [left_after_two(gap, plan) for gap in (low - 1.0, high + 1.0)]
    return all(left <= 1e-9 and p > 0.999 for left, p in inside) and all(left > 1e-3 for left, _ in outside)


def test_two_doses_inside_the_window_leave_nothing():
    """D_last + D_larva + a_s <= gap <= D_mat − a_s: total kill on the fish, larvae spared, no residue."""
    assert window_holds(from_the_first)


def test_a_gap_counted_from_the_wrong_dose_is_rejected():
    """The check of the window fails where the second dose is counted from the visit, not from the first dose."""
    assert not window_holds(from_the_visit)


def test_with_larvae_killed_and_no_shelter_the_lower_edge_is_last_hatch():
    above, below = HATCH + 0.6, HATCH - 1.0
    assert left_after_two(above, larvae_killed=1.0, shelter=0.0)[0] <= 1e-9
    assert left_after_two(below, larvae_killed=1.0, shelter=0.0)[0] > 1e-3
