"""What a run reads: the sources of today, or what was known on a past day.

A run for the last kept day or a later one reads the sources and keeps what it read under its day,
never under a day that has not come yet. A run for an earlier day takes the rows as they were known
then and leaves the sources alone. A day before the store begins can only be answered by today's
sources, cut at that day; the run's notes say so. A run for today reads the sources whatever the
store says.

Not here: the store itself (`store`), cutting rows dated or entered later (`known_rows`).
"""

from __future__ import annotations

import datetime as dt
import os
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.sources import read_sources

if TYPE_CHECKING:
    import pandas as pd

    from pivotlife.pipeline.store_delta import Store

_FROM_ENVIRONMENT: Final = re.compile(r"\$\{([A-Za-z_][A-Za-z0-9_]*)\}")
_ADDRESS: Final = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")


@dataclass(frozen=True)
class Taken:
    """What a run reads.

    Attributes
    ----------
    tables : dict of str to RawTable
        As read, now or then.
    batch : int, optional
        Number of the store's batch that holds them; None when the store does not.
    notes : tuple of str
        What a reader of the run must know about it.
    """

    tables: dict[str, RawTable]
    batch: int | None = None
    notes: tuple[str, ...] = ()


def take_in(settings: Settings, day: dt.date, today: dt.date | None = None) -> Taken:
    """Read what was known on a day, and keep it when it is new.

    Parameters
    ----------
    settings : Settings
        Their sources and their store.
    day : date
        The day the run stands on.
    today : date, optional
        Today; by the clock in the schedule's time zone when left out.

    Returns
    -------
    Taken

    Raises
    ------
    SourceError
        When a source cannot be read, or the store cannot be read or written.
    SettingsError
        When the store's options name a variable that is not set.
    """
    store = store_of(settings)
    if store is None:
        return Taken(read_sources(settings))
    # The library behind the store takes its time to load: only a run that keeps waits for it.
    from pivotlife.pipeline.store import keep, kept_batches  # noqa: PLC0415  see above

    now = today or dt.datetime.now(ZoneInfo(settings.schedule.timezone)).date()
    batches = kept_batches(store)
    if len(batches) and day < min(now, batches["known_on"].iloc[-1]):
        return _taken_then(settings, store, day, batches)
    tables = read_sources(settings)
    kept = keep(store, tables, min(day, now), settings.folder)
    return Taken(tables, kept.batch)


def store_of(settings: Settings) -> Store | None:
    """Name the store of the settings; None when they keep nothing.

    Raises
    ------
    SettingsError
        When an option names a variable that is not set.
    """
    path = settings.store.path
    if not path:
        return None
    from pivotlife.pipeline.store_delta import Store  # noqa: PLC0415  as in take_in

    uri = path if _ADDRESS.match(path) else str((settings.folder / path).resolve())
    return Store(uri, {name: _filled(name, text) for name, text in settings.store.options.items()})


def _taken_then(settings: Settings, store: Store, day: dt.date, batches: pd.DataFrame) -> Taken:
    """Take the rows of a past day; of today's sources where the store does not reach back."""
    from pivotlife.pipeline.store import known_tables  # noqa: PLC0415  as in take_in

    known = batches[batches["known_on"] <= day]
    if known.empty:
        text = (
            f"The store begins on {batches['known_on'].iloc[0]}, after {day}: the rows are today's,"
            " as far as they were dated and entered by then; what was corrected or removed since"
            " cannot be undone."
        )
        return Taken(read_sources(settings), None, (text,))
    last = known.iloc[-1]
    text = (
        f"The rows are those known on {day}, as kept in the store on {last['known_on']}"
        f" (read at {last['read_at']}); prices, limits and other settings are today's."
    )
    return Taken(known_tables(store, day, settings.folder), int(last["batch"]), (text,))


def _filled(name: str, text: str) -> str:
    found = _FROM_ENVIRONMENT.fullmatch(text)
    if not found:
        return text
    if found[1] not in os.environ:
        raise SettingsError(f"store.options.{name}: the environment variable {found[1]} is not set")
    return os.environ[found[1]]
