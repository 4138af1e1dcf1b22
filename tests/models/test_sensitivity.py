"""The same records read otherwise."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.lives import lives_for_mode
from pivotlife.models.sensitivity import (
    COLUMNS,
    LAST_GOOD,
    LAST_VISIT,
    NOT_EARLY,
    ONCE,
    good_until_last_visit,
    sensitivity_table,
)
from pivotlife.models.weibull import fit_weibull

NO_STOPS = pd.DataFrame({"unit_id": [], "true_miles": []})


@pytest.fixture(scope="module")
def lives(survival: ModuleType) -> pd.DataFrame:
    table: pd.DataFrame = survival.table_of_lives(60, seed=4)
    return table


def b10(table: pd.DataFrame, assumption: str, kind: str = "threaded") -> float:
    rows = table[(table["bushing_type"] == kind) & (table["assumption"] == assumption)]
    return float(rows["b10"].iloc[0])


def test_the_first_row_is_the_usual_fit(lives: pd.DataFrame) -> None:
    table = sensitivity_table(lives, NO_STOPS, draws=20, seed=1)
    assert tuple(table.columns) == COLUMNS
    assert len(table) == 12
    own = lives_for_mode(lives[lives["bushing_type"] == "threaded"], "any")
    assert b10(table, LAST_GOOD) == pytest.approx(fit_weibull(own).quantile(0.1))
    rows = table.dropna()
    assert ((rows["b10_lower"] <= rows["b10"]) & (rows["b10"] <= rows["b10_upper"])).all()


def test_stops_without_a_finding_make_lives_longer(lives: pd.DataFrame) -> None:
    seen = lives.assign(last_visit_miles=lives["last_good_miles"].fillna(0.0) + 20_000.0)
    failed = lives[np.isfinite(lives["upper_miles"])]
    stops = pd.DataFrame(
        {
            "unit_id": failed["unit_id"],
            "true_miles": failed["fitted_odometer_miles"] + failed["upper_miles"] - 5_000.0,
        }
    )
    raised = good_until_last_visit(seen, stops)
    assert (raised["lower_miles"] >= lives["lower_miles"]).all()
    is_failed = np.isfinite(raised["upper_miles"])
    assert (raised.loc[is_failed, "lower_miles"] < raised.loc[is_failed, "upper_miles"]).all()
    table = sensitivity_table(seen, stops, draws=20, seed=1)
    assert b10(table, LAST_VISIT) > b10(table, LAST_GOOD)


def test_the_stop_of_the_finding_itself_is_no_good_evidence(lives: pd.DataFrame) -> None:
    failed = lives[np.isfinite(lives["upper_miles"])].iloc[[0]]
    found = failed["fitted_odometer_miles"] + failed["first_evidence_miles"]
    stops = pd.DataFrame({"unit_id": failed["unit_id"], "true_miles": found})
    raised = good_until_last_visit(failed, stops)
    assert raised["lower_miles"].iloc[0] == failed["lower_miles"].iloc[0]


def test_a_life_never_measured_joins_when_a_stop_counts(lives: pd.DataFrame) -> None:
    silent = lives[np.isinf(lives["upper_miles"])].head(1)
    silent = silent.assign(evidence="none-after-entry", lower_miles=0.0, in_fit=False)
    joined = good_until_last_visit(silent.assign(last_visit_miles=50_000.0), NO_STOPS)
    assert joined["in_fit"].tolist() == [True]
    assert joined["lower_miles"].tolist() == [50_000.0]


def test_a_pivot_with_many_lives_counts_once(lives: pd.DataFrame) -> None:
    """Copying one pivot's short life as further lives of that pivot changes nothing here."""
    roller = lives[lives["bushing_type"] == "roller"]
    short = roller[np.isfinite(roller["upper_miles"])].nsmallest(1, "upper_miles")
    more = pd.concat([roller, short, short], ignore_index=True)
    once = sensitivity_table(more, NO_STOPS, draws=20, seed=1)
    plain = sensitivity_table(roller, NO_STOPS, draws=20, seed=1)
    assert b10(once, ONCE, "roller") == pytest.approx(b10(plain, ONCE, "roller"), rel=1e-6)
    assert b10(once, LAST_GOOD, "roller") < b10(plain, LAST_GOOD, "roller")


def test_without_early_failures_b10_is_not_shorter(lives: pd.DataFrame) -> None:
    table = sensitivity_table(lives, NO_STOPS, draws=20, seed=1)
    for kind in ("rubber-bonded", "threaded", "roller"):
        assert b10(table, NOT_EARLY, kind) >= b10(table, LAST_GOOD, kind) * (1.0 - 1e-9)


def test_too_few_failures_give_no_number(lives: pd.DataFrame) -> None:
    none = lives.assign(upper_miles=np.inf, mode="")
    table = sensitivity_table(none, NO_STOPS, draws=20, seed=1)
    assert table["b10"].isna().all()
    assert table["note"].str.contains("0 failures of").all()
