"""Incomplete tables are named, all at once."""

from __future__ import annotations

from types import ModuleType

import pytest

from pivotlife.dashboards.inputs import PageError, PageInputs
from pivotlife.models.errors import PivotlifeError


def test_all_missing_tables_and_columns_are_named(factory: ModuleType) -> None:
    tables = dict(factory.small_tables())
    del tables["growth"]
    tables["prices"] = tables["prices"].drop(columns=["source", "date"])
    with pytest.raises(PageError, match=r"growth: the whole table; prices: source, date") as fault:
        PageInputs(as_of=factory.AS_OF, tables=tables, run={}, fleet_name="x")
    assert isinstance(fault.value, PivotlifeError)


def test_currency_comes_from_the_run(factory: ModuleType) -> None:
    assert factory.make_inputs().currency == "USD"
    assert factory.make_inputs(run={"currency": "CAD"}).currency == "CAD"
