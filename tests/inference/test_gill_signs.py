"""What gills and blood say of flukes: in closed form, and which way it moves an estimate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cases import a_case, clips

from burden.case import Findings
from burden.inference.estimate import estimate
from burden.inference.gill_signs import SignDraws
from burden.model.lifecycle.parameters import draw_parameters

ONE = SignDraws(*(np.array([x]) for x in (0.2, 0.7, 2.0, 32.0)))


def said(findings: Findings, parasite: str, per_gram: float, haemoglobin: float = 1.0) -> float:
    parameters = draw_parameters(parasite, 1, 1)
    return float(ONE.log_likelihood(findings, parameters, np.array([per_gram]), np.array([haemoglobin]))[0])


def test_a_sign_is_likelier_the_more_flukes_there_are():
    mucus, none = Findings(gill_mucus=True), Findings(gill_mucus=False)
    assert said(mucus, "dactylogyrus", 0.0) == pytest.approx(0.75 * np.log(0.2))
    assert said(mucus, "dactylogyrus", 2.0) == pytest.approx(0.75 * np.log(0.45))  # half of what flukes add
    assert said(none, "dactylogyrus", 2.0) == pytest.approx(0.75 * np.log(0.55))
    assert said(Findings(), "dactylogyrus", 2.0) == 0.0


def test_gills_say_nothing_of_a_skin_fluke_and_blood_nothing_of_a_grazer():
    assert said(Findings(gill_mucus=True, gill_swollen=True), "gyrodactylus", 5.0) == 0.0
    assert said(Findings(haematocrit_percent=12.0), "dactylogyrus", 5.0, 0.4) == 0.0


def test_a_haematocrit_speaks_for_as_much_blood_as_was_lost():
    low = Findings(haematocrit_percent=16.0)
    assert said(low, "sparicotyle", 1.0, 0.5) == pytest.approx(0.0, abs=1e-12)
    assert said(low, "sparicotyle", 1.0, 1.0) < -5
    pale = Findings(gill_colour="pale")
    assert said(pale, "sparicotyle", 1.0, 0.4) > said(pale, "sparicotyle", 1.0, 1.0) + 1


def test_mucus_raises_the_chance_of_flukes_where_none_were_seen():
    case = a_case(clips([0, 0]))
    plain, slimy = (
        estimate(replace(case, findings=found), draws=100)
        for found in (case.findings, replace(case.findings, gill_mucus=True, gill_swollen=True))
    )
    assert slimy.probability_infected > plain.probability_infected + 0.02
