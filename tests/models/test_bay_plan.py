"""Room in the shop goes where waiting costs most; mandatory work never waits."""

from __future__ import annotations

import itertools
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.bay_plan import HOURS_COLUMNS, BayPlan, plan_bays

NONE = pd.DataFrame({"depot": [], "week_start": pd.to_datetime([]), "bay_hours": []})


def waits(plan: BayPlan) -> set[str]:
    table = plan.shortlist
    return set(table.loc[table["postponed"] == "yes", "unit_id"])


def three(work: ModuleType) -> pd.DataFrame:
    gains = {"A": 150.0, "B": 400.0, "C": 120.0}
    return work.shortlist(*(work.line(u, wait_cost=g + 50.0) for u, g in gains.items()))


def plan(work: ModuleType, table: pd.DataFrame, room: pd.DataFrame, **more: float) -> BayPlan:
    return plan_bays(table, room, work.visits(*table["unit_id"].unique()), work.COSTS, **more)


def test_without_bay_hours_nothing_waits(work: ModuleType) -> None:
    found = plan(work, three(work), NONE)
    assert waits(found) == set()
    assert found.shortlist["postponed"].eq("").all()
    assert found.shortages == ()
    hours = found.hours_by_week
    assert list(hours.columns) == list(HOURS_COLUMNS)
    assert hours["planned_hours"].tolist() == [6.0]
    assert hours["bay_hours"].isna().all()


def test_the_dearest_to_put_off_are_done_first(work: ModuleType) -> None:
    found = plan(work, three(work), work.room(4.0))
    assert waits(found) == {"C"}
    put_off = found.shortlist.set_index("unit_id").loc["C"]
    assert put_off["postponed_cost"] == pytest.approx(120.0)
    assert "Put off" in put_off["reason"]
    assert "2026-07-06" in put_off["reason"]
    hours = found.hours_by_week.iloc[0]
    assert (hours["choice_hours"], hours["postponed_hours"], hours["free_hours"]) == (4.0, 2.0, 0.0)
    assert hours["postponed_pivots"] == 1


def test_two_small_ones_may_beat_a_large_one(work: ModuleType) -> None:
    """A greedy list by cost per line would take the large job."""
    big = [work.line("A", side, wait_cost=110.0) for side in ("left", "right")]
    table = work.shortlist(*big, work.line("B", wait_cost=130.0), work.line("C", wait_cost=140.0))
    found = plan(work, table, work.room(4.0))
    assert waits(found) == {"A"}


def test_mandatory_work_always_stands_and_its_shortage_is_said(work: ModuleType) -> None:
    must = [work.line(u, mandatory=True, rule="over-limit") for u in ("M", "N")]
    table = work.shortlist(*must, work.line("A", wait_cost=9_000.0))
    found = plan(work, table, work.room(3.0))
    assert waits(found) == {"A"}
    (told,) = found.shortages
    assert "Northpit, week of 2026-07-06" in told
    assert "needs 4.0 bay hours and 3.0 are there, 1.0 too few" in told
    assert found.hours_by_week["shortage_hours"].tolist() == [1.0]


def test_readings_and_overrides_are_never_put_off(work: ModuleType) -> None:
    table = work.shortlist(
        work.line("A", decision="measure", rule="uncertain"),
        work.line("B", rule="override", wait_cost=0.0),
        work.line("C", decision="park", mandatory=True, rule="park-finding"),
    )
    found = plan(work, table, work.room(0.0))
    assert waits(found) == set()
    hours = found.hours_by_week.iloc[0]
    assert (hours["mandatory_hours"], hours["measure_hours"]) == (4.0, 0.25)


def test_an_axle_that_is_open_anyway_charges_only_what_is_added(work: ModuleType) -> None:
    table = work.shortlist(
        work.line("A", node="fixed-eye", mandatory=True, rule="over-limit"),
        work.line("A", node="shackle-lower"),
    )
    # The shackle opens the side in the joint job; the fixed eye alone would have opened it.
    assert sorted(table["labour_hours"]) == [1.1, 2.0]
    found = plan(work, table, work.room(3.1))
    assert waits(found) == set()
    hours = found.hours_by_week.iloc[0]
    assert hours["mandatory_hours"] == pytest.approx(2.0)
    assert hours["choice_hours"] == pytest.approx(1.1)
    assert waits(plan(work, table, work.room(3.0))) == {"A"}


def test_renewals_of_one_axle_stand_or_fall_together(work: ModuleType) -> None:
    table = work.shortlist(
        work.line("A", "left", wait_cost=500.0),
        work.line("A", "right", wait_cost=60.0),
        work.line("B", wait_cost=100.0),
    )
    found = plan(work, table, work.room(4.0)).shortlist
    assert found.groupby("unit_id")["postponed"].nunique().eq(1).all()


def test_a_renewal_for_an_alarm_is_weighed_with_its_chance_of_being_over(work: ModuleType) -> None:
    alarm = work.line("A", rule="chance-now", wait_cost=10.0, chance_over_by_next_visit=0.9)
    table = work.shortlist(alarm, work.line("B", wait_cost=150.0))
    # Late less planned: half a day of 500; 0.9 x 250 - 50 = 175 beats 100.
    assert waits(plan(work, table, work.room(2.0))) == {"B"}


@pytest.mark.parametrize(
    ("over", "rule", "decision"),
    [
        (0.2, "waiting-costs-more", "measure"),
        (0.19, "waiting-costs-more", "replace"),
        (0.0, "chance-now", "measure"),
    ],
)
def test_what_may_be_over_already_is_measured_while_it_waits(
    work: ModuleType, over: float, rule: str, decision: str
) -> None:
    table = work.shortlist(work.line(chance_over_now=over, rule=rule))
    found = plan(work, table, work.room(1.0)).shortlist.iloc[0]
    assert (found["postponed"], found["decision"]) == ("yes", decision)
    assert ("measure it at this visit" in found["reason"]) == (decision == "measure")


def test_a_budget_binds_by_month(work: ModuleType) -> None:
    # One threaded pivot: 55 + 2 h x 100 + alignment 250 = 505.
    assert waits(plan(work, three(work), NONE, budget_per_month=1_010.0)) == {"C"}
    assert waits(plan(work, three(work), NONE, budget_per_month=1_009.0)) == {"A", "C"}
    assert waits(plan(work, three(work), NONE, budget_per_month=1_515.0)) == set()


def test_mandatory_work_beyond_the_budget_is_said(work: ModuleType) -> None:
    table = work.shortlist(work.line("M", mandatory=True, rule="over-limit"))
    found = plan(work, table, NONE, budget_per_month=500.0)
    assert "2026-07: mandatory work costs USD 505" in found.shortages[0]
    assert waits(found) == set()


def test_weeks_of_other_depots_and_no_date_are_not_limited(work: ModuleType) -> None:
    table = work.shortlist(
        work.line("A", depot="Hightor"), work.line("B", visit_date=pd.NaT), work.line("C")
    )
    assert waits(plan(work, table, work.room(0.0))) == {"C"}
    sunday, monday = work.MONDAY + pd.Timedelta(days=6), work.MONDAY + pd.Timedelta(days=7)
    table = work.shortlist(work.line("A", visit_date=sunday), work.line("B", visit_date=monday))
    assert waits(plan(work, table, work.room(0.0))) == {"A"}


def test_a_whole_unit_to_measure_takes_a_round_of_readings(work: ModuleType) -> None:
    table = work.shortlist(
        work.line("A", pivot_id="", decision="measure", mandatory=True, rule="position-unknown"),
        *(work.line("A", s, decision="leave") for s in ("left", "right")),
        work.line("B", pivot_id="", decision="park", mandatory=True, rule="axle-shifted"),
    )
    hours = plan(work, table, work.room(9.0)).hours_by_week.iloc[0]
    assert hours["mandatory_hours"] == pytest.approx(0.5)
    assert hours["lines_without_hours"] == 1


@pytest.mark.parametrize("seed", range(8))
def test_the_choice_is_the_best_of_all_subsets(work: ModuleType, seed: int) -> None:
    """Brute force over every subset of up to eight units, hours and budget both binding."""
    rng = np.random.default_rng(seed)
    units = list("ABCDEFGH")
    rows = [
        work.line(
            u,
            side,
            wait_cost=50.0 + float(rng.integers(1, 400)),
            visit_date=work.MONDAY + pd.Timedelta(days=int(week)),
        )
        for u, week in zip(units, rng.choice([0, 7], 8), strict=True)
        for side in ("left", "right")[: int(rng.integers(1, 3))]
    ]
    table = work.shortlist(*rows)
    room = pd.concat([work.room(6.0), work.room(5.0, week=work.MONDAY + pd.Timedelta(days=7))])
    budget = 2_600.0
    found = plan(work, table, room, budget_per_month=budget)
    gain = (table["wait_cost"] - table["kept_value"]).groupby(table["unit_id"]).sum()
    hours = table.groupby("unit_id")["labour_hours"].sum()
    cash = table.groupby("unit_id").size() * 55.0 + hours * 100.0 + 250.0
    week = table.groupby("unit_id")["visit_date"].first() >= work.MONDAY + pd.Timedelta(days=7)

    def fits(chosen: list[str]) -> bool:
        late = hours[chosen][week[chosen]].sum()
        return hours[chosen].sum() - late <= 6.0 and late <= 5.0 and cash[chosen].sum() <= budget

    subsets = (list(c) for n in range(9) for c in itertools.combinations(units, n))
    best = max(gain[chosen].sum() for chosen in subsets if fits(chosen))
    done = sorted(set(units) - waits(found))
    assert fits(done)
    assert gain[done].sum() == pytest.approx(best)


def test_an_empty_shortlist_plans_nothing(work: ModuleType) -> None:
    found = plan(work, work.shortlist(work.line()).iloc[:0], work.room(4.0))
    assert found.shortlist.empty
    assert found.shortages == ()
