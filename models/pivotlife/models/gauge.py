"""How good the measurement is: a gauge study of parts, inspectors and trials.

Each of several inspectors reads each of several parts several times without seeing the earlier
figures. The spread of the readings is split into

- repeatability: the same inspector reads the same part again;
- reproducibility: inspectors differ, the same way on every part;
- interaction: inspectors differ, each part another way;
- part variation: the parts themselves differ.

The first three together are the gauge (``gauge_rr``). A complete study is split by the crossed
two-way analysis of variance with random effects (`gauge_squares`), one with missing readings by
restricted likelihood (`gauge_unbalanced`). The interaction is pooled with the error when its F test
has p above 0.25; both versions are always computed. A negative component is set to 0 and named.
(AIAG, Measurement Systems Analysis, 4th ed. 2010, ch. III; read second-hand.)

Not here: the figures derived from the split (`gauge_result`), intervals (`gauge_intervals`), spread
from repeats in the daily records (`gauge_history`), bias against a master, drift with time,
whether a gauge is good enough.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.errors import PivotlifeError
from pivotlife.models.gauge_result import GaugeComponents, GaugeStudy
from pivotlife.models.gauge_squares import (
    Cells,
    cells_of,
    components,
    interaction_p_value,
    line,
    pool_interaction,
    squares_table,
)
from pivotlife.models.gauge_unbalanced import Variances, reml

#: The interaction is pooled with the error when the p-value of its F test is above this.
POOL_ABOVE: Final = 0.25
COLUMNS: Final = ("part", "inspector", "trial", "free_play_mm")


class GaugeError(PivotlifeError, ValueError):
    """A study from which a component cannot be estimated; the text says which and why."""


def gauge_study(frame: pd.DataFrame, *, limit_mm: float | None = None) -> GaugeStudy:
    """Split the spread of the readings of a gauge study.

    Parameters
    ----------
    frame : DataFrame, one row per reading
        ``part``, ``inspector``, ``trial`` (text or numbers) and ``free_play_mm`` (float, mm). Rows
        without part, inspector or reading are left out and counted.
    limit_mm : float, mm, optional
        The free play at which a bushing is replaced.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    GaugeError
        A column is missing, a trial appears twice, or a component cannot be estimated: one part,
        one inspector, no repeats, repeats that never differ, or parts and inspectors that fall
        into separate groups.
    NoMaximumError
        Readings are missing and their likelihood has no best variances.
    """
    if limit_mm is not None and not (math.isfinite(limit_mm) and limit_mm > 0.0):
        raise GaugeError(f"the limit of free play is {limit_mm} mm; give one above 0 or none")
    readings = _usable(frame)
    cells = cells_of(
        pd.factorize(readings["part"])[0].astype(np.int64),
        pd.factorize(readings["inspector"])[0].astype(np.int64),
        readings["free_play_mm"].to_numpy(),
    )
    _refuse_what_cannot_be_estimated(cells)
    squares = squares_table(cells)
    pooled, with_interaction = _both_versions(cells, squares)
    p_value = interaction_p_value(squares)
    return GaugeStudy(
        method="anova" if cells.is_balanced else "reml",
        left_out=len(frame) - len(readings),
        cells=cells,
        mean_squares=squares,
        interaction_p_value=p_value,
        interaction_kept=p_value <= POOL_ABOVE,
        pooled=pooled,
        with_interaction=with_interaction,
        limit_mm=math.nan if limit_mm is None else float(limit_mm),
    )


def _usable(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that are complete, or say what is wrong with the table."""
    missing = [name for name in COLUMNS if name not in frame.columns]
    if missing:
        raise GaugeError(f"the gauge study lacks the column {' and '.join(missing)}; add it")
    try:
        play = frame["free_play_mm"].astype(np.float64)
    except (TypeError, ValueError) as error:
        raise GaugeError(
            "the column free_play_mm of the gauge study holds text that is no number; correct it"
        ) from error
    named = frame["part"].notna() & frame["inspector"].notna()
    named &= (frame["part"] != "") & (frame["inspector"] != "")
    usable = frame.assign(free_play_mm=play)[named & np.isfinite(play)]
    if usable.empty:
        raise GaugeError(
            f"none of the {len(frame)} rows of the gauge study has part, inspector and free play; "
            "fill them in"
        )
    key = ["part", "inspector", "trial"]
    twice = usable.duplicated(key)
    if twice.any():
        part, inspector, trial = (usable.loc[twice, name].iloc[0] for name in key)
        raise GaugeError(
            f"{int(twice.sum())} readings of the gauge study repeat a part, inspector and trial; "
            f"the first is part {part}, inspector {inspector}, trial {trial}. "
            "Give each trial its own number"
        )
    return usable


def _refuse_what_cannot_be_estimated(cells: Cells) -> None:
    """Raise one `GaugeError` that names every component the readings cannot give."""
    faults = []
    if cells.n_inspectors < 2:
        faults.append("reproducibility cannot be estimated from one inspector; have two or more")
    if cells.n_parts < 2:
        faults.append("part variation cannot be estimated from one part; measure several")
    if cells.within_df < 1:
        faults.append(
            "repeatability cannot be estimated: no inspector read a part twice; repeat the trials"
        )
    elif cells.within_squares == 0.0:
        faults.append(
            "repeatability cannot be estimated: no repeat differs from the first reading, so the "
            "spread is hidden below the step of recording; write down more decimals"
        )
    if min(cells.n_inspectors, cells.n_parts) > 1 and cells.separate_groups > 1:
        faults.append(
            f"inspectors and parts fall into {cells.separate_groups} groups without a common part, "
            "so part variation and reproducibility cannot be told apart; let inspectors share parts"
        )
    if faults:
        raise GaugeError("; ".join(faults))


def _both_versions(cells: Cells, squares: pd.DataFrame) -> tuple[GaugeComponents, GaugeComponents]:
    """Return the split with the interaction pooled, and with it kept."""
    if cells.is_balanced:
        pooled = _variances_of(pool_interaction(squares), cells)
        kept = _variances_of(squares, cells)
    else:
        pooled = reml(cells, interaction=False)
        has_freedom = line(squares, "interaction")[1] > 0
        kept = reml(cells, interaction=True) if has_freedom else pooled
    return _named(pooled, interaction=False), _named(kept, interaction=kept is not pooled)


def _variances_of(squares: pd.DataFrame, cells: Cells) -> Variances:
    """Return the components of a complete study, negative ones included."""
    mean = {str(row.source): np.array(row.mean_square) for row in squares.itertuples()}
    found = components(mean, cells)
    return Variances(*(float(found[k]) for k in ("part", "inspector", "interaction", "error")))


def _named(found: Variances, *, interaction: bool) -> GaugeComponents:
    """Return standard deviations; components at or below 0 become 0 and are listed."""
    variances = {
        "repeatability": found.error,
        "reproducibility": found.inspector,
        "interaction": found.interaction,
        "part_variation": found.part,
    }
    zero = [name for name, variance in variances.items() if variance <= 0.0]
    sd = {name: math.sqrt(max(variance, 0.0)) for name, variance in variances.items()}
    return GaugeComponents(
        **sd, set_to_zero=tuple(name for name in zero if interaction or name != "interaction")
    )
