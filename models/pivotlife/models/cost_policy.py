"""When bushings of a type are renewed in the long run: two marks, chosen by what they cost.

A policy says at which sign of wear a bushing is renewed before it fails, and at which it joins when
its axle is open anyway. It is the plain form of the rule behind the shortlist, which knows more of
each pivot and therefore costs somewhat less. The marks are tried on a grid over the same drawn
trucks; those in force stay unless others are clearly cheaper, so that a policy does not flicker
with the draws.

Not here: driving the trucks (`truck_miles`), the choice at one visit (`decision`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.truck_miles import Fitted

#: A change of marks that saves less than this share of the cost is not worth a new habit.
WORTH_CHANGING: Final = 0.01
_BY_PLAY: Final = ((0.7, 0.8, 0.9, 1.0), (0.45, 0.6, 0.75, 0.9, math.inf))
_BY_AGE: Final = ((0.45, 0.6, 0.75, 0.9, 1.1, math.inf), (0.3, 0.45, 0.6, 0.8, math.inf))


@dataclass(frozen=True)
class PlaySigns:
    """How free play announces a bushing's end.

    Attributes
    ----------
    new_share : float
        Play of a new bushing as a share of the limit, below 1.
    exponent : float
        1 = play grows evenly with miles; above 1 = faster the older the bushing is.
    noise_share : float
        Gauge error as a share of the limit.
    """

    new_share: float
    exponent: float
    noise_share: float


@dataclass(frozen=True, eq=False)
class TypeLife:
    """How long a bushing type lasts in a duty, and how sure that is.

    Attributes
    ----------
    bushing_type : str
    shape, scale : float; float, miles
        The fitted Weibull life.
    shapes, scales : ndarray, shape (n_draws,)
        Lives that the records allow as well.
    breaks_per_mile : ndarray, shape (n_draws,)
        Rates at which a bushing breaks on the road without warning.
    play : PlaySigns or None
        None where play announces nothing: then age alone is a sign.
    takes_grease : bool
    note : str
        What is weak about the life, or "".
    likeness : float, 0 to below 1
        How alike lives of one truck are.
    """

    bushing_type: str
    shape: float
    scale: float
    shapes: FloatArray
    scales: FloatArray
    breaks_per_mile: FloatArray
    play: PlaySigns | None
    takes_grease: bool
    note: str = ""
    likeness: float = 0.0


@dataclass(frozen=True)
class Policy:
    """Marks at which a bushing is renewed early, and joins an open job; infinity = never."""

    renew_at: float
    join_at: float

    def told(self, by_play: bool) -> str:
        """Say the policy in a sentence's part."""
        what = "of the limit" if by_play else "of the type's 63 % age"
        early = (
            "renewed when found over"
            if math.isinf(self.renew_at)
            else f"renewed at {self.renew_at * 100:.0f} % {what}"
        )
        if math.isinf(self.join_at):
            return f"{early}, none joins"
        # The measure is named once: behind the first mark that is told.
        of = f" {what}" if math.isinf(self.renew_at) else " of it"
        return f"{early}, joins an open axle from {self.join_at * 100:.0f} %{of}"


#: Renewed when found over the limit, nothing early.
WHEN_OVER: Final = Policy(math.inf, math.inf)


def candidates(life: TypeLife) -> list[Policy]:
    """List the marks that are tried for a type; a joining mark lies below the renewing one."""
    renew, join = _BY_AGE if life.play is None else _BY_PLAY
    pairs = itertools.product(renew, join)
    return [Policy(r, j) for r, j in pairs if j < r or math.isinf(j)]


def fitted_bushings(
    lives: Sequence[TypeLife], policies: Sequence[Policy], draw: IntArray
) -> Fitted:
    """Lay out types with their policies as options, shape (options, axles, 1).

    Parameters
    ----------
    lives : sequence of TypeLife, one an option
    policies : sequence of Policy, one an option
    draw : ndarray of int, shape (axles,)
        Which of the drawn lives each axle has.
    """

    def each(values: Sequence[float]) -> FloatArray:
        return np.asarray(values, dtype=float)[:, None, None]

    signs = [life.play or PlaySigns(0.0, 1.0, 0.0) for life in lives]
    return Fitted(
        shape=np.stack([life.shapes[draw] for life in lives])[:, :, None],
        scale=np.stack([life.scales[draw] for life in lives])[:, :, None],
        usual_scale=each([life.scale for life in lives]),
        by_play=np.array([life.play is not None for life in lives])[:, None, None],
        new_play=each([sign.new_share for sign in signs]),
        exponent=each([sign.exponent for sign in signs]),
        noise=each([sign.noise_share for sign in signs]),
        renew_at=each([policy.renew_at for policy in policies]),
        join_at=each([policy.join_at for policy in policies]),
        breaks_per_mile=np.stack([life.breaks_per_mile[draw] for life in lives])[:, :, None],
        likeness=each([life.likeness for life in lives]),
    )


def choose_policy(
    tried: Sequence[Policy], costs: FloatArray, held: Policy | None = None
) -> tuple[Policy, float]:
    """Pick the cheapest policy, keeping the one in force unless another is clearly cheaper.

    Parameters
    ----------
    tried : sequence of Policy
    costs : ndarray, shape (len(tried),), currency
        Mean cost of each on the same trucks.
    held : Policy, optional
        The one in force; without it, the least eventful of those within a hundredth of the
        cheapest.

    Returns
    -------
    (policy, saving) : Policy; float
        And the share of the held policy's cost that it saves (0 where it is the one in force).
    """
    cheapest = float(np.min(costs))
    if held is not None and held in tried:
        own = float(costs[tried.index(held)])
        saving = (own - cheapest) / own if own > 0 else 0.0
        if saving < WORTH_CHANGING:
            return held, 0.0
        return tried[int(np.argmin(costs))], saving
    near = [p for p, cost in zip(tried, costs, strict=True) if cost <= cheapest * 1.002]
    return max(near, key=lambda policy: (policy.renew_at, policy.join_at)), 0.0


#: Prices the counts of all options: (options, axles, years + 1, n_counts) to (options,) currency.
Pricing = Callable[[FloatArray], FloatArray]
