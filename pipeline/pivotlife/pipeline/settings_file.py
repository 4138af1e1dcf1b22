"""Read the settings file and say in one line what is wrong with it.

Every fault of the file is collected before it is refused, and each names its key as the user
wrote it. Nothing is taken from the environment here: the password of a database is read when the
database is.

Not here: which keys exist (`settings`).
"""

from __future__ import annotations

import difflib
import hashlib
import tomllib
import types
import typing
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from pivotlife.pipeline.errors import SettingsError, one_line
from pivotlife.pipeline.mapping_rules import mapping_faults
from pivotlife.pipeline.settings import Price, Settings

TABLES = (
    "units",
    "pivots",
    "readings",
    "repairs",
    "lube",
    "odometer",
    "meters",
    "visits",
    "kits",
    "capacity",
    "gauge_study",
    "corrections",
    "sheets",
)
REQUIRED_TABLES = TABLES[:4]
INTERNAL_KEYS = frozenset({"folder", "file", "digest"})


def load_settings(path: Path) -> Settings:
    """Read and check a settings file.

    Parameters
    ----------
    path : Path
        The TOML file; paths inside it are relative to its folder.

    Returns
    -------
    Settings
        Typed settings with every default filled in.

    Raises
    ------
    SettingsError
        When the file is missing, is not TOML, or holds unknown keys or impossible values. All
        faults are named at once, on one line.
    """
    text = _read(path)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise SettingsError(one_line(f"{path}: not valid TOML: {fault}")) from None
    faults = _table_faults(values)
    internal = sorted(INTERNAL_KEYS & values.keys())
    faults += [_unknown((key,)) for key in internal]
    settings: Settings | None = None
    try:
        settings = Settings.model_validate(
            {
                **{k: v for k, v in values.items() if k not in internal},
                "folder": path.resolve().parent,
                "file": path,
                "digest": hashlib.sha256(text.encode()).hexdigest(),
            }
        )
    except ValidationError as error:
        faults += [_sentence(dict(fault)) for fault in error.errors()]
    else:
        faults += _mapping_faults(settings)
    if faults or settings is None:
        raise SettingsError(one_line(f"{path}: {'; '.join(dict.fromkeys(faults))}"))
    return settings


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SettingsError(
            f"{path}: no such settings file; `pivotlife simulate DIR` writes one to start from"
        ) from None
    except IsADirectoryError:
        raise SettingsError(f"{path}: is a folder; name the settings file inside it") from None
    except UnicodeDecodeError:
        raise SettingsError(
            f"{path}: is not UTF-8 text; save it as UTF-8 in the editor that wrote it"
        ) from None
    except OSError as fault:
        raise SettingsError(f"{path}: cannot be read ({fault.strerror})") from None


def _table_faults(values: dict[str, Any]) -> list[str]:
    sources = values.get("sources")
    if not isinstance(sources, dict):
        return []
    faults = [_nearest(f"sources.{name}", name, TABLES) for name in sources if name not in TABLES]
    missing = [name for name in REQUIRED_TABLES if name not in sources]
    if missing:
        needed = ", ".join(f"[sources.{name}]" for name in missing)
        faults.append(f"{needed} missing: units, pivots, readings and repairs are required")
    return faults


def _mapping_faults(settings: Settings) -> list[str]:
    named = [(name, source) for name, source in settings.sources.items() if name in TABLES]
    return [fault for name, source in named for fault in mapping_faults(name, source)]


def _sentence(fault: dict[str, Any]) -> str:
    place = tuple(part for part in fault["loc"] if not _is_union_branch(part))
    if fault["type"] == "extra_forbidden":
        return _unknown(place)
    key = ".".join(str(part) for part in place if part != "[key]")
    if fault["type"] == "missing":
        hint = "; `pivotlife check --example` prints every key" if key == "sources" else ""
        return f"{key} is missing{hint}"
    if "[key]" in fault["loc"]:
        return f"unknown key {key}: {fault['msg'].lower()}"
    if fault["type"] == "value_error":
        # A sentence of our own: it names what is wrong, as the user wrote it.
        return f"{key}: {fault['msg'].removeprefix('Value error, ')}"
    if fault.get("ctx", {}).get("class_name") == Price.__name__:
        told = 'write { value = 140, source = "whose figure", date = 2026-01-31 }'
        return f"{key} = {fault['input']!r}: a price carries its source and day; {told}"
    return f"{key} = {fault['input']!r}: {fault['msg'].lower()}"


def _is_union_branch(part: object) -> bool:
    """Pydantic names the branch of a union in the place of a fault; users never wrote it."""
    return isinstance(part, str) and (part == "Limit" or part.startswith("dict["))


def _unknown(place: Sequence[object]) -> str:
    *above, last = (str(part) for part in place)
    return _nearest(".".join([*above, last]), last, _keys_at(Settings, above))


def nearest_key(key: str, known: Sequence[str]) -> str:
    """Say that a dotted key is unknown, naming the nearest known one."""
    return _nearest(key, key, known)


def _nearest(key: str, last: str, known: Sequence[str]) -> str:
    close = difflib.get_close_matches(last, known, n=1, cutoff=0.0)
    hint = f"; the nearest known key is {close[0]!r}" if close else ""
    return f"unknown key {key}{hint}"


def _keys_at(model: Any, above: Sequence[str]) -> list[str]:
    """Names that may stand below a dotted place."""
    if isinstance(model, type) and issubclass(model, BaseModel):
        fields = {f.alias or name: f.annotation for name, f in model.model_fields.items()}
        if not above:
            return [name for name in fields if name not in INTERNAL_KEYS]
        return _keys_at(fields.get(above[0]), above[1:])
    origin = typing.get_origin(model)
    if origin is dict:
        return _keys_at(typing.get_args(model)[1], above[1:])
    if origin is tuple:
        return _keys_at(typing.get_args(model)[0], above[1:])
    if origin in (typing.Union, types.UnionType, typing.Annotated):
        for branch in typing.get_args(model):
            if names := _keys_at(branch, above):
                return names
    return []
