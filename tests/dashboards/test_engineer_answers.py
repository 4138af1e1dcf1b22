"""Each of the ten questions is answered with its n, its interval, a verdict and a doubt."""

from __future__ import annotations

import re
from types import ModuleType
from typing import Any

import pandas as pd
import pytest

from pivotlife.dashboards.engineer import engineer_context
from pivotlife.dashboards.engineer_answers import (
    Answer,
    b10_by_type,
    longest_in_duty,
    missed_lube,
    real_or_not,
    wear_out_or_early,
)
from pivotlife.dashboards.pages import build_pages
from pivotlife.dashboards.wait_table import wait_table

ORDER = (
    *("longest", "real", "b10", "ageing", "fit"),
    *("lube", "missed", "gauges", "second", "dropped"),
)


def plain(answer: Answer) -> str:
    return " ".join(answer.sentences).replace("\u00a0", " ")


def life(**over: Any) -> dict[str, Any]:
    row = {
        "bushing_type": "roller",
        "duty": "regional",
        "node": "all",
        "life_order": "all",
        "mode": "any",
        "lives": 120,
        "units": 30,
        "failures": 25,
        "informative_removals": "censored",
        "shape": 2.0,
        "shape_lower": 1.5,
        "shape_upper": 2.6,
        "b10": 240_000.0,
        "b10_lower": 200_000.0,
        "b10_upper": 290_000.0,
    }
    return {**row, **over}


@pytest.fixture(scope="module")
def answers(factory: ModuleType) -> tuple[Answer, ...]:
    found: tuple[Answer, ...] = engineer_context(factory.make_inputs())["answers"]
    return found


def test_the_questions_stand_in_their_order(answers: tuple[Answer, ...]) -> None:
    assert tuple(answer.anchor for answer in answers) == ORDER
    assert all(answer.sentences and answer.doubt for answer in answers)
    assert all(answer.question.endswith("?") for answer in answers)


def test_estimates_carry_n_and_interval(answers: tuple[Answer, ...]) -> None:
    by_name = {answer.anchor: answer for answer in answers}
    for name in ("b10", "ageing", "lube"):
        for sentence in by_name[name].sentences:
            assert "failure" in sentence
            assert "95 % interval" in sentence.replace("\u00a0", " ") or "too few" in sentence


def test_the_longest_type_of_a_duty_is_named_with_its_rival(factory: ModuleType) -> None:
    tables = dict(factory.make_inputs().tables)
    rows = [
        life(),
        life(bushing_type="threaded", b10=150_000.0, b10_lower=120_000.0, b10_upper=180_000.0),
        life(bushing_type="rubber-bonded", b10=900_000.0, failures=2),
        life(duty="line-haul", bushing_type="threaded"),
    ]
    ratios = (
        tables["life_ratios"]
        .iloc[[1]]
        .assign(
            numerator_type="roller",
            denominator_type="threaded",
            duty="regional",
            verdict="roller lasts longer than threaded in regional duty",
        )
    )
    tables |= {"comparison": pd.DataFrame(rows), "life_ratios": ratios}
    answer = longest_in_duty(tables)
    line_haul, regional = (sentence.replace("\u00a0", " ") for sentence in answer.sentences)
    assert regional == (
        "Regional: roller reads longest, B10 240,000 miles (95 % interval 200,000 to 290,000; 25 "
        "failures of 120 lives); then threaded, B10 150,000 miles (95 % interval 120,000 to "
        "180,000; 25 failures of 120 lives). Compared fairly (roller / threaded): roller lasts "
        "longer than threaded in regional duty."
    )
    assert line_haul.endswith("no other type has a curve there.")
    assert "Left out for too few failures: rubber-bonded in regional duty (2 failures)." in (
        answer.doubt
    )


def test_who_got_which_type_stands_beside_the_verdict(factory: ModuleType) -> None:
    said = real_or_not(factory.make_inputs().tables).sentences
    assert "Unadjusted it reads 0.41, part of the difference may be who got which type" in said[0]
    # Decided already: no month to wait for.
    assert "decid" not in said[0]
    assert "Decidable in about 14 months at this rate" in said[1]


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (1.2, 2.0, "they wear out"),
        (0.5, 0.9, "they fail young more than old"),
        (0.8, 1.3, "wear-out is not told from failing by chance"),
    ],
)
def test_a_shape_is_put_into_words(
    factory: ModuleType, low: float, high: float, verdict: str
) -> None:
    tables = dict(factory.make_inputs().tables)
    tables["comparison"] = pd.DataFrame(
        [life(duty="all", shape=(low + high) / 2, shape_lower=low, shape_upper=high)]
    )
    said = plain(wear_out_or_early(tables))
    assert said.startswith(f"Roller: {verdict}: shape {(low + high) / 2:.2f} (95 % interval {low}")
    assert "25 failures" in said


def test_lube_effects_say_whether_they_are_told_from_none(factory: ModuleType) -> None:
    tables = dict(factory.make_inputs().tables)
    said = missed_lube(tables).sentences
    assert "multiplies life by 0.980 (95 % interval 0.970 to 0.990; 190 failures)" in said[0]
    assert said[0].endswith("which shortens life.")
    assert said[1] == "Roller: too few failures to tell (2 failures)."
    wide = tables["lube_effect"].assign(time_ratio_per_missed_service_upper=1.2)
    assert "not told from none" in missed_lube({"lube_effect": wide}).sentences[0]


def test_without_rows_every_question_still_has_an_answer(factory: ModuleType) -> None:
    empty = {name: table.iloc[:0] for name, table in factory.make_inputs().tables.items()}
    context = engineer_context(factory.make_inputs(empty))
    assert all(answer.sentences for answer in context["answers"])
    assert b10_by_type(empty).sentences == ("No type has been fitted.",)


def test_the_page_links_every_question_to_its_section(factory: ModuleType) -> None:
    html = build_pages(factory.make_inputs())["engineer.html"]
    linked = re.findall(r'<li><a href="#(\w+)">', html)
    assert tuple(linked) == ORDER
    assert tuple(re.findall(r'<h2 id="(\w+)">\d+\. ', html)) == ORDER


def test_waiting_is_tabulated(factory: ModuleType) -> None:
    table = wait_table(factory.make_inputs().tables["decidable"])
    cells = [cell.text for cell in table.rows[1]]
    assert cells[:5] == ["roller / rubber-bonded", "all", "0.62", "0.88", "3.2 / 6.0"]
    assert "14 months" in cells[5]
    assert "even chance" in table.caption
