"""One sentence on two bushing types: which lasts longer, how sure that is, and what is doubtful.

"Not enough evidence yet" unless all of this holds: five failures of each type; an effective sample
of 30 on either side; no fact known at fitting that still differs by more than 0.2 standard
deviations after weighting; an interval that leaves out 1; and a p-value of 0.05 at most after
Holm's correction for the pairs compared at once. The sentence then says what it would take.

Not here: the numbers (`fair_comparison`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp, isfinite, log
from typing import Final

from pivotlife.models.no_failures import FEW_FAILURES

FEWEST_EFFECTIVE: Final = 30.0
MOST_UNLIKE: Final = 0.2
CHANCE: Final = 0.05
NOT_YET: Final = "not enough evidence yet"
UNADJUSTED: Final = (
    "unadjusted, no verdict: the two types ran on different trucks, in different duty and care"
)
#: Differences smaller than this on the log scale are not worth counting failures for.
_ALIKE: Final = 0.05


@dataclass(frozen=True)
class Evidence:
    """What a verdict rests on.

    Attributes
    ----------
    numerator, denominator, duty, age : str
        Types, the duty or "all", "B10" or "B50".
    ratio, lower, upper : float
        Age of the numerator over that of the denominator, with its interval.
    p_holm : float
    failures : tuple of int
        Of the numerator and the denominator.
    effective : float
        The smaller effective sample size of the two after weighting.
    unlike, difference : str, float
        The fact that differs most after weighting, and by how much.
    other, other_ratio : str, float
        The other fair comparison and what it reads.
    condition_known : bool
        Whether the condition of the bushing before is known for both types.
    """

    numerator: str
    denominator: str
    duty: str
    age: str
    ratio: float
    lower: float
    upper: float
    p_holm: float
    failures: tuple[int, int]
    effective: float
    unlike: str
    difference: float
    other: str
    other_ratio: float
    condition_known: bool


def verdict(evidence: Evidence) -> str:
    """Return the sentence."""
    lacking = _lacking(evidence)
    if lacking:
        return f"{NOT_YET}: {lacking}"
    word = "longer" if evidence.ratio > 1.0 else "less long"
    return (
        f"{evidence.numerator} lasts {word} than {evidence.denominator} {_where(evidence)}:"
        f" {_measured(evidence)}; {_doubt(evidence)}"
    )


def _lacking(e: Evidence) -> str:
    """Return why there is no verdict and what it would take; empty when there is one."""
    if min(e.failures) < FEW_FAILURES:
        return (
            f"{e.failures[0]} {e.numerator} and {e.failures[1]} {e.denominator} failures"
            f" {_where(e)}; it takes {FEW_FAILURES} or more of each"
        )
    if not (isfinite(e.ratio) and e.lower > 0.0 and isfinite(e.upper)):
        return (
            f"{_counted(e)} {_where(e)} set no limits to the ratio; it takes failures of both types"
            " on more trucks"
        )
    if e.effective < FEWEST_EFFECTIVE:
        return (
            f"{_where(e)} the lives with a counterpart of the other type weigh as"
            f" {e.effective:.0f} only; it takes {FEWEST_EFFECTIVE:.0f}: both types on like trucks"
        )
    if abs(e.difference) > MOST_UNLIKE:
        return (
            f"{_where(e)} the two types still differ in {e.unlike} after weighting"
            f" ({abs(e.difference):.2f} standard deviations); it takes both types on like trucks"
        )
    if e.lower <= 1.0 <= e.upper or e.p_holm > CHANCE:
        return f"{_measured(e)} {_where(e)}; {_among_others(e)}{_it_takes(e)}"
    return ""


def _among_others(e: Evidence) -> str:
    """Say why an interval that leaves out 1 is not enough; empty when it holds 1."""
    if e.lower <= 1.0 <= e.upper:
        return ""
    return (
        "alone that would do, but among all the comparisons made here it may be chance"
        f" (p = {e.p_holm:.2f} with the others counted); "
    )


def _it_takes(e: Evidence) -> str:
    """Say how many failures would tell a difference of this size from chance."""
    size, half = abs(log(e.ratio)), 0.5 * (log(e.upper) - log(e.lower))
    if size < _ALIKE:
        return f"a ratio below {e.lower:.2f} or above {e.upper:.2f} is all but excluded"
    # Limits narrow with the square root of the number of failures.
    wanted = ceil(sum(e.failures) * max((half / size) ** 2, 1.1) / 10.0) * 10
    return f"if the ratio is what it seems, it takes about {wanted:,} failures in all"


def _measured(e: Evidence) -> str:
    return (
        f"{e.age} {e.ratio:.2f} times as high (95 % interval {e.lower:.2f} to {e.upper:.2f},"
        f" {_counted(e)})"
    )


def _counted(e: Evidence) -> str:
    return f"{e.failures[0]:,} {e.numerator} and {e.failures[1]:,} {e.denominator} failures"


def _where(e: Evidence) -> str:
    return "in this fleet's mix" if e.duty == "all" else f"in {e.duty} duty"


def _doubt(e: Evidence) -> str:
    """Return what speaks against the verdict, the gravest doubt first."""
    if not isfinite(e.other_ratio):
        doubt = f"the {e.other} comparison finds no ratio to set beside it"
    elif (e.other_ratio > 1.0) != (e.ratio > 1.0):
        doubt = f"but the {e.other} comparison points the other way ({e.other_ratio:.2f})"
    elif abs(log(e.other_ratio / e.ratio)) > log(e.upper / e.lower) / 2.0:
        doubt = f"but the {e.other} comparison reads {e.other_ratio:.2f}"
    else:
        doubt = f"the {e.other} comparison reads {e.other_ratio:.2f}"
    if not e.condition_known:
        doubt += ", and how worn the bores were is not known for both types"
    return f"{doubt}; what nobody wrote down may still differ"


def missing_type(numerator: str, denominator: str, failures: tuple[int, int], reason: str) -> str:
    """Return the sentence for two types that no model can compare."""
    if min(failures) < FEW_FAILURES:
        return (
            f"{NOT_YET}: {failures[0]} {numerator} and {failures[1]} {denominator} failures; it"
            f" takes {FEW_FAILURES} or more of each"
        )
    return f"{NOT_YET}: {reason}"


def exponent(log_value: float) -> float:
    """Return e to a log ratio, infinite beyond what a number holds."""
    return exp(log_value) if log_value < 700.0 else float("inf")
