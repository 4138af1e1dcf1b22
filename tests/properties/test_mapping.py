"""Whatever mapping stands in the settings: it is refused in one line, or loses no danger."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from pivotlife.data.contracts.readings import READINGS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.data.contracts.vocabulary import FINDINGS
from pivotlife.models.findings import PARK_FINDINGS, REPLACE_FINDINGS
from pivotlife.pipeline.dialect import Dialect, value_key
from pivotlife.pipeline.errors import SettingsError, SourceError
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.mapping_rules import mapping_faults
from pivotlife.pipeline.native_headers import with_native_headers
from pivotlife.pipeline.proposal_text import toml_text
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.settings import SourceSettings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import dialect_of

SEVERITY = dict.fromkeys(FINDINGS, 0)
SEVERITY |= dict.fromkeys(REPLACE_FINDINGS, 1) | dict.fromkeys(PARK_FINDINGS, 2)
ROW = {
    "reading_id": "R1",
    "unit_id": "MD-001",
    "axle": "1",
    "side": "left",
    "node": "fixed-eye",
    "reading_date": "2020-01-02",
    "odometer": "5000",
    "free_play": "3,5",
    "free_play_unit": "mm",
}
UNITS = pd.DataFrame(
    [{"unit_id": "MD-001", "depot": "N", "duty": "regional", "in_service_date": "2019-01-01"}]
).assign(row_number=2)
TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=8)
WORDS = st.one_of(st.sampled_from([*FINDINGS, "*", "B2", "Fractured", " OK ", "left", ""]), TEXTS)
COLUMNS = st.sampled_from([*column_facts(READINGS), "free_pley"])
SOURCES = st.fixed_dictionaries(
    {"path": st.just("readings.csv")},
    optional={
        "values": st.dictionaries(COLUMNS, st.dictionaries(WORDS, WORDS, max_size=3), max_size=3),
        "units": st.dictionaries(
            COLUMNS, st.sampled_from(["mm", "in", "thou", "km", "m"]), max_size=2
        ),
        "date_format": st.lists(
            st.sampled_from(["%d.%m.%Y", "%m/%d/%Y", "%Y-%d-%m", "%d", "%Q"]), max_size=2
        ),
        "decimal": st.sampled_from([".", ","]),
        "thousands": st.sampled_from(["", ".", ",", " ", "'"]),
        "encoding": st.sampled_from(["utf-8", "cp1252", "utf-99"]),
        "skip_rows": st.integers(-1, 3),
    },
)


def _judged(row: dict[str, str], source: SourceSettings) -> tuple[pd.DataFrame, pd.DataFrame]:
    raw = {
        "units": RawTable("units", Path("u"), UNITS),
        "readings": RawTable(
            "readings", Path("r"), pd.DataFrame([row]).assign(row_number=2), dialect_of(source)
        ),
    }
    judged = judge(raw)
    return judged.tables["readings"], judged.withheld["readings"]


def _accepted(given_source: dict[str, object]) -> SourceSettings | None:
    try:
        source = SourceSettings.model_validate(given_source)
    except ValueError:
        return None
    return None if mapping_faults("readings", source) else source


def _reach(good: pd.DataFrame, withheld: pd.DataFrame) -> int:
    """Say how grave the finding is that the safety step can still read of the one row."""
    if len(good):
        return SEVERITY.get(good["finding"].iloc[0], 0)
    read = withheld["finding"].iloc[0]
    return SEVERITY[read] if read else int(withheld["finding_as_written"].iloc[0] != "")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(SOURCES, st.sampled_from(FINDINGS), st.sampled_from([str.upper, str.title, str]))
def test_no_accepted_mapping_makes_a_known_danger_milder(
    given_source: dict[str, object], finding: str, spell: object
) -> None:
    source = _accepted(given_source)
    assume(source is not None)
    assert source is not None
    row = ROW | {"finding": spell(finding)}  # type: ignore[operator]  a way of writing
    good, withheld = _judged(row, source)
    assert len(good) + len(withheld) == 1
    assert _reach(good, withheld) >= SEVERITY[finding]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(SOURCES, WORDS)
def test_no_accepted_mapping_calls_an_unnamed_value_ok(
    given_source: dict[str, object], said: str
) -> None:
    source = _accepted(given_source)
    assume(source is not None)
    assert source is not None
    named = {value_key(value) for value in source.meanings.get("finding", {})}
    assume(value_key(said) not in named and said.casefold().strip(" -_") != "ok")
    good, withheld = _judged(ROW | {"finding": said}, source)
    found = [*good["finding"], *withheld["finding"]]
    assert found != ["ok"]


@settings(max_examples=60, deadline=None)
@given(SOURCES)
def test_settings_are_accepted_or_refused_in_one_line(given_source: dict[str, object]) -> None:
    import tempfile

    lines = []
    for name in ("units", "pivots", "readings", "repairs"):
        lines += [f"[sources.{name}]", f'path = "{name}.csv"']
        if name == "readings":
            lines += [
                f"{key} = {_toml(value)}" for key, value in given_source.items() if key != "path"
            ]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "settings.toml"
        file.write_text("\n".join(lines), encoding="utf-8")
        if _accepted(given_source) is not None:
            assert load_settings(file).sources["readings"].path == "readings.csv"
            return
        with pytest.raises(SettingsError, match=r"sources\.readings") as refusal:
            load_settings(file)
        assert "\n" not in str(refusal.value)


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml_text(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return toml_text(value) if isinstance(value, str) else str(value)


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(COLUMNS, st.lists(WORDS.filter(bool), min_size=1, max_size=2), max_size=4),
    st.lists(st.one_of(COLUMNS, WORDS), unique=True, max_size=8),
)
def test_headers_lose_no_cell(columns: dict[str, list[str]], headers: list[str]) -> None:
    names = [*headers, *(name for name in ROW if name not in headers)]
    frame = pd.DataFrame({name: [f"cell {n}"] for n, name in enumerate(names)})
    try:
        native, renamed = with_native_headers(
            frame.assign(row_number=2), "readings", {k: tuple(v) for k, v in columns.items()}, "f"
        )
    except SourceError:
        return
    cells = set(native.drop(columns="row_number").iloc[0])
    assert cells == set(frame.iloc[0])
    for column, header in renamed.items():
        assert native[column].tolist() == frame[header].tolist()


@settings(max_examples=200, deadline=None)
@given(st.decimals(0, 999_999, places=3), st.sampled_from([".", ","]), st.booleans())
def test_a_number_reads_as_it_was_written(number: object, decimal: str, grouped: bool) -> None:
    thousands = {",": ".", ".": ","}[decimal] if grouped else ""
    text = f"{number:,.3f}" if grouped else f"{number:.3f}"
    text = text.translate(str.maketrans(",.", f"{thousands or ','}{decimal}"))
    point, wrong = Dialect(decimal=decimal, thousands=thousands).point_number(text)
    assert wrong == ""
    assert float(point) == pytest.approx(float(str(number)), abs=1e-12)
