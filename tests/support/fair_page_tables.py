"""Invented tables of types compared fairly, for the page tests."""

from __future__ import annotations

from typing import Any

import pandas as pd

NAN = float("nan")


def fair_tables() -> dict[str, pd.DataFrame]:
    """Give the five tables with a few rows."""
    return {
        "life_ratios": _life_ratios(),
        "balance": _balance(),
        "lube_effect": _lube_effect(),
        "outlast": _outlast(),
        "decidable": _decidable(),
    }


def _estimate(name: str, value: float, spread: float) -> dict[str, float]:
    return {
        name: value,
        f"{name}_lower": value * (1 - spread),
        f"{name}_upper": value * (1 + spread),
    }


def ratio_row(**over: Any) -> dict[str, Any]:
    row = {
        "numerator_type": "threaded",
        "denominator_type": "rubber-bonded",
        "duty": "all",
        "estimand": "b10",
        "method": "adjusted",
        "ratio": 0.74,
        "ratio_lower": 0.62,
        "ratio_upper": 0.88,
        "p_value_holm": 0.03,
        "numerator_failures": 190,
        "denominator_failures": 230,
        "units": 120,
        "effective_sample_size": 412.0,
        "verdict": "threaded lasts less long than rubber-bonded in this fleet's mix",
    }
    return {**row, **over}


def _life_ratios() -> pd.DataFrame:
    never = {"ratio": float("inf"), "ratio_lower": 0.0, "ratio_upper": float("inf")}
    unknown = {"ratio": NAN, "ratio_lower": NAN, "ratio_upper": NAN, "p_value_holm": NAN}
    roller = {"numerator_type": "roller", "numerator_failures": 3}
    not_yet = "not enough evidence yet: 3 roller and 230 rubber-bonded failures"
    return pd.DataFrame(
        [
            ratio_row(method="pooled", ratio=0.41, ratio_lower=0.3, ratio_upper=0.5),
            ratio_row(),
            ratio_row(method="weighted", ratio=0.78),
            ratio_row(duty="regional", method="weighted", **never),
            ratio_row(**roller, **unknown, verdict=not_yet),
        ]
    )


def _balance() -> pd.DataFrame:
    row = {
        "numerator_type": "threaded",
        "denominator_type": "rubber-bonded",
        "duty": "all",
        "covariate": "duty vocational",
        "difference_before": 0.93,
        "difference_after": -0.004,
        "numerator_effective": 412.0,
        "denominator_effective": 520.0,
    }
    return pd.DataFrame([row, {**row, "covariate": "salted roads", "difference_before": NAN}])


def _lube_effect() -> pd.DataFrame:
    known = {
        **_estimate("time_ratio_per_10_points", 1.05, 0.03),
        **_estimate("time_ratio_per_missed_service", 0.98, 0.01),
    }
    common = {"failures": 190, "units": 85, "services_due": 33.2, "note": ""}
    few = {**common, "failures": 2, "note": "too few failures", "services_due": NAN}
    return pd.DataFrame(
        [
            {"bushing_type": "threaded", **common, **known},
            {"bushing_type": "roller", **few, **dict.fromkeys(known, NAN)},
        ]
    )


def _outlast() -> pd.DataFrame:
    row = {
        "numerator_type": "threaded",
        "denominator_type": "rubber-bonded",
        "duty": "all",
        "until_miles": 788_411.0,
        "chance_undecided": 0.001,
    }
    chances = {
        **_estimate("chance_numerator", 0.46, 0.08),
        **_estimate("chance_denominator", 0.535, 0.07),
    }
    return pd.DataFrame([{**row, **chances}])


def _decidable() -> pd.DataFrame:
    row = {
        "numerator_type": "threaded",
        "denominator_type": "rubber-bonded",
        "duty": "all",
        "ratio": 0.74,
        "excluded_below": 0.62,
        "excluded_above": 0.88,
        "numerator_failures": 240,
        "denominator_failures": 300,
        "numerator_failures_per_month": 3.25,
        "denominator_failures_per_month": 6.0,
        "state": "decided",
        "months": NAN,
        "sentence": "decided by the records as they stand; ratios below 0.62 are excluded",
    }
    waiting = {
        "numerator_type": "roller",
        "state": "in months",
        "months": 14.0,
        "sentence": "decidable in about 14 months at this rate, if the ratio is what it seems",
    }
    return pd.DataFrame([row, row | waiting])
