"""Another type on an opened axle: one case by hand, and where nothing may be said."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.conversion import CONVERSION_COLUMNS, with_conversions
from pivotlife.models.conversion_lives import ConversionLives, LifeDraws
from pivotlife.models.conversion_offers import ConversionTerms
from pivotlife.models.kit_match import match_kits
from work_factory import COSTS

TERMS = ConversionTerms(0.75, 0.5, {"regional": 7_500.0}, {"regional": 15_000.0})
NODES = ("fixed-eye", "shackle-lower", "shackle-upper")


def lasting(mean: float, end_cost: float, *others: float) -> LifeDraws:
    """Lives without memory: miles / mean ends each."""
    scales = np.array([mean, *others])
    return LifeDraws(np.ones(len(scales)), scales, end_cost)


LIVES = ConversionLives(
    own={("threaded", "regional"): lasting(100_000.0, 600.0)},
    other={
        ("threaded", "roller", "regional"): lasting(400_000.0, 800.0),
        ("threaded", "rubber-bonded", "regional"): lasting(80_000.0, 600.0),
    },
)


def line(node: str = "fixed-eye", **over: Any) -> dict[str, Any]:
    usual = {
        "unit_id": "A",
        "pivot_id": f"A.1.left.{node}",
        "axle": 1,
        "side": "left",
        "node": node,
        "bushing_type": "threaded",
        "decision": "replace",
        "mandatory": False,
        "rule": "waiting-costs-more",
        "reason": "Waiting costs more.",
        "visit_odometer_miles": 300_000.0,
        "postponed": "",
    }
    return usual | over


def axle(*left: str, **over: Any) -> pd.DataFrame:
    """Three pivots of a side; those named are left for now."""
    lines = [
        line(
            node=node,
            decision="leave" if node in left else "replace",
            **over,
        )
        for node in NODES
    ]
    return pd.DataFrame(lines)


def pivots(table: pd.DataFrame, **over: Any) -> pd.DataFrame:
    facts = {"duty": "regional", "fitted_miles": 200_000.0, "holding_odometer_miles": 500_000.0}
    return pd.DataFrame({"pivot_id": table["pivot_id"], **facts, **over})


def asked(table: pd.DataFrame, lives: ConversionLives = LIVES, **over: Any) -> pd.DataFrame:
    return with_conversions(table, pivots(table), lives, COSTS, over.pop("terms", TERMS), **over)


def test_a_case_by_hand() -> None:
    """200,000 miles to the sale, three threaded bushings due, means 100,000 and 400,000 miles.

    Later ends in kind 3 x 2 x 600 = 3,600; rollers 3 x 0.5 x 800 = 1,200. Now: kits 3 x 165 = 495
    more, conversion 3 x 0.75 h x 100 = 225. Grease stops stay. 3,600 - 1,200 - 720 = 1,680.
    """
    table = asked(axle())
    assert table["fit_instead"].tolist() == ["roller"] * 3
    assert table["fit_instead_saving"].to_numpy() == pytest.approx(1_680.0, rel=2e-3)
    assert (table["fit_instead_chance"] == 1.0).all()
    reason = table.loc[0, "reason"]
    assert reason.startswith("Waiting costs more. Fit roller instead: on the whole axle it saves")
    assert "the 200,000 mi until the planned sale (USD 720 more now, USD 2,400 less" in reason
    assert "grease" not in reason
    assert reason.endswith("chance that it is cheaper on the average truck over 99 %.")


def test_a_pivot_that_is_not_due_costs_its_opening() -> None:
    """As before; the fixed eye is not due: its kit of 220 and 1.1 + 0.75 h are all extra.

    Now: kits 2 x 165 + 220 = 550, conversion 225, 1.1 h more = 110, in all 885; its memoryless life
    ends as often as a new one's: 2,400 - 885 = 1,515.
    """
    table = asked(axle("fixed-eye"))
    assert table["fit_instead"].tolist() == ["", "roller", "roller"]
    assert table["fit_instead_saving"].to_numpy()[1:] == pytest.approx(1_515.0, rel=2e-3)
    assert "(with left fixed-eye, not due by itself)" in table.loc[1, "reason"]
    assert table["decision"].tolist() == ["leave", "replace", "replace"]
    assert table.loc[0, "reason"] == "Waiting costs more."


def test_rubber_saves_the_grease_stops_of_a_whole_unit() -> None:
    """Stops beyond services: 1/7,500 - 1/15,000 a mile; 200,000 mi x 0.5 h x 100 = 666.67.

    Rubber lasting as long, kits 10 less each, conversion 75 each: 666.67 + 30 - 225 = 471.67. A
    fourth pivot that goes on taking grease elsewhere on the unit ends the saving.
    """
    same = replace_other("rubber-bonded", lasting(100_000.0, 600.0))
    table = asked(axle(), same)
    assert table["fit_instead"].tolist() == ["rubber-bonded"] * 3
    assert table["fit_instead_saving"].to_numpy() == pytest.approx(471.67, abs=1.0)
    assert "USD 667 less for grease stops" in table.loc[0, "reason"]
    second = line(node="fixed-eye", decision="leave", axle=2, pivot_id="A.2.left.fixed-eye")
    both = pd.concat([axle(), pd.DataFrame([second])], ignore_index=True)
    assert (asked(both, same)["fit_instead"] == "").all()
    # Half of the services done spare half of the stops, 333.33; a quarter too few to pay.
    half = asked(axle(), same, terms=replace(TERMS, lube_compliance={"A": 0.5}))
    assert half["fit_instead_saving"].to_numpy() == pytest.approx(138.33, abs=1.0)
    few = replace(TERMS, lube_compliance={"A": 0.25})
    assert (asked(axle(), same, terms=few)["fit_instead"] == "").all()


def replace_other(kind: str, lives: LifeDraws) -> ConversionLives:
    return ConversionLives(LIVES.own, {("threaded", kind, "regional"): lives})


@pytest.mark.parametrize(("cheaper", "named"), [(96, True), (94, False)])
def test_only_beyond_doubt(cheaper: int, named: bool) -> None:
    """Of 100 drawn lives so many make the roller last; in the others it lasts no longer."""
    scales = [400_000.0] * cheaper + [90_000.0] * (100 - cheaper)
    lives = ConversionLives(
        {("threaded", "regional"): lasting(*[100_000.0, 600.0], *[100_000.0] * 99)},
        {("threaded", "roller", "regional"): LifeDraws(np.ones(100), np.array(scales), 800.0)},
    )
    table = asked(axle(), lives)
    assert (table["fit_instead"] == "roller").all() == named
    assert (table["fit_instead_chance"] == cheaper / 100).all() == named


def test_prices_that_are_absent_say_nothing() -> None:
    table = axle()
    for terms in (replace(TERMS, hours_conversion=np.nan), replace(TERMS, hours_lube_visit=np.nan)):
        assert unsaid(asked(table, terms=terms), table)
    dear = replace(COSTS, parts={"threaded": 55.0})
    assert unsaid(with_conversions(table, pivots(table), LIVES, dear, TERMS), table)


def test_orders_stand() -> None:
    """A parked unit is not asked; a mandatory replacement stays one, whatever is fitted."""
    parked = axle()
    parked.loc[0, ["decision", "mandatory"]] = ["park", True]
    assert unsaid(asked(parked), parked)
    unit = pd.concat(
        [axle(), pd.DataFrame([line(pivot_id="", decision="park", mandatory=True)])],
        ignore_index=True,
    )
    assert unsaid(asked(unit), unit)
    due = axle("fixed-eye", "shackle-lower")
    due.loc[2, ["mandatory", "rule"]] = [True, "over-limit"]
    table = asked(due)
    assert table["fit_instead"].tolist() == ["", "", "roller"]
    kept = [name for name in due.columns if name != "reason"]
    pd.testing.assert_frame_equal(table[kept], due[kept])
    waiting = axle("fixed-eye")
    waiting.loc[0, ["decision", "mandatory"]] = ["measure", True]
    assert unsaid(asked(waiting), waiting)


@pytest.mark.parametrize(
    "unknown",
    [
        {"holding_odometer_miles": np.nan},
        {"holding_odometer_miles": 300_000.0},
        {"duty": "vocational"},
    ],
)
def test_what_is_not_known_is_not_said(unknown: dict[str, Any]) -> None:
    table = axle()
    found = with_conversions(table, pivots(table, **unknown), LIVES, COSTS, TERMS)
    assert unsaid(found, table)


def test_a_pivot_of_unknown_age_keeps_its_axle_as_it_is() -> None:
    table = axle("fixed-eye")
    ages = pivots(table, fitted_miles=[np.nan, 200_000.0, 200_000.0])
    assert unsaid(with_conversions(table, ages, LIVES, COSTS, TERMS), table)


def test_work_put_off_is_not_converted() -> None:
    table = axle()
    table.loc[1, "postponed"] = "yes"
    assert unsaid(asked(table), table)


@pytest.mark.parametrize(("upper", "named"), [("smooth", True), ("ribbed", False)])
def test_every_node_needs_a_kit_with_the_right_outside(upper: str, named: bool) -> None:
    """Ribbed in the spring eyes, smooth in the hanger (common practice, no source)."""
    table = axle()
    sizes = {"side_bar_centres_mm": 101.6, "spring_width_mm": 101.6}
    sizes |= {"bushing_outside_diameter_mm": 40.0}
    outsides = dict(zip(NODES, ("ribbed", "ribbed", upper), strict=True))
    kits = pd.DataFrame(
        [
            {"kit_id": f"K-{node}", "bushing_type": "roller", "node": node, "outside": outside}
            | sizes
            | {"tolerance_mm": 0.5, "drive_tool": ""}
            for node, outside in outsides.items()
        ]
    )
    lines = table[["pivot_id", "unit_id", "node"]].assign(bushing_type="roller", **sizes)
    matched = match_kits(lines, kits)
    known = {
        (pivot, "roller"): kit
        for pivot, kit in zip(matched["pivot_id"], matched["kit_id"], strict=True)
        if kit
    }
    found = asked(table, kits=known)
    assert (found["fit_instead_kit_id"] == [f"K-{node}" for node in NODES]).all() == named
    assert named or unsaid(found, table)
    assert unsaid(asked(table, kits={}), table)


def unsaid(found: pd.DataFrame, table: pd.DataFrame) -> bool:
    """True when nothing was added but empty columns."""
    assert list(found.columns) == [*table.columns, *CONVERSION_COLUMNS]
    pd.testing.assert_frame_equal(found[table.columns], table)
    texts, figures = found[list(CONVERSION_COLUMNS[:2])], found[list(CONVERSION_COLUMNS[2:])]
    return bool((texts == "").all(axis=None) and figures.isna().all(axis=None))
