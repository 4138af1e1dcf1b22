"""Keep the pipeline running on its schedule, with nothing leaving the machine.

A schedule fires only while a scheduler server runs. `serve` finds one on the loopback address or
starts one, closes runs that an earlier crash left open, and then waits for the hour. All state
lies in a folder of its own beside the runs; usage reports of the scheduler are switched off.

Not here: the stages (`stages`), the flow itself (`flow`, the only module that imports prefect).
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.settings import Settings

START_SECONDS = 120.0


def environment(home: Path, port: int) -> dict[str, str]:
    """Name the scheduler's settings: local state, loopback only, no usage reports.

    Parameters
    ----------
    home : Path
        Folder of the scheduler's own state.
    port : int
        Port of its server on the loopback address.

    Returns
    -------
    dict
        Environment variables to set before the scheduler is imported.
    """
    return {
        "PREFECT_HOME": str(home),
        "PREFECT_API_URL": f"http://127.0.0.1:{port}/api",
        "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
        "DO_NOT_TRACK": "1",
        "PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS": "120",
        "PREFECT_SERVER_CONCURRENCY_LEASE_STORAGE": (
            "prefect.server.concurrency.lease_storage.filesystem"
        ),
    }


def serve(settings: Settings, settings_file: Path) -> None:
    """Serve the nightly flow until stopped.

    Parameters
    ----------
    settings : Settings
        Gives the hour (`schedule.nightly`), the time zone and the output folder.
    settings_file : Path
        The file that every run reads anew.

    Raises
    ------
    SettingsError
        When the server cannot be started or the cron text is not one.
    """
    home = settings.out_folder / ".schedule"
    home.mkdir(parents=True, exist_ok=True)
    os.environ.update(environment(home, settings.schedule.port))
    with _server(settings.schedule.port, home):
        from pivotlife.pipeline import flow  # noqa: PLC0415  reads the environment when imported

        closed = flow.close_stale_runs()
        if closed:
            _say(f"closed {closed} run(s) that an earlier stop left open")
        _say(
            f"serving {settings_file} at cron '{settings.schedule.nightly}' "
            f"({settings.schedule.timezone}); Ctrl-C ends it"
        )
        flow.serve(settings_file, settings.schedule.nightly, settings.schedule.timezone)


@contextlib.contextmanager
def _server(port: int, home: Path) -> Iterator[None]:
    if _answers(port):
        _say(f"found a scheduler server on 127.0.0.1:{port}")
        yield
        return
    _say(f"starting a scheduler server on 127.0.0.1:{port}")
    start = ["-m", "prefect", "server", "start", "--host", "127.0.0.1", "--port", str(port)]
    with (home / "server.log").open("ab") as log:
        server = subprocess.Popen(  # noqa: S603  our own interpreter, no user text in the call
            [sys.executable, *start, "--no-ui"], stdout=log, stderr=log
        )
    try:
        _await(server, port, home)
        yield
    finally:
        server.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            server.wait(timeout=20)
        server.kill()


def _await(server: subprocess.Popen[bytes], port: int, home: Path) -> None:
    deadline = time.monotonic() + START_SECONDS
    while not _answers(port):
        if server.poll() is not None or time.monotonic() > deadline:
            raise SettingsError(
                f"the scheduler server did not start on 127.0.0.1:{port}; "
                f"see {home / 'server.log'} or choose another schedule.port"
            )
        time.sleep(0.5)


def _answers(port: int) -> bool:
    url = f"http://127.0.0.1:{port}/api/health"
    try:
        with urllib.request.urlopen(url, timeout=2) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")
    sys.stderr.flush()
