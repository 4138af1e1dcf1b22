"""Suspect free plays: zeros that nobody measured, wrong units, a number that is always the same.

A play is held against the other plays of the same bushing, which only grow, and against the
other lines of its sheet and of its inspector. What is marked here changes nothing by itself.

Not here: rows and odometers that look wrong; what is left out of the fits.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.findings import FAILURE_FINDINGS
from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.life_readings import SHEET_OF_ZEROS
from pivotlife.pipeline.repair_places import CLEAR_PLAY_MM
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.suspect_kinds import day_text, found, gathered

Mask = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

MM_PER_INCH: Final = 25.4
#: As many times the play of its neighbours makes a play in inches look like millimetres.
FAR_FROM_NEIGHBOURS: Final = 4.0
#: Neighbours below this play are compared as if they had it: gauges do not tell them apart.
SMALL_PLAY_MM: Final = 0.5
#: A play that no bushing keeps driving with; without neighbours only such a one is doubted.
HUGE_PLAY_MM: Final = 8.0
#: Millimetres are read to tenths or hundredths: more decimals were meant as inches.
MM_DECIMALS: Final = 2
#: Plays of one inspector on several days, and the share that must be one number.
SAME_NUMBER_READINGS: Final = 15
SAME_NUMBER_SHARE: Final = 0.8
SAME_NUMBER_DAYS: Final = 3

#: Table -> column of the play that its rows carry.
PLAY_COLUMNS: Final = {"readings": "free_play", "repairs": "teardown_free_play"}


def suspect_plays(judged: Judged, readings: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """List the free plays that look wrong.

    Parameters
    ----------
    judged : Judged
        Its withheld rows hold the plays of more than an inch.
    readings : DataFrame
        Readings by life with `life_id, age_miles, limit_mm, is_over, is_suspect`
        (`Histories.readings`).
    settings : Settings
        The age from which a zero on metal is suspect.

    Returns
    -------
    DataFrame
        Columns `suspect_kinds.FOUND_COLUMNS`.
    """
    read = readings.reset_index(drop=True)
    units = gathered([_whole_inches(read), _like_millimetres(read)])
    return gathered(
        [
            *_zeros(read, settings.judge.zero_suspect_miles),
            _same_number(read),
            *(part for table in PLAY_COLUMNS for part in _beyond_an_inch(judged, table)),
            units,
            _shrunk(read, units),
        ]
    )


def _zeros(read: pd.DataFrame, zero_suspect_miles: float) -> list[pd.DataFrame]:
    """Zeros on a sheet of nothing else; else those past an age or after a clear play."""
    play = read["free_play_mm"].to_numpy(dtype=float)
    explained = read["finding"].isin(FAILURE_FINDINGS) | read["takes_grease"].eq("no")
    zero = (play == 0.0) & ~explained.to_numpy()
    metal = read["limit_mm"].notna().to_numpy()
    counted = metal & np.isfinite(play) & read["after_repair"].ne("yes").to_numpy()
    sheet = [read["unit_id"], read["reading_date"]]
    zeros = pd.Series(counted & (play == 0.0)).groupby(sheet).transform("sum").to_numpy(dtype=int)
    lines = pd.Series(counted).groupby(sheet).transform("sum").to_numpy(dtype=int)
    whole = zero & counted & (zeros >= SHEET_OF_ZEROS) & (zeros == lines)
    before = _largest_before(read)
    clear = before >= CLEAR_PLAY_MM
    age = read["age_miles"].to_numpy(dtype=float)
    # Of unknown age: suspect where it may be that old.
    old = metal & ((age > zero_suspect_miles) | (np.isnan(age) & read["is_suspect"].to_numpy()))
    alone = zero & ~whole & (clear | old)
    sheets = [f"all {count} metal pivots of the sheet read zero" for count in zeros[whole].tolist()]
    ages = [f"{miles:,.0f}" if np.isfinite(miles) else "unknown" for miles in age[alone]]
    said = [
        f"0 after {earlier:.2f} mm on the same bushing"
        if is_clear
        else f"0 on a metal bushing of {miles} miles"
        for earlier, is_clear, miles in zip(before[alone], clear[alone], ages, strict=True)
    ]
    return [
        found(read[whole], "sheet-of-zeros", "free_play", sheets),
        found(read[alone], "zero-not-measured", "free_play", said),
    ]


def _largest_before(read: pd.DataFrame) -> Floats:
    """Largest play read on the same bushing on an earlier day; minus infinity without one."""
    plays = read["free_play_mm"].fillna(-np.inf)
    by_day = plays.groupby([read["life_id"], read["reading_date"]]).max()
    largest = by_day.groupby(level=0).cummax().groupby(level=0).shift(1, fill_value=-np.inf)
    place = pd.MultiIndex.from_arrays([read["life_id"], read["reading_date"]])
    return largest.reindex(place).to_numpy(dtype=float)


def _same_number(read: pd.DataFrame) -> pd.DataFrame:
    """Plays of an inspector who nearly always reports one number.

    Zeros on rubber do not count: a rubber-bonded bushing has no play until it is worn.
    """
    play = read["free_play_mm"].round(3)
    counts = play.notna() & read["inspector"].ne("") & ~(play.eq(0.0) & read["limit_mm"].isna())
    own = read[counts].assign(play=play[counts])
    by_number = own.groupby(["inspector", "play"], as_index=False).agg(
        same=("play", "size"), days=("reading_date", "nunique")
    )
    by_number["all"] = by_number["inspector"].map(own["inspector"].value_counts())
    always = by_number[
        by_number["all"].ge(SAME_NUMBER_READINGS)
        & by_number["days"].ge(SAME_NUMBER_DAYS)
        & by_number["same"].ge(SAME_NUMBER_SHARE * by_number["all"])
    ]
    rows = own.reset_index().merge(always, on=["inspector", "play"]).set_index("index")
    said = [
        f"{who} wrote {number:.2f} mm in {same} of {of} readings on {days} days"
        for who, number, same, of, days in zip(
            rows["inspector"], rows["play"], rows["same"], rows["all"], rows["days"], strict=True
        )
    ]
    return found(read.loc[rows.index], "same-number", "free_play", said)


def _beyond_an_inch(judged: Judged, table: str) -> list[pd.DataFrame]:
    """Withheld plays of more than an inch that are a usual play in another unit."""
    column = PLAY_COLUMNS[table]
    rows = judged.withheld[table]
    too_large = rows["reasons"].str.contains(f"{column}.too_large", regex=False)
    rows = rows[too_large.to_numpy(dtype=bool) & rows["free_play_unit"].eq("in").to_numpy()]
    number = rows[f"{column}_mm"].to_numpy(dtype=float) / MM_PER_INCH
    whole = ~rows[f"{column}_as_written"].str.contains(".", regex=False).to_numpy(dtype=bool)
    thousandths = whole & (number <= 1_000.0)
    millimetres = ~whole & (number <= MM_PER_INCH)
    kinds = {
        "thousandths-as-inches": (thousandths, _thousandths),
        "millimetres-as-inches": (millimetres, _millimetres),
    }
    return [
        found(rows[here], kind, column, said(number[here])) for kind, (here, said) in kinds.items()
    ]


def _thousandths(numbers: Floats) -> list[str]:
    return [
        f"{x:g} in inches: thousandths? {x / 1000:.3f} in is {x * MM_PER_INCH / 1000:.2f} mm"
        for x in numbers.tolist()
    ]


def _millimetres(numbers: Floats) -> list[str]:
    return [f"{x:g} in inches would be {x * MM_PER_INCH:.1f} mm: millimetres?" for x in numbers]


def _whole_inches(read: pd.DataFrame) -> pd.DataFrame:
    """Just one inch of play passes the check of size; it is a thousandth all the same."""
    one = read["free_play_unit"].eq("in") & read["free_play_mm"].round(3).eq(MM_PER_INCH)
    rows = read[one & read["free_play_as_written"].str.strip().eq("1")]
    return found(rows, "thousandths-as-inches", "free_play", _thousandths(np.ones(len(rows))))


def _like_millimetres(read: pd.DataFrame) -> pd.DataFrame:
    """Plays in inches that are far from the bushing's others, and near them in millimetres."""
    play = read["free_play_mm"].to_numpy(dtype=float)
    number = play / MM_PER_INCH
    written = read["free_play_as_written"].astype(str)
    decimals = written.str.extract(r"\.(\d*)$", expand=False).fillna("").str.len().to_numpy()
    able = (
        read["free_play_unit"].eq("in").to_numpy()
        & (number > 0.0)
        & (number <= 1.0)
        & (decimals >= 1)
        & (decimals <= MM_DECIMALS)
        & ~read["finding"].isin(FAILURE_FINDINGS).to_numpy()
    )
    near, alone = _neighbours(read, play)
    expected = np.maximum(near, SMALL_PLAY_MM)
    far = (play >= FAR_FROM_NEIGHBOURS * expected) & (number <= FAR_FROM_NEIGHBOURS * expected)
    here = able & np.where(alone, play >= HUGE_PLAY_MM, far)
    said = [
        f"{text} in is {mm:.2f} mm"
        + ("" if is_alone else f", the same bushing read {other:.2f} mm before or after")
        + ": millimetres?"
        for text, mm, other, is_alone in zip(
            written[here], play[here], near[here], alone[here], strict=True
        )
    ]
    return found(read[here], "millimetres-as-inches", "free_play", said)


def _neighbours(read: pd.DataFrame, play: Floats) -> tuple[Floats, Mask]:
    """Larger of the last play before and the first after on the same bushing; none: NaN, True."""
    seen = pd.DataFrame(
        {"life": read["life_id"], "date": read["reading_date"], "play": play}
    ).dropna(subset=["play"])
    ordered = seen.sort_values(["life", "date"], kind="stable")
    group = ordered.groupby("life", sort=False)["play"]
    near = np.fmax(group.shift(1), group.shift(-1))
    values = np.full(len(read), np.nan)
    values[ordered.index.to_numpy()] = near
    return values, np.asarray(np.isnan(values), dtype=bool)


def _shrunk(read: pd.DataFrame, told: pd.DataFrame) -> pd.DataFrame:
    """Plays far over the limit that read less than half later: play does not shrink."""
    named = pd.MultiIndex.from_frame(told[["file", "row_number"]])
    keys = pd.MultiIndex.from_arrays([read["file"], read["row_number"]])
    rows = read[(read["is_suspect"] & read["is_over"]).to_numpy() & ~keys.isin(named)]
    said = [
        f"{play:.2f} mm on {day}, good again with less than half of it later on the same bushing"
        for play, day in zip(rows["free_play_mm"], day_text(rows["reading_date"]), strict=True)
    ]
    return found(rows, "play-shrank", "free_play", said)
