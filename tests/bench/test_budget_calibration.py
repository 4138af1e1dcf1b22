"""The forecast of a year ago against the year that followed, in fleets whose shop is simulated.

Each fleet is stood on one year before its records end; the forecast uses what was known then and
nothing later, life curves alone, the shop's own habits. The shop then goes on in its own way: it
follows no list. A band from P10 to P90 should hold eight months in ten.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.policy_paths import draw_paths
from pivotlife.models.policy_rates import Prices, rule_rate, rule_stops
from pivotlife.models.spend_check import YEAR, band_hits
from pivotlife.pipeline import stages
from pivotlife.pipeline.decision_inputs import cost_items
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.spend_forecast import spend_against_forecast

pytestmark = pytest.mark.slow
SEEDS = range(1, 11)


def checked(folder: Path, seed: int, *, faults: bool) -> pd.DataFrame:
    """Forecast and actual of one fleet."""
    simulate(folder, seed=seed, faults=faults)
    settings = load_settings(folder / "settings.toml")
    quiet = Progress(stages=2, quiet=True)
    intake = stages.read(settings, quiet)
    placed = stages.build(intake, settings, LAST_RECORDED_DAY, quiet).placed.tables
    return spend_against_forecast(
        intake.raw,
        placed,
        cost_items(settings.costs),
        settings,
        pd.Timestamp(LAST_RECORDED_DAY),
        folder / "none",
    ).assign(seed=seed)


@pytest.mark.parametrize("faults", [True, False], ids=["faults", "clean"])
def test_how_often_the_band_holds_what_followed(tmp_path: Path, *, faults: bool) -> None:
    tables = [checked(tmp_path / str(seed), seed, faults=faults) for seed in SEEDS]
    spend = pd.concat(tables)
    whole = spend[(spend["month"] == YEAR) & (spend["depot"] == "all")].set_index(["seed", "item"])
    months = spend[(spend["month"] != YEAR) & (spend["depot"] == "all")]
    for item in ("kits", "labour_hours", "parts_and_labour"):
        cells = pd.concat([band_hits(table) for table in tables])
        share = cells[cells["item"] == item]["share"].to_numpy()
        year = whole.xs(item, level="item")
        by_month = months[months["item"] == item].groupby("seed")["inside"].mean().to_numpy()
        ratio = (year["actual"] / year["forecast"]).to_numpy()
        n = len(share) ** 0.5
        print(
            f"{'faults' if faults else 'clean'}, {item}: depots and months inside "
            f"{share.mean():.3f} (se {share.std(ddof=1) / n:.3f}), months of all depots "
            f"{by_month.mean():.3f} ({by_month.std(ddof=1) / n:.3f}), years of all depots "
            f"{int(year['inside'].sum())} of {len(year)}, actual over forecast "
            f"{ratio.mean():.3f} ({ratio.std(ddof=1) / n:.3f}), "
            f"{np.round(np.sort(ratio), 2).tolist()}"
        )
    assert len(whole) == 3 * len(SEEDS)


def test_how_early_the_rule_renews() -> None:
    """The budget renews at the last visit before the limit; the rule, which reads, a bit sooner."""
    law = GrowthLaw("normal", 0.15, 0.06, 0.12, 1.4, np.log(2.0), 0.45)
    prices = Prices(450.0, 2_200.0)
    rows = []
    for seed in (21, 22, 23, 24):
        paths = draw_paths(law, 3.0, 25_000.0, paths=2_000, visits=48, width_mm=0.1, seed=seed)
        over = paths.age >= paths.crossing[:, None]
        stops = rule_stops(paths, prices, rule_rate(paths, prices, 0.01)) | over
        ended = over.any(axis=1)
        ahead = (over.argmax(axis=1) - stops.argmax(axis=1))[ended]
        rows.append([ahead.mean(), (ahead == 1).mean(), (ahead == 0).mean()])
    mean, error = np.mean(rows, axis=0), np.std(rows, axis=0, ddof=1) / 2.0
    print(
        f"visits between the rule's renewal and the visit that would find it over: {mean[0]:.2f} "
        f"(se {error[0]:.2f}); exactly the last before {mean[1]:.2f}; found over {mean[2]:.3f}"
    )
    assert 0.0 <= mean[0] < 5.0
