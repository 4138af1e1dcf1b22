"""The scheduled flow runs once, on this machine alone, and does nothing twice."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

from pivotlife.pipeline.scheduler import environment

PORT = 4_299


def test_environment_keeps_to_this_machine(tmp_path: Path) -> None:
    values = environment(tmp_path, PORT)
    assert values["PREFECT_API_URL"] == f"http://127.0.0.1:{PORT}/api"
    assert values["PREFECT_HOME"] == str(tmp_path)
    assert values["DO_NOT_TRACK"] == "1"
    assert values["PREFECT_SERVER_ANALYTICS_ENABLED"] == "false"


def test_the_flow_runs_once_and_repeats_nothing(
    small_fleet: Callable[..., Path], tmp_path: Path
) -> None:
    source = small_fleet(units=12)
    for file in (*source.parent.glob("*.csv"), source):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    script = textwrap.dedent(
        """
        import json, sys
        from prefect.client.orchestration import get_client
        from pivotlife.pipeline.flow import nightly
        folders = [nightly(sys.argv[1], "2026-06-30") for _ in range(2)]
        with get_client(sync_client=True) as client:
            keys = sorted({a.key for a in client.read_artifacts()})
        print("RESULT " + json.dumps({"folders": folders, "artifacts": keys}))
        """
    )
    own = environment(tmp_path / "home", PORT)
    del own["PREFECT_API_URL"]  # without an address the flow starts a server for itself
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / "settings.toml")],
        env={**os.environ, **own},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    said = [line for line in done.stdout.splitlines() if line.startswith("RESULT ")]
    assert said, done.stderr[-3000:]
    result = json.loads(said[0].removeprefix("RESULT "))
    assert result["folders"] == [str(tmp_path / "out" / "2026-06-30")] * 2
    assert (tmp_path / "out" / "latest" / "index.html").exists()
    assert not (tmp_path / "out" / "2026-06-30-2").exists()
    assert result["artifacts"] == ["comparison-by-type", "shortlist-head"]
