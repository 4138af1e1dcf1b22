"""How a command ends: every fault becomes one line on standard error and an exit code.

0 done; 1 done and a person must act today; 2 wrong input, settings or place to write; 3 a fault of
this program; 130 stopped from the keyboard.

Not here: the commands (`cli`).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import traceback
from collections.abc import Iterator
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from pivotlife.models.errors import PivotlifeError
from pivotlife.pipeline.entry import STOPPED, STOPPED_TEXT
from pivotlife.pipeline.errors import SettingsError

DONE, ACT_TODAY, WRONG_INPUT, INTERNAL_FAULT = 0, 1, 2, 3

#: What a system refuses for reasons that lie outside this program.
_REFUSALS: Final = frozenset(
    {
        *(errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOSPC, errno.EDQUOT, errno.ENOTDIR),
        *(errno.EISDIR, errno.EEXIST, errno.ENAMETOOLONG, errno.EIO),
    }
)


@contextlib.contextmanager
def exit_codes(verbose: bool) -> Iterator[None]:
    """Turn what goes wrong inside into one line and an exit code.

    Parameters
    ----------
    verbose : bool
        On a fault of this program print where it happened as well.

    Raises
    ------
    typer.Exit
        With the code of the fault.
    """
    try:
        yield
    except PivotlifeError as fault:
        typer.echo(f"pivotlife: {fault}", err=True)
        raise typer.Exit(WRONG_INPUT) from None
    except KeyboardInterrupt:
        typer.echo(STOPPED_TEXT, err=True)
        raise typer.Exit(STOPPED) from None
    except (typer.Exit, typer.BadParameter):
        raise
    except Exception as fault:  # noqa: BLE001  the outermost frame: what is left has exit 3
        if isinstance(fault, OSError) and fault.errno in _REFUSALS:
            typer.echo(f"pivotlife: {_refusal(fault)}", err=True)
            raise typer.Exit(WRONG_INPUT) from None
        if verbose:
            traceback.print_exc()
        typer.echo(
            f"pivotlife: a fault of this program, not of your input: {fault!r}; "
            "nothing was published (--verbose shows where it happened)",
            err=True,
        )
        raise typer.Exit(INTERNAL_FAULT) from None


def _refusal(fault: OSError) -> str:
    place = f"{fault.filename}: " if fault.filename else ""
    return (
        f"{place}the system refuses it ({fault.strerror}); look at the place, its rights and its "
        "room, or choose another. The last complete run is untouched"
    )


def day_of(text: str | None, timezone: str = "UTC", option: str = "--as-of") -> dt.date:
    """Read the day that an option names; today in a time zone when it names none.

    Parameters
    ----------
    text : str or None
        What the user wrote.
    timezone : str
        Where "today" is.
    option : str
        How an error calls it.

    Returns
    -------
    date

    Raises
    ------
    SettingsError
        When the text is no day, or the time zone none.
    """
    if text is None:
        try:
            return dt.datetime.now(ZoneInfo(timezone)).date()
        except (ZoneInfoNotFoundError, ValueError):
            raise SettingsError(f"schedule.timezone = {timezone!r}: no such time zone") from None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise SettingsError(f"{option} {text!r}: not a day; write it as YYYY-MM-DD") from None
