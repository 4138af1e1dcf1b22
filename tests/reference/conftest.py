"""One way to the folder of published data sets, which are not part of this project."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest


@pytest.fixture(scope="session")
def published() -> Callable[[str], pd.DataFrame]:
    """Read a data set by file name; skip where the folder or the file is absent."""

    def read(name: str) -> pd.DataFrame:
        folder = os.environ.get("PIVOTLIFE_REFERENCE")
        if not folder:
            pytest.skip("PIVOTLIFE_REFERENCE does not name the folder of published data sets")
        path = Path(folder) / name
        if not path.exists():
            pytest.skip(f"the folder that PIVOTLIFE_REFERENCE names lacks {name}")
        return pd.read_csv(path)

    return read
