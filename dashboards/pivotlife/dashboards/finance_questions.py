"""The ten questions that finance asks, each with the place on the page that answers it.

Not here: the answers.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from pivotlife.dashboards.sections import anchor

PRICES: Final = "Prices, with source and date"
_ASKED: Final = (
    ("What will we spend, month by month?", "What to budget for the next 24 months"),
    ("When does a dearer type pay back?", "What a type saves: cash, and downtime avoided"),
    ("What is cash, what only avoided?", "What a type saves: cash, and downtime avoided"),
    (
        "What does a type cost per 1,000 miles?",
        "What one truck costs until it is sold, by bushing type",
    ),
    ("Which units are not worth converting?", "Does converting pay on this unit?"),
    ("What moves the saving most?", "What moves the saving most"),
    ("What can be claimed under warranty?", "What the warranty may pay back"),
    ("How good was last year's forecast?", "Last year's forecast against what was spent"),
    ("Which kits should lie in stock?", "Which kits to keep in stock"),
    ("Where does each price come from?", PRICES),
)


@dataclass(frozen=True)
class Question:
    """A question and the anchor of the section that answers it."""

    question: str
    anchor: str


def questions(headings: Iterable[str]) -> tuple[Question, ...]:
    """Give the questions that a page with these headings answers.

    Parameters
    ----------
    headings : iterable of str
        Headings of the page's sections; a question whose section is absent is left out.

    Returns
    -------
    tuple of Question
    """
    present = set(headings)
    return tuple(Question(asked, anchor(place)) for asked, place in _ASKED if place in present)
