"""What the readings of a sheet say together: joints measured under load, inspectors who read high.

Two things spoil a reading that its own number does not show. A joint measured under load shows
only part of its play, and whether it was loaded is not always written down. And every inspector
reads a little high or low.

* Load: one unit on one day was measured in one way, so that one word on load speaks for its sheet.
  Where there is none, what the other readings of its pivots lead to
  expect is held against the readings of the sheet, once as free joints and once as loaded ones;
  with the share of loaded sheets among those that say so, this gives the chance that the sheet was
  loaded (Bayes). From one half on it is taken as loaded.
* Inspectors: the mean difference between an inspector's readings and what the other readings of
  the same bushings lead to expect, drawn towards zero as far as it may be chance (random effects,
  the variance between inspectors by moments after DerSimonian and Laird, Controlled Clinical Trials
  7 (1986) 177-188, cited from memory). It is taken off the readings.

The growth of play is then fitted to readings so settled. Limits are never held against them: what
was written stays what decides that a pivot is over.
Not here: rounding, zeros and single wild readings (`growth_weights`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_readings import FINEST_MM, growth_readings
from pivotlife.models.growth_sums import error_variance
from pivotlife.models.growth_weights import expected_play, left_out_residuals, weigh_readings
from pivotlife.models.pivot_readings import usable_readings

#: Sheets that say "loaded", and sheets that say "unloaded", from which silent ones are judged.
FEWEST_SHEETS: Final = 10
#: No single reading speaks louder than this for either way of measuring (log of the odds).
LOUDEST: Final = 4.0
#: Readings, and sheets, of an inspector from which a difference is taken off.
FEWEST_READINGS: Final = 20
FEWEST_LOOKS: Final = 5
_MOST_LIVES: Final = 5_000
_ROUNDS: Final = 3
SETTLED_COLUMNS: Final = (
    *("settled", "inspector", "sheets", "readings", "taken_as_loaded", "difference_mm"),
)
#: What the table of settled readings speaks of.
SILENT_LOAD, OF_INSPECTOR = "load not written down", "inspector"
_SHEET: Final = ["unit_id", "reading_date"]
_TOLD: Final = ("loaded", "unloaded")
Laws = Mapping[str, FreePlayGrowth]
Floats = npt.NDArray[np.float64]


def settle_sheets(readings: pd.DataFrame, *, seed: int = 0) -> pd.DataFrame:
    """Return the readings with silent loads settled and each inspector's difference taken off.

    Parameters
    ----------
    readings : DataFrame
        As `growth_cells.fit_laws` takes them, with unit_id and reading_date; inspector and
        load_state where known.
    seed : int

    Returns
    -------
    DataFrame
        The same rows. `load_state` is "loaded" or "unloaded" where the sheet could be judged;
        `free_play_mm` has the inspector's difference taken off and stays above what is too small
        to be read; `load_chance` (NaN where the sheet said it) and `inspector_mm` tell what was
        done.
    """
    readings = _told_by_sheet(readings)
    settled = readings.assign(load_chance=np.nan, inspector_mm=0.0)
    laws = first_laws(readings, seed=seed)
    if not laws:
        return settled
    if "load_state" in readings:
        silent = ~readings["load_state"].isin(_TOLD)
        # Who read high is settled first where loads are known: the whole sheet is off by it.
        plain = readings
        if "inspector" in readings and not silent.all():
            plain = _without(readings, inspector_differences(readings[~silent], laws))
        chance = load_chances(plain, laws)
        sheet = pd.MultiIndex.from_frame(readings[_SHEET])
        found = pd.Series(chance.reindex(sheet).to_numpy(), index=readings.index).where(silent)
        way = pd.Series(np.where(found >= 0.5, "loaded", "unloaded"), index=readings.index)
        settled["load_chance"] = found
        settled["load_state"] = readings["load_state"].mask(found.notna(), way)
    if "inspector" in readings:
        settled = _without(settled, inspector_differences(settled, laws))
    return settled


def _told_by_sheet(readings: pd.DataFrame) -> pd.DataFrame:
    """Give silent readings the word of their sheet, where its other readings agree on one."""
    if "load_state" not in readings:
        return readings
    word = readings["load_state"].where(readings["load_state"].isin(_TOLD))
    sheet = word.groupby([readings[name] for name in _SHEET])
    agreed = sheet.transform("first").where(sheet.transform("nunique").eq(1))
    silent = word.isna() & agreed.notna()
    return readings.assign(load_state=readings["load_state"].mask(silent, agreed))


def settled_table(settled: pd.DataFrame) -> pd.DataFrame:
    """Tabulate what was settled.

    Parameters
    ----------
    settled : DataFrame
        From `settle_sheets`.

    Returns
    -------
    DataFrame
        `SETTLED_COLUMNS`: one row for the sheets without a word on load (sheets and readings that
        were judged, sheets taken as loaded), one for each inspector whose difference was taken off
        (difference_mm: above zero where the inspector reads high).
    """
    judged = settled[settled["load_chance"].notna()]
    sheets = judged.drop_duplicates(_SHEET)
    loaded = int((sheets["load_chance"] >= 0.5).sum())
    rows: list[tuple[object, ...]] = []
    if len(sheets):
        rows.append((SILENT_LOAD, "", len(sheets), len(judged), loaded, np.nan))
    named = settled[settled["inspector_mm"].ne(0.0)]
    if len(named):
        for name, own in named.groupby("inspector", sort=True):
            looks, high = len(own.drop_duplicates(_SHEET)), own["inspector_mm"].iloc[0]
            rows.append((OF_INSPECTOR, str(name), looks, len(own), np.nan, high))
    return pd.DataFrame(rows, columns=list(SETTLED_COLUMNS))


def first_laws(readings: pd.DataFrame, *, seed: int = 0) -> dict[str, FreePlayGrowth]:
    """Fit one law to each type over all duties, to sheets that say how they were measured.

    Parameters
    ----------
    readings : DataFrame
        As for `settle_sheets`.
    seed : int

    Returns
    -------
    dict of bushing type to FreePlayGrowth
        Types whose readings determine no law are absent.
    """
    rows = _by_life(readings)
    if "load_state" in rows and rows["load_state"].isin(_TOLD).any():
        rows = rows.loc[rows["load_state"].isin(_TOLD)]
    laws = {}
    for kind, of_type in rows.groupby("bushing_type", sort=True):
        try:
            laws[str(kind)] = FreePlayGrowth(seed=seed, most_lives=_MOST_LIVES).fit(of_type)
        except NoMaximumError:
            continue
    return laws


def load_chances(readings: pd.DataFrame, laws: Laws) -> pd.Series:
    """Chance that each sheet without a word on load was measured under load.

    Parameters
    ----------
    readings : DataFrame
        As for `settle_sheets`.
    laws : mapping of bushing type to FreePlayGrowth

    Returns
    -------
    Series by (unit_id, reading_date)
        Empty where too few sheets say how they were measured.
    """
    rows = _by_life(readings)
    told = rows["load_state"].isin(_TOLD)
    sheets = rows.loc[told].drop_duplicates(_SHEET)["load_state"].value_counts()
    enough = all(sheets.get(way, 0) >= FEWEST_SHEETS for way in _TOLD)
    if not enough or told.all():
        return pd.Series(dtype=float)
    share = sheets["loaded"] / sheets.sum()
    parts = [_for_load(rows[rows["bushing_type"] == kind], growth) for kind, growth in laws.items()]
    if not parts:
        return pd.Series(dtype=float)
    odds = pd.concat(parts).groupby(_SHEET)["log_odds"].sum() + np.log(share / (1.0 - share))
    chance: pd.Series = 1.0 / (1.0 + np.exp(-odds))
    return chance


def inspector_differences(readings: pd.DataFrame, laws: Laws) -> pd.Series:
    """How much each inspector reads above what the others read on the same bushings.

    Parameters
    ----------
    readings : DataFrame
        As for `settle_sheets`, loads settled.
    laws : mapping of bushing type to FreePlayGrowth

    Returns
    -------
    Series by inspector, mm
        Drawn towards zero as far as it may be chance; inspectors with too few readings absent.
        Found in rounds, because what the others say holds their own differences.
    """
    total = pd.Series(dtype=float)
    for _ in range(_ROUNDS):
        rows = _by_life(_without(readings, total))
        rows = rows[rows["inspector"].fillna("").ne("")]
        parts = [
            _residuals(rows[rows["bushing_type"] == kind], growth) for kind, growth in laws.items()
        ]
        total = total.add(_shrunk(pd.concat(parts)), fill_value=0.0)
    return total


def _without(readings: pd.DataFrame, differences: pd.Series) -> pd.DataFrame:
    """Take the inspectors' differences off what was measured."""
    off = readings["inspector"].map(differences).astype(float).fillna(0.0)
    least = 0.51 * readings["resolution_mm"].fillna(0.0).clip(lower=FINEST_MM)
    measured = readings["free_play_mm"] > least
    less = (readings["free_play_mm"] - off).clip(lower=least)
    return readings.assign(
        free_play_mm=readings["free_play_mm"].mask(measured, less),
        inspector_mm=off.where(measured, 0.0),
    )


def _by_life(readings: pd.DataFrame) -> pd.DataFrame:
    usable = usable_readings(readings)
    return usable.assign(pivot_id=usable["life_id"], miles=usable["age_miles"])


def _for_load(rows: pd.DataFrame, growth: FreePlayGrowth) -> pd.DataFrame:
    """Log odds that each silent reading of a type was taken under load, by sheet."""
    law = growth.law_
    told = rows["load_state"].isin(_TOLD)
    data = weigh_readings(
        growth_readings(rows.assign(free_play_mm=rows["free_play_mm"].where(told))), law
    )
    silent = rows.loc[~told & rows["free_play_mm"].gt(0.0)]
    life = data.life_pivot.get_indexer(pd.Index(silent["pivot_id"]))
    log_miles = np.log(silent["miles"].to_numpy(dtype=float).clip(min=1.0))
    play, spread = expected_play(data, law, life, log_miles)
    width = np.nan_to_num(silent["resolution_mm"].to_numpy(dtype=float)).clip(min=FINEST_MM)
    error = error_variance(law, width)
    greased = silent.get("greased_before", pd.Series("", index=silent.index)).eq("yes")
    shown = silent["free_play_mm"] - law.grease_offset_mm * greased.astype(float)

    def log_density(factor: float) -> Floats:
        variance = error + factor**2 * spread
        return np.asarray(-0.5 * ((shown - factor * play) ** 2 / variance + np.log(variance)))

    odds = log_density(law.load_factor) - log_density(1.0)
    return silent[_SHEET].assign(log_odds=np.clip(odds, -LOUDEST, LOUDEST))


def _residuals(rows: pd.DataFrame, growth: FreePlayGrowth) -> pd.DataFrame:
    """Hold each reading of a type against the bushing's others; by inspector and sheet."""
    data = weigh_readings(growth_readings(rows), growth.law_)
    off, sd = left_out_residuals(data, growth.law_)
    at = rows.iloc[data.row]
    return at[["inspector", *_SHEET]].assign(off=off, weight=data.weight / sd**2)


def _shrunk(residuals: pd.DataFrame) -> pd.Series:
    """Mean of each inspector, drawn towards zero; readings of one sheet count as one look."""
    rows = residuals.assign(weighted=residuals["off"] * residuals["weight"])
    sheet = rows.groupby(["inspector", *_SHEET])[["weighted", "weight"]].sum()
    of = sheet.groupby("inspector")
    total = of["weight"].sum()
    mean = of["weighted"].sum() / total
    apart = sheet["weighted"] - sheet["weight"] * mean.reindex(sheet.index, level="inspector")
    looks = of.size()
    square = (apart**2).groupby("inspector").sum() / total**2
    variance = square * looks / (looks - 1.0).clip(lower=1.0)
    # Never surer than the gauge error of that many readings allows.
    variance = variance.clip(lower=1.0 / total)
    enough = (rows.groupby("inspector").size() >= FEWEST_READINGS) & (looks >= FEWEST_LOOKS)
    mean, variance = mean[enough], variance[enough]
    if len(mean) < 2:
        return mean.iloc[:0]
    between = _between(mean.to_numpy(), variance.to_numpy())
    centre = np.average(mean, weights=1.0 / (variance + between))
    shrunk: pd.Series = (mean - centre) * between / (between + variance)
    return shrunk


def _between(mean: Floats, variance: Floats) -> float:
    """Variance between inspectors by moments."""
    weight = 1.0 / variance
    centre = np.average(mean, weights=weight)
    excess = float(weight @ (mean - centre) ** 2) - (len(mean) - 1.0)
    return max(0.0, excess / float(weight.sum() - (weight @ weight) / weight.sum()))
