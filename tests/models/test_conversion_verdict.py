"""Paying is said only where the range of the saving says so as well."""

from __future__ import annotations

import pytest

from pivotlife.models.conversion_verdict import (
    DOES_NOT_PAY,
    MAY_LOSE,
    MAY_PAY,
    PAYS,
    TOO_CLOSE,
    verdict,
)


@pytest.mark.parametrize(
    ("mean", "error", "low", "high", "said"),
    [
        (500.0, 10.0, 1.0, 900.0, PAYS),
        (500.0, 10.0, -1.0, 900.0, MAY_LOSE),
        (19.0, 10.0, -400.0, 500.0, TOO_CLOSE),
        (-19.0, 10.0, -500.0, -1.0, TOO_CLOSE),
        (-500.0, 10.0, -900.0, 1.0, MAY_PAY),
        (-500.0, 10.0, -900.0, -1.0, DOES_NOT_PAY),
        (140.0, 0.0, 140.0, 140.0, PAYS),
        (-140.0, 0.0, -140.0, -140.0, DOES_NOT_PAY),
    ],
)
def test_pays_is_said_only_where_nine_futures_in_ten_agree(
    mean: float, error: float, low: float, high: float, said: str
) -> None:
    assert verdict(mean, error, low, high) == said
