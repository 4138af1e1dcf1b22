"""The annotated example loads and equals the defaults."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pivotlife.pipeline.example import MAPPED, MAPPING, example_settings
from pivotlife.pipeline.mapping_rules import mapping_faults
from pivotlife.pipeline.settings import Settings, SourceSettings
from pivotlife.pipeline.settings_file import load_settings


def test_the_example_is_the_defaults(tmp_path: Path) -> None:
    file = tmp_path / "settings.toml"
    file.write_text(example_settings(), encoding="utf-8")
    loaded = load_settings(file)
    plain = Settings.model_validate({"sources": {}})
    assert loaded.model_dump(exclude={"sources"}) == plain.model_dump(exclude={"sources"})


def test_the_example_names_every_key() -> None:
    text = example_settings()
    for name in Settings.model_fields:
        if name not in {"folder", "file", "digest"}:
            assert f"[{name}" in text
    assert "measure_miles" in text
    assert "Price(" not in text


def test_the_shown_mapping_is_one_that_loads() -> None:
    shown = [line[2:] for line in MAPPING.splitlines() if not line.startswith("# --")]
    database = [line for line in shown if line.startswith(("url", "query"))]
    assert len(database) == 2
    for left_out in (database, [line for line in shown if line.startswith("path")]):
        text = "\n".join(line for line in shown if line not in left_out)
        read = tomllib.loads(f"[sources.{MAPPED}]\n{text}")["sources"][MAPPED]
        assert mapping_faults(MAPPED, SourceSettings.model_validate(read)) == []
    keys = {field.alias or name for name, field in SourceSettings.model_fields.items()}
    for key in keys:
        assert any(key in line for line in shown), key
