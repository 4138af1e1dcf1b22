"""The settings file: defaults, clear faults, never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.settings_file import load_settings

SOURCES = "".join(
    f'[sources.{name}]\npath = "{name}.csv"\n'
    for name in ("units", "pivots", "readings", "repairs")
)


def written(folder: Path, text: str) -> Path:
    file = folder / "settings.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_sources_alone_are_enough(tmp_path: Path) -> None:
    loaded = load_settings(written(tmp_path, SOURCES))
    assert loaded.intervals["line-haul"].pm_miles == 25_000
    assert loaded.intervals["vocational"].longest_gap_between_readings == 15_000
    assert loaded.survival.assumed_shape["roller"] == 2.0
    assert loaded.out_folder == tmp_path.resolve() / "out"
    assert loaded.costs.shop_rate.is_default


def test_given_prices_are_no_longer_defaults(tmp_path: Path) -> None:
    text = SOURCES + '[costs.shop_rate]\nvalue = 101.5\nsource = "own books"\ndate = 2026-05-01\n'
    price = load_settings(written(tmp_path, text)).costs.shop_rate
    assert price.value == 101.5
    assert not price.is_default


def test_one_interval_given_keeps_the_others(tmp_path: Path) -> None:
    loaded = load_settings(written(tmp_path, SOURCES + "[intervals.regional]\npm_miles = 9000\n"))
    assert loaded.intervals["regional"].pm_miles == 9_000
    assert loaded.intervals["line-haul"].pm_miles == 25_000


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "[decison]\nearly_miles = 1\n",
            "unknown key decison; the nearest known key is 'decision'",
        ),
        (
            "[decision]\nearly_mils = 1\n",
            "unknown key decision.early_mils; the nearest known key is 'early_miles'",
        ),
        (
            "[costs.hours.first_pivt]\nvalue = 1\n",
            "unknown key costs.hours.first_pivt; the nearest known key is 'first_pivot'",
        ),
        ("[sources.lubes]\npath = 'x.csv'\n", "unknown key sources.lubes.*'lube'"),
        (
            "[costs]\nshop_rate = 95\n",
            r"costs\.shop_rate = 95: a price carries its source and day; write \{ value = 140",
        ),
        ("[limits.threaded]\nplay = -3\n", r"limits\.threaded\.play = -3"),
        ("[decision]\nchance_now_alarm = 2\n", r"decision\.chance_now_alarm = 2"),
        ("[random]\nseed = 'x'\n", r"random\.seed = 'x'"),
        ("folder = '/'\n", "unknown key folder"),
        ("[intervals.longhaul]\npm_miles = 3\n", "intervals.longhaul"),
    ],
)
def test_faults_name_the_key(tmp_path: Path, text: str, message: str) -> None:
    whole = text + SOURCES if text.startswith("folder") else SOURCES + text
    with pytest.raises(SettingsError, match=message) as caught:
        load_settings(written(tmp_path, whole))
    assert "\n" not in str(caught.value)


def test_all_faults_at_once(tmp_path: Path) -> None:
    text = SOURCES + "[decision]\nearly_mils = 1\nchance_now_alarm = 3\n"
    with pytest.raises(SettingsError, match=r"early_mils.*chance_now_alarm|chance_now.*early_mils"):
        load_settings(written(tmp_path, text))


def test_missing_file_and_tables(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="no such settings file"):
        load_settings(tmp_path / "nowhere.toml")
    with pytest.raises(SettingsError, match="is a folder"):
        load_settings(tmp_path)
    with pytest.raises(SettingsError, match="not valid TOML"):
        load_settings(written(tmp_path, "[sources"))
    with pytest.raises(SettingsError, match=r"\[sources.repairs\] missing"):
        load_settings(written(tmp_path, SOURCES.split("[sources.repairs]")[0]))
    with pytest.raises(SettingsError, match="sources is missing"):
        load_settings(written(tmp_path, ""))
    (tmp_path / "settings.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(SettingsError, match="not UTF-8"):
        load_settings(tmp_path / "settings.toml")


KEYS = st.sampled_from(
    [
        *Settings.model_fields,
        "play",
        "unit",
        "pm_miles",
        "value",
        "threaded",
        "path",
        "seed",
        "nope",
    ]
) | st.text(min_size=1, max_size=6)
VALUES = st.recursive(
    st.booleans()
    | st.integers(-(2**40), 2**40)
    | st.floats(allow_nan=True, allow_infinity=True)
    | st.text(max_size=6)
    | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=6,
)


@hypothesis_settings(max_examples=150, deadline=None)
@given(extra=st.dictionaries(KEYS, VALUES, max_size=4))
def test_any_toml_is_settings_or_one_clear_line(
    tmp_path_factory: pytest.TempPathFactory, extra: dict[str, object]
) -> None:
    sources = {name: {"path": f"{name}.csv"} for name in ("units", "pivots", "readings", "repairs")}
    file = tmp_path_factory.mktemp("any") / "settings.toml"
    file.write_text(tomli_w.dumps({"sources": sources, **extra}), encoding="utf-8")
    try:
        assert isinstance(load_settings(file), Settings)
    except SettingsError as fault:
        assert len(str(fault).splitlines()) == 1  # noqa: PT017  both outcomes are right
