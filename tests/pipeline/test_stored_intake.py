"""What a run reads: today's sources, or the rows as they were known on a past day."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from pivotlife.pipeline.errors import SettingsError, SourceError
from pivotlife.pipeline.settings import Settings, StoreSettings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.stored_intake import store_of, take_in

FIRST, SECOND, THIRD, TODAY = (dt.date(2026, 3, day) for day in (1, 5, 9, 20))


@pytest.fixture
def settings(tmp_path: Path, intake: ModuleType) -> Settings:
    return intake.write_settings(tmp_path)  # type: ignore[no-any-return]  a module found by its path has no types


def play(settings: Settings, day: dt.date, today: dt.date = TODAY) -> str:
    """Return the one reading's play as a run of that day reads it."""
    return str(take_in(settings, day, today).tables["readings"].frame["free_play"].iloc[0])


def write_play(settings: Settings, play: str) -> None:
    file = settings.folder / "readings.csv"
    head, row = file.read_text(encoding="utf-8").splitlines()
    cells = row.split(",")
    cells[7] = play
    file.write_text(f"{head}\n{','.join(cells)}\n", encoding="utf-8")


def test_a_past_day_is_read_from_the_store(settings: Settings) -> None:
    assert take_in(settings, FIRST, TODAY).batch == 1
    write_play(settings, "0.7")
    assert play(settings, SECOND) == "0.7"
    assert play(settings, FIRST) == "0.5"
    taken = take_in(settings, SECOND - dt.timedelta(days=1), TODAY)
    assert taken.batch == 1
    assert taken.tables["readings"].frame["free_play"].tolist() == ["0.5"]
    assert f"known on 2026-03-04, as kept in the store on {FIRST}" in taken.notes[0]
    (settings.folder / "readings.csv").unlink()
    assert play(settings, FIRST) == "0.5"  # the sources are left alone
    with pytest.raises(SourceError, match=r"readings\.csv"):
        play(settings, SECOND)


def test_the_same_day_again_reads_the_sources(settings: Settings) -> None:
    play(settings, FIRST)
    write_play(settings, "0.7")
    taken = take_in(settings, FIRST, TODAY)
    assert (taken.batch, taken.notes) == (2, ())
    assert play(settings, FIRST) == "0.7"


def test_a_day_before_the_store_is_cut_from_today(settings: Settings) -> None:
    play(settings, SECOND)
    write_play(settings, "0.7")
    taken = take_in(settings, FIRST, TODAY)
    assert taken.tables["readings"].frame["free_play"].tolist() == ["0.7"]
    assert taken.batch is None
    assert "The store begins on 2026-03-05, after 2026-03-01" in taken.notes[0]
    assert play(settings, THIRD) == "0.7"
    assert (
        take_in(settings, SECOND, TODAY).batch == 1
    )  # what was read for the first day is not kept


def test_a_day_ahead_never_stands_before_today(settings: Settings) -> None:
    """A mistyped year must not make tonight's run read old rows."""
    play(settings, dt.date(2062, 3, 1), today=SECOND)
    write_play(settings, "0.7")
    assert play(settings, SECOND, today=SECOND) == "0.7"
    assert play(settings, THIRD, today=THIRD) == "0.7"


def test_today_is_read_from_the_sources_whatever_the_store_says(settings: Settings) -> None:
    play(settings, SECOND, today=SECOND)
    write_play(settings, "0.7")
    assert play(settings, FIRST, today=FIRST) == "0.7"  # the clock was put back


def test_without_a_store_nothing_is_written(settings: Settings, tmp_path: Path) -> None:
    bare = settings.model_copy(update={"store": StoreSettings(path="", options={})})
    assert store_of(bare) is None
    before = set(tmp_path.iterdir())
    assert take_in(bare, FIRST, TODAY).batch is None
    write_play(settings, "0.7")
    assert play(bare, FIRST) == "0.7"
    assert set(tmp_path.iterdir()) == before


def test_where_the_store_lies(
    settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    beside = store_of(settings)
    assert beside is not None
    assert beside.uri == str(tmp_path.resolve() / "store")
    text = '\n[store]\npath = "s3://bucket/fleet"\noptions.aws_secret_access_key = "${STORE_KEY}"\n'
    file = tmp_path / "settings.toml"
    file.write_text(file.read_text(encoding="utf-8") + text, encoding="utf-8")
    monkeypatch.setenv("STORE_KEY", "hush")
    far = store_of(load_settings(file))
    assert far is not None
    assert (far.uri, dict(far.options)) == ("s3://bucket/fleet", {"aws_secret_access_key": "hush"})
    monkeypatch.delenv("STORE_KEY")
    with pytest.raises(SettingsError, match=r"store\.options\.aws_secret_access_key: the env"):
        store_of(load_settings(file))


def test_an_address_is_handed_on_as_it_is(settings: Settings, tmp_path: Path) -> None:
    place = (tmp_path / "far").as_uri()
    far = settings.model_copy(update={"store": StoreSettings(path=place, options={})})
    play(far, FIRST)
    write_play(far, "0.7")
    assert (play(far, SECOND), play(far, FIRST)) == ("0.7", "0.5")
    assert {path.name for path in (tmp_path / "far").iterdir()} == {
        *("log", "units", "pivots", "readings", "repairs")
    }
    assert not (tmp_path / "store").exists()


def test_only_a_run_that_keeps_loads_the_library() -> None:
    ask = (
        "import sys; import pivotlife.pipeline.cli, pivotlife.pipeline.stored_intake; "
        "print('deltalake' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
