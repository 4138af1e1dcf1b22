"""Figures stand in a page: text as text, own ids, equal bytes."""

from __future__ import annotations

import re
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from pivotlife.dashboards import charts
from pivotlife.dashboards.chart_cost import cost_drawing
from pivotlife.dashboards.chart_probability import plot_height, probability_drawing
from pivotlife.dashboards.chart_survival import at_risk_text, survival_drawing


def survival(curves: pd.DataFrame, name: str = "s") -> str:
    drawing = survival_drawing(curves, name, "title", "caption")
    assert drawing is not None
    return str(drawing.svg)


def test_figures_hold_text_and_no_foreign_style(factory: ModuleType) -> None:
    svg = survival(factory.curve_rows("roller", "regional"))
    assert ">miles since fitting</text>" in svg
    assert "<style" not in svg
    assert "<?xml" not in svg
    assert "<metadata" not in svg
    assert svg.startswith('<svg role="img" aria-label="title"')
    assert not re.search(r"<svg[^>]* (width|height)=", svg)


def test_equal_figures_are_equal_bytes_and_ids_never_clash(factory: ModuleType) -> None:
    curves = factory.curve_rows("roller", "regional")
    assert survival(curves) == survival(curves)
    ids = [set(re.findall(r'\bid="([^"]+)"', survival(curves, name))) for name in ("one", "two")]
    assert not ids[0] & ids[1]
    for used in re.findall(r'(?:url\(#|href="#)([^)"]+)', survival(curves, "one")):
        assert used in ids[0]


def test_the_curve_is_dashed_beyond_the_records_only(factory: ModuleType) -> None:
    curves = factory.curve_rows("roller", "regional")
    seen = curves[~curves["beyond_data"]]
    assert "stroke-dasharray" in survival(curves)
    assert "stroke-dasharray" not in survival(seen)


def test_bushings_at_risk_are_looked_up(factory: ModuleType) -> None:
    rows = pd.DataFrame({"miles": [0.0, 100.0, 200.0], "at_risk": [300.0, 120.0, np.nan]})
    assert at_risk_text(rows, 0.0) == "300"
    assert at_risk_text(rows, 50.0) == "300"
    assert at_risk_text(rows, 100.0) == "120"
    assert at_risk_text(rows, 900.0) == "0"
    assert at_risk_text(rows.tail(1), 900.0) == "-"
    assert ">300</text>" in survival(factory.curve_rows("roller", "regional"))


def test_nothing_to_draw_gives_no_figure(factory: ModuleType) -> None:
    assert survival_drawing(factory.empty("curves"), "s", "t", "c") is None
    lost = factory.curve_rows("roller", "all").assign(survival=np.nan)
    assert survival_drawing(lost, "s", "t", "c") is None
    certain = factory.point_rows("roller", "all").assign(failed_share=0.0)
    assert probability_drawing(certain, factory.empty("curves"), "p", "t", "c") is None
    months = pd.DataFrame({"month": ["2026-12"], "cash": [np.nan], "downtime": [np.nan]})
    assert cost_drawing(months, "USD", "m", "t", "c") is None


def test_records_alone_are_drawn_without_a_fit(factory: ModuleType) -> None:
    curves = factory.curve_rows("roller", "all")
    assert ">roller</text>" in survival(curves[curves["curve"] == "records"])


def test_plot_height_is_log_of_cumulative_hazard() -> None:
    # Share failed 63.2 % (1 - 1/e) stands at 0: the scale of a Weibull curve, exact.
    assert_allclose(plot_height([1 - np.exp(-1)]), [0.0], atol=1e-12)
    assert_allclose(plot_height([0.1]), [np.log(-np.log(0.9))])
    assert np.isnan(plot_height([0.0, 1.0, np.nan])).all()


def test_probability_plot_shows_points_band_and_line(factory: ModuleType) -> None:
    curves = factory.curve_rows("threaded", "all")
    fitted = curves[curves["curve"] == "weibull"]
    points = factory.point_rows("threaded", "all").assign(upper=1.0, lower=0.0)
    drawing = probability_drawing(points, fitted, "p", "t", "c")
    assert drawing is not None
    for label in ("fitted Weibull", "from the records", "band of the records"):
        assert f">{label}</text>" in drawing.svg
    alone = probability_drawing(points.tail(1), fitted.head(0), "p", "t", "c")
    assert alone is not None
    assert "fitted Weibull" not in alone.svg


def test_cash_and_downtime_are_two_bars(factory: ModuleType) -> None:
    months = pd.DataFrame({"month": ["2026-12"], "cash": [900.0], "downtime": [300.0]})
    drawing = cost_drawing(months, "USD", "m", "t", "c")
    assert drawing is not None
    assert "downtime (no cash leaves)" in drawing.svg
    nothing = months.assign(cash=0.0, downtime=0.0)
    assert cost_drawing(nothing, "USD", "m", "t", "c") is not None


@pytest.mark.parametrize(
    "hostile", ["<b>$x^{", "日本", "\x07bell", "</svg><script>", "_hidden", ""]
)
def test_hostile_names_neither_break_nor_warn(factory: ModuleType, hostile: str) -> None:
    svg = survival(factory.curve_rows("roller", "all").assign(bushing_type=hostile))
    assert "<script" not in svg
    assert "<b>" not in svg


def test_pens_differ_by_colour_and_by_marker() -> None:
    drawn = charts.pens(["rubber-bonded", "threaded", "roller", "other", "another"])
    assert len({pen.colour for pen in drawn.values()}) == 5
    assert len({pen.marker for pen in drawn.values()}) == 5
