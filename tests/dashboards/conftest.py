from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


def _load(name: str) -> ModuleType:
    file = Path(__file__).with_name(f"{name}.py")
    spec = importlib.util.spec_from_file_location(name, file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def factory() -> ModuleType:
    """Invented tables with a handful of rows."""
    return _load("page_factory")


@pytest.fixture(scope="session")
def big_fleet() -> ModuleType:
    """Invented tables of a whole fleet."""
    return _load("big_fleet")
