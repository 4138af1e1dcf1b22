"""Lives renewed in good time, completed: the truth recovered where both naive counts miss it."""

from __future__ import annotations

from math import exp, log, sqrt
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from pivotlife.models.growth_cells import GrowthLaws, fit_laws
from pivotlife.models.imputed_lives import completed_lives, looked_at_until, rubin_interval
from pivotlife.models.mode_lives import lives_for_mode, removals_as_failures
from pivotlife.models.type_table import compare_types
from pivotlife.models.weibull import fit_weibull

RENEWED_AT = 0.7


@pytest.fixture(scope="module")
def renewed(fleets: ModuleType) -> Any:
    """A fleet that takes out whatever reads 0.7 of the limit."""
    known = fleets.fleet(500, 3)
    rows = known.readings.sort_values(["life_id", "age_miles"], kind="stable")
    high = rows["free_play_mm"] >= RENEWED_AT * rows["limit_mm"]
    before = high.groupby(rows["life_id"]).cumsum() - high
    rows = rows[before == 0]
    last = rows.groupby("life_id").tail(1).set_index("life_id")
    taken = last["free_play_mm"] >= RENEWED_AT * last["limit_mm"]
    over = last["free_play_mm"] >= last["limit_mm"]
    good = rows[rows["free_play_mm"] < rows["limit_mm"]].groupby("life_id")["age_miles"].max()
    lives = known.lives[known.lives["life_id"].isin(good.index)].set_index("life_id", drop=False)
    taken, over = taken.reindex(lives.index), over.reindex(lives.index)
    age = last["age_miles"].reindex(lives.index)
    lives["lower_miles"] = good.reindex(lives.index)
    lives["upper_miles"] = np.where(over, age, np.inf)
    lives["mode"] = np.where(over, "wear", "")
    lives["informative"] = taken & ~over
    lives["evidence"] = np.where(over, "bad-reading", np.where(taken, "preventive", "in-service"))
    lives["first_evidence_miles"] = np.where(over, age, np.nan)
    lives["last_good_miles"] = lives["lower_miles"]
    lives["removed_odometer_miles"] = np.where(taken, age, np.nan)
    followers = _followers(lives[taken.to_numpy(dtype=bool)])
    table = pd.concat([lives, followers], ignore_index=True)
    return rows.reset_index(drop=True), table.sort_values("life_id", ignore_index=True)


def _followers(taken: pd.DataFrame) -> pd.DataFrame:
    """New bushings in the places of those taken out, looked at until today and in no fit."""
    begun = taken["removed_odometer_miles"]
    return taken.assign(
        life_id=taken["life_id"] + "+",
        fitted_odometer_miles=begun,
        removed_odometer_miles=np.nan,
        last_good_miles=np.maximum(taken["last_seen_miles"] - 15_000.0 - begun, 0.0),
        first_evidence_miles=np.nan,
        lower_miles=0.0,
        upper_miles=np.inf,
        mode="",
        informative=False,
        in_fit=False,
        evidence="none-after-entry",
    )


@pytest.fixture(scope="module")
def laws(renewed: Any) -> GrowthLaws:
    return fit_laws(*renewed)


def test_the_true_life_lies_between_the_naive_counts(
    renewed: Any, laws: GrowthLaws, fleets: ModuleType
) -> None:
    readings, lives = renewed
    completed = completed_lives(lives, readings, laws, seed=2)
    assert completed.drawn == frozenset(lives.loc[lives["informative"], "life_id"])
    assert len(completed.tables) == 20
    shape, scale, _, _ = fleets.LAW["threaded"]
    b10 = scale * (-log(0.9)) ** (1 / shape)

    def found(table: pd.DataFrame) -> float:
        kind = table[table["bushing_type"] == "threaded"]
        return float(fit_weibull(lives_for_mode(kind, "wear")).quantile(0.1))

    imputed = np.exp(np.mean([log(found(table)) for table in completed.tables]))
    assert imputed == pytest.approx(b10, rel=0.12)
    assert found(lives) > 1.15 * b10
    assert found(removals_as_failures(lives)[0]) < 0.93 * b10


def test_nothing_is_drawn_without_a_law_or_a_renewal(renewed: Any, laws: GrowthLaws) -> None:
    readings, lives = renewed
    assert completed_lives(lives, readings, GrowthLaws({}, {})).tables == ()
    alone = lives[~lives["pivot_id"].duplicated(keep=False) | ~lives["in_fit"]]
    assert completed_lives(alone, readings, laws).tables == ()


def test_why_it_was_taken_out_is_not_asked(renewed: Any, laws: GrowthLaws) -> None:
    readings, lives = renewed
    told = completed_lives(lives, readings, laws, imputations=2)
    silent = lives.assign(informative=False, removed_reason="unknown")
    assert completed_lives(silent, readings, laws, imputations=2).drawn == told.drawn
    over = lives["evidence"].eq("bad-reading") & lives["in_fit"]
    assert told.read_again == frozenset(lives.loc[over, "life_id"])


def test_wear_told_by_a_tear_down_is_not_drawn_again(renewed: Any, laws: GrowthLaws) -> None:
    """The play measured on the bench is no reading: the records of such a life stand."""
    readings, lives = renewed
    over = lives.loc[lives["evidence"].eq("bad-reading") & lives["in_fit"], "life_id"]
    torn = over.iloc[0]
    is_over = readings["free_play_mm"] >= readings["limit_mm"]
    sound = readings[~(readings["life_id"].eq(torn) & is_over)]
    completed = completed_lives(lives, sound, laws, imputations=2)
    assert completed.read_again == frozenset(over) - {torn}
    for table in completed.tables:
        pd.testing.assert_frame_equal(
            table[table["life_id"] == torn], lives[lives["life_id"] == torn]
        )


def test_a_crossing_counts_up_to_the_last_look_at_the_pivot(renewed: Any, laws: GrowthLaws) -> None:
    readings, lives = renewed
    completed = completed_lives(lives, readings, laws, imputations=2)
    table = completed.tables[0]
    drawn = table["life_id"].isin(completed.drawn | completed.read_again)
    until, failed = looked_at_until(lives)[drawn], table.loc[drawn, "upper_miles"] < np.inf
    drawn_lives = table[drawn]
    assert (drawn_lives["lower_miles"] <= until).all()
    assert (drawn_lives.loc[failed, "lower_miles"] == drawn_lives.loc[failed, "upper_miles"]).all()
    assert (drawn_lives.loc[~failed, "lower_miles"] == until[~failed]).all()
    assert (drawn_lives["mode"].eq("wear") == failed).all()
    assert 0 < (~failed).sum() < len(failed)
    pd.testing.assert_frame_equal(table[~drawn], lives[~drawn])


def test_the_last_look_is_that_at_any_bushing_of_the_pivot() -> None:
    lives = pd.DataFrame(
        {
            "pivot_id": ["a", "a", "b", "b"],
            "fitted_odometer_miles": [0.0, 60_000.0, 10_000.0, np.nan],
            "last_good_miles": [50_000.0, 20_000.0, np.nan, 5_000.0],
            "first_evidence_miles": [np.nan, 35_000.0, 70_000.0, np.nan],
        }
    )
    assert looked_at_until(lives)[:3].tolist() == [95_000.0, 35_000.0, 70_000.0]
    assert np.isnan(looked_at_until(lives)[3])


def test_a_completed_life_starts_where_it_was_first_seen(renewed: Any, laws: GrowthLaws) -> None:
    readings, lives = renewed
    at = lives["informative"]
    late = lives.assign(entry_miles=lives["last_good_miles"].where(at, 0.0))
    late = late.assign(
        in_fit=late["in_fit"] & ~at, evidence=late["evidence"].mask(at, "none-after-entry")
    )
    completed = completed_lives(late, readings, laws, imputations=2)
    assert completed.drawn == frozenset(lives.loc[at, "life_id"])
    table = completed.tables[0][at]
    known = table[table["in_fit"]]
    assert 0 < len(known) < len(table)
    assert (known["lower_miles"] > known["entry_miles"]).all()


def test_the_table_of_types_says_all_three(renewed: Any, laws: GrowthLaws) -> None:
    readings, lives = renewed
    completed = completed_lives(lives, readings, laws, imputations=4, seed=2)
    table = compare_types(lives, draws=20, completed=completed)
    pooled = table[(table["duty"] == "all") & (table["node"] == "all") & (table["mode"] == "wear")]
    pooled = pooled[(pooled["life_order"] == "all") & (pooled["bushing_type"] == "threaded")]
    b10 = pooled.set_index("informative_removals")["b10"]
    assert b10["counted"] < b10["imputed"] < b10["censored"]
    row = pooled.set_index("informative_removals").loc["imputed"]
    assert row["interval_method"] == "imputation"
    assert row["b10_lower"] < row["b10"] < row["b10_upper"]
    assert "renewed in good time stand at the age at which their readings say" in row["warning"]
    cells = table.groupby(["bushing_type", "duty", "node", "life_order", "mode"])
    assert cells["informative_removals"].agg(lambda said: "imputed" in set(said)).all()


def test_rubins_rules_by_hand(renewed: Any) -> None:
    _, lives = renewed
    kind = lives[lives["bushing_type"] == "roller"]
    fits = [fit_weibull(lives_for_mode(kind.iloc[i:], "wear")) for i in (0, 40, 80)]
    estimate, limits = rubin_interval(fits, "scale")
    within = np.mean([fit.sandwich()[1, 1] for fit in fits])
    between = np.var([log(fit.scale) for fit in fits], ddof=1) * (4 / 3)
    freedom = 2 * (1 + within / between) ** 2
    reach = t.ppf(0.975, freedom) * sqrt(within + between)
    centre = np.mean([log(fit.scale) for fit in fits])
    assert estimate == pytest.approx(exp(centre), rel=1e-6)
    assert limits.lower == pytest.approx(exp(centre - reach), rel=1e-4)
    assert limits.upper == pytest.approx(exp(centre + reach), rel=1e-4)
    alone = rubin_interval(fits[:1], "scale")[1]
    assert alone[:2] == pytest.approx(fits[0].interval("scale", 0.95, "sandwich")[:2])
