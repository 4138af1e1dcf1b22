"""Templates: every column, drop-downs of the allowed words, readable as they are."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner

from pivotlife.data.contracts.registry import INCOMING
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline import cli, exit_codes
from pivotlife.pipeline.csv_text import read_csv_text
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.sheet_text import read_sheet_text
from pivotlife.pipeline.templates import write_templates
from pivotlife.pipeline.text_table import Typed


def test_every_table_in_both_kinds(tmp_path: Path) -> None:
    assert len(write_templates(tmp_path / "t")) == 2 * len(INCOMING)
    for name, schema in INCOMING.items():
        headers = [*column_facts(schema), "row_number"]
        csv = read_csv_text(tmp_path / "t" / f"{name}.csv", name)
        sheet = read_sheet_text(tmp_path / "t" / f"{name}.xlsx", name, table=name, typed=Typed())
        assert csv.columns.tolist() == sheet.columns.tolist() == headers
        assert csv.empty
        assert sheet.empty


def test_drop_downs_offer_the_allowed_words(tmp_path: Path) -> None:
    write_templates(tmp_path)
    sheet = openpyxl.load_workbook(tmp_path / "readings.xlsx")["readings"]
    offered = {
        str(rule.sqref).split(":")[0].rstrip("0123456789"): rule.formula1
        for rule in sheet.data_validations.dataValidation
        if rule.type == "list"
    }
    letters = {cell.value: cell.column_letter for cell in sheet[1]}
    for column, facts in column_facts(INCOMING["readings"]).items():
        if facts.kind == "words":
            assert offered[letters[column]] == '"' + ",".join(facts.allowed) + '"'
    assert '"in,thou,mm' in offered[letters["free_play_unit"]]


def test_a_filled_template_is_read(tmp_path: Path) -> None:
    write_templates(tmp_path)
    file = tmp_path / "lube.xlsx"
    book = openpyxl.load_workbook(file)
    book["lube"].append(["MD-001", "2024-01-02", 12000.5, "mi", "yes", "all well"])
    book.save(file)
    frame = read_sheet_text(file, "f", table="lube", typed=Typed())
    assert frame.iloc[0].tolist() == ["MD-001", "2024-01-02", "12000.5", "mi", "yes", "all well", 2]


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    done = CliRunner().invoke(cli.app, ["check", "--templates", str(tmp_path)])
    assert done.exit_code == exit_codes.DONE
    assert f"{2 * len(INCOMING)} templates written" in done.stdout
    with pytest.raises(SourceError, match="are there already; name another folder"):
        write_templates(tmp_path)
