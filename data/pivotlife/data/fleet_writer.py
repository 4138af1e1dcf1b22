"""Writes the invented fleet's files, block by block, so that memory holds one block only.

Not here: what stands in the files.
"""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path
from string import Template

import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_columns import ID_PREFIX, NATIVE_COLUMNS, ROW_ID, TRUTH_COLUMNS

SETTINGS_TEMPLATE = Template(
    """\
# $fleet: an invented fleet. Every unit, reading, repair and price in these files is invented.
# The records end on $end: run with the as-of date $end.
# What nobody in the shop could know (true lives, injected faults) lies in truth/ and is not read.

$sources
[intervals.line-haul]
pm_miles = $line_haul_pm
lube_miles = $line_haul_lube

[intervals.regional]
pm_miles = $regional_pm
lube_miles = $regional_lube

[intervals.vocational]
pm_miles = $vocational_pm
lube_miles = $vocational_lube

[publish]
out = "out"
fleet_name = "Meridell Demo Fleet (invented)"

[random]
seed = $seed
"""
)


def write_settings(folder: Path, end: date, seed: int) -> None:
    """Write a settings.toml that runs as it is on the files beside it."""
    sources = "".join(f'[sources.{t}]\npath = "{t}.csv"\n\n' for t in NATIVE_COLUMNS)
    intervals = {}
    for i, duty in enumerate(sc.DUTIES):
        name = duty.replace("-", "_")
        intervals[f"{name}_pm"] = int(sc.PM_MILES[i])
        intervals[f"{name}_lube"] = int(sc.LUBE_MILES[i])
    text = SETTINGS_TEMPLATE.substitute(
        fleet=sc.FLEET_NAME, end=end.isoformat(), sources=sources, seed=seed, **intervals
    )
    (folder / "settings.toml").write_text(text, encoding="utf-8")


class FleetWriter:
    """Appends rows to the CSV files of one folder and counts them.

    Parameters
    ----------
    folder : Path
        Made if absent; files of the same names are replaced.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.rows: Counter[str] = Counter()
        self.named: Counter[str] = Counter()
        (folder / "truth").mkdir(parents=True, exist_ok=True)

    def append(self, name: str, frame: pd.DataFrame) -> None:
        """Append rows to `name`.csv, with the header when it is the first time."""
        first = name not in self.rows
        path = self.folder / f"{name}.csv"
        with path.open("w" if first else "a", encoding="utf-8", newline="") as file:
            frame.to_csv(file, header=first, index=False, lineterminator="\n")
        self.rows[name] += len(frame)

    def append_table(self, name: str, frame: pd.DataFrame) -> pd.DataFrame:
        """Append a native table, naming its rows.

        Parameters
        ----------
        name : str
        frame : DataFrame
            Native columns (but for an id still to be given), with `key` and `copied`.

        Returns
        -------
        DataFrame
            key, copied, row_id, row_number (line in the file, the header being 1), in order.
        """
        number = self.rows[name] + 2 + pd.RangeIndex(len(frame))
        if name in ID_PREFIX:
            order = self.named[name] + (~frame["copied"].astype(bool)).cumsum()
            ids = [f"{ID_PREFIX[name]}-{n:06d}" for n in order]
            frame = frame.assign(**{ROW_ID[name]: ids})
            self.named[name] += int((~frame["copied"].astype(bool)).sum())
        row_id = frame[ROW_ID[name]] if name in ROW_ID else [f"row {n}" for n in number]
        self.append(name, frame[list(NATIVE_COLUMNS[name])])
        facts = {"key": frame["key"], "copied": frame["copied"], "row_id": row_id}
        return pd.DataFrame({**facts, "row_number": number})

    def append_truth(self, name: str, frame: pd.DataFrame) -> None:
        """Append rows to a file in truth/."""
        self.append(f"truth/{name}", frame[list(TRUTH_COLUMNS[name])])
