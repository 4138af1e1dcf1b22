"""The annotated example loads and equals the defaults."""

from __future__ import annotations

from pathlib import Path

from pivotlife.pipeline.example import example_settings
from pivotlife.pipeline.settings import Settings
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
