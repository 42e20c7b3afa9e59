"""Courses of death from another cause: their mean rates against quadrature, and a run that knows of no flukes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ponds import pond
from scipy.integrate import quad

from burden.model.forward import simulate
from burden.model.lifecycle.parameters import draw_parameters
from burden.model.other_deaths import OtherDeaths

ONE = OtherDeaths(*(np.array([x]) for x in (1e-3, 0.05, -12.0, 6.0, 15.0)))


@pytest.fixture(scope="module")
def parameters():
    return draw_parameters("dactylogyrus", 20, 1)


@pytest.mark.parametrize("span", [(-30, -20), (-14, -7), (-8, 3), (0, 40)])
def test_a_mean_rate_is_the_integral(span):
    breaks = [day for day in (-12.0, -6.0) if span[0] < day < span[1]]
    whole = quad(lambda day: ONE.at(day)[0], *span, points=breaks or None)[0]
    assert ONE.mean_rate(*span)[0] == pytest.approx(whole / (span[1] - span[0]), rel=1e-7)


def test_a_run_loses_its_fish_at_that_rate(parameters):
    """Survivors by the integral of the hazard, background included; mid-step rates err by the square of the step."""
    setting, state = pond(parameters, 18.0, per_fish=0.0, in_water=0.0)
    m = parameters.size
    courses = OtherDeaths(*(np.full(m, getattr(ONE, name)) for name in ("steady", "peak", "onset_day", "growth_days")),
                          np.full(m, ONE.fade_days))  # fmt: skip
    days = np.array([-20.0, 0.0, 10.0])
    run = simulate(replace(setting, other_deaths=courses), state, days)
    for i, (start, end) in enumerate(((-20, 0), (0, 10))):
        lost = (parameters["background_hazard"] + courses.mean_rate(start, end)) * (end - start)
        np.testing.assert_allclose(run.alive[i + 1] / run.alive[i], np.exp(-lost), rtol=2e-3)
    assert (run.fluke_deaths == 0).all()
    half = replace(setting, other_deaths=courses).take(np.arange(m // 2))
    np.testing.assert_allclose(half.other_rate(-3.0), courses.at(-3.0)[: m // 2])
