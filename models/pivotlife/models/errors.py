"""The root exception of the project and those that the models raise.

Not here: faults of settings and sources, which the pipeline names itself.
"""

from __future__ import annotations


class PivotlifeError(Exception):
    """Anything the project refuses; its text says what, where and what to do."""


class LivesError(PivotlifeError, ValueError):
    """Lives that contradict themselves, such as a failure before its entry."""


class NoMaximumError(PivotlifeError, ValueError):
    """The records do not determine a curve; the text says why."""
