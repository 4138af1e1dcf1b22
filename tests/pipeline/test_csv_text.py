"""CSV files as text: cells, lines, ragged rows, and what cannot be read at all."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from pivotlife.pipeline.csv_text import read_csv_text
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.text_table import RAGGED


def _file(folder: Path, content: bytes | str) -> Path:
    path = folder / "some.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def test_cells_are_stripped_and_rows_keep_their_line(tmp_path: Path) -> None:
    frame = read_csv_text(_file(tmp_path, " a ,b\n 1 ,\u00a0x\n\n,,\n2,\n"), "some.csv")
    assert frame.columns.tolist() == ["a", "b", "row_number"]
    assert frame["a"].tolist() == ["1", "2"]
    assert frame["b"].tolist() == ["x", ""]
    assert frame["row_number"].tolist() == [2, 5]


@pytest.mark.parametrize("packed", [False, True])
def test_byte_order_mark_and_gzip(tmp_path: Path, packed: bool) -> None:
    content = "\ufeffa,b\nZoë,2\n".encode()
    frame = read_csv_text(
        _file(tmp_path, gzip.compress(content, mtime=0) if packed else content), "f"
    )
    assert frame["a"].tolist() == ["Zoë"]


def test_quoted_commas_quotation_marks_and_line_breaks(tmp_path: Path) -> None:
    frame = read_csv_text(_file(tmp_path, 'a,b\n"1,5",""""\n"two\nlines",3"\nz,1\n'), "f")
    assert frame["a"].tolist() == ["1,5", "two\nlines", "z"]
    assert frame["b"].tolist() == ['"', '3"', "1"]
    assert frame["row_number"].tolist() == [2, 4, 5]


def test_ragged_rows_are_kept_and_marked(tmp_path: Path) -> None:
    frame = read_csv_text(_file(tmp_path, "a,b\n1,2,3,x\n4\n5,6\n"), "f")
    assert frame["a"].tolist() == ["1", "4", "5"]
    assert frame["b"].tolist() == ["2", "", "6"]
    assert frame[RAGGED].tolist() == [
        '4 cells under 2 headers, too many: ["3", "x"]',
        "1 cells under 2 headers",
        "",
    ]


def test_many_blocks_join_in_order(tmp_path: Path) -> None:
    lines = "\n".join(str(number) for number in range(120_000))
    frame = read_csv_text(_file(tmp_path, f"a\n{lines}\n"), "f")
    texts = frame["a"].tolist()
    assert [texts[place] for place in (0, 49_999, 50_000, -1)] == ["0", "49999", "50000", "119999"]
    assert frame["row_number"].iloc[-1] == 120_001


def test_a_header_alone_is_an_empty_table(tmp_path: Path) -> None:
    frame = read_csv_text(_file(tmp_path, "a,b\n"), "f")
    assert frame.columns.tolist() == ["a", "b", "row_number"]
    assert frame.empty


def test_the_readers_own_columns_do_not_hide_the_files(tmp_path: Path) -> None:
    frame = read_csv_text(_file(tmp_path, "row_number,,file\n77,x,y\n"), "f")
    assert frame["row_number"].tolist() == [2]
    assert frame["row_number_as_given"].tolist() == ["77"]
    assert frame["column 2"].tolist() == ["x"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "f: is empty; its first line must hold the headers"),
        (b"\n\n", "f: is empty"),
        (b"a,b,a\n1,2,3\n", "f: header 'a' occurs more than once"),
        ("a\nZoë\n".encode("latin-1"), "f: is not UTF-8 text .byte 0xeb."),
        ("a\n1\n".encode("utf-16"), "f: is UTF-16 text, not UTF-8"),
        (b'a,b\n1,"\n2,3\n', "f, line 3: unexpected end of data; look for a lone quotation mark"),
        (gzip.compress(b"a\n1\n", mtime=0)[:-9], "f: is not a whole gzip file"),
        (b"\x1f\x8bnonsense", "f: is not a whole gzip file"),
    ],
)
def test_what_cannot_be_read_is_one_line(tmp_path: Path, content: bytes, says: str) -> None:
    with pytest.raises(SourceError, match=says) as refusal:
        read_csv_text(_file(tmp_path, content), "f")
    assert "\n" not in str(refusal.value)


def test_another_encoding_separator_and_skipped_lines(tmp_path: Path) -> None:
    content = 'Export; of May\n\nName;"Note;2"\nZoë; 3,5 \n'.encode("cp1252")
    frame = read_csv_text(
        _file(tmp_path, gzip.compress(content, mtime=0)),
        "f",
        encoding="cp1252",
        separator=";",
        skip_rows=2,
    )
    assert frame.iloc[0].tolist() == ["Zoë", "3,5", 4]
    assert frame.columns.tolist() == ["Name", "Note;2", "row_number"]
    wide = _file(tmp_path, "a\tb\nZoë\t1\n".encode("utf-16"))
    assert read_csv_text(wide, "f", encoding="utf-16", separator="\t")["a"].tolist() == ["Zoë"]


@pytest.mark.parametrize(
    ("content", "encoding", "says"),
    [
        ("a\n1\nZoë\n".encode("cp1252"), "utf-8", r"byte 0xeb on line 3\); .* \"cp1252\""),
        ("\ufeffa\n".encode(), "cp1252", "is UTF-8 text, not cp1252; leave encoding out"),
        (b"a\n\x81\n", "cp1252", r"is not cp1252 text \(byte 0x81 on line 2\); set encoding"),
        (b"a\n\xff\n", "ascii", r"is not ascii text \(byte 0xff on line 2\)"),
    ],
)
def test_the_wrong_encoding_names_the_line(
    tmp_path: Path, content: bytes, encoding: str, says: str
) -> None:
    with pytest.raises(SourceError, match=says) as refusal:
        read_csv_text(_file(tmp_path, content), "f", encoding=encoding)
    assert "\n" not in str(refusal.value)


def test_texts_that_repeat_are_kept_once(tmp_path: Path) -> None:
    rows = "".join(f"{number},{number % 7}\n" for number in range(60_000))
    frame = read_csv_text(_file(tmp_path, f"id,word\n{rows}"), "f")
    assert frame["word"].dtype == "category"
    assert frame["id"].dtype == "string"
    assert frame["word"].tolist()[-2:] == [str(59_998 % 7), str(59_999 % 7)]


def test_a_file_that_is_gone(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"f: cannot be read \(No such file or directory\)"):
        read_csv_text(tmp_path / "none.csv", "f")
