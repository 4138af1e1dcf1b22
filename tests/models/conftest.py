"""Invented lives for the tests of the survival rooms."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def _load(name: str) -> ModuleType:
    file = Path(__file__).with_name(f"{name}.py")
    spec = importlib.util.spec_from_file_location(name, file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def survival() -> ModuleType:
    """Invented lives under a known law: `mixed_lives`, `table_of_lives`."""
    return _load("survival_factory")


@pytest.fixture(scope="session")
def work() -> ModuleType:
    """Invented shortlist lines, prices and bay hours."""
    return _load("work_factory")


@pytest.fixture(scope="session")
def fleets() -> ModuleType:
    """Invented pivots in service whose play grows under a known law: `fleet`."""
    return _load("fleet_factory")
