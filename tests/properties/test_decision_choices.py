"""What no figure may do to a decision."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.models.decision import DecisionOptions, decide
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.decision_economics import choose
from prices import COSTS

MONEY = ("shop_rate", "alignment", "downtime_per_day", "roadside", "tow", "tyre_pair")
RATES = {(kind, "regional"): 0.0015 for kind in COSTS.parts}
OPTIONS = DecisionOptions(measure_miles={"regional": 50_000.0}, rates=RATES)

chances = st.floats(0.0, 1.0)
gaps = st.floats(1.0, 60_000.0)


@st.composite
def pivots(draw: st.DrawFn) -> dict[str, object]:
    """One pivot, its chances rising as chances of a coming event must."""
    now, at, by = sorted(draw(st.tuples(chances, chances, chances)))
    age = draw(st.floats(0.0, 900_000.0))
    visit = age + draw(gaps)
    read = draw(st.one_of(st.just(np.nan), st.floats(0.0, 1.0))) * age
    known = draw(st.booleans())
    return {
        "bushing_type": draw(st.sampled_from(["rubber-bonded", "threaded"])),
        "duty": "regional",
        "visit_miles": visit,
        "next_visit_miles": visit + draw(gaps),
        "age_miles": age,
        "age_known": known,
        "readings_used": 0 if np.isnan(read) else draw(st.integers(0, 6)),
        "chance_over_now": now,
        "chance_over_at_visit": at,
        "chance_over_by_next_visit": by,
        "chance_lower": by * draw(chances),
        "chance_upper": min(1.0, by + draw(chances)),
        "last_reading_miles": read,
        "last_free_play_mm": draw(st.sampled_from([np.nan, 1.5])),
        "fitted_miles": 0.0 if known else np.nan,
        "last_good_miles": read,
    }


fleets = st.lists(pivots(), min_size=1, max_size=30).map(pd.DataFrame)


@settings(max_examples=60, deadline=None)
@given(fleet=fleets, share=st.floats(0.0, 1.0))
def test_a_higher_chance_never_turns_replace_into_leave(fleet: pd.DataFrame, share: float) -> None:
    before = choose(fleet, COSTS, OPTIONS)
    one = pd.Series(1.0, fleet.index)
    ceilings = {
        "chance_over_by_next_visit": one,
        "chance_over_now": fleet["chance_over_at_visit"],
    }
    for name, ceiling in ceilings.items():
        raised = fleet.assign(**{name: fleet[name] + share * (ceiling - fleet[name])})
        after = choose(raised, COSTS, OPTIONS)
        assert not ((before["decision"] == "replace") & (after["decision"] == "leave")).any()


@settings(max_examples=60, deadline=None)
@given(fleet=fleets, times=st.floats(1.0, 20.0))
def test_a_faster_clock_never_turns_replace_into_leave(fleet: pd.DataFrame, times: float) -> None:
    """All chances rise together, as with a hazard that is `times` as high at every age."""
    names = ["chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit"]
    before = choose(fleet, COSTS, OPTIONS)
    raised = fleet.copy()
    raised[names] = 1.0 - (1.0 - fleet[names]) ** times
    after = choose(raised, COSTS, OPTIONS)
    # Where the pivot is surely over, the chance between visits is no longer defined by its ratio.
    sure = raised["chance_over_at_visit"] > 1.0 - 1e-9
    turned = (before["decision"] == "replace") & (after["decision"] == "leave") & ~sure
    assert not turned.any()


@settings(max_examples=60, deadline=None)
@given(fleet=fleets)
def test_without_a_reading_nothing_is_left(fleet: pd.DataFrame) -> None:
    unread = fleet.assign(
        last_reading_miles=np.nan, last_free_play_mm=np.nan, last_good_miles=np.nan
    )
    assert not (choose(unread, COSTS, OPTIONS)["decision"] == "leave").any()


@settings(max_examples=60, deadline=None)
@given(
    fleet=fleets,
    hole=st.sampled_from(
        [
            "visit_miles",
            "next_visit_miles",
            "chance_over_now",
            "chance_over_at_visit",
            "chance_over_by_next_visit",
            "duty",
            "bushing_type",
        ]
    ),
)
def test_a_missing_figure_is_measured(fleet: pd.DataFrame, hole: str) -> None:
    text = fleet[hole].dtype == object
    blind = fleet.assign(**{hole: "" if text else np.nan})
    assert (choose(blind, COSTS, OPTIONS)["decision"] == "measure").all()


@settings(max_examples=60, deadline=None)
@given(fleet=fleets, power=st.integers(-12, 12))
def test_the_currency_does_not_matter(fleet: pd.DataFrame, power: int) -> None:
    k = 2.0**power  # exact in binary: no tie is broken by rounding
    dear = replace(
        COSTS,
        parts={kind: price * k for kind, price in COSTS.parts.items()},
        **{name: getattr(COSTS, name) * k for name in MONEY},
    )
    options = replace(OPTIONS, rates={key: g * k for key, g in RATES.items()})
    before, after = choose(fleet, COSTS, OPTIONS), choose(fleet, dear, options)
    assert before["rule"].tolist() == after["rule"].tolist()


def test_every_amount_of_money_is_scaled_above() -> None:
    plain = {"currency", "parts", "alignment_share", "tyre_loss_per_mile_over"}
    rest = {f.name for f in fields(CostItems)} - plain - set(MONEY)
    assert all(name.startswith(("hours_", "downtime_days_", "chance_")) for name in rest)


@settings(max_examples=40, deadline=None)
@given(
    fleet=fleets,
    decisions=st.lists(st.sampled_from(["park", "replace", "measure"]), min_size=30, max_size=30),
    rate=st.floats(0.0, 1e3),
)
def test_no_economics_touch_an_order(
    fleet: pd.DataFrame, decisions: list[str], rate: float
) -> None:
    names = [f"MD-{i:03}" for i in range(len(fleet))]
    no_day = pd.Series(pd.NaT, fleet.index)
    growth = fleet.assign(pivot_id=names, warning="")
    in_service = fleet.assign(
        pivot_id=names,
        unit_id=names,
        depot="Lowfen",
        axle=1.0,
        side="left",
        node="fixed-eye",
        last_reading_date=no_day,
        limit_mm=3.2,
        limit_source="",
        last_reading_source_row="",
    ).drop(
        columns=["readings_used", "age_miles", *[c for c in fleet if str(c).startswith("chance")]]
    )
    visits = fleet[["visit_miles", "next_visit_miles"]].assign(
        unit_id=names, visit_date=no_day, next_visit_date=no_day
    )
    orders = pd.DataFrame(
        {
            "unit_id": names,
            "pivot_id": [n if i % 3 else "" for i, n in enumerate(names)],
            "decision": decisions[: len(names)],
            "rule": "over-limit",
            "reason": "Because.",
            "source_rows": "readings:1",
        }
    )
    options = replace(OPTIONS, rates=dict.fromkeys(RATES, rate))
    table = decide(in_service, growth, visits, orders, COSTS, options)
    mandatory = table.loc[table["mandatory"]].set_index(["unit_id", "pivot_id"])["decision"]
    expected = orders.set_index(["unit_id", "pivot_id"])["decision"]
    assert mandatory.sort_index().to_dict() == expected.sort_index().to_dict()
    assert table["rank"].tolist() == list(range(1, len(table) + 1))
