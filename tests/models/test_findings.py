"""A reading against its limit, as it was written."""

from __future__ import annotations

import numpy as np

from pivotlife.models.findings import is_over


def test_a_converted_inch_value_compares_as_it_was_written() -> None:
    """1/8 in is 3.175 mm exactly, and so within a limit of 3.2 mm."""
    assert is_over([3.175, 3.2, 3.1996, 3.1994, 5.0], 3.2).tolist() == [
        *(False, True, True, False, True)
    ]


def test_a_missing_value_is_never_over_and_an_absurd_one_is() -> None:
    assert is_over([np.nan, 9.0, 1.8e305, np.inf], [3.2, np.nan, 3.2, 3.2]).tolist() == [
        *(False, False, True, True)
    ]
