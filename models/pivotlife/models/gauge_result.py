"""What a gauge study found, in standard deviations and in the figures derived from them.

    gauge^2 = repeatability^2 + reproducibility^2 + interaction^2
    total^2 = gauge^2 + part variation^2
    distinct categories = floor(1.41 part variation / gauge)
    percent of tolerance = 100 x 6 gauge / limit

(AIAG, Measurement Systems Analysis, 4th ed. 2010, ch. III; read second-hand.) With fewer than 2
categories the gauge cannot tell a worn pivot from a good one; asking for 5 is common practice, no
source.

Not here: how the components are estimated (`gauge`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.gauge_squares import Cells

#: The spread of a gauge is taken as this many standard deviations.
SPREAD: Final = 6.0
COMPONENTS: Final = ("repeatability", "reproducibility", "interaction", "part_variation")


@dataclass(frozen=True)
class GaugeComponents:
    """One version of the split, all standard deviations in mm.

    Attributes
    ----------
    repeatability, reproducibility, interaction, part_variation : float, mm
        See the module. ``interaction`` is 0 when it is pooled.
    set_to_zero : tuple of str
        Components whose estimate was negative (or, with missing readings, best at the edge).
    """

    repeatability: float
    reproducibility: float
    interaction: float
    part_variation: float
    set_to_zero: tuple[str, ...]

    @property
    def gauge_rr(self) -> float:
        """Standard deviation of one reading of one part, any inspector, mm."""
        return math.hypot(self.repeatability, self.reproducibility, self.interaction)

    @property
    def total_variation(self) -> float:
        """Standard deviation of one reading of any part, mm."""
        return math.hypot(self.gauge_rr, self.part_variation)

    @property
    def distinct_categories(self) -> int:
        """How many groups of parts the gauge can tell apart."""
        return math.floor(1.41 * self.part_variation / self.gauge_rr)


@dataclass(frozen=True, eq=False)
class GaugeStudy:
    """A gauge study; the properties speak of the chosen version.

    Attributes
    ----------
    method : str
        ``anova``, or ``reml`` when readings are missing.
    left_out : int
        Rows without a part, an inspector or a reading.
    cells : Cells
        The readings by part and inspector: what the figures rest on.
    mean_squares : DataFrame
        ``source`` (part, inspector, interaction, error), ``degrees_of_freedom``,
        ``sum_of_squares``, ``mean_square`` (mm squared); with missing readings only the last two.
    interaction_p_value : float
        Small when inspectors differ from part to part; NaN when it cannot be tested.
    interaction_kept : bool
        Whether the version with interaction is the chosen one (p-value of 0.25 or less).
    pooled, with_interaction : GaugeComponents
        Both versions; the same when the interaction cannot be told from the rest.
    limit_mm : float, mm
        The free-play limit the gauge is held against; NaN when none was given.
    """

    method: str
    left_out: int
    cells: Cells
    mean_squares: pd.DataFrame
    interaction_p_value: float
    interaction_kept: bool
    pooled: GaugeComponents
    with_interaction: GaugeComponents
    limit_mm: float

    @property
    def chosen(self) -> GaugeComponents:
        """The version the p-value asks for."""
        return self.with_interaction if self.interaction_kept else self.pooled

    @property
    def repeatability(self) -> float:
        """Spread of one inspector on one part, standard deviation, mm."""
        return self.chosen.repeatability

    @property
    def reproducibility(self) -> float:
        """Spread between inspectors (without interaction), standard deviation, mm."""
        return self.chosen.reproducibility

    @property
    def interaction(self) -> float:
        """Spread between inspectors that changes with the part, standard deviation, mm."""
        return self.chosen.interaction

    @property
    def part_variation(self) -> float:
        """Spread between parts, standard deviation, mm."""
        return self.chosen.part_variation

    @property
    def gauge_rr(self) -> float:
        """Spread of the whole gauge, standard deviation, mm."""
        return self.chosen.gauge_rr

    @property
    def total_variation(self) -> float:
        """Spread of one reading of any part, standard deviation, mm."""
        return self.chosen.total_variation

    @property
    def distinct_categories(self) -> int:
        """How many groups of parts the gauge can tell apart."""
        return self.chosen.distinct_categories

    @property
    def set_to_zero(self) -> tuple[str, ...]:
        """Components whose estimate was negative and is shown as 0."""
        return self.chosen.set_to_zero

    @property
    def percent_of_tolerance(self) -> float:
        """Six gauge standard deviations as percent of the limit; NaN without a limit."""
        return 100.0 * SPREAD * self.gauge_rr / self.limit_mm

    def table(self) -> pd.DataFrame:
        """Return the chosen version, one quantity a row.

        Returns
        -------
        DataFrame
            ``quantity``, ``standard_deviation_mm``, ``percent_of_variance`` (adds up to 100),
            ``percent_of_total_variation`` (of standard deviations; does not add up),
            ``percent_of_tolerance`` (NaN without a limit).
        """
        names = [*COMPONENTS, "gauge_rr", "total_variation"]
        sd = np.array([getattr(self.chosen, name) for name in names])
        ratio = sd / self.total_variation
        return pd.DataFrame(
            {
                "quantity": names,
                "standard_deviation_mm": sd,
                "percent_of_variance": 100.0 * ratio**2,
                "percent_of_total_variation": 100.0 * ratio,
                "percent_of_tolerance": 100.0 * SPREAD * sd / self.limit_mm,
            }
        )
