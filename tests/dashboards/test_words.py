"""Numbers as people read them: no bare NaN, no endless digits."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.dashboards import words

TIED = "\u00a0"


def untied(text: str) -> str:
    return text.replace(TIED, " ")


def test_missing_and_unbounded_numbers_are_words() -> None:
    assert words.number(math.nan) == "unknown"
    assert words.number(None, missing="not reached") == "not reached"
    assert words.number(math.inf) == "beyond the records"
    assert words.life_miles(math.nan) == "not reached"
    assert words.percent(math.nan) == "unknown"
    assert words.play(math.nan) == "not measured"
    assert words.day(pd.NaT) == "no date"
    assert words.text(pd.NA) == ""
    assert words.number(pd.NA) == "unknown"


def test_play_gives_inches_beside_millimetres() -> None:
    # 3.2 mm is 0.126 in, exact by the inch of 25.4 mm.
    assert untied(words.play(3.2)) == "3.20 mm (0.126 in)"
    assert untied(words.play(2.0)) == "2.00 mm (0.079 in)"


@pytest.mark.parametrize(
    ("value", "told"),
    [
        *((245_601.0, "246,000"), (9_876.0, "10,000"), (96.0, "under 1,000")),
        *((math.inf, "beyond the records"), (0.0, "0")),
    ],
)
def test_life_miles_are_rounded_to_the_thousand(value: float, told: str) -> None:
    assert words.life_miles(value) == told


@pytest.mark.parametrize(
    ("share", "told"),
    [(0.0, "under 1 %"), (0.004, "under 1 %"), (0.094, "9 %"), (0.996, "over 99 %")],
)
def test_a_chance_never_reads_as_certainty(share: float, told: str) -> None:
    assert untied(words.percent(share)) == told


def test_a_counted_share_may_be_all_or_none() -> None:
    assert untied(words.counted_share(4, 4)) == "100 %"
    assert untied(words.counted_share(0, 42)) == "0 %"
    assert untied(words.counted_share(999, 1_000)) == "over 99 %"
    assert words.counted_share(math.nan, 3) == words.counted_share(0, 0) == "unknown"


def test_a_worked_out_figure_has_no_more_digits_than_it_is_known_by() -> None:
    assert [words.rounded(x) for x in (506_904.2, 22.3742, 0.7419)] == ["507,000", "22.4", "0.742"]
    assert words.rounded(math.nan) == "none"
    assert words.key("hours.first_pivot") == "hours, first pivot"


def test_a_band_writes_its_sign_once_where_it_can() -> None:
    assert untied(words.percent_band(0.05, 0.14)) == "5 to 14 %"
    assert untied(words.percent_band(0.001, 0.14)) == "under 1 % to 14 %"
    assert untied(words.percent_band(0.001, 0.002)) == "under 1 %"
    assert words.percent_band(math.nan, math.nan) == ""


def test_an_interval_open_above_says_so() -> None:
    assert words.interval(310_000.0, math.inf, words.life_miles) == "310,000 to beyond the records"
    assert words.interval(math.nan, math.nan, words.life_miles) == ""


def test_money_carries_its_currency_and_prices_their_digits() -> None:
    assert untied(words.money(1234.4, "USD")) == "USD 1,234"
    assert words.money(math.nan, "USD") == "unknown"
    assert words.price(1.5e-6) == "0.0000015"
    assert words.price(1_100.0) == "1,100"
    assert words.price(0.75) == "0.75"


def test_counts_agree_with_their_noun() -> None:
    assert words.count(1, "unit") == "1 unit"
    assert words.count(1_200, "unit") == "1,200 units"


def test_dates_are_written_year_first() -> None:
    assert words.day(pd.Timestamp("2026-12-03")) == "2026-12-03"
    assert words.month("2026-12-03") == "2026-12"
    assert words.month(pd.NaT) == "no date"


@given(st.floats(allow_nan=True, allow_infinity=True, width=32))
def test_no_number_is_written_as_nan_or_inf(value: float) -> None:
    for write in (words.number, words.life_miles, words.play, words.percent, words.price):
        told = write(value).lower()
        assert "nan" not in told
        assert "inf" not in told


@given(st.floats(min_value=0, max_value=1e12))
def test_thousands_separators_never_change_the_number(value: float) -> None:
    assert float(words.number(value).replace(",", "")) == round(value)


@pytest.mark.parametrize(
    ("lower", "upper", "written"),
    [
        (120_400.0, 250_000.0, "120,000 to 250,000"),
        (120_400.0, float("inf"), "120,000 to no limit"),
        (120_400.0, 9e12, "120,000 to no limit"),
        (7e6, float("inf"), "over 5,000,000"),
        (float("nan"), float("nan"), ""),
    ],
)
def test_limits_of_a_life_name_no_mileage_that_no_truck_reaches(
    lower: float, upper: float, written: str
) -> None:
    assert words.life_range(lower, upper) == written


def test_nothing_remarked_is_no_sentence() -> None:
    assert words.sentences("") == ""


def test_a_chain_of_remarks_becomes_sentences() -> None:
    chain = "not yet: too few (2; 3 failures); wait 14 months; then look again."
    assert words.sentences(chain) == (
        "Not yet: too few (2; 3 failures). Wait 14 months. Then look again."
    )
