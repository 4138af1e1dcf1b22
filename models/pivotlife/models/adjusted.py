"""Weibull lives with covariates: the accelerated-failure-time model.

A covariate stretches or shortens life: the scale of a bushing is

    scale = exp(intercept + coefficient 1 x covariate 1 + ...),

so that exp(coefficient) is the factor on every age - B10, median, mean - for one more of the
covariate. ``shape_by`` gives each group (each bushing type) a shape of its own. Exact, interval,
left- and right-censored lives, late entry and weights count as they do in `weibull`; the
derivatives are exact (`accelerated_likelihood`).

Not here: which covariates make a comparison of types fair (`fair_design`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pivotlife.models.accelerated_likelihood import AcceleratedLikelihood
from pivotlife.models.accelerated_maximum import Summit, climb, flattest
from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.errors import LivesError, NoMaximumError
from pivotlife.models.lives import CheckedLives, checked_rows

__all__ = ["AcceleratedFit", "fit_accelerated_failure_time"]

INTERCEPT = "Intercept"
ONE_SHAPE = "all"


@dataclass(frozen=True, eq=False)
class AcceleratedFit:
    """A fitted accelerated-failure-time model.

    Attributes
    ----------
    coefficients : Series, index covariate ("Intercept" first)
        On the log of miles. exp(coefficient): one more of the covariate multiplies life by this.
    log_shape : Series, index group ("all" when there are no groups)
        exp of it above 1: wears out.
    log_likelihood : float
        Its maximum; ages in miles, so densities are per mile.
    covariance : DataFrame, shape (n_parameters, n_parameters)
        Of the log shapes, then the coefficients: the inverse of the observed information, or,
        where a cluster was named, the sandwich that lets lives of a cluster be alike.
    n_lives, n_failures, n_clusters : int
        Lives in the fit, failures among them, clusters (or lives, when none was named).
    """

    coefficients: pd.Series[float]
    log_shape: pd.Series[float]
    log_likelihood: float
    covariance: pd.DataFrame
    n_lives: int
    n_failures: int
    n_clusters: int
    lives: CheckedLives = field(repr=False)
    likelihood: AcceleratedLikelihood = field(repr=False)

    @property
    def shape(self) -> pd.Series[float]:
        """The shape of each group."""
        return self.log_shape.map(np.exp)

    @property
    def standard_errors(self) -> pd.Series[float]:
        """Standard errors in the order of `covariance`."""
        return pd.Series(np.sqrt(np.diag(self.covariance)), index=self.covariance.index)

    @property
    def theta(self) -> FloatArray:
        """All parameters in the order of `covariance`."""
        return np.concatenate([self.log_shape.to_numpy(), self.coefficients.to_numpy()])


def fit_accelerated_failure_time(
    lives: pd.DataFrame,
    covariates: Sequence[str] | pd.DataFrame,
    cluster: str | None = None,
    *,
    shape_by: str | None = None,
) -> AcceleratedFit:
    """Fit a Weibull accelerated-failure-time model by maximum likelihood.

    Parameters
    ----------
    lives : DataFrame, one row per life
        ``lower_miles``, ``upper_miles``; optional ``entry_miles``, ``weight``, ``unit_id``,
        ``life_id``, as `check_lives` takes them.
    covariates : sequence of str, or DataFrame with one row per life in the same order
        Columns of ``lives``, or the columns themselves: numbers, truth values or words. Words
        become one 0/1 column for each but the first in the alphabet, named ``duty[regional]``.
    cluster : str, optional
        Column that names what makes lives alike (``unit_id``: the bushings of one truck share its
        road and its grease gun). Standard errors then allow for it.
    shape_by : str, optional
        Column whose groups have a shape of their own.

    Returns
    -------
    AcceleratedFit

    Raises
    ------
    LivesError
        Lives contradict themselves, a column or a covariate is missing, or a covariate says
        nothing that the others do not say already.
    NoMaximumError
        The lives do not determine the model; the text names the coefficient that runs away.
    """
    checked, kept = checked_rows(lives)
    table = lives.iloc[kept]
    design = covariate_columns(lives, covariates).iloc[kept]
    groups, names = _groups(table, shape_by)
    _refuse(checked, design, table)
    likelihood = AcceleratedLikelihood.of(
        checked,
        np.asarray(groups[:, None] == np.arange(len(names)), dtype=np.float64),
        design.to_numpy(dtype=np.float64),
    )
    summit = climb(likelihood, checked.weight, starting_point(checked, likelihood))
    shapes = ["log_shape"] if shape_by is None else [f"log_shape[{name}]" for name in names]
    labels = [*shapes, *design.columns]
    if not summit.settled:
        raise NoMaximumError(
            f"the coefficient of {labels[flattest(summit)]} runs away: the"
            f" {checked.n_failures} failures among {checked.n_lives} lives do not determine it;"
            " leave that column out or pool its groups"
        )
    covariance, n_clusters = _covariance(likelihood, checked, summit, table, cluster)
    k = len(names)
    return AcceleratedFit(
        coefficients=pd.Series(summit.theta[k:], index=design.columns),
        log_shape=pd.Series(summit.theta[:k], index=names),
        log_likelihood=summit.slopes.value,
        covariance=pd.DataFrame(covariance, index=labels, columns=labels),
        n_lives=checked.n_lives,
        n_failures=checked.n_failures,
        n_clusters=n_clusters,
        lives=checked,
        likelihood=likelihood,
    )


def covariate_columns(
    lives: pd.DataFrame, covariates: Sequence[str] | pd.DataFrame
) -> pd.DataFrame:
    """Return the intercept and one numeric column for each covariate or word of it."""
    if isinstance(covariates, pd.DataFrame):
        chosen = covariates
        if len(chosen) != len(lives):
            raise LivesError(f"{len(chosen)} rows of covariates for {len(lives)} lives")
    else:
        wanted = [covariates] if isinstance(covariates, str) else list(covariates)
        absent = [name for name in wanted if name not in lives.columns]
        if absent:
            raise LivesError(f"the lives lack the covariate {', '.join(absent)}; add the column")
        chosen = lives[wanted]
    columns = {INTERCEPT: np.ones(len(lives))}
    for name in chosen.columns:
        column = chosen[name]
        if pd.api.types.is_numeric_dtype(column):
            columns[str(name)] = column.to_numpy(dtype=np.float64)
            continue
        text = column.astype(str).to_numpy()
        for word in sorted(set(text))[1:]:
            columns[f"{name}[{word}]"] = (text == word).astype(np.float64)
    return pd.DataFrame(columns, index=lives.index)


def starting_point(lives: CheckedLives, likelihood: AcceleratedLikelihood) -> FloatArray:
    """Return shape 1 and, in the first column of the scale, the log of miles per failure."""
    start = np.zeros(likelihood.n_parameters)
    end = np.where(np.isfinite(lives.upper), lives.upper, lives.lower)
    miles = float(lives.weight @ (0.5 * (lives.lower + end) - lives.entry))
    start[likelihood.n_shapes] = np.log(miles / float(lives.weight[lives.is_failure].sum()))
    return start


def _groups(table: pd.DataFrame, shape_by: str | None) -> tuple[IntArray, list[str]]:
    """Return the number of each life's shape group and the groups' names, sorted."""
    if shape_by is None:
        return np.zeros(len(table), dtype=np.int64), [ONE_SHAPE]
    if shape_by not in table.columns:
        raise LivesError(f"the lives lack the column {shape_by} that shapes differ by; add it")
    codes, names = pd.factorize(table[shape_by].astype(str), sort=True)
    return codes.astype(np.int64), [str(name) for name in names]


def _refuse(checked: CheckedLives, design: pd.DataFrame, table: pd.DataFrame) -> None:
    """Raise where no model can be fitted, naming what stands in the way."""
    values = design.to_numpy(dtype=np.float64)
    if checked.n_failures == 0:
        raise NoMaximumError(
            f"none of the {checked.n_lives} lives failed, so nothing tells how covariates act"
        )
    missing = ~np.isfinite(values)
    if missing.any():
        column = int(np.flatnonzero(missing.any(axis=0))[0])
        rows = np.flatnonzero(missing[:, column])
        label = table["life_id"] if "life_id" in table.columns else table.index.to_series()
        first = ", ".join(str(name) for name in label.iloc[rows[:5]])
        raise LivesError(
            f"{rows.size} of {len(table)} lives have no {design.columns[column]}: {first}; fill it"
            " or leave these lives out"
        )
    scaled = values / np.maximum(np.sqrt((values * values).sum(axis=0)), 1e-300)
    for column in range(values.shape[1]):
        if np.linalg.matrix_rank(scaled[:, : column + 1], tol=1e-9) <= column:
            raise LivesError(
                f"the covariate {design.columns[column]} is the same for all lives or follows from"
                " the ones before it; leave it out"
            )


def _covariance(
    likelihood: AcceleratedLikelihood,
    lives: CheckedLives,
    summit: Summit,
    table: pd.DataFrame,
    cluster: str | None,
) -> tuple[FloatArray, int]:
    """Return the covariance of all parameters and how many clusters it stands on."""
    model: FloatArray = np.asarray(np.linalg.inv(-summit.slopes.hessian), dtype=np.float64)
    if cluster is None:
        return model, lives.n_lives
    if cluster not in table.columns:
        raise LivesError(f"the lives lack the column {cluster} that makes lives alike; add it")
    codes, names = pd.factorize(table[cluster].to_numpy())
    scores = likelihood.scores(summit.theta) * lives.weight[:, None]
    summed = np.zeros((len(names), scores.shape[1]))
    np.add.at(summed, codes, scores)
    factor = len(names) / max(len(names) - 1, 1)
    robust: FloatArray = np.asarray(model @ (factor * summed.T @ summed) @ model)
    return robust, len(names)
