"""Cells read to words, days and numbers; what cannot be read says why."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.pipeline.cells import (
    blank_cells,
    cells_of,
    read_days,
    read_numbers,
    read_words,
    same_spelling,
    spellings,
)
from pivotlife.pipeline.dialect import PLAIN


def test_cells_keep_every_row_and_treat_missing_as_empty() -> None:
    cells = cells_of(pd.Series([" a", None, "a ", np.nan, ""], dtype=object))
    assert cells.written().tolist() == ["a", "", "a", "", ""]
    assert cells.is_blank().tolist() == [False, True, False, True, True]
    assert blank_cells(2).written().tolist() == ["", ""]


@pytest.mark.parametrize(
    ("text", "number", "code"),
    [
        ("12", 12.0, ""),
        ("+.5", 0.5, ""),
        ("5.", 5.0, ""),
        ("1.2E+05", 120_000.0, ""),
        ("", np.nan, ""),
        ("1,234,567.8", np.nan, "thousands_comma"),
        ("12,34", np.nan, "comma"),
        ("1_000", np.nan, "not_a_number"),
        ("inf", np.nan, "not_a_number"),
        ("\u0663", np.nan, "not_a_number"),
        ("3mm", np.nan, "unit_in_number"),
        ("1/8", np.nan, "not_a_number"),
    ],
)
def test_numbers(text: str, number: float, code: str) -> None:
    read = read_numbers(cells_of(pd.Series([text])))
    assert read.numbers[0] == pytest.approx(number, nan_ok=True)
    assert read.codes[0] == code


def test_fractions_only_when_asked() -> None:
    read = read_numbers(cells_of(pd.Series(["1/8", "1 1/8", "0.125", "1/0"])), fractions=True)
    assert read.numbers[:3].tolist() == [0.125, 1.125, 0.125]
    assert read.is_fraction.tolist() == [True, True, False, False]
    assert read.codes[3] == "not_a_number"


def test_days_with_and_without_a_time() -> None:
    texts = ["2024-02-29", "2023-02-29", "2024-02-29 23:59", "2024-02-29T01:02:03Z", "", "24-2-9"]
    days, codes = read_days(cells_of(pd.Series(texts)), PLAIN.read_day)
    leap = np.datetime64("2024-02-29", "ns")
    assert (days == leap).tolist() == [True, False, True, True, False, False]
    assert np.flatnonzero(codes == "not_a_date").tolist() == [1, 5]


def test_words_that_are_not_allowed_stay_as_written() -> None:
    words = read_words(cells_of(pd.Series(["LEFT", " l", ""])), ("left", "right"))
    assert words.tolist() == ["left", "l", ""]


def test_yes_and_no_have_few_spellings() -> None:
    words = read_words(cells_of(pd.Series(["Y", "true", "No", "0"])), ("yes", "no"))
    assert words.tolist() == ["yes", "yes", "no", "0"]


def test_names_take_the_first_spelling_declared() -> None:
    names = np.array(["md 1", "MD1", "x"], dtype=object)
    assert same_spelling(names, spellings(["MD 1", "md1"])).tolist() == ["MD 1", "MD 1", "x"]
