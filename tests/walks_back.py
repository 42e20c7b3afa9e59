"""Walks back in time from a horizon: how the tests of elimination set them up and ask them."""

from __future__ import annotations

import numpy as np
from ponds import DENSITY, FISH, dose_effect

from burden.model.dose_effect import DoseEffect
from burden.model.elimination.dose_survival import Batch
from burden.model.elimination.probability import HORIZON_DAYS, time_grid
from burden.model.elimination.renewal import Habitat, backward
from burden.model.lifecycle.rates import Surroundings
from burden.model.lifecycle.stable_stages import Population, stable_population
from burden.model.temperature import Temperature

PRODUCT_STEP = 0.25  # what the product takes at 20 °C [d]
N_EGG, N_JUVENILE = 84, 119  # shapes measured at 20 °C, see the design of the stage spread
STAGES = (0, N_EGG, N_JUVENILE)


def habitat(parameters, temperature=20.0, last=0.0, dt=PRODUCT_STEP, after=HORIZON_DAYS, reach=30.0):
    course = temperature if isinstance(temperature, Temperature) else Temperature.constant(temperature)
    times, horizon = time_grid(0.0, last, dt, reach, after)
    return Habitat(parameters, course, np.full(parameters.size, DENSITY), 0.0, times, horizon)


def steps_of(where: Habitat, days) -> list[int]:
    steps = [int(np.argmin(np.abs(where.times - day))) for day in days]
    np.testing.assert_allclose(where.times[steps], days, atol=1e-9)
    return steps


def by_age(where, effect: DoseEffect | None, days, stages=STAGES, **more):
    """Values at day 0 of one schedule by the renewal form."""
    steps = np.array([steps_of(where, days) or [-1]])
    batch = Batch(steps, np.zeros_like(steps), [effect or dose_effect(where.parameters.size, 0, 0)])
    return backward(where, batch, [np.array([0])], stages, **more)[0]


def mix(parameters, temperature=20.0, adults=60.0, stages=STAGES) -> Population:
    total = np.full(parameters.size, adults)
    return stable_population(
        parameters, temperature, Surroundings(DENSITY), total, np.full(parameters.size, FISH), stages
    )
