"""Hands the builders of invented page tables to the tests of the pages."""

from __future__ import annotations

from types import ModuleType

import pytest

import big_fleet as whole_fleet
import page_factory


@pytest.fixture(scope="session")
def factory() -> ModuleType:
    """Invented tables with a handful of rows."""
    return page_factory


@pytest.fixture(scope="session")
def big_fleet() -> ModuleType:
    """Invented tables of a whole fleet."""
    return whole_fleet
