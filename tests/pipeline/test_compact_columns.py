"""Compact columns give back what was put in, bit for bit, and take little memory."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.pipeline import compact_columns
from pivotlife.pipeline.compact_columns import ColumnBlocks, CompactColumn

ODD = [0.0, -0.0, float("nan"), float("inf"), 1.5, 1e15]
TEXTS = st.sampled_from(["", "a", "Ö", "a ", "\u2033", "left", "right"])


def collected(blocks: list[npt.NDArray[np.generic]]) -> CompactColumn:
    column = ColumnBlocks()
    for block in blocks:
        column.add(block)
    return column.close()


def texts_of(texts: list[str]) -> npt.NDArray[np.object_]:
    array = np.empty(len(texts), dtype=object)
    array[:] = texts
    return array


@given(st.lists(st.lists(TEXTS, max_size=5), min_size=1, max_size=4), st.booleans())
def test_texts_come_back(blocks: list[list[str]], repeats: bool) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compact_columns, "_FEW", 1_000 if repeats else 1)
        column = collected([texts_of(block) for block in blocks])
    whole = [text for block in blocks for text in block]
    assert column.is_text
    assert column.plain().dtype == object
    assert column.plain().tolist() == whole
    codes, different = column.distinct_texts()
    assert [str(different[code]) for code in codes] == whole
    assert len(set(different)) == len(different)
    rows = np.arange(0, len(whole), 2)
    assert column.of_rows(rows).plain().tolist() == whole[::2]


@given(st.lists(st.lists(st.sampled_from(ODD), max_size=5), min_size=1, max_size=4), st.booleans())
def test_numbers_come_back_bit_for_bit(blocks: list[list[float]], repeats: bool) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compact_columns, "_FEW", 1_000 if repeats else 1)
        column = collected([np.array(block, dtype=float) for block in blocks])
    whole = np.array([number for block in blocks for number in block], dtype=float)
    assert not column.is_text
    assert column.plain().tobytes() == whole.tobytes()
    assert column.of_rows(np.arange(len(whole))[::2]).plain().tobytes() == whole[::2].tobytes()


def test_dates_come_back_with_their_gaps() -> None:
    days = np.array(["2020-05-01", "NaT", "2020-05-01"], dtype="datetime64[ns]")
    column = collected([days, days[:1], days[:0]])
    assert column.plain().dtype == days.dtype
    np.testing.assert_array_equal(column.plain(), [*days, days[0]])


def test_a_block_of_different_texts_turns_the_whole_column() -> None:
    words = texts_of(["left", "right"] * 3_000)
    ids = texts_of([f"R{n}" for n in range(6_000)])
    column = collected([words, ids, words])
    assert column.codes is None
    assert column.plain().tolist() == [*words, *ids, *words]


def test_words_take_a_byte_a_row_and_ids_little_more_than_their_letters() -> None:
    words = collected([texts_of(["left", "", "right", ""] * 5_000)] * 3)
    assert words.codes is not None
    assert words.codes.nbytes == 60_000
    assert sorted(words.held) == ["", "left", "right"]
    ids = collected(
        [texts_of([f"R{n:06d}" for n in range(start, start + 5_000)]) for start in (0, 5_000)]
    )
    assert ids.codes is None
    assert ids.held.nbytes <= 10_000 * (7 + 8) + 100


def test_text_with_gaps_is_refused() -> None:
    with pytest.raises(ValueError, match="missing text is written as an empty one"):
        collected([np.array(["a", None], dtype=object)])
