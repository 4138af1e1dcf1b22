"""Where the command begins: loading the rest takes a moment, and Ctrl-C may come within it.

Nothing is imported at the head but the interpreter's own parts, so that almost all of the start
lies inside `main`. What is pressed before Python has read this file is Python's to answer.

Not here: the commands (`cli`), what else may go wrong (`exit_codes`).
"""

from __future__ import annotations

import sys
from typing import Final

#: Exit code of a command that was stopped from the keyboard.
STOPPED: Final = 130
STOPPED_TEXT: Final = "pivotlife: stopped; the last complete run is untouched"


def main() -> None:
    """Load the command line and run it; stopped meanwhile, say so in one line.

    Raises
    ------
    SystemExit
        With the command's exit code.
    """
    try:
        from pivotlife.pipeline.cli import app  # noqa: PLC0415 - the moment that may be stopped

        app()
    except KeyboardInterrupt:
        sys.stderr.write(f"{STOPPED_TEXT}\n")
        raise SystemExit(STOPPED) from None
    except SystemExit as ended:
        # While it reads the arguments typer answers Ctrl-C itself: with the code, without a word.
        if isinstance(getattr(ended.__context__, "__cause__", None), KeyboardInterrupt):
            sys.stderr.write(f"{STOPPED_TEXT}\n")
        raise
