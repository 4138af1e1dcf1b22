"""A tried price gives to the cent what a whole run with that price and the policies held gives."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import json
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from typer.testing import CliRunner

from pivotlife.models.cost_lines import CASH, DOWNTIME
from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.lifetime_cost import Lifetime
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline import stages
from pivotlife.pipeline.cli import app
from pivotlife.pipeline.cost_workbook import cell_name, cost_workbook
from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.fleet_tables import lube_compliance
from pivotlife.pipeline.lifetime import booked, lifetime
from pivotlife.pipeline.lifetime_inputs import LifeSources, duty_works, units_ahead
from pivotlife.pipeline.odometer_points import day_number
from pivotlife.pipeline.prices import price_table
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings import Finance, Settings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.what_if import (
    changed_settings,
    what_if,
    what_if_json,
    what_if_rows,
    what_if_text,
)
from pivotlife.pipeline.work import Records

NO_LUBE = pd.DataFrame()


@dataclass(frozen=True)
class Base:
    """A small invented fleet with its fits; play and ratios left out for speed."""

    settings: Settings
    records: Records
    sources: LifeSources
    day: dt.date


@pytest.fixture(scope="module")
def base(small_fleet: Callable[..., Path], last_day: dt.date) -> Base:
    settings = load_settings(small_fleet())
    quiet = Progress(stages=stages.COUNT, quiet=True)
    records = stages.build(stages.read(settings, quiet), settings, last_day, quiet)
    fits = fit_by_type_and_duty(records.histories.lives)
    empty = pd.DataFrame()
    return Base(settings, records, LifeSources(fits, GrowthLaws({}, {}), empty, empty), last_day)


def totals(made: Lifetime, money: Lifetime | None = None) -> dict[tuple[str, str, str], float]:
    priced = (money or made).money
    return {
        (cost.work.duty, kind, name): float(cost.amounts(priced, name)[place].mean())
        for cost in made.costs
        for place, kind in enumerate(cost.types)
        for name in (CASH, DOWNTIME)
    }


PRICES = ["costs.shop_rate=140", "costs.parts.roller=90.5", "costs.hours.same_side=1.7"]
PRICES += ["costs.chance_roadside_when_over=0.2", "costs.downtime_days.late=3"]
RATES = ["finance.discount_rate=0.03", "finance.price_escalation=0.05"]


@pytest.mark.parametrize(
    "given", [[*PRICES, *RATES], ["finance.holding_miles=150000", "finance.years=2"]]
)
def test_a_tried_figure_equals_a_whole_run_with_it(base: Base, given: list[str]) -> None:
    made = what_if(base.records, base.sources, base.settings, given, base.day)
    changed, _ = changed_settings(base.settings, given, base.day)
    today = float(day_number(pd.Series([pd.Timestamp(base.day)]))[0])
    records = base.records
    lube = lube_compliance(records.histories, records.visits, records.placed, changed, today)
    whole = lifetime(records, base.sources, lube, changed, held=made.before.policies)
    after = totals(made.after)
    assert {key: round(value, 2) for key, value in after.items()} == {
        key: round(value, 2) for key, value in totals(whole).items()
    }
    assert after != totals(made.before)


def test_before_and_after_stand_side_by_side(base: Base) -> None:
    made = what_if(base.records, base.sources, base.settings, ["costs.shop_rate=140"], base.day)
    text = what_if_text(made, "USD")
    assert "costs.shop_rate: 95 -> 140" in text
    row = next(what_if_rows(made))
    assert f"{row['before']:,.0f}" in text
    assert f"{row['after']:,.0f}" in text
    told = json.loads(what_if_json(made, "USD"))
    assert told["rows"][0]["change"] == pytest.approx(row["after"] - row["before"])
    assert "No policy would change." in text or "The policy would change:" in text


def test_where_nothing_could_be_counted_the_answer_says_so(base: Base) -> None:
    made = what_if(base.records, base.sources, base.settings, [], base.day)
    empty = replace(made, before=replace(made.before, costs=()))
    assert what_if_text(empty, "USD").startswith("No lifetime cost could be counted: on that day")


def test_a_price_that_changes_the_habit_says_so(base: Base) -> None:
    dear = ["costs.roadside=90000", "costs.chance_roadside_when_over=0.5"]
    made = what_if(base.records, base.sources, base.settings, dear, base.day)
    assert made.habits
    assert "The policy would change: " in made.habits[0]
    assert "instead of" in made.habits[0]
    # What is shown stays under the policies in force.
    assert made.after.policies == made.before.policies


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (
            "costs.shop_rat=1",
            "unknown key costs.shop_rat; the nearest known key is 'costs.shop_rate'",
        ),
        ("costs.parts=3", "unknown key costs.parts"),
        ("shop_rate=3", "unknown key shop_rate"),
        ("costs.shop_rate.value=3", "unknown key costs.shop_rate.value"),
        ("costs.shop_rate", "write it as KEY=VALUE"),
        ("costs.shop_rate=dear", "'dear' is not a number"),
        ("costs.shop_rate=true", "'true' is not a number"),
        (
            "costs.shop_rate=-4",
            r"costs\.shop_rate = -4: input should be greater than or equal to 0",
        ),
        ("finance.years=3.5", r"finance\.years = 3\.5"),
        ("costs.currency=3", "unknown key costs.currency"),
    ],
)
def test_what_cannot_be_tried_is_named(base: Base, text: str, match: str) -> None:
    with pytest.raises(SettingsError, match=match):
        changed_settings(base.settings, [text], base.day)


def test_a_unit_without_a_planned_sale_takes_the_settings_miles(base: Base) -> None:
    here = base.records.histories.in_service
    none = here.assign(holding_odometer_miles=float("nan"))
    histories = dataclasses.replace(base.records.histories, in_service=none)
    records = dataclasses.replace(base.records, histories=histories)
    assert units_ahead(records, base.settings)["miles_left"].isna().all()
    given = Finance(holding_miles=120_000.0, years=30)
    settings = base.settings.model_copy(update={"finance": given})
    left = units_ahead(records, settings)["miles_left"].dropna()
    assert (left == 120_000.0).all()
    works = duty_works(records, units_ahead(records, settings), NO_LUBE, settings)
    assert {work.horizon_miles for work in works.values()} == {120_000.0}
    assert {work.compliance for work in works.values()} == {1.0}
    # Without either, the years ahead are the bound.
    works = duty_works(records, units_ahead(records, base.settings), NO_LUBE, base.settings)
    assert all(w.horizon_miles == pytest.approx(10 * w.annual_miles) for w in works.values())


@pytest.mark.parametrize(
    ("capital_from", "told"),
    [(None, "set finance.capital_from"), (2_000.0, "capital"), (2_000.01, "expense")],
)
def test_conversions_are_flagged_by_the_users_rule(capital_from: float | None, told: str) -> None:
    units = booked(pd.DataFrame({"first_cost": [2_000.0, float("nan")]}), capital_from)
    assert list(units["booked_as"]) == [told, ""]


def recalculated(book: bytes, folder: Path) -> openpyxl.Workbook:
    """Let LibreOffice work the formulas out."""
    office = shutil.which("soffice")
    if office is None:
        pytest.skip("LibreOffice (soffice) is not on this machine")
    (folder / "in.xlsx").write_bytes(book)
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    command = [office, "--headless", "--norestore", profile, "--convert-to", "xlsx"]
    subprocess.run(
        [*command, "--outdir", str(folder / "done"), str(folder / "in.xlsx")],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return openpyxl.load_workbook(folder / "done" / "in.xlsx", data_only=True)


def results(book: openpyxl.Workbook) -> dict[tuple[str, str, str], float]:
    found = {}
    for duty, kind, _, cash, downtime, *_ in book["Results"].iter_rows(min_row=4, values_only=True):
        found[duty, kind, CASH] = cash
        found[duty, kind, DOWNTIME] = downtime
    return found


def test_a_price_changed_in_the_workbook_moves_every_total_to_the_cent(
    base: Base, tmp_path: Path
) -> None:
    given = [*PRICES, *RATES]
    made = what_if(base.records, base.sources, base.settings, given, base.day)
    written = cost_workbook(made.before, price_table(base.settings.costs), base.day)
    book = openpyxl.load_workbook(io.BytesIO(written))
    for text in given:
        key, value = text.split("=")
        name = cell_name(key.split(".", 1)[1])
        sheet, cell = book.defined_names[name].attr_text.replace("$", "").split("!")
        book[sheet][cell] = float(value)
    changed = io.BytesIO()
    book.save(changed)  # openpyxl writes formulas without values: all must be worked out anew
    found = results(recalculated(changed.getvalue(), tmp_path))
    assert found.keys() == totals(made.after).keys()
    for key, value in totals(made.after).items():
        assert round(found[key], 2) == round(value, 2)


def test_the_workbook_shows_the_runs_own_amounts_and_no_fixed_money(base: Base) -> None:
    made = lifetime(base.records, base.sources, NO_LUBE, base.settings)
    written = cost_workbook(made, price_table(base.settings.costs), base.day)
    shown = results(openpyxl.load_workbook(io.BytesIO(written), data_only=True))
    for key, value in totals(made).items():
        assert shown[key] == pytest.approx(value)
    live = openpyxl.load_workbook(io.BytesIO(written))
    for row in live["By year"].iter_rows(min_row=2, min_col=4):
        assert all(str(cell.value).startswith("=") for cell in row)
    money = [
        cell for row in live["Results"].iter_rows(min_row=4, min_col=4, max_col=7) for cell in row
    ]
    assert all(str(cell.value).startswith("=") for cell in money)
    again = cost_workbook(made, price_table(base.settings.costs), base.day)
    assert again == written


def test_the_command_prints_before_and_after(
    base: Base, monkeypatch: pytest.MonkeyPatch, last_day: dt.date
) -> None:
    """The fits of play and the fair comparison are left out here: they take most of the time."""
    monkeypatch.setattr("pivotlife.pipeline.what_if.life_sources", lambda *_: base.sources)
    ask = ["cost", str(base.settings.file), "--as-of", last_day.isoformat(), "--set"]
    done = CliRunner().invoke(app, [*ask, "costs.shop_rate=140"])
    assert done.exit_code == 0, done.output
    made = what_if(base.records, base.sources, base.settings, ["costs.shop_rate=140"], base.day)
    assert what_if_text(made, "USD") in done.output


def test_the_command_refuses_an_unknown_figure_before_it_reads_anything(base: Base) -> None:
    asked = ["cost", str(base.settings.file), "--set", "costs.shop_rat=1"]
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 2
    assert "the nearest known key is 'costs.shop_rate'" in done.output
    assert "reading" not in done.output
