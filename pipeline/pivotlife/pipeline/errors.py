"""Faults of what the user hands in, each a single readable line."""

from __future__ import annotations

import errno
from pathlib import Path

from pivotlife.models.errors import PivotlifeError


class SettingsError(PivotlifeError):
    """The settings file is missing, unreadable or holds a key or value it cannot."""


class SourceError(PivotlifeError):
    """A source named in the settings is missing, unreadable or lacks a column."""


def one_line(text: str) -> str:
    """Show control characters and line ends by their escapes, so that a fault stays one line."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def cannot_write(place: Path, fault: OSError, other: str = "--out or publish.out") -> SourceError:
    """Say why a place cannot be written to, and how to name another.

    Parameters
    ----------
    place : Path
        The folder or file.
    fault : OSError
        What the system said.
    other : str
        The option or setting that names another place.

    Returns
    -------
    SourceError
        To be raised.
    """
    in_the_way = fault.errno in (errno.EEXIST, errno.ENOTDIR)
    why = "a file stands where a folder is needed" if in_the_way else str(fault.strerror)
    return SourceError(
        f"{place}: cannot write there ({why}); free the place or name another with {other}"
    )
