"""What nobody in the invented fleet could know: true lives, true play, true laws by type.

The laws by type are those of uncensored lives: each type fitted to every pivot of a duty, with
that truck's salt, nature and care before the campaign, in a sound bore. They are computed from
the mixture of the trucks' Weibull laws instead of drawn (the limit of infinitely many draws).

`mode` "wear" is the age T at which play reaches the limit or rubber splits, a seized pin's T
being its seizure; "any" also counts the bushings that break on the road before T.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray, TextArray, words, yes_no
from pivotlife.data.fleet_block import Block
from pivotlife.data.fleet_bushings import life_scale
from pivotlife.data.fleet_columns import TRUTH_COLUMNS
from pivotlife.data.fleet_shop import FAILURES, REASONS

#: Larger fleets are represented by this many of their trucks, evenly spaced.
MOST_TRUCKS = 2_000
MEAN_UNTIL = 500_000.0
#: Places within T at which a break may come, for the mixture over breaks.
BREAK_PLACES = sc.BREAKS_FROM + (1.0 - sc.BREAKS_FROM) * (np.arange(24) + 0.5) / 24


@dataclass(frozen=True)
class TruckLaws:
    """What of a truck shapes its bushings' lives; arrays of shape (trucks,)."""

    duty: IntArray
    salt: BoolArray
    care: FloatArray
    frailty: FloatArray

    def where(self, keep: BoolArray) -> TruckLaws:
        """Keep some of the trucks."""
        return TruckLaws(self.duty[keep], self.salt[keep], self.care[keep], self.frailty[keep])


def chance_failed(
    miles: float | FloatArray, kind: int, trucks: TruckLaws, mode: str
) -> npt.NDArray[np.float64]:
    """Share of bushings of a type that have failed by an age, over all pivots of some trucks.

    Parameters
    ----------
    miles : float or ndarray of float, shape (k,), miles
        Ages.
    kind : int
        Place in `scenario.BUSHING_TYPES`.
    trucks : TruckLaws
    mode : "any" or "wear"

    Returns
    -------
    ndarray of float, shape (k,)
    """
    ages = np.atleast_1d(np.asarray(miles, dtype=float))
    kinds = np.full(len(trucks.duty), kind)
    scale = life_scale(kinds, trucks.duty, trucks.salt, trucks.care, trucks.frailty)
    worn = _worn(ages, kind, scale)
    if mode == "wear":
        return worn
    broken = np.mean([_worn(ages / place, kind, scale) for place in BREAK_PLACES], axis=0)
    return np.asarray((1.0 - sc.BROKEN_SHARE) * worn + sc.BROKEN_SHARE * broken, dtype=float)


def _worn(ages: FloatArray, kind: int, scale: FloatArray) -> FloatArray:
    """P(T <= age) averaged over trucks; a share of rollers is badly fitted."""
    hazard = (ages[:, None] / scale[None, :]) ** sc.LIFE_SHAPE[kind]
    worn = -np.expm1(-hazard).mean(axis=1)
    if kind != sc.ROLLER:
        return np.asarray(worn, dtype=float)
    bad = -np.expm1(-((ages / sc.BAD_INSTALL_SCALE) ** sc.BAD_INSTALL_SHAPE))
    return np.asarray((1.0 - sc.BAD_INSTALL_SHARE) * worn + sc.BAD_INSTALL_SHARE * bad)


def age_at(share: float, kind: int, trucks: TruckLaws, mode: str) -> float:
    """Age in miles by which a share has failed, by interval halving to a hundredth of a mile."""
    low, high = 0.0, 1.0e8
    while high - low > 0.01:
        middle = 0.5 * (low + high)
        if chance_failed(middle, kind, trucks, mode)[0] < share:
            low = middle
        else:
            high = middle
    return high


def mean_until(kind: int, trucks: TruckLaws, mode: str, until: float = MEAN_UNTIL) -> float:
    """Mean miles run to failure or to `until`, whichever comes first (area under survival)."""
    nodes, weights = np.polynomial.legendre.leggauss(60)
    ages = 0.5 * until * (nodes + 1.0)
    return float(0.5 * until * weights @ (1.0 - chance_failed(ages, kind, trucks, mode)))


def type_truth(trucks: TruckLaws) -> pd.DataFrame:
    """Uncensored B10, B50 and mean to 500,000 miles by type, duty and mode.

    Parameters
    ----------
    trucks : TruckLaws
        All trucks of the fleet; of more than `MOST_TRUCKS` evenly spaced ones stand for all.

    Returns
    -------
    DataFrame
        bushing_type, duty ("all": standardised to the whole fleet), mode, b10, b50,
        mean_to_500000 (miles). Duties without trucks are absent.
    """
    if len(trucks.duty) > MOST_TRUCKS:
        chosen = np.zeros(len(trucks.duty), dtype=bool)
        chosen[np.linspace(0, len(trucks.duty) - 1, MOST_TRUCKS).astype(np.int64)] = True
        trucks = trucks.where(chosen)
    groups = [("all", trucks)]
    for i, duty in enumerate(sc.DUTIES):
        if (trucks.duty == i).any():
            groups.append((duty, trucks.where(trucks.duty == i)))
    rows = [
        (
            name, duty, mode, round(age_at(0.1, kind, group, mode), 1),
            round(age_at(0.5, kind, group, mode), 1), round(mean_until(kind, group, mode), 1),
        )
        for kind, name in enumerate(sc.BUSHING_TYPES)
        for duty, group in groups
        for mode in ("any", "wear")
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(TRUTH_COLUMNS["type_truth"]))


def life_ids(block: Block) -> TextArray:
    """Name every life of a block: MD-001.1.left.fixed-eye#2 is that pivot's second bushing."""
    lives = block.history.lives
    order = lives["order"].astype(str).to_numpy(dtype=object)
    return np.asarray(pivot_ids(block, lives) + "#" + order, dtype=object)


def pivot_ids(block: Block, events: pd.DataFrame) -> TextArray:
    """Name the pivots of events (unit, pivot): MD-001.1.left.fixed-eye."""
    names = tuple(
        f".1.{sc.SIDES[side]}.{sc.NODES[node]}"
        for side, node in zip(sc.PIVOT_SIDE, sc.PIVOT_NODE, strict=True)
    )
    return np.asarray(block.ids(events["unit"].to_numpy()) + words(events["pivot"], names))


def true_lives(block: Block) -> pd.DataFrame:
    """Every life with its fate, whether or not anybody recorded it.

    Parameters
    ----------
    block : Block

    Returns
    -------
    DataFrame
        `failure_age_miles` is where the life fails if left alone, `mode` how; `failed` whether it
        did before it ended; `recorded` whether any of it fell into the recorded years;
        `end_reason` is empty for bushings in service or gone with their truck.
    """
    lives, trucks = block.history.lives, block.trucks
    unit, kind = lives["unit"].to_numpy(), lives["kind"].to_numpy()
    breaks = lives["break_age"].to_numpy() < lives["wear_age"].to_numpy()
    mode = np.select(
        [breaks, lives["seized"], kind == sc.RUBBER], ["broken", "seized", "split"], "wear"
    )
    begin = trucks.begin_day[unit]
    end_reason = lives["end_reason"].to_numpy()
    pivot = lives["pivot"].to_numpy()
    age = lives["end_miles"] - lives["fitted_miles"]
    failure = np.where(breaks, np.ceil(lives["break_age"]), lives["wear_age"])
    ended_broken = end_reason == REASONS.index("broken")
    failure = np.where(ended_broken, age, failure)
    frame = pd.DataFrame(
        {
            "life_id": life_ids(block),
            "unit_id": block.ids(unit),
            "pivot_id": pivot_ids(block, lives),
            "axle": 1,
            "side": words(sc.PIVOT_SIDE[pivot], sc.SIDES),
            "node": words(sc.PIVOT_NODE[pivot], sc.NODES),
            "bushing_type": words(kind, sc.BUSHING_TYPES),
            "duty": words(trucks.duty[unit], sc.DUTIES),
            "road_salt": yes_no(trucks.salt[unit]),
            "life_order": lives["order"],
            "fitted_date": block.dates(lives["fitted_day"].to_numpy()),
            "fitted_true_miles": lives["fitted_miles"].astype(np.int64),
            "failure_age_miles": np.round(failure, 1),
            "mode": mode,
            "wear_age_miles": lives["wear_age"].round(1),
            "start_play_mm": sc.START_PLAY_MM[kind],
            "exponent": sc.PLAY_EXPONENT[kind],
            "sudden": yes_no(lives["sudden"]),
            "bad_install": yes_no(lives["bad_install"]),
            "worn_bore": yes_no(lives["bore_worn"]),
            "lube_compliance": lives["care"].round(4),
            "frailty": trucks.frailty[unit].round(4),
            "end_date": block.dates(lives["end_day"].to_numpy()),
            "end_true_miles": lives["end_miles"].astype(np.int64),
            "end_reason": words(end_reason, REASONS),
            "failed": yes_no(age >= failure),
            "recorded": yes_no((lives["end_day"] >= begin) | (end_reason == 0)),
        }
    )
    return frame[list(TRUTH_COLUMNS["lives"])]


def recorded_failures(lives: pd.DataFrame) -> pd.Series:
    """Say which true lives ended, on record, for a reason that counts as a failure."""
    failed = lives["end_reason"].isin([REASONS[code] for code in FAILURES])
    return failed & (lives["recorded"] == "yes")
