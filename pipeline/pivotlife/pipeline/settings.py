"""Settings: one TOML file, typed, every key with a default or a clear error.

The models below are the only list of keys. An unknown key is an error that names the nearest
known one, so that a misspelt limit can never pass as "no limit". Prices carry the day and the
origin they were taken from; those still at the product's defaults say that they are invented.

Not here: reading the file (`settings_file`), reading the sources, keys of stages that do not
exist yet.
"""

from __future__ import annotations

import datetime as dt
import typing
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator

from pivotlife.pipeline.suspect_kinds import SuspectKind

BushingType = Literal["rubber-bonded", "threaded", "roller"]
Duty = Literal["line-haul", "regional", "vocational"]
Node = Literal["fixed-eye", "shackle-lower", "shackle-upper"]

INVENTED_SOURCE = "invented default, replace with your own"
INVENTED_DATE = dt.date(2026, 11, 1)


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


def _listed(value: object) -> object:
    """Let one text stand for a list of one."""
    return (value,) if isinstance(value, str) else value


def _written(value: object) -> object:
    """Let a whole number stand for its text: axle values are often written so."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


Name = Annotated[str, Field(min_length=1)]
Names = Annotated[tuple[Name, ...], BeforeValidator(_listed), Field(min_length=1)]
Written = Annotated[str, BeforeValidator(_written)]


class SourceSettings(_Strict):
    """Where one table comes from and how it is written."""

    path: Name | None = Field(None, description="file, relative to the settings file; a pattern")
    url: Name | None = Field(None, description="database; the password alone may be ${NAME}")
    query: Name | None = Field(None, description="one SELECT, with url")
    columns: dict[str, Names] = Field(
        default_factory=dict, description='our column = "header in the file", or a list of them'
    )
    meanings: dict[str, dict[str, Written]] = Field(
        default_factory=dict,
        alias="values",
        description='by column: "value in the file" = "our value"',
    )
    units: dict[str, Name] = Field(
        default_factory=dict, description="quantity or unit column = unit where the row has none"
    )
    date_format: Annotated[tuple[Name, ...], BeforeValidator(_listed)] = ()
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", " ", "'"] = ""
    separator: Literal[",", ";", "\t", "|"] = ","
    encoding: Name = "utf-8"
    sheet: str = ""
    skip_rows: Annotated[int, Field(ge=0, le=1_000)] = 0


class Limit(_Strict):
    """The free play at which a bushing counts as worn out."""

    play: Annotated[float, Field(gt=0)]
    unit: str = "mm"
    source: str = "settings"


class DutyIntervals(_Strict):
    """Planned miles between services of one duty."""

    pm_miles: Annotated[float, Field(gt=0)]
    lube_miles: Annotated[float, Field(gt=0)] = 7_500.0
    measure_miles: Annotated[float, Field(gt=0)] | None = None
    visits_read: Annotated[float, Field(ge=0, le=1)] | None = Field(
        default=None, description="share of visits at which a pivot's play is read"
    )

    @property
    def longest_gap_between_readings(self) -> float:
        """Miles after which a pivot counts as not measured (two services by default)."""
        return self.measure_miles if self.measure_miles is not None else 2.0 * self.pm_miles


class Price(_Strict):
    """One figure, where it was taken from and when."""

    value: Annotated[float, Field(ge=0)]
    source: str = INVENTED_SOURCE
    date: dt.date = INVENTED_DATE

    @property
    def is_default(self) -> bool:
        """True while the figure is the product's invented one."""
        return self.source == INVENTED_SOURCE


def _price(value: float) -> Any:
    return Field(default_factory=lambda: Price(value=value))


class PartPrices(_Strict):
    """Kit price per pivot by bushing type."""

    rubber_bonded: Annotated[Price, Field(alias="rubber-bonded")] = _price(45.0)
    threaded: Price = _price(55.0)
    roller: Price = _price(220.0)


class Hours(_Strict):
    """Labour hours: the first pivot opens the job, the next ones share its set-up."""

    first_pivot: Price = _price(2.0)
    same_shackle: Price = _price(0.75)
    same_side: Price = _price(1.1)
    conversion: Price = _price(0.75)
    lube_visit: Price = _price(0.5)
    measure: Price = _price(0.25)


class DowntimeDays(_Strict):
    """Days off the road for a job that was planned, found late, or broke down."""

    planned: Price = _price(0.25)
    late: Price = _price(0.75)
    roadside: Price = _price(2.0)


class Costs(_Strict):
    """Prices of the decision, in one currency."""

    currency: Annotated[str, Field(min_length=1, max_length=8)] = "USD"
    shop_rate: Price = _price(95.0)
    parts: PartPrices = PartPrices()
    hours: Hours = Hours()
    alignment: Price = _price(250.0)
    downtime_per_day: Price = _price(550.0)
    roadside: Price = _price(500.0)
    tow: Price = _price(1_500.0)
    tyre_pair: Price = _price(1_100.0)
    tyre_loss_per_mile_over: Price = _price(1.5e-6)
    chance_roadside_when_over: Price = _price(0.02)
    downtime_days: DowntimeDays = DowntimeDays()


class Decision(_Strict):
    """What steers the choice between replacing, measuring and leaving."""

    early_miles: Annotated[float, Field(ge=0)] = 60_000.0
    chance_now_alarm: Annotated[float, Field(gt=0, le=1)] = 0.2
    lookahead_visits: Annotated[int, Field(ge=1, le=8)] = 3
    budget_per_month: Annotated[float, Field(ge=0)] | None = Field(
        default=None, description="cash for this work in a calendar month; left out: not limited"
    )


class Finance(_Strict):
    """How money of later years counts, how far ahead, and what is asked of stock."""

    discount_rate: Annotated[float, Field(gt=-1, le=1)] = 0.08
    price_escalation: Annotated[float, Field(gt=-1, le=1)] = 0.025
    years: Annotated[int, Field(ge=1, le=30)] = 10
    holding_miles: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="miles still ahead of a unit that has no planned sale of its own"
    )
    capital_from: Annotated[float, Field(ge=0)] | None = Field(
        default=None, description="amount a unit from which a conversion is booked as capital"
    )
    service_level: Annotated[float, Field(gt=0.5, lt=1)] = Field(
        default=0.95, description="chance that the kits on the shelf suffice until more have come"
    )


class Override(_Strict):
    """A person's word on one pivot: shown with who and why, never against a safety order."""

    pivot_id: Annotated[str, Field(min_length=1)]
    decision: Literal["park", "replace", "measure", "leave"]
    reason: Annotated[str, Field(min_length=3)]
    by: Annotated[str, Field(min_length=1)]
    until: dt.date


class Fleet(_Strict):
    """What counts as a repeat repair."""

    repeat_within_miles: Annotated[float, Field(gt=0)] = 50_000.0


class Survival(_Strict):
    """What steers the survival fits; a fit check of 200 draws is finer and slower than of 100."""

    assumed_shape: dict[str, Annotated[float, Field(gt=0.1, lt=20)]] = Field(
        default_factory=dict, validate_default=True
    )
    bootstrap_draws: Annotated[int, Field(ge=20, le=20_000)] = 200
    fit_check_draws: Annotated[int, Field(ge=0, le=20_000)] = 100

    @field_validator("assumed_shape")
    @classmethod
    def _every_type(cls, shapes: dict[str, float]) -> dict[str, float]:
        types = typing.get_args(BushingType)
        unknown = [name for name in shapes if name not in types]
        if unknown:
            raise ValueError(f"unknown bushing type {unknown[0]!r}; known: {', '.join(types)}")
        return {**dict.fromkeys(types, 2.0), "rubber-bonded": 2.5, **shapes}


class Judge(_Strict):
    """What the checks of rows are told; kinds of suspect values to leave out (suspects.csv)."""

    zero_suspect_miles: Annotated[float, Field(ge=0)] = 50_000.0
    exclude_suspect: Annotated[tuple[SuspectKind, ...], BeforeValidator(_listed)] = ()


class Odometer(_Strict):
    """What counts as an impossible odometer."""

    daily_maximum: Annotated[float, Field(gt=0)] = 1_200.0


class Publish(_Strict):
    """Where the run's folder goes."""

    out: Annotated[str, Field(min_length=1)] = "out"
    fleet_name: Annotated[str, Field(min_length=1, max_length=80)] = "Our fleet"


class StoreSettings(_Strict):
    """What was read is kept here for good; an empty path keeps nothing."""

    path: str = Field("store", description="a folder beside this file, or s3://bucket/folder")
    options: dict[str, Written] = Field(
        default_factory=dict, description="of an object storage; secrets as ${NAME}"
    )


class Schedule(_Strict):
    """When the pipeline runs by itself (cron text)."""

    nightly: str = "0 4 * * *"
    timezone: str = "UTC"
    port: Annotated[int, Field(ge=1024, le=65_535)] = 4_200


class Guard(_Strict):
    """What makes a run ask for a person."""

    quarantine_share: Annotated[float, Field(ge=0, le=1)] = 0.02
    stale_days: Annotated[int, Field(ge=1)] = 45


class Random(_Strict):
    """The seed of every random draw."""

    seed: Annotated[int, Field(ge=0, lt=2**32)] = 1


def _default_intervals() -> dict[Duty, DutyIntervals]:
    return {
        "line-haul": DutyIntervals(pm_miles=25_000.0),
        "regional": DutyIntervals(pm_miles=15_000.0),
        "vocational": DutyIntervals(pm_miles=7_500.0),
    }


class Settings(_Strict):
    """Everything the user may set."""

    sources: dict[str, SourceSettings]
    limits: dict[BushingType, Limit | dict[Node, Limit]] = Field(default_factory=dict)
    intervals: dict[Duty, DutyIntervals] = Field(default_factory=dict, validate_default=True)
    costs: Costs = Costs()
    decision: Decision = Decision()
    finance: Finance = Finance()
    overrides: tuple[Override, ...] = ()
    fleet: Fleet = Fleet()
    survival: Survival = Survival()
    judge: Judge = Judge()
    odometer: Odometer = Odometer()
    publish: Publish = Publish()
    store: StoreSettings = StoreSettings()
    schedule: Schedule = Schedule()
    guard: Guard = Guard()
    random: Random = Random()
    folder: Path = Field(default=Path(), exclude=True)
    file: Path = Field(default=Path("settings.toml"), exclude=True)
    digest: str = Field(default="", exclude=True)

    @field_validator("intervals")
    @classmethod
    def _every_duty(cls, given: dict[Duty, DutyIntervals]) -> dict[Duty, DutyIntervals]:
        return {**_default_intervals(), **given}

    @field_validator("overrides")
    @classmethod
    def _one_word_a_pivot(cls, given: tuple[Override, ...]) -> tuple[Override, ...]:
        names = [override.pivot_id for override in given]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"{', '.join(twice)} is overridden twice: keep one entry a pivot")
        return given

    @property
    def out_folder(self) -> Path:
        """The folder that holds the runs."""
        return (self.folder / self.publish.out).resolve()
