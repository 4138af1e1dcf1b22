"""Axles driven from visit to visit against closed forms, and what always holds."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cost_lives import NEVER, SURE, WORK, life
from pivotlife.models.cost_lines import COUNTS
from pivotlife.models.cost_policy import Policy, TypeLife, fitted_bushings
from pivotlife.models.lifetime_cost import truck_counts
from pivotlife.models.replacement import renewal_function
from pivotlife.models.truck_luck import shared_given_good
from pivotlife.models.truck_miles import Axles, drawn_lives, drive, survival


def counted(
    one: TypeLife, policy: Policy, trucks: int, seed: int = 4, **work: float
) -> dict[str, np.ndarray]:
    """Counts after the first fitting, summed over the years, shape (trucks,)."""
    draw = np.zeros(trucks, dtype=int)
    made = truck_counts(replace(WORK, **work), [one], [policy], draw, seed)
    after = made[0, :, 1:].sum(axis=1)
    return dict(zip(COUNTS, after.T, strict=True))


def test_without_ageing_a_visit_renews_the_same_share() -> None:
    """Found at visits only: each visit renews 1 - exp(-gap / mean) of the bushings, no more."""
    one = life("threaded", 1.0, 90_000.0, draws=1, spread=0.0)
    counts = counted(one, NEVER, 4_000)
    visits = 19  # every 15,000 miles, none at the sale at 300,000
    share = -math.expm1(-15_000.0 / 90_000.0)
    error = math.sqrt(visits * share * (1 - share) / (6 * 4_000))
    assert counts["kits"].mean() / 6 == pytest.approx(visits * share, abs=4 * error)


def test_without_ageing_renewals_are_miles_over_mean_when_visits_are_close() -> None:
    one = life("threaded", 1.0, 90_000.0, draws=1, spread=0.0)
    counts = counted(one, NEVER, 600, gap_miles=300.0)
    error = math.sqrt(300_000.0 / 90_000.0 / (6 * 600))
    # The last visit comes one gap before the sale; half a gap is lost at each renewal.
    assert counts["kits"].mean() / 6 == pytest.approx(300_000.0 / 90_000.0, abs=4 * error + 0.02)


def test_ageing_bushings_found_at_once_follow_the_renewal_function() -> None:
    one = life("threaded", 2.5, 120_000.0, draws=1, spread=0.0)
    counts = counted(one, NEVER, 600, gap_miles=500.0)
    expected = float(renewal_function(2.5, 120_000.0, [300_000.0])[0])
    error = counts["kits"].std() / 6 / math.sqrt(600)
    assert counts["kits"].mean() / 6 == pytest.approx(expected, abs=4 * error + 0.02)


def test_bushings_of_a_sure_life_are_counted_exactly() -> None:
    """Ends at 100,000 miles, seen at 105,000: renewed at 105,000 and 210,000, 5,000 over each."""
    one = life("threaded", SURE, 100_000.0, draws=1, spread=0.0)
    counts = counted(one, NEVER, 3)
    told = {"kits": 12, "sides_opened": 4, "further_on_shackle": 4, "further_on_side": 4}
    told |= {"jobs_found_late": 2, "late_finds": 12, "jobs_as_planned": 0, "breaks": 0}
    assert {name: counts[name][0] for name in told} == told
    assert counts["miles_over"][0] == pytest.approx(12 * 5_000.0, rel=1e-3)


def test_a_mark_renews_in_good_time_and_not_just_before_the_sale() -> None:
    """Half of 100,000 miles is passed at 60,000, 120,000, 180,000 and 240,000 miles."""
    one = life("threaded", SURE, 100_000.0, draws=1, spread=0.0)
    counts = counted(one, Policy(0.5, math.inf), 2, horizon_miles=256_000.0)
    assert counts["kits"][0] == 6 * 4
    assert counts["late_finds"][0] == 0
    assert counts["jobs_as_planned"][0] == 4
    short = counted(one, Policy(0.5, math.inf), 2, horizon_miles=254_000.0)
    assert short["kits"][0] == 6 * 3  # less than a gap is left after 240,000


def test_under_the_early_miles_age_renews_nothing() -> None:
    one = life("threaded", SURE, 100_000.0, draws=1, spread=0.0)
    counts = counted(one, Policy(0.3, math.inf), 1, early_miles=90_000.0)
    assert counts["kits"][0] == 6 * 3  # at 90,000, 180,000 and 270,000, not at 30,000 ...


def test_breaks_come_at_their_rate_on_the_road() -> None:
    one = life("threaded", SURE, 1e9, draws=1, spread=0.0)
    one = replace(one, breaks_per_mile=np.full(1, 2e-6))
    counts = counted(one, NEVER, 2_000)
    visits = 20
    share = -math.expm1(-2e-6 * 15_000.0)
    error = math.sqrt(6 * visits * share / 2_000)
    assert counts["breaks"].mean() == pytest.approx(6 * visits * share, abs=4 * error)
    assert np.all(counts["kits"] == counts["breaks"])
    assert np.all(counts["sides_opened"] == counts["breaks"])


def test_a_bushing_known_good_lasts_longer_than_a_new_one_by_what_it_survived() -> None:
    """Given good at g, P(life > t) = exp(H(g) - H(t)): checked at the middle."""
    uniform = np.random.default_rng(8).random(40_000)
    shape, scale, good = np.array(2.2), np.array(430_000.0), np.array(300_000.0)
    none = np.zeros(1)
    lasted = survival(good, shape, scale)
    lives = drawn_lives(shared_given_good(uniform, none, none, lasted), shape, scale)
    assert lives.min() >= 300_000.0
    middle = 430_000.0 * ((300 / 430) ** 2.2 + math.log(2)) ** (1 / 2.2)
    assert np.median(lives) == pytest.approx(middle, rel=0.01)


@settings(max_examples=25, deadline=None)
@given(
    shape=st.floats(0.7, 8.0),
    scale=st.floats(20_000.0, 900_000.0),
    rate=st.floats(0.0, 5e-6),
    marks=st.tuples(st.floats(0.3, 1.2), st.floats(0.2, 1.2)),
    seed=st.integers(0, 1_000),
)
def test_every_kit_belongs_to_a_side_and_a_job(
    shape: float, scale: float, rate: float, marks: tuple[float, float], seed: int
) -> None:
    one = life("threaded", shape, scale, draws=1, spread=0.0)
    one = replace(one, breaks_per_mile=np.full(1, rate))
    counts = counted(one, Policy(*marks), 12, seed)
    in_sides = counts["sides_opened"] + counts["further_on_shackle"] + counts["further_on_side"]
    assert np.all(counts["kits"] == in_sides)
    jobs = counts["jobs_as_planned"] + counts["jobs_found_late"]
    assert np.all(counts["sides_opened"] <= 2 * jobs)
    assert np.all(counts["late_finds"] <= counts["kits"])
    assert np.all((counts["miles_over"] > 0) | (counts["late_finds"] == 0))
    assert all(np.all(values >= 0) for values in counts.values())


def test_absent_places_take_nothing() -> None:
    one = life("threaded", SURE, 100_000.0, draws=1, spread=0.0)
    present = np.array([[True, False, False, False, True, True]])
    axles = Axles(
        horizon=np.array([120_000.0]),
        first_visit=np.array([110_000.0]),
        present=present,
        age=np.zeros((1, 1, 6)),
        life=np.full((1, 1, 6), 100_000.0),
        refit=np.zeros((1, 1), dtype=bool),
        converted=np.zeros((1, 1, 1), dtype=bool),
        hardship=np.zeros(1),
    )
    fitted = fitted_bushings([one], [NEVER], np.zeros(1, dtype=int))
    steps = list(drive(axles, fitted, 15_000.0, 0.0, 1))
    total = sum(step.counts for step in steps)
    found = dict(zip(COUNTS, np.asarray(total)[:, 0, 0], strict=True))
    assert found["kits"] == 3
    assert (found["sides_opened"], found["further_on_shackle"], found["further_on_side"]) == (
        2,
        1,
        0,
    )
    assert sum(step.driven[0] for step in steps) == pytest.approx(120_000.0)
