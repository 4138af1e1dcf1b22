"""Overrides in the settings file: who, why, until when; each fault names its key."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.settings_file import load_settings

SOURCES = "".join(
    f'[sources.{name}]\npath = "{name}.csv"\n'
    for name in ("units", "pivots", "readings", "repairs")
)
WORD = """
[[overrides]]
pivot_id = "MD-014.1.left.fixed-eye"
decision = "leave"
reason = "sold on the 20th"
by = "the foreman"
until = 2026-12-31
"""


def loaded(folder: Path, text: str) -> Path:
    file = folder / "settings.toml"
    file.write_text(SOURCES + text, encoding="utf-8")
    return file


def test_an_override_is_read_whole(tmp_path: Path) -> None:
    (word,) = load_settings(loaded(tmp_path, WORD)).overrides
    assert (word.decision, word.by, word.until) == ("leave", "the foreman", dt.date(2026, 12, 31))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (WORD.replace("until", "untill"), r"untill; the nearest known key is 'until'"),
        (WORD.replace('by = "the foreman"\n', ""), r"overrides\.0\.by is missing"),
        (WORD.replace("leave", "ignore"), r"overrides\.0\.decision = 'ignore'"),
        (WORD.replace("2026-12-31", '"soon"'), r"overrides\.0\.until = 'soon'"),
        (WORD * 2, r"MD-014\.1\.left\.fixed-eye is overridden twice"),
        ("[decision]\nbudget_per_month = -1\n", r"decision\.budget_per_month = -1"),
        ("[fleet]\nrepeat_within_miles = 0\n", r"fleet\.repeat_within_miles = 0"),
    ],
)
def test_faults_name_their_key(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        load_settings(loaded(tmp_path, text))
