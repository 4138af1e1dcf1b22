"""Equal lives merged into one weighted row, which changes no fit and saves most of its time.

Ages come from visits of the same spacing and are rounded, so the lives of a large fleet repeat.

Not here: a merge that keeps units apart; intervals that need units take the lives themselves.
"""

from __future__ import annotations

import numpy as np

from pivotlife.models.lives import CheckedLives

#: Sizes below which lives are always collapsed, and the share of different lives above which
#: a larger table is not worth sorting.
SMALL, DISTINCT_SHARE = 20_000, 0.95


def collapse(lives: CheckedLives) -> CheckedLives:
    """Merge lives of the same three ages into one row that carries the sum of their weights.

    The units of merged rows are lost (all numbered 0). A large table of mostly different lives,
    judged by 5,000 rows spread over it, is returned as it is.
    """
    columns = (lives.upper, lives.lower, lives.entry)
    if lives.n_lives > SMALL:
        step = lives.n_lives // 5_000
        sample = np.column_stack([column[::step] for column in columns])
        if np.unique(sample, axis=0).shape[0] > DISTINCT_SHARE * sample.shape[0]:
            return lives
    order = np.lexsort(columns)
    is_new = np.ones(lives.n_lives, dtype=bool)
    is_new[1:] = False
    for column in columns:
        is_new[1:] |= column[order[1:]] != column[order[:-1]]
    first = np.flatnonzero(is_new)
    kept = order[first]
    return CheckedLives(
        lives.entry[kept],
        lives.lower[kept],
        lives.upper[kept],
        np.add.reduceat(lives.weight[order], first) if first.size else lives.weight,
        np.zeros(first.size, dtype=np.int64),
        min(1, first.size),
        lives.left_out,
    )
