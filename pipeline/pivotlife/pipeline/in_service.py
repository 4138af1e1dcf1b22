"""The bushings that are in service today, one row per pivot of a unit still in the fleet.

Not here: what to do about them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.pipeline.life_context import last_play


def in_service(
    spans: pd.DataFrame, lives: pd.DataFrame, flagged: pd.DataFrame, records: pd.DataFrame
) -> pd.DataFrame:
    """List the pivots of the fleet with what is in them and how it last read.

    Parameters
    ----------
    spans, lives : DataFrame
        Row for row the same lives.
    flagged : DataFrame
        Readings with `span`.
    records : DataFrame
        From `unit_records`; units that left are no longer in the fleet.

    Returns
    -------
    DataFrame
        `pivot_id, unit_id, depot, duty, road_salt, axle, side, node, bushing_type, life_id,
        fitted_miles` (true miles at fitting; NaN unknown), `age_known, age_at_most_miles` (miles
        since the last fitting that is known, or since the truck was new: the age is at most
        that where an unplaced repair may have renewed it since), `age_at_least_miles` (miles since
        that repair, or since the unit's records begin), `last_good_miles` (age at the
        last good evidence; NaN where the age is unknown), `last_reading_date,
        last_reading_miles` (true miles), `last_free_play_mm` (largest of the last stop with a
        play), `limit_mm, limit_source,
        last_reading_source_row, holding_odometer_miles`.
    """
    here = spans["unit_id"].map(~records["left"]).to_numpy(dtype=bool)
    # A pivot whose bushing was taken out and not yet replaced has nothing in service.
    current = here & spans["is_open"].to_numpy()
    mine = spans[current]
    # The last known fitting of each pivot; a bushing of unknown age came no earlier than that.
    known_fitting = spans.groupby("pivot_id")["fitted_miles"].ffill().fillna(0.0).to_numpy()
    unit = records.reindex(mine["unit_id"])
    # What ended the bushing before may have begun this one; a first bushing was there already.
    begun = spans.groupby("pivot_id")["removed_miles"].shift()[current].to_numpy(dtype=float)
    begun = np.where(mine["number"] > 1, begun, unit["records_begin_miles"].to_numpy(dtype=float))
    begun = np.fmax(begun, known_fitting[current])
    last = _last_look(flagged).reindex(mine.index)
    play = last_play(flagged).reindex(mine.index)
    return (
        pd.DataFrame(
            {
                "pivot_id": mine["pivot_id"],
                "unit_id": mine["unit_id"],
                **{name: unit[name].to_numpy() for name in ("depot", "duty", "road_salt")},
                "axle": mine["axle"].astype(np.int64),
                **{name: mine[name] for name in ("side", "node", "bushing_type")},
                "life_id": lives["life_id"][current],
                "fitted_miles": mine["fitted_miles"],
                "age_known": mine["fitted_miles"].notna(),
                "age_at_most_miles": unit["last_seen_miles"].to_numpy() - known_fitting[current],
                "age_at_least_miles": unit["last_seen_miles"].to_numpy() - begun,
                "last_good_miles": lives["last_good_miles"][current],
                "last_reading_date": last["reading_date"],
                "last_reading_miles": last["true_miles"],
                "last_free_play_mm": play["free_play_mm"],
                "limit_mm": mine["limit_mm"],
                "limit_source": mine["limit_source"],
                "last_reading_source_row": last["source_row"],
                "holding_odometer_miles": unit["holding_odometer_miles"].to_numpy(),
            }
        )
        .reset_index(drop=True)
        .fillna({"last_reading_source_row": ""})
    )


def _last_look(flagged: pd.DataFrame) -> pd.DataFrame:
    """Last usable reading of each span: one that gave a play or a finding; the largest play."""
    usable = flagged[flagged["free_play_mm"].notna() | (flagged["finding"] != "")]
    ordered = usable.sort_values(
        ["span", "day", "free_play_mm"], kind="stable", na_position="first"
    )
    return ordered.drop_duplicates("span", keep="last").set_index("span")
