"""Mean cumulative replacements: its definition by brute force, its properties, its coverage."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pivotlife.models.errors import PivotlifeError
from pivotlife.models.recurrences import MeanCumulative, RecurrenceError, mean_cumulative

Histories = tuple[pd.DataFrame, pd.DataFrame]


@st.composite
def histories(draw: st.DrawFn, most: int = 8) -> Histories:
    """Pivots of a few units, watched from and to anywhere, on a coarse grid so that ties occur."""
    windows, events = [], []
    for pivot in range(draw(st.integers(1, most))):
        start = draw(st.integers(0, 20))
        end = start + draw(st.integers(1, 30))
        windows.append((f"p{pivot}", f"u{pivot // 2}", float(start), float(end)))
        at = draw(st.lists(st.integers(start + 1, end), max_size=4))
        events += [(f"p{pivot}", float(m)) for m in at]
    return (
        pd.DataFrame(windows, columns=["pivot_id", "unit_id", "start_miles", "end_miles"]),
        pd.DataFrame(events, columns=["pivot_id", "miles"]),
    )


def by_definition(windows: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """Mean, variance and counts straight from their sums, one mileage and one unit at a time."""
    unit_of = windows.set_index("pivot_id")["unit_id"].to_dict()
    residual = dict.fromkeys(windows["unit_id"], 0.0)
    mean, rows = 0.0, []
    for m in sorted(set(events["miles"])):
        risk = windows[(windows["start_miles"] < m) & (m <= windows["end_miles"])]
        here = events[events["miles"] == m]["pivot_id"].map(unit_of)
        step = len(here) / len(risk)
        mean += step
        for unit in residual:
            own, watched = (here == unit).sum(), (risk["unit_id"] == unit).sum()
            residual[unit] += (own - watched * step) / len(risk)
        variance = sum(r * r for r in residual.values())
        rows.append((m, len(risk), mean, math.sqrt(variance), risk["unit_id"].nunique()))
    columns = ["miles", "at_risk", "mean_cumulative", "standard_error", "units_at_risk"]
    return pd.DataFrame(rows, columns=columns)


@settings(max_examples=60, deadline=None)
@given(histories())
def test_agrees_with_its_definition(history: Histories) -> None:
    windows, events = history
    assume(len(events))
    expected = by_definition(windows, events)
    found = mean_cumulative(windows, events).table[list(expected.columns)]
    np.testing.assert_allclose(found.to_numpy(), expected.to_numpy(), rtol=1e-9, atol=1e-7)


def assert_mean_cumulative_properties(curve: MeanCumulative) -> None:
    table = curve.table
    assert np.all(np.diff(table["mean_cumulative"]) > 0)
    assert np.all(np.diff(table["miles"]) > 0)
    assert np.all(table["at_risk"] >= table["units_at_risk"])
    assert np.all(table["units_at_risk"] >= 1)
    assert table["events"].sum() == curve.n_events
    known = table.dropna(subset=["lower", "upper"])
    assert np.all((known["lower"] > 0) & (known["lower"] <= known["mean_cumulative"]))
    assert np.all(known["mean_cumulative"] <= known["upper"])


@settings(max_examples=60, deadline=None)
@given(histories())
def test_never_falls_and_lies_within_its_limits(history: Histories) -> None:
    curve = mean_cumulative(*history)
    assert_mean_cumulative_properties(curve)
    steps = curve.mean_at(np.linspace(0.0, curve.last_miles, 50))
    assert np.all(np.diff(steps) >= 0)


@settings(max_examples=40, deadline=None)
@given(histories(), st.sampled_from([1.609344, 1000.0, 1e-3, 12_345.6]))
def test_scaling_the_miles_only_rescales(history: Histories, factor: float) -> None:
    windows, events = history
    scaled = windows.assign(
        start_miles=windows["start_miles"] * factor, end_miles=windows["end_miles"] * factor
    )
    before = mean_cumulative(windows, events).table
    after = mean_cumulative(scaled, events.assign(miles=events["miles"] * factor)).table
    np.testing.assert_allclose(after["miles"], before["miles"] * factor, rtol=1e-12)
    rest = [c for c in before.columns if c != "miles"]
    np.testing.assert_allclose(after[rest], before[rest], rtol=1e-9, atol=1e-7)


@settings(max_examples=40, deadline=None)
@given(histories(), st.integers(1, 49))
def test_splitting_a_history_in_two_changes_nothing(history: Histories, cut: int) -> None:
    windows, events = history
    across = (windows["start_miles"] < cut) & (cut < windows["end_miles"])
    first = windows.assign(end_miles=windows["end_miles"].where(~across, cut))
    second = windows[across].assign(start_miles=float(cut))
    split = mean_cumulative(pd.concat([first, second], ignore_index=True), events)
    whole = mean_cumulative(windows, events)
    np.testing.assert_allclose(split.table, whole.table, rtol=1e-9, atol=1e-7)
    assert split.n_pivots == whole.n_pivots
    assert split.outside.empty


def test_limits_hold_the_true_mean_although_pivots_of_a_unit_are_alike() -> None:
    rng = np.random.default_rng(4)
    clustered, alone, trials, true = 0, 0, 150, 1.5
    for _ in range(trials):
        unit = np.repeat(np.arange(60), 3)
        rate = rng.gamma(2.0, 0.5, 60)[unit] * true / 300_000.0
        windows = pd.DataFrame(
            {
                "pivot_id": np.arange(unit.size),
                "unit_id": unit,
                "start_miles": np.where(unit % 3 == 0, 80_000.0, 0.0),
                "end_miles": np.where(unit % 2 == 0, 300_000.0, 200_000.0),
            }
        )
        count = rng.poisson(rate * 300_000.0)
        pivot = np.repeat(windows["pivot_id"].to_numpy(), count)
        events = pd.DataFrame({"pivot_id": pivot, "miles": rng.uniform(0.0, 300_000.0, pivot.size)})
        found = mean_cumulative(windows, events).table.iloc[-1]
        clustered += bool(found["lower"] <= true <= found["upper"])
        single = mean_cumulative(windows.drop(columns="unit_id"), events).table.iloc[-1]
        alone += bool(single["lower"] <= true <= single["upper"])
    # 4 standard errors of a share of 0.95 in 150 are 0.07.
    assert clustered / trials == pytest.approx(0.95, abs=0.07)
    assert alone < clustered


def small(**changes: Any) -> pd.DataFrame:
    frame = pd.DataFrame(
        {"pivot_id": ["a", "b", "c"], "start_miles": 0.0, "end_miles": [100.0, 200.0, 300.0]}
    )
    return frame.assign(**changes)


def replaced(*rows: tuple[str, float]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["pivot_id", "miles"])


def test_a_stretch_holds_its_end_and_not_its_start() -> None:
    windows = small(start_miles=[0.0, 50.0, 50.0])
    curve = mean_cumulative(windows, replaced(("a", 100.0), ("b", 50.0), ("c", 301.0), ("x", 9.0)))
    assert curve.n_events == 1
    assert list(curve.outside["pivot_id"]) == ["b", "c", "x"]
    assert list(mean_cumulative(small(), replaced(("a", 0.0))).outside["miles"]) == [0.0]
    assert curve.mean_at(100.0) == pytest.approx(1 / 3)


def test_counting_from_a_later_mileage_leaves_out_what_came_before() -> None:
    events = replaced(("a", 40.0), ("b", 150.0), ("c", 250.0))
    whole, later = mean_cumulative(small(), events), mean_cumulative(small(), events, from_miles=50)
    assert later.n_events == 2
    assert later.outside.empty
    assert later.mean_at(300.0) == pytest.approx(whole.mean_at(300.0) - whole.mean_at(50.0))
    assert later.n_pivots == 3


def test_a_pivot_not_yet_moved_watches_nothing() -> None:
    events = replaced(("a", 40.0), ("b", 150.0))
    unmoved = pd.DataFrame({"pivot_id": ["b", "d"], "start_miles": 120.0, "end_miles": 120.0})
    some = mean_cumulative(pd.concat([small(), unmoved], ignore_index=True), events)
    pd.testing.assert_frame_equal(some.table, mean_cumulative(small(), events).table)
    assert some.n_pivots == 3


def test_nothing_is_said_beyond_the_last_watched_mile() -> None:
    curve = mean_cumulative(small(), replaced(("a", 40.0)))
    assert curve.mean_at(300.0) == pytest.approx(1 / 3)
    assert np.isnan(curve.mean_at(300.1))
    np.testing.assert_allclose(curve.mean_at(np.array([0.0, 39.9, 40.0])), [0.0, 0.0, 1 / 3])


def test_one_unit_gives_a_mean_without_limits() -> None:
    table = mean_cumulative(small(unit_id="MD-014"), replaced(("a", 40.0), ("b", 60.0))).table
    assert table["mean_cumulative"].iloc[-1] == pytest.approx(2 / 3)
    assert table["lower"].isna().all()
    assert table["upper"].isna().all()
    thin = mean_cumulative(small(), replaced(("a", 40.0), ("c", 250.0))).table
    assert list(thin["upper"].isna()) == [False, True]


def test_no_replacement_is_a_curve_at_zero() -> None:
    curve = mean_cumulative(small(), replaced())
    assert curve.table.empty
    assert curve.mean_at(250.0) == 0.0


@pytest.mark.parametrize(
    ("windows", "events", "text"),
    [
        (small().drop(columns="end_miles"), replaced(), "stretches lack the column end_miles"),
        (small(), replaced().drop(columns="miles"), "replacements lack the column miles"),
        (small(end_miles="far"), replaced(), "text that is no number"),
        (small(), replaced(("a", math.inf)), "1 of 1 replacements have missing or infinite"),
        (small(pivot_id=["a", "", "c"]), replaced(), "1 of 3 watched stretches lack their pivot"),
        (
            small(unit_id=[None, np.nan, "c"]),
            replaced(),
            "2 of 3 watched stretches lack their pivot",
        ),
        (small(start_miles=150.0), replaced(), "1 of 3 watched stretches end before .* pivot a"),
        (small(pivot_id="a"), replaced(), "2 of 3 watched stretches overlap .* pivot a, a"),
        (
            small(start_miles=small()["end_miles"]),
            replaced(("a", 9.0)),
            "no pivot is watched beyond 0 miles",
        ),
    ],
)
def test_contradictions_are_refused(windows: pd.DataFrame, events: pd.DataFrame, text: str) -> None:
    with pytest.raises(RecurrenceError, match=text) as caught:
        mean_cumulative(windows, events)
    assert isinstance(caught.value, PivotlifeError)


def test_a_fleet_of_many_units_takes_seconds() -> None:
    import time

    rng = np.random.default_rng(3)
    pivots, happened = 120_000, 60_000
    windows = pd.DataFrame({"pivot_id": np.arange(pivots), "unit_id": np.arange(pivots) // 6})
    windows["start_miles"] = rng.uniform(0.0, 3e5, pivots)
    windows["end_miles"] = windows["start_miles"] + rng.uniform(1.0, 4e5, pivots)
    pivot = rng.integers(0, pivots, happened)
    events = pd.DataFrame({"pivot_id": pivot, "miles": rng.uniform(0.0, 7e5, happened)})
    begun = time.perf_counter()
    curve = mean_cumulative(windows, events)
    assert time.perf_counter() - begun < 10.0
    assert curve.n_events + len(curve.outside) == happened
