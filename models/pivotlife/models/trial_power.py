"""How often a trial gives the right verdict: power curves, wrong verdicts, trucks that it takes.

Each design is drawn many times (`trial`), once with the ratio of life that is hoped for and once
with types that last alike. Power is the share of trials that say the type lasts longer which does;
a wrong verdict says the contrary; a false alarm says either where there is no difference. Shares
carry Wilson's 95 % limits (J. Am. Stat. Assoc. 22 (1927) 209-212, from memory).

Where everything fails, failures are known to the mile, and both types are exponential, the mean
lives' ratio follows an F law with twice the failures as degrees of freedom, and the power is known
without drawing (`exponential_power`; Epstein & Tsao, Ann. Math. Stat. 24 (1953), from memory).

Not here: what the fleet's own shape, visits and likeness are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, sqrt
from typing import Final

import numpy as np
import pandas as pd
from scipy.stats import f as f_law
from scipy.stats import norm

from pivotlife.models.trial import LEVEL, TrialDesign, draw_trial, trial_outcome

#: What `power_table` tells of each design.
POWER_COLUMNS: Final = (
    *("varied", "ratio", "trucks", "pivots_per_truck", "miles", "split"),
    *("first_failures", "second_failures", "power", "power_lower", "power_upper"),
    *("wrong_verdict", "false_alarm", "false_alarm_lower", "false_alarm_upper"),
    *("ratio_lower_typical", "ratio_upper_typical", "simulations"),
)
#: Trucks and shares of the miles asked for that a power curve visits.
TRUCKS: Final = (6, 10, 16, 24, 36, 54, 80, 120)
SHARES_OF_MILES: Final = (0.5, 0.75, 1.5, 2.0, 3.0)
WANTED_POWER: Final = 0.8
SIMULATIONS: Final = 300


@dataclass(frozen=True)
class Power:
    """What many drawn trials of one design concluded.

    Attributes
    ----------
    right, wrong : float
        Shares that name the type that lasts longer, and the other one. Without a difference
        (ratio 1) ``right`` counts the first type named, ``wrong`` the second.
    first_failures, second_failures : float
        Mean number in a trial.
    lower, upper : float
        Medians of the limits of the ratio.
    simulations : int
    """

    right: float
    wrong: float
    first_failures: float
    second_failures: float
    lower: float
    upper: float
    simulations: int


def trial_power(design: TrialDesign, simulations: int = SIMULATIONS, seed: int = 0) -> Power:
    """Draw a design many times and count the verdicts.

    Parameters
    ----------
    design : TrialDesign
    simulations : int
        Trials drawn; the standard error of a share is at most 0.5 / sqrt(simulations).
    seed : int

    Returns
    -------
    Power

    Raises
    ------
    ValueError
        No simulation at all.
    """
    if simulations < 1:
        raise ValueError(f"a power takes at least 1 simulation, not {simulations}")
    random = np.random.default_rng(seed)
    found = [
        trial_outcome(draw_trial(design, random), one_shape=design.one_shape)
        for _ in range(simulations)
    ]
    better = 1 if design.ratio >= 1.0 else -1
    verdicts = np.array([outcome.verdict for outcome in found])
    failures = np.mean([outcome.failures for outcome in found], axis=0)
    return Power(
        right=float(np.mean(verdicts == better)),
        wrong=float(np.mean(verdicts == -better)),
        first_failures=float(failures[0]),
        second_failures=float(failures[1]),
        lower=float(np.median([outcome.lower for outcome in found])),
        upper=float(np.median([outcome.upper for outcome in found])),
        simulations=simulations,
    )


def power_table(
    design: TrialDesign,
    *,
    trucks: Sequence[int] = TRUCKS,
    simulations: int = SIMULATIONS,
    seed: int = 0,
) -> pd.DataFrame:
    """Return the power of a design, of others with more or fewer trucks, and with other miles.

    Parameters
    ----------
    design : TrialDesign
    trucks : sequence of int
        Numbers of trucks to try.
    simulations, seed : int

    Returns
    -------
    DataFrame
        `POWER_COLUMNS`. ``varied``: "asked" for the design itself, else "trucks" or "miles".
    """
    designs = [("asked", design)]
    designs += [("trucks", replace(design, trucks=number)) for number in trucks]
    designs += [("miles", replace(design, miles=share * design.miles)) for share in SHARES_OF_MILES]
    return pd.DataFrame(
        [_row(varied, one, simulations, seed) for varied, one in designs],
        columns=list(POWER_COLUMNS),
    )


def trucks_needed(table: pd.DataFrame, power: float = WANTED_POWER) -> int | None:
    """Return the trucks at which a power curve reaches a power; None where it does not.

    Between two numbers tried, straight in the normal quantile of the power against the square root
    of the trucks; rounded up to an even number, half of them for each type.
    """
    curve = table[table["varied"] == "trucks"].sort_values("trucks")
    trucks = curve["trucks"].to_numpy(dtype=np.float64)
    # More trucks never tell less: what falls is the luck of the draw.
    shares = np.maximum.accumulate(curve["power"].to_numpy(dtype=np.float64))
    reached = np.flatnonzero(shares >= power)
    if not reached.size:
        return None
    at = int(reached[0])
    if at == 0:
        return int(trucks[0])
    z = norm.ppf(np.clip(shares[at - 1 : at + 1], 0.005, 0.995))
    root = np.sqrt(trucks[at - 1 : at + 1])
    share = (float(norm.ppf(power)) - z[0]) / (z[1] - z[0])
    wanted = (root[0] + share * (root[1] - root[0])) ** 2
    return 2 * ceil(float(wanted) / 2.0 - 1e-9)


def exponential_power(ratio: float, failures: tuple[int, int], level: float = LEVEL) -> float:
    """Return the power where both types are exponential and every bushing failed.

    Parameters
    ----------
    ratio : float
        Mean life of the first type over that of the second.
    failures : tuple of int
        Of the first and the second type.
    level : float
        Confidence of the two-sided limits.

    Returns
    -------
    float
        Chance that the limits show the type to last longer which does.
    """
    first, second = (2 * number for number in failures)
    if ratio < 1.0:
        first, second, ratio = second, first, 1.0 / ratio
    bound = float(f_law.ppf(0.5 + level / 2.0, first, second))
    return float(f_law.sf(bound / ratio, first, second))


def wilson(share: float, n: int, level: float = LEVEL) -> tuple[float, float]:
    """Return Wilson's limits of a share seen in ``n`` trials."""
    z = float(norm.ppf(0.5 + level / 2.0))
    middle = (share + z * z / (2.0 * n)) / (1.0 + z * z / n)
    half = z / (1.0 + z * z / n) * sqrt(share * (1.0 - share) / n + z * z / (4.0 * n * n))
    return max(middle - half, 0.0), min(middle + half, 1.0)


def _row(varied: str, design: TrialDesign, simulations: int, seed: int) -> dict[str, object]:
    found = trial_power(design, simulations, seed)
    alike = trial_power(replace(design, ratio=1.0), simulations, seed + 1)
    alarm = alike.right + alike.wrong
    limits = wilson(found.right, simulations)
    alarm_limits = wilson(alarm, simulations)
    return {
        "varied": varied,
        "ratio": design.ratio,
        "trucks": design.trucks,
        "pivots_per_truck": design.pivots,
        "miles": design.miles,
        "split": design.split,
        "first_failures": found.first_failures,
        "second_failures": found.second_failures,
        "power": found.right,
        "power_lower": limits[0],
        "power_upper": limits[1],
        "wrong_verdict": found.wrong,
        "false_alarm": alarm,
        "false_alarm_lower": alarm_limits[0],
        "false_alarm_upper": alarm_limits[1],
        "ratio_lower_typical": found.lower,
        "ratio_upper_typical": found.upper,
        "simulations": simulations,
    }
