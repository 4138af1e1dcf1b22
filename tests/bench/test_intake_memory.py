"""Time and memory of reading and judging: both grow with the rows and no faster.

`PIVOTLIFE_INTAKE_ROWS=15000000` measures that many readings as well (15 million take 2.3 GB of
disk in the folder of temporary files, and some minutes).
"""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

SIZES = (250_000, 1_000_000)
#: At the highest point, Python and its libraries included.
TARGET_BYTES, TARGET_ROWS = 8 * 2**30, 15_000_000
#: No measured process may grow beyond this.
MOST_BYTES = 14 * 2**30
#: Miles by which the odometers of one copy of the fleet differ from those of the next.
APART_MILES = 3
MEASURE = """
import json, re, resource, sys, time
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]),) * 2)
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
settings = load_settings(Path(sys.argv[1]))
def peak():
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) * 1024
before = peak()
start = time.process_time()
raw = read_sources(settings)
read, read_peak = time.process_time(), peak()
judged = judge(raw)
done = time.process_time()
stood = len(judged.tables.some("readings", "row_number"))
told = [stood, len(judged.withheld["readings"]), len(judged.duplicates)]
print(json.dumps([before, read_peak, peak(), read - start, done - read, told]))
"""


def _enlarged(source: Path, folder: Path, rows: int) -> Path:
    """Repeat a fleet under new unit numbers and odometers until it has so many readings."""
    with (source / "readings.csv").open(encoding="utf-8", newline="") as stream:
        copies = -(-rows // (sum(1 for _ in csv.reader(stream)) - 1))
    for name in ("units", "pivots", "readings"):
        most = rows if name == "readings" else sys.maxsize
        _repeat(source / f"{name}.csv", folder / f"{name}.csv", copies, most)
    header = (source / "repairs.csv").read_text(encoding="utf-8").splitlines()[0]
    (folder / "repairs.csv").write_text(header + "\n", encoding="utf-8")
    tables = ("units", "pivots", "readings", "repairs")
    text = "".join(f'[sources.{name}]\npath = "{name}.csv"\n' for name in tables)
    (folder / "settings.toml").write_text(text, encoding="utf-8")
    return folder / "settings.toml"


def _repeat(file: Path, to: Path, copies: int, most: int) -> None:
    """Write the rows of a file again and again, line by line: no table is held in memory."""
    with file.open(encoding="utf-8", newline="") as stream:
        header, *rows = csv.reader(stream)
    ids = [header.index(name) for name in ("unit_id", "reading_id") if name in header]
    odometer = header.index("odometer") if "odometer" in header else None
    with to.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(header)
        for copy in range(copies):
            for row in rows[: most - copy * len(rows)]:
                cells = list(row)
                for place in ids:
                    cells[place] += f"-{copy:05d}"
                if odometer is not None and cells[odometer].isdigit():
                    cells[odometer] = str(int(cells[odometer]) + APART_MILES * copy)
                writer.writerow(cells)


def _measured(source: Path, folder: Path, rows: int) -> tuple[float, int, int]:
    """Give seconds of CPU, bytes at the highest point, and bytes before anything was read."""
    folder.mkdir()
    settings = _enlarged(source, folder, rows)
    command = [sys.executable, "-c", MEASURE, str(settings), str(MOST_BYTES)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2_000:]
    before, read_peak, peak, read, judge, told = json.loads(done.stdout)
    print(
        f"{rows:,} readings ({told[0]:,} good, {told[1]:,} withheld, {told[2]:,} repeated): read "
        f"{read:.1f} s, judge {judge:.1f} s of CPU; highest {peak / 2**30:.2f} GiB, while reading "
        f"{read_peak / 2**30:.2f}; {(peak - before) / rows:.0f} bytes a reading on top of "
        f"{before / 2**30:.2f} GiB"
    )
    assert sum(told) >= rows
    for file in folder.glob("*.csv"):
        file.unlink()
    return read + judge, peak, before


def test_reading_and_judging_grow_with_the_rows(
    small_fleet: Callable[..., Path], tmp_path: Path
) -> None:
    source = small_fleet(units=30, seed=3).parent
    measured = [_measured(source, tmp_path / str(rows), rows) for rows in SIZES]
    seconds, peaks, before = zip(*measured, strict=True)
    larger = SIZES[1] / SIZES[0]
    assert seconds[1] < 1.5 * larger * seconds[0]
    assert peaks[1] - before[1] < 1.2 * larger * (peaks[0] - before[0])
    each = (peaks[1] - peaks[0]) / (SIZES[1] - SIZES[0])
    print(f"each further reading takes {each:.0f} bytes")
    assert before[1] + each * TARGET_ROWS < TARGET_BYTES


@pytest.mark.skipif(
    "PIVOTLIFE_INTAKE_ROWS" not in os.environ, reason="PIVOTLIFE_INTAKE_ROWS names no size"
)
def test_so_many_readings_fit(small_fleet: Callable[..., Path], tmp_path: Path) -> None:
    rows = int(os.environ["PIVOTLIFE_INTAKE_ROWS"])
    _, peak, _ = _measured(small_fleet(units=30, seed=3).parent, tmp_path / "fleet", rows)
    assert peak < TARGET_BYTES * max(rows / TARGET_ROWS, 0.2)
