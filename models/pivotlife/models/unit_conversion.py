"""The fleet's trucks as they stand today: keep what each carries, or convert it at its next visit.

Every unit starts with the bushings it has, at their ages, each known to have been good at its last
good evidence; what is over its limit already is renewed at the next visit either way. It is driven
until its own planned sale, so that few remaining miles tell against a dear conversion: nothing is
credited beyond. All options of a unit meet the same luck, and one drawn set of lives holds for all
units of a repetition, so that the fleet's spread is not averaged away. The bushings of a unit share
a part of their luck, drawn given how they stand today.

The shortlist's own sum (`conversion_offers`) asks less: it counts ends of bushings by the renewal
function, each at the cost of an end by itself. The two agree where nothing is shared, late costs
no more than planned and visits are close. Otherwise this one saves less, because later jobs share
set-ups, bushings serve on until a visit finds them and none is renewed at the sale; it saves more
where its marks let the shorter life end late.

Not here: types compared on new bushings (`lifetime_cost`), which unit is booked as capital.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.cash_flows import price_factors
from pivotlife.models.conversion_verdict import DOES_NOT_PAY, UNKNOWN, verdict
from pivotlife.models.cost_lines import CASH, COUNTS, DOWNTIME, line_price, unit_amounts
from pivotlife.models.cost_lines import COST_LINES as LINES
from pivotlife.models.cost_policy import Policy, TypeLife, fitted_bushings
from pivotlife.models.lifetime_cost import DutyWork, Money
from pivotlife.models.truck_luck import drawn_hardships, shared_given_good
from pivotlife.models.truck_miles import PLACES, Axles, Fitted, Step, drawn_lives, drive, survival

CONVERSION_COLUMNS: Final = (
    *("unit_id", "depot", "duty", "present_type", "to_type", "miles_left", "years_left", "pivots"),
    *("keep_cash", "keep_downtime", "convert_cash", "convert_downtime", "first_cost"),
    *("saving", "saving_p10", "saving_p90", "chance_pays", "verdict", "note"),
)
_WORDS: Final = frozenset(
    {"unit_id", "depot", "duty", "present_type", "to_type", "verdict", "note"}
)
FLEET_COLUMNS: Final = (
    *("year", "units", "cash", "cash_p10", "cash_p50", "cash_p90", "downtime", "downtime_p10"),
    *("downtime_p50", "downtime_p90"),
)
#: Repetitions of each axle: as many as this number of rows allows, but at least so many.
_ROWS: Final = 30_000
_FEWEST: Final = 8
_UNSOLD: Final = "no planned sale: give the unit a holding odometer, or set finance.holding_miles"
_KITS: Final = COUNTS.index("kits")
_LUBE: Final = COUNTS.index("lube_visits")
_UnitMoney: TypeAlias = tuple[FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, eq=False)
class FleetCost:
    """What the fleet's own trucks will take.

    Attributes
    ----------
    conversions : DataFrame
        `CONVERSION_COLUMNS`, one row a unit and other type; discounted currency.
    by_year : DataFrame
        `FLEET_COLUMNS`: all units kept as they are, in the prices of each year, not discounted.
    repetitions : int
    """

    conversions: pd.DataFrame
    by_year: pd.DataFrame
    repetitions: int


@dataclass(frozen=True, eq=False)
class _Duty:
    """Units of one duty laid out: axles in rows, repetitions one after the other."""

    work: DutyWork
    lives: tuple[TypeLife, ...]
    policies: tuple[Policy, ...]
    units: pd.DataFrame
    unit: IntArray
    kind: IntArray
    age: FloatArray
    good: FloatArray
    over: np.ndarray


def fleet_cost(
    pivots: pd.DataFrame,
    units: pd.DataFrame,
    works: Mapping[str, DutyWork],
    lives: Mapping[str, Sequence[TypeLife]],
    policies: Mapping[str, Mapping[str, Policy]],
    money: Money,
    *,
    repetitions_at_most: int = 200,
    seed: int = 0,
) -> FleetCost:
    """Cost every unit kept as it is, and converted to each type at its next visit.

    Parameters
    ----------
    pivots : DataFrame, one row per pivot in service
        unit_id, axle, side, node, bushing_type, age_miles, good_miles (age at the last good
        evidence), is_over (bool: must be renewed at the next visit).
    units : DataFrame, one row per unit
        unit_id, depot, duty, miles_left (NaN unknown), annual_miles, first_visit_miles.
    works : mapping of duty to DutyWork
    lives, policies : mappings of duty to the types' lives, and to policies by type
    money : Money
    repetitions_at_most : int
        Trucks drawn for each unit; fewer in a large fleet, as time allows.
    seed : int

    Returns
    -------
    FleetCost
    """
    axles = pivots.drop_duplicates(["unit_id", "axle"])
    times = int(np.clip(_ROWS // max(len(axles), 1), _FEWEST, max(repetitions_at_most, _FEWEST)))
    years = max([work.years for work in works.values()], default=1)
    spent = np.zeros((2, times, years + 1))
    tables = []
    driven = 0
    for duty, work in works.items():
        of_duty = units[(units["duty"] == duty) & (units["miles_left"] > 0)]
        mine = pivots[pivots["unit_id"].isin(of_duty["unit_id"])]
        if mine.empty or duty not in lives:
            continue
        laid = _laid_out(mine, of_duty, work, tuple(lives[duty]), policies[duty])
        amounts = _drive_duty(laid, money, times, seed, spent)
        tables.append(_conversions(laid, amounts))
        driven += len(laid.units)
    tables.append(_unsold(units, pivots))
    conversions = pd.concat(tables, ignore_index=True)
    return FleetCost(conversions.astype({"pivots": int}), _by_year(spent, driven), times)


def _laid_out(
    pivots: pd.DataFrame,
    units: pd.DataFrame,
    work: DutyWork,
    lives: tuple[TypeLife, ...],
    policies: Mapping[str, Policy],
) -> _Duty:
    """Put the pivots of each axle into its six places; unknown types leave a place empty."""
    names = [life.bushing_type for life in lives]
    place = {pair: number for number, pair in enumerate(PLACES)}
    slot = [place.get(pair, -1) for pair in zip(pivots["side"], pivots["node"], strict=True)]
    kinds = pivots["bushing_type"].map({name: n for n, name in enumerate(names)}).fillna(-1)
    rows = pivots.assign(slot=slot, kind=kinds.astype(int))
    rows = rows[(rows["slot"] >= 0) & (rows["kind"] >= 0)]
    units = units[units["unit_id"].isin(rows["unit_id"])].reset_index(drop=True)
    axles = rows[["unit_id", "axle"]].drop_duplicates().reset_index(drop=True)
    number = pd.MultiIndex.from_frame(axles).get_indexer(
        pd.MultiIndex.from_frame(rows[["unit_id", "axle"]])
    )

    def grid(column: str, empty: float) -> FloatArray:
        out = np.full((len(axles), len(PLACES)), empty)
        out[number, rows["slot"]] = rows[column].to_numpy(dtype=float)
        return out

    return _Duty(
        work=work,
        lives=lives,
        policies=tuple(policies[name] for name in names),
        units=units,
        unit=pd.Index(units["unit_id"]).get_indexer(axles["unit_id"]).astype(np.int64),
        kind=grid("kind", -1.0).astype(np.int64),
        age=grid("age_miles", 0.0),
        good=np.nan_to_num(grid("good_miles", 0.0)),
        over=grid("is_over", 0.0) > 0,
    )


def _drive_duty(duty: _Duty, money: Money, times: int, seed: int, spent: FloatArray) -> FloatArray:
    """Drive all units; shape (4, options, units, times): cash, downtime, first cost, own spare.

    What is kept as it is adds to `spent` (2, times, years + 1) in the prices of each year.
    """
    made = np.zeros((3, len(duty.lives) + 1, len(duty.units), times))
    per_block = max(1, 6_000 // max(len(duty.unit), 1))
    for begin in range(0, times, per_block):
        block = np.arange(begin, min(begin + per_block, times))
        made[..., block] = _drive_block(duty, money, block, seed, spent)
    return made


def _drive_block(
    duty: _Duty, money: Money, block: IntArray, seed: int, spent: FloatArray
) -> FloatArray:
    axles, n_units = len(duty.unit), len(duty.units)
    row_unit = np.tile(duty.unit, len(block))
    repetition = np.repeat(np.arange(len(block)), axles)
    draw = np.repeat(block % len(duty.lives[0].shapes), axles)
    fitted = _options(duty, draw, len(block))
    start = _start(duty, fitted, row_unit, len(block), [seed, int(block[0]), 2])
    annual = duty.units["annual_miles"].to_numpy(dtype=float)[row_unit]
    unit_money = _unit_money(duty, money, len(block))
    years = spent.shape[2] - 1
    growth, factors = price_factors(money.price_escalation, years), money.factors(years)
    made = np.zeros((3, len(duty.lives) + 1, n_units, len(block)))
    at = (row_unit, repetition)
    steps = drive(start, fitted, duty.work.gap_miles, duty.work.early_miles, seed + 7 + block[0])
    for number, step in enumerate(steps):
        year = np.clip(np.ceil(step.miles / annual - 1e-9), 1, years).astype(int)
        amounts = _amounts(step, unit_money)
        for kind in (0, 1):
            for option in range(len(amounts[kind])):
                np.add.at(made[kind, option], at, amounts[kind, option] * factors[year])
            kept = amounts[kind, 0] * growth[year]
            np.add.at(spent[kind], (block[repetition], year), kept)
        if number == 0:
            for option in range(len(amounts[0])):
                np.add.at(made[2, option], at, amounts[0, option])
    return made


def _options(duty: _Duty, draw: IntArray, repeats: int) -> Fitted:
    """Say what each option fits: the present type in every place, or one type everywhere."""
    single = fitted_bushings(duty.lives, duty.policies, draw)
    kind = np.tile(np.maximum(duty.kind, 0), (repeats, 1))
    rows = np.arange(len(draw))[:, None]
    made = {}
    for name, values in vars(single).items():
        wide = np.broadcast_to(values, (len(duty.lives), len(draw), 1))
        kept = wide[kind, rows, 0][None]
        whole = np.broadcast_to(wide, (len(duty.lives), len(draw), len(PLACES)))
        made[name] = np.concatenate([kept, whole])
    return Fitted(**made)


def _start(duty: _Duty, fitted: Fitted, row_unit: IntArray, repeats: int, seed: list[int]) -> Axles:
    """Lay out the axles as they stand: ages and lives of what is fitted, alike in all options."""
    options = len(duty.lives) + 1
    present = np.tile(duty.kind >= 0, (repeats, 1))
    age, good, over = (np.tile(a, (repeats, 1)) for a in (duty.age, duty.good, duty.over))
    random = np.random.default_rng(seed)
    uniform = random.uniform(1e-12, 1.0, age.shape)
    shape, scale, likeness = fitted.shape[0], fitted.scale[0], fitted.likeness[0]
    lasted = np.where(present, survival(np.minimum(good, age), shape, scale), 1.0)
    hardship = np.zeros(len(row_unit))
    if np.any(likeness):
        # Axles of one unit share its hardship; each repetition is a truck of its own.
        truck = row_unit + len(duty.units) * np.repeat(np.arange(repeats), len(duty.unit))
        ended = np.where(over & present, survival(age, shape, scale), 0.0)
        each = random.uniform(1e-12, 1.0, len(duty.units) * repeats)
        hardship = drawn_hardships(each, truck, likeness, lasted, ended)[truck]
    even = shared_given_good(uniform, hardship[:, None], likeness, lasted)
    life = np.where(over, age, np.maximum(drawn_lives(even, shape, scale), np.minimum(good, age)))
    kind = np.tile(duty.kind, (repeats, 1))
    to = np.arange(-1, options - 1)[:, None, None]
    return Axles(
        horizon=duty.units["miles_left"].to_numpy(dtype=float)[row_unit],
        first_visit=np.maximum(
            duty.units["first_visit_miles"].to_numpy(dtype=float)[row_unit], 1.0
        ),
        present=present,
        age=np.repeat(age[None], options, axis=0),
        life=np.repeat(life[None], options, axis=0),
        refit=np.arange(options)[:, None] > 0,
        converted=(to >= 0) & (kind[None] != to) & present,
        hardship=hardship,
    )


def _unit_money(
    duty: _Duty, money: Money, repeats: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Amounts of the counts but kits, kit prices by place, lube visits per mile.

    Shapes (2, n_counts), (options, rows, 6), (options, rows).
    """
    names = [life.bushing_type for life in duty.lives]
    amounts = np.stack([unit_amounts(money.figures, names[0], kind) for kind in (CASH, DOWNTIME)])
    amounts[0, _KITS] = 0.0
    kit_line = next(line for line in LINES if line.quantity == "kits")
    prices = np.array([line_price(kit_line, money.figures, name) for name in names])
    kind = np.tile(np.maximum(duty.kind, 0), (repeats, 1))
    kits = np.stack([prices[kind], *(np.full(kind.shape, price) for price in prices)])
    takes = np.array([life.takes_grease for life in duty.lives])
    here = np.tile(duty.kind >= 0, (repeats, 1))
    greased = (takes[kind] & here).any(axis=1)
    lube = np.stack([greased, *(np.full(len(kind), grease) for grease in takes)])
    return amounts, kits, lube * duty.work.extra_lube_per_mile * duty.work.compliance


def _amounts(step: Step, unit_money: _UnitMoney) -> FloatArray:
    """Price one step at today's prices, shape (2, options, rows)."""
    amounts, kit_prices, lube = unit_money
    made = np.tensordot(amounts, step.counts, axes=1)
    made[0] += (step.kits * kit_prices).sum(axis=-1)
    made[0] += amounts[0, _LUBE] * lube * step.driven
    return np.asarray(made)


def _conversions(duty: _Duty, made: FloatArray) -> pd.DataFrame:
    """One row for each unit and type that not all of its pivots carry."""
    names = [life.bushing_type for life in duty.lives]
    mean = made.mean(axis=-1)
    rows = []
    for number, unit in enumerate(duty.units.to_dict("records")):
        kinds = duty.kind[duty.unit == number]
        held = np.bincount(kinds[kinds >= 0], minlength=len(names))
        for option, name in enumerate(names, start=1):
            if held[option - 1] == held.sum():
                continue
            saved = (made[:2, 0, number] - made[:2, option, number]).sum(axis=0)
            rows.append(
                {
                    **{key: unit[key] for key in ("unit_id", "depot", "duty")},
                    "present_type": names[int(np.argmax(held))],
                    "to_type": name,
                    "miles_left": float(unit["miles_left"]),
                    "years_left": float(unit["miles_left"]) / float(unit["annual_miles"]),
                    "pivots": int(held.sum()),
                    "keep_cash": mean[0, 0, number],
                    "keep_downtime": mean[1, 0, number],
                    "convert_cash": mean[0, option, number],
                    "convert_downtime": mean[1, option, number],
                    "first_cost": mean[2, option, number],
                    **_judged(saved),
                    "note": duty.lives[option - 1].note,
                }
            )
    table = pd.DataFrame(rows, columns=list(CONVERSION_COLUMNS))
    return table.astype({name: float for name in CONVERSION_COLUMNS if name not in _WORDS})


def _judged(saved: FloatArray) -> dict[str, object]:
    mean, error = float(saved.mean()), float(saved.std() / np.sqrt(len(saved)))
    low, high = (float(end) for end in np.quantile(saved, (0.1, 0.9)))
    return {
        "saving": mean,
        "saving_p10": low,
        "saving_p90": high,
        "chance_pays": float((saved > 0).mean()),
        "verdict": verdict(mean, error, low, high),
    }


def _unsold(units: pd.DataFrame, pivots: pd.DataFrame) -> pd.DataFrame:
    """Units of which nobody knows how far they will go, or that are due for sale now."""
    rest = units[~(units["miles_left"] > 0) & units["unit_id"].isin(pivots["unit_id"])]
    usual = pivots.groupby("unit_id")["bushing_type"].agg(lambda kinds: kinds.mode().iloc[0])
    due = rest["miles_left"].notna()
    numbers = [name for name in CONVERSION_COLUMNS if name not in _WORDS]
    table = pd.DataFrame(
        {
            **{name: rest[name] for name in ("unit_id", "depot", "duty")},
            **dict.fromkeys(numbers, np.nan),
            "present_type": rest["unit_id"].map(usual),
            "to_type": "",
            "miles_left": rest["miles_left"].clip(lower=0.0),
            "pivots": rest["unit_id"].map(pivots["unit_id"].value_counts()),
            "verdict": np.where(due, DOES_NOT_PAY, UNKNOWN),
            "note": np.where(due, "due for sale: nothing pays back any more", _UNSOLD),
        }
    )
    return table[list(CONVERSION_COLUMNS)].astype(dict.fromkeys(numbers, float))


def _by_year(spent: FloatArray, units: int) -> pd.DataFrame:
    """Spread of the fleet's spending by year over the repetitions."""
    rows = []
    for year in range(1, spent.shape[2]):
        row: dict[str, float] = {"year": year, "units": units}
        for name, amounts in (("cash", spent[0, :, year]), ("downtime", spent[1, :, year])):
            row[name] = float(amounts.mean())
            for share in (0.1, 0.5, 0.9):
                row[f"{name}_p{share * 100:.0f}"] = float(np.quantile(amounts, share))
        rows.append(row)
    return pd.DataFrame(rows, columns=list(FLEET_COLUMNS))
