"""What if a price were another: lifetime cost before and after, side by side.

A figure of `[costs]` or `[finance]` is replaced, the policies stay as they are, and the same trucks
are priced anew; a figure that moves what happens (holding miles, years) drives them again on the
same luck. Then the policies are chosen afresh, to say where another price would change the habit.

Not here: the command line (`cli`), the counting (`models.lifetime_cost`).
"""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from pydantic import BaseModel, ValidationError

from pivotlife.models.cost_lines import CASH, DOWNTIME
from pivotlife.models.fair_comparison import compare_fairly
from pivotlife.models.growth_cells import fit_laws
from pivotlife.models.lifetime_cost import DutyCost, Lifetime, best_policy
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline.errors import SettingsError, one_line
from pivotlife.pipeline.fleet_tables import lube_compliance
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.lifetime import lifetime
from pivotlife.pipeline.lifetime_inputs import LifeSources, money_of
from pivotlife.pipeline.odometer_points import day_number
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.settings_file import nearest_key
from pivotlife.pipeline.work import Records

SECTIONS = ("costs", "finance")
_NO_COST = "No lifetime cost could be counted: on that day no duty has units with known miles."
#: Keys of `[finance]` that only weigh money; the others move what happens.
WEIGHING = ("discount_rate", "price_escalation", "capital_from")


@dataclass(frozen=True, eq=False)
class WhatIf:
    """Lifetime cost under the settings and under the changed ones.

    Attributes
    ----------
    changes : tuple of (key, before, after)
    before, after : Lifetime
        Under the same policies.
    habits : tuple of str
        Where the changed prices call for another policy, a sentence each.
    """

    changes: tuple[tuple[str, str, str], ...]
    before: Lifetime
    after: Lifetime
    habits: tuple[str, ...]


def changed_settings(
    settings: Settings, given: Sequence[str], day: dt.date
) -> tuple[Settings, tuple[tuple[str, str, str], ...]]:
    """Replace figures of the settings.

    Parameters
    ----------
    settings : Settings
    given : sequence of str
        `costs.shop_rate=140` and the like.
    day : date
        Written beside a changed price.

    Returns
    -------
    (Settings, changes)
        And (key, before, after) of each.

    Raises
    ------
    SettingsError
        When a text is not KEY=VALUE, the key is unknown, or the value is impossible.
    """
    values = {name: getattr(settings, name).model_dump(by_alias=True) for name in SECTIONS}
    changes = []
    for text in given:
        key, mark, written = text.partition("=")
        if not mark or not written.strip():
            raise SettingsError(f"--set {text!r}: write it as KEY=VALUE, as costs.shop_rate=140")
        holder, last = _place(values, key.strip())
        before = holder[last]
        value = _value(text, written)
        if isinstance(before, dict):
            holder[last] = {"value": value, "source": "--set", "date": day}
            before = before["value"]
        else:
            holder[last] = value
        changes.append((key.strip(), _told(before), _told(value)))
    fresh = {name: _valid(settings, name, values[name]) for name in SECTIONS}
    return settings.model_copy(update=fresh), tuple(changes)


def _valid(settings: Settings, name: str, values: dict[str, Any]) -> BaseModel:
    """Check a section as the settings file would."""
    try:
        section: type[BaseModel] = type(getattr(settings, name))
        return section.model_validate(values)
    except ValidationError as error:
        fault = error.errors()[0]
        place = ".".join(str(part) for part in (name, *fault["loc"]) if part != "value")
        told = f"--set {place} = {fault['input']!r}: {fault['msg'].lower()}"
        raise SettingsError(one_line(told)) from None


def life_sources(records: Records, settings: Settings) -> LifeSources:
    """Fit what lifetime cost asks for, and nothing else; the same figures as a whole run's."""
    lives, seed = records.histories.lives, settings.random.seed
    fair = compare_fairly(
        lives,
        records.histories.readings,
        {str(duty): gap.lube_miles for duty, gap in settings.intervals.items()},
        draws=settings.survival.bootstrap_draws,
        seed=seed,
    )
    laws = fit_laws(growth_readings(records.histories, seed=seed), lives, seed=seed)
    return LifeSources(fit_by_type_and_duty(lives), laws, fair.ratios, fair.lube_effect)


def what_if(
    records: Records, sources: LifeSources, settings: Settings, given: Sequence[str], day: dt.date
) -> WhatIf:
    """Price the same trucks under the settings and under changed ones.

    Parameters
    ----------
    records : Records
    sources : LifeSources
    settings : Settings
    given : sequence of str
        As in `changed_settings`; may be empty.
    day : date

    Returns
    -------
    WhatIf
    """
    changed, changes = changed_settings(settings, given, day)
    today = float(day_number(pd.Series([pd.Timestamp(day)]))[0])
    lube = lube_compliance(records.histories, records.visits, records.placed, settings, today)
    before = lifetime(records, sources, lube, settings)
    moves = any(
        key.startswith("finance.") and key.split(".")[1] not in WEIGHING for key, _, _ in changes
    )
    after = (
        lifetime(records, sources, lube, changed, held=before.policies)
        if moves
        else Lifetime(before.costs, money_of(changed))
    )
    return WhatIf(changes, before, after, tuple(_habits(after, settings.random.seed)))


def what_if_text(made: WhatIf, currency: str) -> str:
    """Write both costs side by side."""
    lines = [f"{key}: {before} -> {after}" for key, before, after in made.changes]
    if not made.before.costs:
        return "\n".join([*lines, _NO_COST])
    head = f"{'duty':11} {'type':14} {'':9} {'before':>12} {'after':>12} {'change':>12}"
    lines += [
        f"{currency}, one truck until its sale, mean, worth today; policies held",
        head,
    ]
    for row in what_if_rows(made):
        amounts = f"{row['before']:>12,.0f} {row['after']:>12,.0f} {row['change']:>+12,.0f}"
        lines.append(f"{row['duty']:11} {row['bushing_type']:14} {row['kind']:9} {amounts}")
    lines += list(made.habits) or ["No policy would change."]
    return "\n".join(lines)


def what_if_json(made: WhatIf, currency: str) -> str:
    """Write the same for another program."""
    return json.dumps(
        {
            "currency": currency,
            "changes": [list(change) for change in made.changes],
            "rows": list(what_if_rows(made)),
            "policies": list(made.habits),
        },
        ensure_ascii=False,
    )


def what_if_rows(made: WhatIf) -> Iterator[dict[str, Any]]:
    """Yield duty, bushing_type, kind (cash, downtime), before, after, change."""
    for old, new in zip(made.before.costs, made.after.costs, strict=True):
        for place, kind in enumerate(old.types):
            for name in (CASH, DOWNTIME):
                before = float(old.amounts(made.before.money, name)[place].mean())
                after = float(new.amounts(made.after.money, name)[place].mean())
                yield {
                    "duty": old.work.duty,
                    "bushing_type": kind,
                    "kind": name,
                    "before": before,
                    "after": after,
                    "change": after - before,
                }


def _habits(made: Lifetime, seed: int) -> Iterator[str]:
    for cost in made.costs:
        for place, life in enumerate(cost.lives):
            held = cost.policies[place]
            new, saving = best_policy(cost.work, life, made.money, held, seed=seed)
            if new != held:
                yield _habit(cost, place, new.told(life.play is not None), saving)


def _habit(cost: DutyCost, place: int, new: str, saving: float) -> str:
    old = cost.policies[place].told(cost.lives[place].play is not None)
    return (
        f"The policy would change: {cost.types[place]}, {cost.work.duty}: {new} instead of {old}; "
        f"that saves a further {saving:.1%}."
    )


def _place(values: dict[str, Any], key: str) -> tuple[dict[str, Any], str]:
    """Find the figure that a dotted key names."""
    parts = key.split(".")
    holder: Any = values
    for number, part in enumerate(parts):
        is_last = number == len(parts) - 1
        inside = holder.get(part) if isinstance(holder, dict) else None
        known = isinstance(holder, dict) and part in holder
        is_figure = not isinstance(inside, dict) or "value" in inside
        if not known or is_last != is_figure or key == "costs.currency":
            raise SettingsError(f"--set: {nearest_key(key, list(_keys(values)))}")
        if is_last:
            return holder, part
        holder = inside
    raise SettingsError(f"--set: {nearest_key(key, list(_keys(values)))}")


def _keys(values: dict[str, Any], above: str = "") -> Iterator[str]:
    for name, inside in values.items():
        if isinstance(inside, dict) and "value" not in inside:
            yield from _keys(inside, f"{above}{name}.")
        elif f"{above}{name}" != "costs.currency":
            yield f"{above}{name}"


def _value(text: str, written: str) -> float | int:
    try:
        value = tomllib.loads(f"value = {written.strip()}")["value"]
    except tomllib.TOMLDecodeError:
        value = None
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise SettingsError(f"--set {text!r}: {written.strip()!r} is not a number")
    return value


def _told(value: object) -> str:
    return "not set" if value is None else f"{value:g}"
