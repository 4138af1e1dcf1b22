"""Sizes measured at a pivot on an inspection: they complete and confirm what is on record.

The kit is chosen by the sizes of the units table. Where that lacks one, the latest measured at the
pivot stands in. Where both are there and differ by more than a rule reads, neither is believed: the
line says which to measure again, and no kit is named.

Not here: which kit agrees (`kit_match`); changing the record, which a person does.
"""

from __future__ import annotations

from typing import Final

import pandas as pd

from pivotlife.models.kit_match import MEASURE, SIZES

#: Two honest measurements of one size differ by no more (common practice, no source).
RULE_MM: Final = 1.0


def measured_sizes(readings: pd.DataFrame) -> pd.DataFrame:
    """Take the latest measured size of each pivot.

    Parameters
    ----------
    readings : DataFrame
        Judged readings: pivot_id, reading_date and the columns of `SIZES`, millimetres.

    Returns
    -------
    DataFrame, index pivot_id
        The columns of `SIZES` (NaN = never measured) and `measured_on` (the latest day).
    """
    names = list(SIZES)
    told = readings[(readings["pivot_id"] != "") & readings[names].notna().any(axis=1)]
    told = told.sort_values("reading_date", kind="stable")
    latest = told.groupby("pivot_id")[[*names, "reading_date"]].last()
    return latest.rename(columns={"reading_date": "measured_on"})


def completed(lines: pd.DataFrame, measured: pd.DataFrame) -> pd.DataFrame:
    """Fill sizes that are not on record with those measured at the pivot.

    Parameters
    ----------
    lines : DataFrame
        pivot_id and the columns of `SIZES` as on record, millimetres.
    measured : DataFrame
        From `measured_sizes`.
    """
    at = measured.reindex(lines["pivot_id"])
    filled = {
        size: lines[size].fillna(pd.Series(at[size].to_numpy(), lines.index)) for size in SIZES
    }
    return lines.assign(**filled)


def confirmed(matches: pd.DataFrame, lines: pd.DataFrame, measured: pd.DataFrame) -> pd.DataFrame:
    """Say of each match what was measured at the pivot, and take back what that contradicts.

    Parameters
    ----------
    matches : DataFrame
        From `match_kits`, row for row with `lines`.
    lines : DataFrame
        pivot_id and the sizes on record, before `completed`.
    measured : DataFrame
        From `measured_sizes`.

    Returns
    -------
    DataFrame
        `matches` with `kit_id, verdict, decides, detail` changed where a size was measured.
    """
    changed = matches.copy()
    at = measured.reindex(lines["pivot_id"])
    for place in range(len(lines)):
        found = at.iloc[place]
        sizes = [size for size in SIZES if pd.notna(found[size])]
        if not sizes:
            continue
        row, index = lines.iloc[place], matches.index[place]
        day = f"{found['measured_on']:%Y-%m-%d}"
        apart = [size for size in sizes if abs(found[size] - row[size]) > RULE_MM]
        if apart:
            told = " and ".join(
                f"the {SIZES[size]} measured on {day} is {found[size]:.1f} mm, on record"
                f" {row[size]:.1f} mm"
                for size in apart
            )
            changed.loc[index, ["kit_id", "verdict", "decides", "detail"]] = [
                "", MEASURE, SIZES[apart[0]], f"{told[0].upper()}{told[1:]}: measure again.",
            ]  # fmt: skip
        else:
            names = ", ".join(SIZES[size] for size in sizes)
            detail = f"{matches.loc[index, 'detail']} Measured at the pivot by {day}: {names}."
            changed.loc[index, "detail"] = detail
    return changed
