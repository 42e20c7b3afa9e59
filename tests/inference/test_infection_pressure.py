"""Open water: what comes from outside, what samples tell of it, and what is then withheld."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from cases import a_case, clips

from burden.inference import history
from burden.inference.infection_pressure import pressure_on, withheld_eradication, withheld_forecast


def cage(samples=(), **more):
    case = a_case(samples)
    return replace(case, water=replace(case.water, **{"kind": "cage", "exchange_per_day": 20.0, **more}))


def test_where_larvae_may_come_and_what_is_withheld():
    pond = a_case(clips([1]))
    assert (pressure_on(pond), withheld_forecast(pond), withheld_eradication(pond)) == (None, None, None)
    for water in ({}, {"kind": None, "exchange_per_day": 1.0}, {"kind": "raceway", "exchange_per_day": 0.5}):
        case = cage(clips([1]), **water)
        assert withheld_forecast(case) == "infection_pressure_unknown"
        assert withheld_eradication(case) == "larvae_from_outside"
    own = cage(clips([1]), neighbours="none")
    assert (pressure_on(own), withheld_forecast(own), withheld_eradication(own)) == (None, None, None)
    known = cage(clips([1]), neighbours="many")
    assert withheld_forecast(known) is None
    assert withheld_eradication(known) == "larvae_from_outside"
    assert withheld_forecast(cage([*clips([1], day=-20), *clips([2])])) is None
    assert withheld_forecast(cage([*clips([1], day=-5), *clips([2])])) == "infection_pressure_unknown"


def test_repeated_samples_tell_how_many_larvae_come():
    """Few flukes three weeks ago: many now speak for larvae from outside, as few now speak against them."""
    found = {}
    for name, now in {"few": [0, 0, 1, 0] * 3, "many": [30, 12, 55, 20] * 3}.items():
        case = cage([*clips([0, 1, 0, 0] * 3, day=-21), *clips(now)])
        run = history.run_past(case, "dactylogyrus", 1500, 3)
        weight = np.exp((log := history.log_likelihood(run, "dactylogyrus")) - log.max())
        larvae = np.log(run.pond.setting.larvae_in_per_day)
        found[name] = np.average(larvae, weights=weight)
        found["before"] = larvae.mean()
    assert found["many"] > found["few"] + 1.0
    assert found["few"] < found["before"]
