"""The invented Meridell Demo Fleet: its depots, duties and laws. EVERY NUMBER HERE IS INVENTED.

No bushing, truck, shop or price in this module was measured anywhere. The numbers were chosen so
that a small fleet shows the difficulties of real records: types tied to duty, care and condition,
late entry, few failures of the newest type, findings that free play does not announce.

Arrays run over the bushing types in the order of `BUSHING_TYPES` and over the duties in the order
of `DUTIES`. Miles, millimetres, years and shares are named where they stand.

Not here: how a truck or a bushing behaves, which the `fleet_*` modules work out from these laws.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray

FLEET_NAME: Final = "Meridell Demo Fleet"

BUSHING_TYPES: Final = ("rubber-bonded", "threaded", "roller")
RUBBER: Final = 0
THREADED: Final = 1
ROLLER: Final = 2

DUTIES: Final = ("line-haul", "regional", "vocational")
DEPOTS: Final = ("Northpit", "Saltmere", "Lowfen", "Hightor")
SIDES: Final = ("left", "right")
NODES: Final = ("fixed-eye", "shackle-lower", "shackle-upper")

#: The six pivots of a steer axle, left side first; a shackle's two pivots are each other's partner.
PIVOT_SIDE: Final[IntArray] = np.array([0, 0, 0, 1, 1, 1])
PIVOT_NODE: Final[IntArray] = np.array([0, 1, 2, 0, 1, 2])
PARTNER: Final[IntArray] = np.array([0, 2, 1, 3, 5, 4])
IN_SHACKLE: Final[BoolArray] = PIVOT_NODE > 0

#: Units by depot (row) and duty (column) in one fleet of 180; larger fleets repeat it.
FLEET_MIX: Final[IntArray] = np.array([[5, 10, 25], [20, 20, 8], [15, 25, 7], [30, 10, 5]])
FLEET_UNITS: Final = 180
DEPOT_SALT: Final[BoolArray] = np.array([True, True, False, False])

#: Unit in which each depot writes free play, and lengths.
PLAY_UNITS: Final = ("in", "thou", "mm")
INCHES: Final = 0
THOUSANDTHS: Final = 1
MILLIMETRES: Final = 2
DEPOT_PLAY_UNIT: Final[IntArray] = np.array([INCHES, THOUSANDTHS, MILLIMETRES, INCHES])
DEPOT_LENGTH_UNIT: Final = ("in", "in", "mm", "in")
INSPECTORS_PER_DEPOT: Final = 4

# Duties, one entry each: line-haul, regional, vocational.
MILES_PER_YEAR: Final[FloatArray] = np.array([110_000.0, 65_000.0, 28_000.0])
RUBBER_SHARE: Final[FloatArray] = np.array([0.75, 0.50, 0.15])
PM_MILES: Final[FloatArray] = np.array([25_000.0, 15_000.0, 7_500.0])
LUBE_MILES: Final[FloatArray] = np.array([7_500.0, 7_500.0, 7_500.0])
LUBE_COMPLIANCE: Final[FloatArray] = np.array([0.85, 0.75, 0.60])
RETROFITTED_SHARE: Final[FloatArray] = np.array([0.10, 0.35, 0.80])
OLDEST_YEARS: Final[FloatArray] = np.array([3.0, 4.0, 6.0])
HOLDING_MILES: Final[FloatArray] = np.array([1_000_000.0, 750_000.0, 420_000.0])

# Bushings: scale (age in miles by which 63.2 % are worn out) by type and duty, and shape by type.
LIFE_SCALE: Final[FloatArray] = np.array(
    [
        [520_000.0, 380_000.0, 150_000.0],
        [600_000.0, 430_000.0, 170_000.0],
        [900_000.0, 650_000.0, 260_000.0],
    ]
)
LIFE_SHAPE: Final[FloatArray] = np.array([3.0, 2.2, 2.5])
SALT_FACTOR: Final[FloatArray] = np.array([0.90, 0.80, 0.75])
LUBE_HAZARD: Final[FloatArray] = np.array([0.0, 1.2, 1.6])
START_PLAY_MM: Final[FloatArray] = np.array([0.0, 0.20, 0.08])
PLAY_EXPONENT: Final[FloatArray] = np.array([6.0, 1.3, 3.0])

LIMIT_MM: Final = 3.2
#: A pin that rattles in what is left of its bushing: play grows no further than this.
LARGEST_PLAY_MM: Final = 8.0
SEIZED_PLAY_MM: Final = 0.05

BAD_INSTALL_SHARE: Final = 0.05
BAD_INSTALL_SHAPE: Final = 0.8
BAD_INSTALL_SCALE: Final = 60_000.0
WORN_BORE_FACTOR: Final = 0.6
WORN_BORE_SHARE: Final = 0.15
WORN_BORE_TOLD: Final = 0.5
SUDDEN_RUBBER_SHARE: Final = 0.30
EXTRUDED_SHARE: Final = 0.35
SEIZED_SHARE: Final = 0.04
REFUSES_GREASE_FROM: Final = 0.6
BROKEN_SHARE: Final = 0.01
BREAKS_FROM: Final = 0.3
FRAILTY_SD: Final = 0.20
MILES_SD: Final = 0.15
COMPLIANCE_WEIGHT: Final = 8.0
ATTENTION_EFFECT: Final = 0.15

# The shop.
OLDER_SHARE: Final = 0.60
NEWER_UNTIL: Final = 0.60
SOLD_PER_FLEET: Final = 22
WRECKED_PER_FLEET: Final = 3
GAUGE_SD_MM: Final = 0.15
INSPECTOR_SD_MM: Final = 0.10
LOADED_SHARE: Final = 0.20
LOADED_FACTOR: Final = 0.7
UNLABELLED_SHARE: Final = 0.15
GREASED_SHARE: Final = 0.25
GREASE_OFFSET_MM: Final = 0.25
SIXTEENTH_SHARE: Final = 0.08
RECORDED_SHARE: Final = 0.70
ACTED_SHARE: Final = 0.75
PARTNER_SHARE: Final = 0.60
TEARDOWN_SHARE: Final = 0.60
REMEASURED_SHARE: Final = 0.15
KNOWN_FITTING_SHARE: Final = 0.70
NO_PLANNED_VISIT_SHARE: Final = 0.05

#: The campaign runs from month 24 to month 54 of six years; other windows keep the proportion.
CAMPAIGN_FROM: Final = 24 / 72
CAMPAIGN_TO: Final = 54 / 72
CAMPAIGN_ORDER: Final = (2, 1, 0)

MM_PER_INCH: Final = 25.4
KM_PER_MILE: Final = 1.609344
DAYS_PER_YEAR: Final = 365.25


@dataclass(frozen=True)
class FaultShares:
    """How often each fault is put into the records, as shares of the rows it can befall.

    Odometer faults befall readings, repairs, lube and odometer rows. Positions go missing on
    repair lines, and seldom on readings. Thousandths entered whole and millimetres in an inch
    field can only befall depots that write inches. A job on a whole shackle, side or axle may
    become one kit line. `meter_swaps`, `engine_offset_units` and `reused_numbers` are counts in
    each fleet of 180 units. All shares are invented.
    """

    odometer_typo: float = 0.015
    rollback: float = 0.005
    kilometres: float = 0.02
    repair_position_missing: float = 0.18
    reading_position_missing: float = 0.03
    side_swapped: float = 0.01
    duplicate: float = 0.012
    kit_line: float = 0.25
    cause_unknown: float = 0.35
    zero_not_measured: float = 0.05
    thousandths_whole: float = 0.03
    millimetres_as_inches: float = 0.04
    entry_lag: float = 0.50
    longest_lag_days: int = 45
    meter_swaps: int = 6
    told_meter_swaps: int = 4
    engine_offset_units: int = 18
    engine_offset: float = 0.03
    reused_numbers: int = 2


NO_FAULTS: Final = FaultShares(**dict.fromkeys(FaultShares.__dataclass_fields__, 0))


def fault_shares(faults: bool, bad_odometers: float | None) -> FaultShares:
    """Choose the fault shares of a run.

    Parameters
    ----------
    faults : bool
        False leaves the records clean.
    bad_odometers : float or None
        Share of odometer values to spoil by typing errors, rollbacks and kilometres together;
        None keeps the scenario's 4 %.

    Returns
    -------
    FaultShares

    Raises
    ------
    ValueError
        If the share lies outside 0 to 1.
    """
    base = FaultShares() if faults else NO_FAULTS
    if bad_odometers is None:
        return base
    if not 0.0 <= bad_odometers <= 1.0:
        raise ValueError(f"bad_odometers must lie between 0 and 1, not {bad_odometers}")
    usual = FaultShares()
    factor = bad_odometers / (usual.odometer_typo + usual.rollback + usual.kilometres)
    spoiled = {
        "odometer_typo": usual.odometer_typo * factor,
        "rollback": usual.rollback * factor,
        "kilometres": usual.kilometres * factor,
    }
    return FaultShares(**{**base.__dict__, **spoiled})
