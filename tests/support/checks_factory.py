"""Invented tables of the engineer's checks: a few rows each. Every number is invented."""

from __future__ import annotations

import numpy as np
import pandas as pd

NAN = float("nan")


def check_tables() -> dict[str, pd.DataFrame]:
    """Give every table of the checks."""
    return {
        "incidence": incidence(),
        "missed_by_play": missed(),
        "fit_check": fit_check(),
        "early_failures": early(),
        "sensitivity": sensitivity(),
        "recurrences": recurrences(),
        "gauge": gauge(),
        "settled_readings": settled(),
    }


def incidence() -> pd.DataFrame:
    rows = [
        ("threaded", "wear", 240, "fitted", 100_000.0, 0.18, 0.19),
        ("threaded", "wear", 240, "fitted", 200_000.0, 0.36, 0.38),
        ("threaded", "seized", 3, "constant rate", 100_000.0, 0.011, 0.012),
        ("threaded", "seized", 3, "constant rate", 200_000.0, 0.019, 0.023),
    ]
    names = ["bushing_type", "mode", "failures", "curve", "miles", "share_taken"]
    return pd.DataFrame(rows, columns=[*names, "share_if_only_mode"])


def missed() -> pd.DataFrame:
    rows = [
        ("threaded", "seized", 13, 12, 12.0, 1.0, 0.757, 1.0, 0.0, 0.0, ""),
        ("threaded", "wear", 240, 220, 11.0, 0.05, 0.028, 0.087, 3.71, 1.16, ""),
        ("rubber-bonded", "split", 290, 270, NAN, NAN, NAN, NAN, 5.1, NAN, "no play limit"),
    ]
    names = ["bushing_type", "mode", "failures", "with_reading", "missed", "share_missed"]
    names += ["share_missed_lower", "share_missed_upper", "median_last_play_mm"]
    return pd.DataFrame(rows, columns=[*names, "median_last_play_over_limit", "warning"])


def fit_check() -> pd.DataFrame:
    rows = [
        ("roller", "all", 400, 46, 0.01, 100, 397.5, 394.8, 396.1, "lognormal", "does not fit"),
        ("roller", "regional", 136, 5, 0.56, 18, 56.3, 56.5, 54.3, "exponential", ""),
        ("roller", "vocational", 228, 38, 0.02, 100, 276.8, 277.3, 286.5, "weibull", "no"),
        ("threaded", "all", 740, 261, 0.24, 42, 1637.7, 1640.7, 1651.4, "weibull", ""),
        ("rubber-bonded", "all", 30, 3, NAN, 0, NAN, NAN, NAN, "", "too few failures to check"),
    ]
    names = ["bushing_type", "duty", "lives", "failures", "p_value", "draws", "aic_weibull"]
    names += ["aic_lognormal", "aic_exponential", "best_by_aic", "warning"]
    return pd.DataFrame(rows, columns=names)


def early() -> pd.DataFrame:
    rows = [
        ("roller", "all", "all", 60_000.0, 445, 32.6, 20.8, 0.004, "misses"),
        ("roller", "mode", "wear", 60_000.0, 402, 31.6, 19.6, 0.003, "misses"),
        ("threaded", "all", "all", 60_000.0, 698, 35.6, 40.4, 0.8, ""),
    ]
    names = ["bushing_type", "cut", "value", "first_miles", "lives", "observed", "expected"]
    return pd.DataFrame(rows, columns=[*names, "chance", "warning"])


def sensitivity() -> pd.DataFrame:
    rows = [
        ("roller", "last good on record", 76_000.0, 58_000.0, 110_000.0, "46 failures"),
        ("roller", "early failures not counted", 122_000.0, 100_000.0, 166_000.0, "23 failures"),
        ("threaded", "last good on record", 58_000.0, 44_000.0, 74_000.0, "261 failures"),
        ("threaded", "early failures not counted", NAN, NAN, NAN, "4 failures: too few failures"),
    ]
    names = ["bushing_type", "assumption", "b10", "b10_lower", "b10_upper", "note"]
    return pd.DataFrame(rows, columns=names)


def recurrences() -> pd.DataFrame:
    miles = np.linspace(50_000.0, 600_000.0, 12)
    tables = [
        pd.DataFrame(
            {
                "bushing_type": kind,
                "counted": counted,
                "from_miles": 1_000.0,
                "miles": miles,
                "replacements": 3,
                "mean_cumulative": rate * miles,
                "lower": 0.8 * rate * miles,
                "upper": 1.2 * rate * miles,
            }
        )
        for kind, rate in (("threaded", 4e-6), ("rubber-bonded", 2e-6))
        for counted in ("all", "failed")
    ]
    return pd.concat(tables, ignore_index=True)


def gauge() -> pd.DataFrame:
    rows = [
        ("repeatability", 0.14, 0.121, 0.165, 11.4, 26.2, NAN),
        ("gauge_rr", 0.153, 0.132, 0.458, 12.5, 28.6, 11.0),
        ("part_variation", 1.216, 0.834, 2.23, 99.2, 228.0, NAN),
    ]
    names = ["quantity", "standard_deviation_mm", "lower_mm", "upper_mm"]
    names += ["percent_of_total_variation", "percent_of_tolerance", "distinct_categories"]
    return pd.DataFrame(rows, columns=names).assign(
        source="study",
        version="interaction pooled",
        chosen=True,
        inspector="",
        tool="",
        readings=90,
        warning="",
    )


def settled() -> pd.DataFrame:
    rows = [
        ("load not written down", "", 40, 230, 9.0, NAN),
        ("inspector", "Northpit A", 60, 350, NAN, 0.09),
        ("inspector", "Lowfen C", 50, 290, NAN, -0.12),
    ]
    names = ["settled", "inspector", "sheets", "readings", "taken_as_loaded", "difference_mm"]
    return pd.DataFrame(rows, columns=names)
