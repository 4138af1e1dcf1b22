"""What a run makes of the newest backtest: whose chances it does not trust, and what it says.

A bushing type whose past chances did not come true is not judged by growth of play: its life
curve and its findings speak instead, and list and pages say so. Without a backtest nothing
changes; one that stands on a later day than the run is not looked at.

Not here: the test itself (`models.backtest_calibration`).
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from pivotlife.models.backtest_calibration import NOT_CALIBRATED
from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.life_curves import ALL_DUTIES
from pivotlife.pipeline.publish import LATEST

#: Folder of the backtests within that of the runs.
FOLDER = "backtest"
#: Files of a backtest that are laid beside the run it speaks in.
SHOWN = ("backtest.html", "backtest.csv", "calibration.csv")


@dataclass(frozen=True)
class Trust:
    """The newest backtest that a run may know.

    Attributes
    ----------
    record : mapping
        Its record; empty without one.
    files : mapping of file name to bytes
        What the run's folder shows of it.
    """

    record: Mapping[str, Any] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)

    @property
    def distrusted(self) -> dict[str, str]:
        """Bushing types whose past chances did not come true, with the sentence that says so."""
        failed = [
            k for k, said in self.record.get("verdicts", {}).items() if said == NOT_CALIBRATED
        ]
        return {
            kind: (
                f"Past chances of {kind} bushings did not come true (backtest of"
                f" {self.record['as_of']}): the life curve and findings speak, not growth of play."
            )
            for kind in failed
        }

    def notes(self) -> list[str]:
        """Say what the backtest found, one sentence each; nothing without one."""
        return list(self.distrusted.values())


def newest_backtest(out: Path, day: dt.date) -> Trust:
    """Read the newest backtest of an output folder.

    Parameters
    ----------
    out : Path
        Folder of the runs.
    day : date
        The day the run stands on.

    Returns
    -------
    Trust
        Empty when there is none, it cannot be read, or it stands on a later day.
    """
    folder = out / FOLDER / LATEST
    try:
        record = json.loads((folder / "backtest.json").read_text(encoding="utf-8"))
        if dt.date.fromisoformat(record["as_of"]) > day:
            return Trust()
        _ = record["verdicts"], record["sentences"], record["lists"]
        return Trust(record, {name: (folder / name).read_bytes() for name in SHOWN})
    except (OSError, ValueError, KeyError, TypeError):
        return Trust()


def trusted_laws(laws: GrowthLaws, distrusted: Mapping[str, str]) -> GrowthLaws:
    """Take the growth laws of distrusted types out of the decision.

    Parameters
    ----------
    laws : GrowthLaws
    distrusted : mapping of bushing type to sentence

    Returns
    -------
    GrowthLaws
        The same object when every type is trusted.
    """
    if not distrusted:
        return laws
    kept = {key: law for key, law in laws.laws.items() if key[0] not in distrusted}
    refused = {key: said for key, said in laws.refused.items() if key[0] not in distrusted}
    refused |= {(kind, ALL_DUTIES): said.rstrip(".") for kind, said in distrusted.items()}
    return GrowthLaws(kept, refused)


def with_sentences(shortlist: pd.DataFrame, distrusted: Mapping[str, str]) -> pd.DataFrame:
    """Say on every line of a distrusted type, but for safety orders, what its chance rests on."""
    if not distrusted:
        return shortlist
    said = (
        shortlist["bushing_type"]
        .map(dict(distrusted))
        .fillna("")
        .where(~shortlist["mandatory"], "")
    )
    text = shortlist["reason"] + (" " + said).where(said != "", "")
    return shortlist.assign(reason=text)
