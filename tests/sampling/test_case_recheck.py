"""When to look again after a course."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from cases import VISIT, a_case, clips

from burden.case import YearlyTemperature
from burden.inference.estimate import estimate
from burden.model.windows import windows_after
from burden.sampling.case_recheck import look_again


def test_a_winter_is_waited_for_once():
    """Eggs of November hatch in spring and their larvae grow in spring: the cold between stands in their time alone."""
    water = YearlyTemperature(12.0, 9.5, (7, 25))
    pond = a_case(clips([4, 0, 1]), visit_date=VISIT.replace(month=11))
    case = replace(
        pond,
        water=replace(pond.water, temperature=water),
        samples=tuple(replace(row, date=row.date.replace(month=11)) for row in pond.samples),
    )
    found = estimate(case, draws=40)
    plan = look_again(case, found, ("praziquantel",), 0.0)
    shelter, temperature = found.pond.effects["praziquantel"].sheltered_fraction, found.pond.setting.temperature
    hatched = windows_after(found.pond.setting.parameters, shelter, temperature).last_hatch
    latest = float(np.quantile(hatched, 0.95))
    young = windows_after(found.pond.setting.parameters, shelter, temperature, float(np.median(hatched)))
    assert np.median(hatched) > 100  # they do wait for spring
    assert latest < plan.day < latest + float(np.max(young.larval_life + young.sheltered_age)) + 1
