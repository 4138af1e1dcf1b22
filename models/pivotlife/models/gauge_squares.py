"""Sums of squares of a gauge study, and the variance components that follow from them.

Readings enter through their cells: one part with one inspector. In a complete study (every
inspector read every part equally often; p parts, i inspectors, r trials) the mean squares M of part
(P), inspector (I), interaction (PI) and error (E) give

    error       = M_E                        interaction = (M_PI - M_E) / r
    inspector   = (M_I - M_PI) / (p r)       part        = (M_P - M_PI) / (i r)

by equating mean squares to their expectations (Searle, Casella & McCulloch 1992, Variance
Components, ch. 4; from memory). With the interaction pooled, M_PI and M_E are both the mean square
of interaction and error together.

When readings are missing, only two lines keep their meaning: the squares within cells, and those
that cell means leave about an additive fit (interaction). Their ratio is still an exact F test.

Not here: components when readings are missing (`gauge_unbalanced`), standard deviations and
verdicts (`gauge`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import linalg, sparse, stats
from scipy.sparse import csgraph

from pivotlife.models.arrays import FloatArray, IntArray

#: Squares within cells below this share of all squares are rounding of the arithmetic.
ROUNDING: Final = 1e-24


@dataclass(frozen=True, eq=False)
class Cells:
    """Readings summarised by part and inspector; arrays have shape (n_cells,), sorted by both.

    Attributes
    ----------
    part, inspector : ndarray of int64
        Numbers from 0.
    count : ndarray of int64
        Readings in the cell, at least 1.
    mean : ndarray of float64, mm
        Mean reading of the cell.
    within_squares : float, mm squared
        Sum of squares of the readings about the means of their cells.
    """

    part: IntArray
    inspector: IntArray
    count: IntArray
    mean: FloatArray
    within_squares: float

    @property
    def n_parts(self) -> int:
        """Number of different parts."""
        return int(self.part.max()) + 1

    @property
    def n_inspectors(self) -> int:
        """Number of different inspectors."""
        return int(self.inspector.max()) + 1

    @property
    def within_df(self) -> int:
        """Readings beyond the first of each cell."""
        return int(self.count.sum()) - int(self.count.size)

    @property
    def is_balanced(self) -> bool:
        """Whether every inspector read every part equally often."""
        full = self.count.size == self.n_parts * self.n_inspectors
        return full and bool(np.all(self.count == self.count[0]))

    @property
    def separate_groups(self) -> int:
        """Groups of parts and inspectors with no reading across them; 1 in a crossed study."""
        size = self.n_parts + self.n_inspectors
        links = sparse.coo_array(
            (np.ones(self.part.size), (self.part, self.n_parts + self.inspector)), (size, size)
        )
        groups, _ = csgraph.connected_components(links, directed=False)
        return int(groups)


def cells_of(part: IntArray, inspector: IntArray, value: FloatArray) -> Cells:
    """Summarise readings by cell.

    Parameters
    ----------
    part, inspector : ndarray of int64, shape (n_readings,)
        Numbers from 0 without gaps.
    value : ndarray of float64, shape (n_readings,), mm
        The readings, all finite.

    Returns
    -------
    Cells
    """
    n_inspectors = int(inspector.max()) + 1
    keys, cell, count = np.unique(
        part * n_inspectors + inspector, return_inverse=True, return_counts=True
    )
    mean = np.bincount(cell, weights=value) / count
    squares = float(np.sum((value - mean[cell]) ** 2))
    # Equal readings need not equal their mean to the last digit: such squares are rounding.
    is_rounding = squares <= ROUNDING * float(value @ value)
    return Cells(
        part=keys // n_inspectors,
        inspector=keys % n_inspectors,
        count=count.astype(np.int64),
        mean=mean,
        within_squares=0.0 if is_rounding else squares,
    )


def within(cells: Cells) -> tuple[float, int]:
    """Return the squares within cells (mm squared) and their degrees of freedom."""
    return cells.within_squares, cells.within_df


def interaction_squares(cells: Cells) -> tuple[float, int]:
    """Return the squares left about an additive fit, and their degrees of freedom.

    Returns
    -------
    squares : float, mm squared
        Sum of squares of part x inspector, after parts and inspectors.
    degrees_of_freedom : int
        n_cells - n_parts - n_inspectors + 1 in a crossed study; 0 when cells are too few.
    """
    design = np.zeros((cells.mean.size, cells.n_parts + cells.n_inspectors))
    rows = np.arange(cells.mean.size)
    design[rows, cells.part] = 1.0
    design[rows, cells.n_parts + cells.inspector] = 1.0
    root = np.sqrt(cells.count)
    fitted, _, rank, _ = linalg.lstsq(design * root[:, None], cells.mean * root)
    residual = (cells.mean - design @ fitted) * root
    return float(residual @ residual), int(cells.mean.size - rank)


def interaction_p_value(squares: pd.DataFrame) -> float:
    """Return the chance of an F ratio of interaction at least this large by luck.

    NaN when a source has no degrees of freedom.
    """
    (between, between_df), (error, error_df) = line(squares, "interaction"), line(squares, "error")
    if between_df < 1 or error_df < 1:
        return float("nan")
    ratio = (between / between_df) / (error / error_df)
    return float(stats.f.sf(ratio, between_df, error_df))


def squares_table(cells: Cells) -> pd.DataFrame:
    """Return sums of squares and mean squares.

    Returns
    -------
    DataFrame
        ``source`` (part, inspector, interaction, error; only the last two when readings are
        missing), ``degrees_of_freedom``, ``sum_of_squares`` and ``mean_square`` (mm squared, NaN
        without freedom).
    """
    lines = {"interaction": interaction_squares(cells), "error": within(cells)}
    if cells.is_balanced:
        lines = {**_main_lines(cells), **lines}
    return _as_table(lines)


def pool_interaction(squares: pd.DataFrame) -> pd.DataFrame:
    """Return the table with the interaction counted as error."""
    between, error = line(squares, "interaction"), line(squares, "error")
    main = [str(s) for s in squares["source"] if s not in {"interaction", "error"}]
    lines = {source: line(squares, source) for source in main}
    return _as_table({**lines, "error": (between[0] + error[0], between[1] + error[1])})


def line(squares: pd.DataFrame, source: str) -> tuple[float, int]:
    """Return sum of squares and degrees of freedom of one source."""
    row = squares[squares["source"] == source].iloc[0]
    return float(row["sum_of_squares"]), int(row["degrees_of_freedom"])


def components(mean: Mapping[str, FloatArray], cells: Cells) -> dict[str, FloatArray]:
    """Turn the mean squares of a complete study into variance components.

    Parameters
    ----------
    mean : mapping of ndarray, any one shape, mm squared
        Mean squares of ``part``, ``inspector``, ``error`` and, unless pooled, ``interaction``.
    cells : Cells
        Gives the number of parts, inspectors and trials.

    Returns
    -------
    dict of ndarray, mm squared
        ``part``, ``inspector``, ``interaction``, ``error``; may be negative.
    """
    parts, inspectors, trials = cells.n_parts, cells.n_inspectors, int(cells.count[0])
    error = mean["error"]
    between = mean.get("interaction", error)
    return {
        "part": (mean["part"] - between) / (inspectors * trials),
        "inspector": (mean["inspector"] - between) / (parts * trials),
        "interaction": (between - error) / trials,
        "error": error,
    }


def _main_lines(cells: Cells) -> dict[str, tuple[float, int]]:
    """Return the lines of parts and inspectors in a complete study."""
    parts, inspectors, trials = cells.n_parts, cells.n_inspectors, int(cells.count[0])
    table = cells.mean.reshape(parts, inspectors)
    by_part, by_inspector = table.mean(axis=1), table.mean(axis=0)
    part = inspectors * trials * float(np.sum((by_part - table.mean()) ** 2))
    inspector = parts * trials * float(np.sum((by_inspector - table.mean()) ** 2))
    return {"part": (part, parts - 1), "inspector": (inspector, inspectors - 1)}


def _as_table(lines: Mapping[str, tuple[float, int]]) -> pd.DataFrame:
    """Return one line a source, with its mean square."""
    sums = np.array([squares for squares, _ in lines.values()])
    df = np.array([freedom for _, freedom in lines.values()], dtype=np.int64)
    return pd.DataFrame(
        {
            "source": list(lines),
            "degrees_of_freedom": df,
            "sum_of_squares": sums,
            "mean_square": np.divide(sums, df, out=np.full(df.size, np.nan), where=df > 0),
        }
    )
