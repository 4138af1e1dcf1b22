"""Hands the builders of invented lives, work and fleets to the tests of the models."""

from __future__ import annotations

from types import ModuleType

import pytest

import backtest_factory
import demand_factory
import fleet_factory
import growth_factory
import survival_factory
import work_factory


@pytest.fixture(scope="session")
def survival() -> ModuleType:
    """Invented lives under a known law: `mixed_lives`, `table_of_lives`."""
    return survival_factory


@pytest.fixture(scope="session")
def work() -> ModuleType:
    """Invented shortlist lines, prices and bay hours."""
    return work_factory


@pytest.fixture(scope="session")
def fleets() -> ModuleType:
    """Invented pivots in service whose play grows under a known law: `fleet`."""
    return fleet_factory


@pytest.fixture(scope="session")
def factory() -> ModuleType:
    """Invented readings of play that grows under a known law: `readings`."""
    return growth_factory


@pytest.fixture(scope="session")
def backtests() -> ModuleType:
    """Invented forecasts of past lists and what was found afterwards."""
    return backtest_factory


@pytest.fixture(scope="session")
def demand() -> ModuleType:
    """Invented pivots with constant or Weibull chances, and their draws: `draw`."""
    return demand_factory
