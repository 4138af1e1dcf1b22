"""Which growth law speaks: by duty where there are lives enough, refused where play is silent."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.growth_cells import LIVES_PER_DUTY, GrowthLaws, TypeLaw, _cells, fit_laws
from pivotlife.models.growth_table import growth_table
from pivotlife.models.life_curves import CurveBook


@pytest.fixture(scope="module")
def known(fleets: ModuleType) -> Any:
    return fleets.fleet(260, 5)


@pytest.fixture(scope="module")
def plain(known: Any) -> GrowthLaws:
    return fit_laws(known.readings, known.lives)


def test_each_type_has_a_law_near_the_truth(plain: GrowthLaws, fleets: ModuleType) -> None:
    laws = plain
    assert set(laws.laws) == {(k, d) for k in fleets.LAW for d in ("all", "regional")}
    for kind, (shape, _, new, power) in fleets.LAW.items():
        law = laws.laws[kind, "regional"].growth.law_
        assert law.alpha_mm == pytest.approx(new, abs=0.05)
        assert law.exponent == pytest.approx(power, rel=0.08)
        assert law.load_factor == pytest.approx(0.7, abs=0.04)
        assert law.grease_offset_mm == pytest.approx(-0.25, abs=0.06)
        # About four standard errors of a Weibull shape from 200 lives.
        assert law.weibull_shape() == pytest.approx(shape, rel=0.25)


def test_a_duty_with_few_lives_shares_the_wider_law(known: Any) -> None:
    lives = known.readings["life_id"].drop_duplicates()
    hard = set(lives.iloc[:30])
    harder = known.readings["life_id"].isin(hard)
    readings = known.readings.assign(
        bushing_type="threaded", duty=np.where(harder, "vocational", "regional")
    )
    assert 10 < len(hard) < LIVES_PER_DUTY
    laws = fit_laws(readings, known.lives.iloc[:0])
    assert set(laws.laws) == {("threaded", "all"), ("threaded", "regional")}
    law, note = laws.law("threaded", "vocational")
    assert law is laws.laws["threaded", "all"]
    assert note.startswith("too few bushings read often enough in vocational: growth")


def test_lives_that_end_without_play_refuse_the_law(known: Any) -> None:
    """Bushings that split at half the age at which play would pass the limit."""
    early = np.floor(known.crossing / 2.0 / 25_000.0) * 25_000.0
    now = known.visits["miles_now"].to_numpy()
    failed = early < now
    lives = known.lives.assign(
        lower_miles=np.where(failed, early, now),
        upper_miles=np.where(failed, early + 25_000.0, np.inf),
        mode=np.where(failed, "split", ""),
    )
    laws = fit_laws(known.readings, lives)
    assert laws.laws == {}
    law, note = laws.law("threaded", "regional")
    assert law is None
    assert "more fail than play announces, so the life curve speaks" in note
    curves = CurveBook({}, {"threaded": (2.0, 9e5), "roller": (2.0, 9e5)})
    table = growth_table(known.in_service, known.readings, known.visits, laws, curves)
    assert table["method"].str.startswith("life curve").all()
    assert table["warning"].str.contains("growth of play and survival of").all()


def test_lives_renewed_in_good_time_keep_the_law(known: Any) -> None:
    """Where worn bushings leave unfailed the survival curve reads too long; the law stands."""
    lives = known.lives.assign(upper_miles=np.inf, mode="")
    lives.loc[:9, "upper_miles"] = lives.loc[:9, "lower_miles"] + 1.0
    laws = fit_laws(known.readings, lives)
    law, note = laws.law("threaded", "regional")
    assert law is not None
    assert "play says less life than the survival curve" in note


def test_a_duty_that_was_refused_is_not_lent_the_pooled_law(plain: GrowthLaws) -> None:
    pooled: TypeLaw = plain.laws["threaded", "all"]
    mixed = GrowthLaws({("threaded", "all"): pooled}, {("threaded", "regional"): "disagree"})
    assert mixed.law("threaded", "regional") == (None, "disagree")
    assert mixed.law("threaded", "line-haul")[0] is pooled
    assert mixed.law("roller", "line-haul") == (None, "")


def test_tight_and_suspect_readings_take_no_part(known: Any, plain: GrowthLaws) -> None:
    zeros = known.readings.assign(free_play_mm=0.0)
    both = pd.concat(
        [
            known.readings.assign(is_tight=False, is_suspect=False),
            zeros.assign(is_tight=True, is_suspect=False, life_id=zeros["life_id"] + "t"),
            known.readings.assign(
                is_tight=False,
                is_suspect=True,
                free_play_mm=9.0,
                life_id=zeros["life_id"] + "s",
            ),
        ],
        ignore_index=True,
    )
    mixed = fit_laws(both, known.lives.iloc[:0])
    for key, law in plain.laws.items():
        assert mixed.laws[key].growth.law_ == law.growth.law_


def test_readings_that_determine_nothing_say_so(known: Any) -> None:
    few = known.readings[known.readings["bushing_type"] == "threaded"].groupby("life_id").head(1)
    laws = fit_laws(few, known.lives)
    assert laws.laws == {}
    assert laws.law("threaded", "regional")[1].startswith("no growth law for threaded: ")


def test_a_duty_full_of_zeros_has_no_law_of_its_own() -> None:
    """A law drawn through the few plays among many zeros would follow them to the thousandth."""
    life = np.repeat(np.arange(2 * LIVES_PER_DUTY), 2)
    rows = pd.DataFrame(
        {
            "life_id": life,
            "duty": np.where(life < LIVES_PER_DUTY, "regional", "vocational"),
            "age_miles": np.tile([2e4, 4e4], 2 * LIVES_PER_DUTY),
            "free_play_mm": 0.3,
        }
    )
    assert [duty for duty, _ in _cells(rows)] == ["all", "regional", "vocational"]
    rows.loc[(rows["duty"] == "regional") & (rows["age_miles"] < 3e4), "free_play_mm"] = 0.0
    assert [duty for duty, _ in _cells(rows)] == ["all", "vocational"]
