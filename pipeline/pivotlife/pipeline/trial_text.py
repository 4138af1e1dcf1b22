"""What `pivotlife trial` prints.

Not here: the numbers (`trial_plan`).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pivotlife.models.trial_power import WANTED_POWER
from pivotlife.pipeline.trial_plan import TrialPlan


def trial_text(plan: TrialPlan, file: Path) -> str:
    """Sum a plan up in a few lines."""
    design, wish, habits = plan.design, plan.wish, plan.habits
    asked = _asked(plan)
    first, second = plan.types
    duty = "all duties together" if wish.duty == "all" else f"{wish.duty} duty"
    layout = (
        "one type a truck" if design.split == "trucks" else "both types on every truck, by side"
    )
    lines = [
        f"To show that {first} lasts {design.ratio:g} times as long as {second} (B10, {duty}),",
        f"drawn from the fleet's own curves (shapes {design.shapes[0]:.2f} and "
        f"{design.shapes[1]:.2f}), a look every {design.visit_miles:,.0f} miles, likeness within "
        f"a truck {design.likeness:.2f}, {_left(plan)} of units leaving a year; {layout}:",
        f"  {design.trucks} trucks, {design.pivots} pivots each, {design.miles:,.0f} miles "
        f"({design.miles / habits.miles_per_month:.0f} months at this fleet's pace): "
        f"right verdict in {asked['power']:.0%} of trials "
        f"({asked['power_lower']:.0%} to {asked['power_upper']:.0%}, n = "
        f"{asked['simulations']:.0f} drawn), wrong verdict in {asked['wrong_verdict']:.1%}, "
        f"none otherwise;",
        f"  if the two last alike, a difference is claimed in {asked['false_alarm']:.1%} "
        f"({asked['false_alarm_lower']:.1%} to {asked['false_alarm_upper']:.1%});",
        f"  failures to expect: {asked['first_failures']:.0f} {first}, "
        f"{asked['second_failures']:.0f} {second}",
        _needed(plan),
        f"already under way: {plan.under_way}",
        f"look at {file}",
    ]
    return "\n".join(lines)


def trial_json(plan: TrialPlan, file: Path) -> str:
    """Sum a plan up for another program."""
    asked = _asked(plan)
    return json.dumps(
        {
            "file": str(file),
            "types": list(plan.types),
            "asked": {str(name): value for name, value in asked.items()},
            "trucks_needed": plan.needed,
            "wanted_power": WANTED_POWER,
            "under_way": plan.under_way,
        },
        ensure_ascii=False,
    )


def _asked(plan: TrialPlan) -> dict[Any, Any]:
    return plan.table[plan.table["varied"] == "asked"].to_dict("records")[0]


def _left(plan: TrialPlan) -> str:
    return f"{12.0 * plan.habits.miles_per_month * plan.habits.sold_per_mile:.1%}"


def _needed(plan: TrialPlan) -> str:
    if plan.needed is None:
        most = plan.table.loc[plan.table["varied"] == "trucks", "trucks"].max()
        return (
            f"  not even {most:.0f} trucks give a right verdict in {WANTED_POWER:.0%} of trials of "
            "these miles: run them longer, or ask for a larger difference"
        )
    return (
        f"  about {plan.needed} trucks would give a right verdict in {WANTED_POWER:.0%} of trials"
    )
