"""Hands the small record sets of `history_factory` to the tests beside it."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def factory() -> ModuleType:
    """Return the module that builds tiny fleets; see its docstring."""
    path = Path(__file__).with_name("history_factory.py")
    spec = importlib.util.spec_from_file_location("pipeline_history_factory", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
