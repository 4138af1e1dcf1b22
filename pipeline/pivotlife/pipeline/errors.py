"""Faults of what the user hands in, each a single readable line."""

from __future__ import annotations

from pivotlife.models.errors import PivotlifeError


class SettingsError(PivotlifeError):
    """The settings file is missing, unreadable or holds a key or value it cannot."""


class SourceError(PivotlifeError):
    """A source named in the settings is missing, unreadable or lacks a column."""


def one_line(text: str) -> str:
    """Show control characters and line ends by their escapes, so that a fault stays one line."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
