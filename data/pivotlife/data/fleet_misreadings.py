"""Wrong numbers in the invented records: odometers and free play; and the log of all faults.

Not here: missing and swapped words (`fleet_faults`). All shares are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray, TextArray
from pivotlife.data.scenario import FaultShares


@dataclass
class FaultLog:
    """Faults so far: rows named by table and `key` until the files give them numbers."""

    pieces: list[pd.DataFrame] = field(default_factory=list)

    def add(
        self,
        table: str,
        rows: pd.DataFrame,
        *,
        column: str,
        kind: str,
        true: TextArray | IntArray | FloatArray,
        written: TextArray | IntArray | FloatArray | str,
        copied: bool = False,
    ) -> None:
        """Write down faults of `rows` (their `key` column) in one column."""
        if not len(rows):
            return
        facts: dict[str, Any] = {
            "table": table,
            "key": rows["key"].to_numpy(),
            "column": column,
            "kind": kind,
        }
        facts |= {"true_value": np.asarray(true).astype(str), "copied": copied}
        text = written if isinstance(written, str) else np.asarray(written).astype(str)
        self.pieces.append(pd.DataFrame({**facts, "written_value": text}))

    def frame(self) -> pd.DataFrame:
        """Return all faults: table, key, column, kind, true_value, written_value, copied."""
        if self.pieces:
            return pd.concat(self.pieces, ignore_index=True)
        names = ["table", "key", "column", "kind", "true_value", "copied", "written_value"]
        return pd.DataFrame(columns=names)


def misread_play(
    readings: pd.DataFrame, shares: FaultShares, rng: np.random.Generator, log: FaultLog
) -> None:
    """Enter zeros that were not measured, whole thousandths, and millimetres as inches.

    Parameters
    ----------
    readings : DataFrame
        `free_play` (text) and `free_play_unit`; free_play is changed in place.
    shares : FaultShares
    rng : numpy.random.Generator
    log : FaultLog
        Takes down each change.
    """
    draw = rng.random(len(readings))
    number = readings["free_play"].astype(float).to_numpy()
    inches = (readings["free_play_unit"] == "in").to_numpy() & (number > 0)
    bounds = np.cumsum(
        [shares.zero_not_measured, shares.thousandths_whole, shares.millimetres_as_inches]
    )
    kinds: list[tuple[str, BoolArray, Callable[[float], str]]] = [
        ("zero-not-measured", draw < bounds[0], lambda _: "0"),
        ("thousandths-whole", inches & (draw >= bounds[0]) & (draw < bounds[1]),
         lambda x: f"{x * 1000:.0f}"),
        ("millimetres-as-inches", inches & (draw >= bounds[1]) & (draw < bounds[2]),
         lambda x: f"{x * sc.MM_PER_INCH:.1f}"),
    ]  # fmt: skip
    for kind, here, typed in kinds:
        written = np.array([typed(x) for x in number[here].tolist()], dtype=object)
        true = readings.loc[here, "free_play"].to_numpy()
        log.add("readings", readings[here], column="free_play", kind=kind, true=true,
                written=written)  # fmt: skip
        readings.loc[here, "free_play"] = written


def mistype(number: int, rng: np.random.Generator) -> int:
    """Swap two digits, drop one, double one or hit a wrong one; never the same number."""
    digits = list(str(number))
    place = int(rng.integers(len(digits)))
    way = int(rng.integers(4))
    if way == 0 and place > 0 and digits[place] != digits[place - 1]:
        digits[place - 1], digits[place] = digits[place], digits[place - 1]
    elif way == 1 and len(digits) > 1:
        del digits[place]
    elif way == 2:
        digits.insert(place, digits[place])
    else:
        digits[place] = str((int(digits[place]) + int(rng.integers(1, 10))) % 10)
    typed = int("".join(digits))
    return typed if typed != number else number * 10 + 1


def spoil_odometers(
    frame: pd.DataFrame,
    table: str,
    shares: FaultShares,
    rng: np.random.Generator,
    log: FaultLog,
) -> None:
    """Mistype, roll back or write kilometres; at most one of these in a row.

    Parameters
    ----------
    frame : DataFrame
        `odometer` in whole miles; changed in place.
    table : str
        Name of the table, for the log.
    shares : FaultShares
    rng : numpy.random.Generator
    log : FaultLog
    """
    draw = rng.random(len(frame))
    bounds = np.cumsum([0.0, shares.odometer_typo, shares.rollback, shares.kilometres])
    shown = frame["odometer"].to_numpy(dtype=np.int64).copy()
    back = rng.integers(5_000, 60_000, len(frame))
    for i, kind in enumerate(("odometer-typo", "rollback", "kilometres")):
        here = (draw >= bounds[i]) & (draw < bounds[i + 1]) & (shown > 0)
        true = shown[here]
        if kind == "odometer-typo":
            written = np.array([mistype(x, rng) for x in true.tolist()], dtype=np.int64)
        elif kind == "rollback":
            written = np.maximum(true - back[here], true // 3)
        else:
            written = np.round(true * sc.KM_PER_MILE).astype(np.int64)
        log.add(table, frame[here], column="odometer", kind=kind, true=true, written=written)
        shown[here] = written
    frame["odometer"] = shown
