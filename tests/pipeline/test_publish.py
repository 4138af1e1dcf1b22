"""A run appears whole or not at all."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.publish import csv_text, locked, publish, safe_name


def test_latest_points_at_the_newest_run(tmp_path: Path) -> None:
    with locked(tmp_path):
        first = publish({"a.csv": pd.DataFrame({"x": [1]})}, tmp_path, "2026-06-30")
        second = publish({"index.html": "<p>", "sheets/s.html": b"s"}, tmp_path, "2026-06-30")
    assert first.name == "2026-06-30"
    assert second.name == "2026-06-30-2"
    assert (tmp_path / "latest").resolve() == second.resolve()
    assert (second / "sheets" / "s.html").read_text() == "s"


def test_a_killed_run_leaves_the_last_good_one(tmp_path: Path) -> None:
    with locked(tmp_path):
        good = publish({"index.html": "good"}, tmp_path, "good")
    script = textwrap.dedent(
        """
        import os, signal, sys
        from pathlib import Path
        from pivotlife.pipeline import publish as room
        write = room._write
        def dies(path, content):
            write(path, content)
            os.kill(os.getpid(), signal.SIGKILL)
        room._write = dies
        out = Path(sys.argv[1])
        with room.locked(out):
            room.publish({"a.csv": "half", "index.html": "never"}, out, "dead")
        """
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert (tmp_path / "latest" / "index.html").read_text() == "good"
    assert not (tmp_path / "dead").exists()
    assert list(tmp_path.glob(".writing-*"))
    with locked(tmp_path):
        assert not list(tmp_path.glob(".writing-*"))
    assert (tmp_path / "latest").resolve() == good.resolve()


def test_two_runs_do_not_share_a_folder(tmp_path: Path) -> None:
    refused = pytest.raises(SourceError, match="another run is writing there")
    with locked(tmp_path), refused, locked(tmp_path):
        pass


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    told = "cannot write there .a file stands where a folder is needed.; free .* --out or publish"
    for place in (tmp_path / "file" / "out", tmp_path / "file"):
        with pytest.raises(SourceError, match=told), locked(place):
            pass


def test_csv_cells(tmp_path: Path) -> None:
    table = pd.DataFrame(
        {
            "text": ["=1+1", "-x", "plain", "@y"],
            "number": [-1.5, float("inf"), float("nan"), 0.1],
            "yes": [True, False, True, True],
            "day": pd.to_datetime(["2026-01-02", None, "2026-01-03", "2026-01-04"]),
        }
    )
    lines = csv_text(table).splitlines()
    assert lines[1] == "'=1+1,-1.5,true,2026-01-02"
    assert lines[2] == "'-x,inf,false,"
    assert lines[3] == "plain,,true,2026-01-03"
    assert lines[4].startswith("'@y")


@given(st.text())
def test_an_id_never_becomes_a_path(text: str) -> None:
    name = safe_name(text)
    assert name
    assert os.sep not in name
    assert "." not in name
