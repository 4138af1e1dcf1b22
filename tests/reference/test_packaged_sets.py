"""Data sets from packages are those of the folder of published sets, row by row."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import pytest

NAMES = (
    *("diesel_fans.csv", "turbine_part_cracks_interval.csv", "insulating_fluid_four_groups.csv"),
    *("valve_seats_recurrences.csv", "recidivism_left_truncated_aft.csv"),
)


def test_every_packaged_set_is_named(packaged: dict[str, Callable[[], pd.DataFrame]]) -> None:
    assert set(packaged) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_package_holds_the_same_rows(
    name: str,
    packaged: dict[str, Callable[[], pd.DataFrame]],
    in_folder: Callable[[str], pd.DataFrame],
) -> None:
    ours, theirs = packaged[name](), in_folder(name)
    columns = [column for column in ours.columns if column in theirs.columns]
    assert len(columns) >= 2
    pd.testing.assert_frame_equal(
        ours[columns].astype(float).reset_index(drop=True),
        theirs[columns].astype(float).reset_index(drop=True),
    )


@pytest.mark.parametrize(("name", "rows"), list(zip(NAMES, (70, 9, 41, 89, 432), strict=True)))
def test_the_package_holds_as_many_rows_as_were_published(
    name: str, rows: int, packaged: dict[str, Callable[[], pd.DataFrame]]
) -> None:
    assert len(packaged[name]()) == rows
