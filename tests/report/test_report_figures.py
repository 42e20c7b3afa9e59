"""Figures: their numbers, their colours, their words, and that they stay in their panels."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from report_cases import koi, koi_files

from burden.model.temperature import Temperature
from burden.report.figures.concentration import course_in_water
from burden.report.figures.forecast import draw_forecast
from burden.report.figures.inline import figures_of
from burden.report.figures.interval import draw_interval_chart, interval_curves, write_interval_chart
from burden.report.figures.style import BAND_50, BAND_90, GREY, INK, LINE
from burden.utils.errors import InputError

pytestmark = pytest.mark.usefixtures("each_case_once")


def test_figures_are_files_and_in_the_page(page):
    for name in ("forecast", "interval", "concentration_praziquantel"):
        assert koi_files()[f"figures/{name}.svg"].lstrip().startswith(b"<?xml")
        assert f"figures/{name}.png" not in koi_files()
    agents = len({d.agent for d in koi().doses})
    assert page.count("<svg") == 3 + agents  # the forecast in two widths, the interval, what stays in the water
    assert page.count('role="img" aria-label="') == 3 + agents


def test_figures_are_png_too_where_that_is_asked_for():
    """Signature: ISO 15948, 5.2; the SVG is the same with it and without."""
    both = figures_of(koi(), png=True)[1]
    svgs = {name.removeprefix("figures/"): file for name, file in koi_files().items() if name.endswith(".svg")}
    assert {name: both[name] for name in svgs} == svgs
    assert {name for name in both if name not in svgs} == {name.replace(".svg", ".png") for name in svgs}
    assert all(file.startswith(b"\x89PNG\r\n\x1a\n") for name, file in both.items() if name.endswith(".png"))


def test_concentration_adds_up_and_fades():
    """At a dose it is what was left and the dose; the naive filter takes longer over the first than over the others."""
    found, plan = koi(), koi().decision.recommendation.recommended.plan
    days, bands = course_in_water(found, "praziquantel")
    middle, given = bands[2], [d for d, a in zip(plan.days, plan.agents, strict=True) if a == "praziquantel"]
    first = middle[np.searchsorted(days, given[0])]
    assert first == pytest.approx(found.doses[0].mg_l, rel=0.02)  # the volume's median is the one weighed for
    for day in given[1:]:
        before, after = (middle[np.searchsorted(days, d)] for d in (day - 1e-6, day))
        assert after - before == pytest.approx(found.doses[0].mg_l, rel=0.05)
    assert middle[-1] < middle.max()
    assert np.all(np.diff(bands, axis=0) >= 0)


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.1 (W3C Recommendation 2018), from its definition."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_colours_hold_in_grey_and_words_can_be_read():
    """WCAG 2.1: words 4.5 to 1 (criterion 1.4.3), marks against what they lie on 3 to 1 (1.4.11)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # the definition's own extreme
    assert min(contrast(INK, "#ffffff"), contrast(LINE, "#ffffff"), contrast("#5d666d", "#ffffff")) >= 4.5
    assert contrast(LINE, BAND_50) >= 3
    assert contrast(GREY, "#ffffff") >= 3
    levels = [luminance(colour) for colour in (LINE, BAND_50, BAND_90, "#ffffff")]
    assert levels == sorted(levels)
    assert min(b - a for a, b in pairwise(levels)) > 0.15


def test_words_on_the_figures_are_not_tiny():
    """On paper figures stand at the size they are drawn for: nothing under 7 points (common practice, no source)."""
    for name in ("forecast", "interval"):
        sizes = [
            float(s)
            for s in re.findall(r"font(?:-size)?: (?:bold )?([\d.]+)px", koi_files()[f"figures/{name}.svg"].decode())
        ]
        assert sizes
        assert min(sizes) >= 7


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize(
    ("days", "words"),
    [
        ([0], "1 dose"),
        ([0, 38, 76], "2 of 3 doses"),
        ([59, 60], "2 doses"),
        ([100, 200], "0 of 2 doses"),
        ([*range(0, 80, 4)], "16 of 20 doses"),
    ],
)
@pytest.mark.filterwarnings("error")
def test_doses_and_their_words_stay_in_their_panel(narrow, days, words):
    """A dose after the last day shown has no notch; words beyond a panel took the room of all panels."""
    forecast = koi().forecasts[0]
    some = forecast.recommended.doses[0]
    doses = tuple(replace(some, date=forecast.case.visit_date + timedelta(day)) for day in days)
    figure = draw_forecast(replace(forecast, recommended=replace(forecast.recommended, doses=doses)), narrow)
    figure.savefig(io.BytesIO(), format="svg")
    axis = figure.axes[-2] if narrow else figure.axes[len(figure.axes) // 2 - 1]
    panel, paper = axis.get_window_extent(), figure.get_window_extent()
    (said,) = [text for text in axis.texts if text.get_text() == words]
    assert panel.x0 - 1 <= said.get_window_extent().x0 < said.get_window_extent().x1 <= panel.x1 + 1
    assert panel.width > (0.6 if narrow else 0.2) * paper.width
    notches = [day for line in axis.lines if line.get_marker() == "v" for day in line.get_xdata()]
    assert notches == [day for day in days if day <= forecast.horizon_days]


def test_interval_curves_are_the_windows():
    """At one temperature the chart shows what `windows_after` gives there, and a two-dose region where it is one."""
    from burden.model.windows import windows_after

    e = koi().estimates[0]
    p, sheltered = e.pond.setting.parameters, e.pond.effects["praziquantel"].sheltered_fraction
    curves = interval_curves(p, sheltered, np.array([15.0, 20.0]))
    windows = windows_after(p, sheltered, Temperature.constant(20.0))
    assert curves.safe_gap[2, 1] == pytest.approx(np.median(windows.longest_safe_gap))
    assert curves.last_dose[4, 1] == pytest.approx(np.quantile(windows.last_dose_not_before, 0.95))
    assert curves.measured["maturity"] == (20.0, 20.0)
    assert bool(curves.two_dose_region[1]) == (windows.two_dose_window() is not None)
    # a region where the last dose may come before the longest safe gap is crossed; where none is, nothing is
    region = replace(curves, last_dose=0.5 * curves.safe_gap)
    assert region.two_dose_region.all()
    figure = draw_interval_chart(region, 17.0)
    assert any(c.get_hatch() == "xxx" for c in figure.axes[0].collections)
    assert not any(c.get_hatch() == "xxx" for c in draw_interval_chart(curves, 17.0).axes[0].collections)


def test_chart_of_a_live_bearer_and_of_a_strange_ending_is_refused(tmp_path):
    with pytest.raises(InputError) as error:
        write_interval_chart("gyrodactylus", "praziquantel", tmp_path / "chart.jpg", today_c=15.0)
    assert len(error.value.problems) == 2
    assert list(tmp_path.iterdir()) == []


def test_a_figure_shows_itself_in_a_notebook():
    """matplotlib's own Figure does so only where pyplot was set up; ours carries a PNG (signature: ISO 15948, 5.2)."""
    from burden import draw_thermal_laws
    from burden.report.reference.parasite_sheet import parasite_sheet

    assert draw_thermal_laws(parasite_sheet("gyrodactylus_guppies"))._repr_png_().startswith(b"\x89PNG\r\n\x1a\n")
