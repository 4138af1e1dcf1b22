"""The command from records to a published backtest, and the run that reads it."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline import cli, exit_codes, stages
from pivotlife.pipeline.backtest import TABLES, late_prices
from pivotlife.pipeline.backtest_trust import Trust, newest_backtest
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings import Costs, Price, Settings
from pivotlife.pipeline.settings_file import load_settings

runner = CliRunner()
README = Path(__file__).resolve().parents[2] / "data" / "README.md"
AS_OF = ("--as-of", "2026-06-30")


@pytest.fixture(scope="module")
def fleet(small_fleet: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Copy a dozen trucks to a folder of their own and look back over two lists."""
    source, folder = small_fleet(units=12), tmp_path_factory.mktemp("backtest")
    for file in (*source.parent.glob("*.csv"), source):
        (folder / file.name).write_bytes(file.read_bytes())
    settings = folder / "settings.toml"
    done = runner.invoke(cli.app, ["backtest", str(settings), *AS_OF, "--months", "2"])
    assert done.exit_code == exit_codes.DONE, done.output
    assert "2 lists, 2026-02-28 to 2026-03-30" in done.stdout
    assert re.search(r"all: (Of \d+ pivots flagged|No pivot was flagged)", done.stdout)
    assert done.stdout.strip().endswith("backtest.html")
    return settings


@pytest.fixture(scope="module")
def folder(fleet: Path) -> Path:
    return fleet.parent / "out" / "backtest" / "latest"


def test_it_is_published_apart_from_the_runs(fleet: Path, folder: Path) -> None:
    assert (fleet.parent / "out" / "backtest" / "2026-06-30").samefile(folder)
    assert not (fleet.parent / "out" / "latest").exists()
    assert {file.name for file in folder.iterdir()} == {
        *(f"{name}.csv" for name in TABLES),
        "backtest.html",
        "backtest.json",
    }
    record = json.loads((folder / "backtest.json").read_text(encoding="utf-8"))
    assert set(record["verdicts"]) == {"rubber-bonded", "threaded", "roller"}
    assert any("today's" in note for note in record["notes"])


@pytest.mark.parametrize("name", TABLES)
def test_columns_are_documented_in_order(folder: Path, name: str) -> None:
    header = (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0]
    section = README.read_text(encoding="utf-8").split(f"### `{name}.csv`")[1]
    part = re.split(r"^### ", section, flags=re.MULTILINE)[0]
    assert header.split(",") == re.findall(r"^\| `(\w+)` \|", part, flags=re.MULTILINE)


def test_every_pivot_of_a_list_has_one_outcome_after_it(folder: Path) -> None:
    pairs = pd.read_csv(folder / "backtest_pairs.csv", parse_dates=["standing_date", "look_date"])
    assert len(pairs) > 80
    assert not pairs.duplicated(["standing_date", "pivot_id"]).any()
    looked = pairs[pairs["outcome"] != "unverified"]
    assert len(looked) > 10
    assert (looked["look_date"] > looked["standing_date"]).all()
    assert set(looked["how"]) <= {"tear-down", "failure", "reading"}
    assert (pairs["weight"] > 0).eq(pairs["is_verified"]).all()
    assert pairs["weight"].le(60.0).all()


def test_the_table_adds_up_from_the_pairs(folder: Path) -> None:
    pairs = pd.read_csv(folder / "backtest_pairs.csv")
    row = pd.read_csv(folder / "backtest.csv").iloc[0]
    asked = pairs[pairs["in_calibration"]]
    seen = asked[asked["weight"] > 0]
    worn = (seen["outcome"] == "worn") * seen["weight"]
    assert row["pairs"] == len(asked)
    assert row["found"] == pytest.approx(worn.sum() / seen["weight"].sum())
    assert row["unverified_share"] == pytest.approx((asked["outcome"] == "unverified").mean())


def test_records_that_are_too_young_are_one_line(fleet: Path) -> None:
    early = ["backtest", str(fleet), "--as-of", "2020-08-01", "--months", "1"]
    done = runner.invoke(cli.app, early)
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "no past list can be made: the youngest would stand on 2020-05-01" in done.output
    assert "Traceback" not in done.output


def test_a_failed_type_is_taken_off_growth_and_its_lines_say_so(fleet: Path) -> None:
    settings, quiet = load_settings(fleet), Progress(stages.COUNT, quiet=True)
    day = dt.date(2026, 6, 30)
    records = stages.build(stages.read(settings, quiet), settings, day, quiet)
    lives = records.histories.lives
    # A law that would fail at any question stands for one that is not asked.
    unasked: Any = object()
    survival: Any = SimpleNamespace(
        fits=fit_by_type_and_duty(lives),
        readings=growth_readings(records.histories),
        laws=GrowthLaws({("threaded", "all"): unasked}, {}),
        fair=SimpleNamespace(ratios=None),
    )
    trust = Trust({"as_of": "2026-05-30", "verdicts": {"threaded": "not calibrated"}})
    made = stages.decide(records, survival, settings, quiet, trust)
    of_type = made.growth[made.growth["bushing_type"] == "threaded"]
    assert len(of_type) > 5
    assert of_type["method"].str.startswith("life curve").all()
    told = "Past chances of threaded bushings did not come true (backtest of 2026-05-30)"
    assert of_type["warning"].str.contains(told, regex=False).all()
    lines = made.shortlist
    chosen = (lines["bushing_type"] == "threaded") & ~lines["mandatory"]
    said = lines["reason"].str.contains(told, regex=False)
    assert said.equals(chosen)


@pytest.mark.slow
def test_a_run_takes_a_failed_type_off_growth_and_says_so(fleet: Path, folder: Path) -> None:
    """The verdict is put in by hand: what is tested is what the run makes of it."""
    file = folder / "backtest.json"
    record = json.loads(file.read_text(encoding="utf-8"))
    record["verdicts"]["threaded"] = "not calibrated"
    file.write_text(json.dumps(record), encoding="utf-8")
    done = runner.invoke(cli.app, ["run", str(fleet), *AS_OF, "--json"])
    assert done.exit_code in (exit_codes.DONE, exit_codes.ACT_TODAY), done.output
    made = Path(json.loads(done.stdout)["folder"])
    growth = pd.read_csv(made / "growth.csv", keep_default_na=False)
    of_type = growth[growth["bushing_type"] == "threaded"]
    assert not of_type["method"].str.contains("growth of play").any()
    told = "Past chances of threaded bushings did not come true (backtest of 2026-06-30)"
    lines = pd.read_csv(made / "shortlist.csv", keep_default_na=False)
    chosen = lines[(lines["bushing_type"] == "threaded") & ~lines["mandatory"]]
    assert len(chosen) > 5
    assert chosen["reason"].str.contains(told, regex=False).all()
    others = lines[lines["bushing_type"] != "threaded"]
    assert not others["reason"].str.contains("Past chances", regex=False).any()
    assert told in (made / "index.html").read_text(encoding="utf-8")
    assert "How earlier lists did" in (made / "engineer.html").read_text(encoding="utf-8")
    assert (made / "backtest.html").read_bytes() == (folder / "backtest.html").read_bytes()


def test_prices_younger_than_the_oldest_list_are_named() -> None:
    price = {"value": 100.0, "source": "our invoice", "date": dt.date(2026, 3, 1)}
    own = Settings(sources={}, costs=Costs(shop_rate=Price(**price)))
    assert late_prices(own, dt.date(2026, 3, 1)) == []
    said = late_prices(own, dt.date(2026, 2, 28))
    assert said[0].startswith("Of the 1 prices you have set, 1 carry a day after the oldest list")
    # Invented defaults say so elsewhere; their day means nothing.
    assert late_prices(Settings(sources={}), dt.date(2020, 1, 1)) == []


def test_the_clock_does_not_run_backwards(folder: Path) -> None:
    out = folder.parent.parent
    assert newest_backtest(out, dt.date(2026, 6, 29)).record == {}
    assert newest_backtest(out, dt.date(2026, 6, 30)).record["as_of"] == "2026-06-30"
