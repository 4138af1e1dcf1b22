"""Hands the builders to the tests: tiny fleets, small sources, disguised exports."""

from __future__ import annotations

from types import ModuleType

import pytest

import disguise_factory
import history_factory
import intake_factory


@pytest.fixture(scope="session")
def factory() -> ModuleType:
    """Return the module that builds tiny fleets; see its docstring."""
    return history_factory


@pytest.fixture(scope="session")
def intake() -> ModuleType:
    """Return the module that writes small sources and their settings."""
    return intake_factory


@pytest.fixture(scope="session")
def disguises() -> ModuleType:
    """Return the module that writes the invented fleet in foreign styles."""
    return disguise_factory
