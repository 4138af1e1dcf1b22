"""Time and memory of reading and judging: both grow with the rows and no faster."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

pytestmark = pytest.mark.slow

SIZES = (100_000, 400_000)
MEASURE = """
import json, re, sys, time
from pathlib import Path
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
settings = load_settings(Path(sys.argv[1]))
def peak():
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024
before = peak()
start = time.process_time()
raw = read_sources(settings)
read = time.process_time()
judge(raw)
done = time.process_time()
print(json.dumps([read - start, done - read, peak() - before]))
"""


def _enlarged(source: Path, folder: Path, rows: int) -> Path:
    """Repeat a fleet under new unit numbers until it has so many readings."""
    readings = pd.read_csv(source / "readings.csv", dtype=str, keep_default_na=False)
    copies = -(-rows // len(readings))
    for name in ("units", "pivots", "readings"):
        table = pd.read_csv(source / f"{name}.csv", dtype=str, keep_default_na=False)
        ids = [column for column in ("unit_id", "reading_id") if column in table]
        parts = [
            table.assign(**{column: table[column] + f"-{n:05d}" for column in ids})
            for n in range(copies)
        ]
        whole = pd.concat(parts, ignore_index=True)
        whole.head(rows if name == "readings" else len(whole)).to_csv(
            folder / f"{name}.csv", index=False
        )
    header = (source / "repairs.csv").read_text(encoding="utf-8").splitlines()[0]
    (folder / "repairs.csv").write_text(header + "\n", encoding="utf-8")
    tables = ("units", "pivots", "readings", "repairs")
    text = "".join(f'[sources.{name}]\npath = "{name}.csv"\n' for name in tables)
    (folder / "settings.toml").write_text(text, encoding="utf-8")
    return folder / "settings.toml"


def test_reading_and_judging_grow_with_the_rows(
    small_fleet: Callable[..., Path], tmp_path: Path
) -> None:
    source = small_fleet(units=30, seed=3).parent
    seconds, megabytes = [], []
    for rows in SIZES:
        folder = tmp_path / str(rows)
        folder.mkdir()
        settings = _enlarged(source, folder, rows)
        done = subprocess.run(
            [sys.executable, "-c", MEASURE, str(settings)],
            capture_output=True,
            text=True,
            check=True,
        )
        read, judged, peak = json.loads(done.stdout)
        print(
            f"{rows:,} readings: read {read:.1f} s, judge {judged:.1f} s of CPU, "
            f"{peak:.0f} MiB on top, {peak * 2**20 / rows:.0f} bytes a reading"
        )
        seconds.append(read + judged)
        megabytes.append(peak)
    larger = SIZES[1] / SIZES[0]
    assert seconds[1] < 1.5 * larger * seconds[0]
    assert megabytes[1] < 1.2 * larger * megabytes[0]
