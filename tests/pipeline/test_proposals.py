"""Twenty exports in disguise: how many columns are recognised, and none wrongly.

The headers of the disguises and the synonyms of the program come from the same general knowledge
of the trade, so that the score speaks of that vocabulary and of ways of writing it, not of every
fleet's own names.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pandas as pd
import pytest

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import required_columns
from pivotlife.pipeline import cli, exit_codes
from pivotlife.pipeline.check import check_sources
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.proposals import known_unit_ids, propose_columns
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.text_table import TEXT

STYLES = 20
ENOUGH = 0.9
REQUIRED = {name: required_columns(schema) for name, schema in CONTRACTS.items()}


@pytest.fixture(scope="module")
def tables(small_fleet: Callable[..., Path]) -> dict[str, pd.DataFrame]:
    folder = small_fleet(units=12).parent
    return {
        name: pd.read_csv(folder / f"{name}.csv", dtype=TEXT, keep_default_na=False)
        for name in CONTRACTS
    }


def test_nine_columns_of_ten_are_recognised_and_none_wrongly(
    tables: dict[str, pd.DataFrame], disguises: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    right = columns = required = required_right = 0
    wrong: list[tuple[int, str, str, str]] = []
    for style in range(STYLES):
        export = disguises.disguise(tables, style, REQUIRED)
        unit_ids: frozenset[str] = frozenset()
        for name, frame in export.frames.items():
            pairs = propose_columns(frame.astype(TEXT), name, {}, unit_ids)
            if name == "units":
                unit_ids = known_unit_ids(frame, pairs)
            key = export.key[name]
            found = {pair.column: pair.header for pair in pairs}
            wrong += [(style, name, c, h) for c, h in found.items() if key.get(c) != h]
            hits = [column for column, header in key.items() if found.get(column) == header]
            right, columns = right + len(hits), columns + len(key)
            required += len(REQUIRED[name])
            required_right += len(set(hits) & set(REQUIRED[name]))
    with capsys.disabled():
        print(  # noqa: T201  the score is asked for
            f"\n{STYLES} disguised exports: {right} of {columns} columns ({right / columns:.1%}) "
            f"proposed right, {len(wrong)} wrong; required: {required_right} of {required}"
        )
    assert right / columns >= ENOUGH
    assert [one for one in wrong if one[2] in REQUIRED[one[1]]] == []
    assert len(wrong) <= 0.01 * columns


@pytest.mark.parametrize("style", [1, 3, 4])
def test_a_pasted_proposal_reads_the_fleet_as_it_was(
    tables: dict[str, pd.DataFrame], disguises: ModuleType, tmp_path: Path, style: int
) -> None:
    export = disguises.disguise(tables, style, REQUIRED)
    text = ""
    for name, frame in export.frames.items():
        frame.to_csv(tmp_path / f"{name}.csv", index=False)
        plain = tables[name][[*export.key[name]]]
        plain.to_csv(tmp_path / f"{name}-plain.csv", index=False)
        text += f'[sources.{name}]\npath = "{name}.csv"\n'
    (tmp_path / "settings.toml").write_text(text, encoding="utf-8")
    outcome = check_sources(load_settings(tmp_path / "settings.toml"))
    assert "lacks the column" in outcome.refused
    assert outcome.text.startswith("# Proposed by likeness")
    known = tomllib.loads(outcome.text)["sources"]
    (tmp_path / "pasted.toml").write_text(_completed(known, export), encoding="utf-8")
    native = "".join(f'[sources.{name}]\npath = "{name}-plain.csv"\n' for name in tables)
    (tmp_path / "native.toml").write_text(native, encoding="utf-8")
    mine = judge(read_sources(load_settings(tmp_path / "pasted.toml")))
    theirs = judge(read_sources(load_settings(tmp_path / "native.toml")))
    for name in tables:
        ids = ["row_id", *[c for c in theirs.tables[name] if c in mine.tables[name]][:8]]
        pd.testing.assert_frame_equal(
            mine.tables[name][ids].drop(columns="file", errors="ignore"),
            theirs.tables[name][ids].drop(columns="file", errors="ignore"),
        )
        assert len(mine.withheld[name]) == len(theirs.withheld[name])


def _completed(sources: dict[str, Any], export: Any) -> str:
    """Write the proposal as settings, with what it left open filled in from the disguise's key."""
    lines = []
    for name, source in sources.items():
        lines.append(f"[sources.{name}]")
        lines += [f"{k} = {json.dumps(v)}" for k, v in source.items() if not isinstance(v, dict)]
        lines.append(f"[sources.{name}.columns]")
        lines += [f"{column} = {json.dumps(header)}" for column, header in export.key[name].items()]
        for column, rules in source.get("values", {}).items():
            assert set(rules.items()) <= {
                (said, meant) for said, meant in rules.items() if said in _codes(export, column)
            }
            lines.append(f"[sources.{name}.values.{column}]")
            lines += [f"{json.dumps(said)} = {json.dumps(meant)}" for said, meant in rules.items()]
    return "\n".join(lines) + "\n"


def _codes(export: Any, column: str) -> set[str]:
    return {word for codes in (export.codes.get(column, {}),) for word in codes.values()}


def test_the_command_prints_the_proposal_and_one_line(
    tables: dict[str, pd.DataFrame], disguises: ModuleType, tmp_path: Path
) -> None:
    from typer.testing import CliRunner

    for name, frame in disguises.disguise(tables, 2, REQUIRED).frames.items():
        frame.to_csv(tmp_path / f"{name}.csv", index=False)
    text = "".join(f'[sources.{name}]\npath = "{name}.csv"\n' for name in tables)
    (tmp_path / "settings.toml").write_text(text, encoding="utf-8")
    done = CliRunner().invoke(cli.app, ["check", str(tmp_path / "settings.toml")])
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "[sources.readings.columns]" in done.stdout
    assert done.stderr.startswith("pivotlife: units: units.csv: lacks the column")
    assert len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_native_files_call_for_nothing(tables: dict[str, pd.DataFrame]) -> None:
    for name, frame in tables.items():
        assert propose_columns(frame.assign(Plate="LX 1"), name, {}) == []
