"""What is said of converting a unit, from the savings of the futures drawn for it.

A mean alone would call a conversion paying that loses in every third future. Plain words are kept
for where nine futures in ten agree; else the sentence says both what is so on average and what
may come.

Not here: the futures (`unit_conversion`).
"""

from __future__ import annotations

from typing import Final

#: Standard errors within which a mean saving counts as nothing.
_SURE: Final = 2.0
#: Plain where both the 10 % and the 90 % point of the saving lie on one side of nothing.
PAYS: Final = "pays"
MAY_LOSE: Final = "pays on average, may lose"
TOO_CLOSE: Final = "too close to call"
MAY_PAY: Final = "loses on average, may pay"
DOES_NOT_PAY: Final = "does not pay"
VERDICTS: Final = (PAYS, MAY_LOSE, TOO_CLOSE, MAY_PAY, DOES_NOT_PAY)
UNKNOWN: Final = "unknown"


def verdict(mean: float, error: float, low: float, high: float) -> str:
    """Say in words what the drawn savings of one conversion allow.

    Parameters
    ----------
    mean, error : float, currency
        Mean saving and its standard error over the futures drawn.
    low, high : float, currency
        One future in ten saves less than `low`, nine in ten save less than `high`.

    Returns
    -------
    str
        One of `VERDICTS`.
    """
    if abs(mean) <= _SURE * error:
        return TOO_CLOSE
    if mean > 0:
        return PAYS if low >= 0 else MAY_LOSE
    return DOES_NOT_PAY if high <= 0 else MAY_PAY
