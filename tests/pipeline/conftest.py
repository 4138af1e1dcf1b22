"""Hands the helpers beside it to the tests: tiny fleets, small sources, disguised exports."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def _beside(name: str) -> ModuleType:
    path = Path(__file__).with_name(f"{name}.py")
    spec = importlib.util.spec_from_file_location(f"pipeline_{name}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def factory() -> ModuleType:
    """Return the module that builds tiny fleets; see its docstring."""
    return _beside("history_factory")


@pytest.fixture(scope="session")
def intake() -> ModuleType:
    """Return the module that writes small sources and their settings."""
    return _beside("intake_factory")


@pytest.fixture(scope="session")
def disguises() -> ModuleType:
    """Return the module that writes the invented fleet in foreign styles."""
    return _beside("disguise_factory")


@pytest.fixture(scope="session")
def exports() -> ModuleType:
    """Return the module that makes exports for the store, and writers in other processes."""
    return _beside("store_factory")
