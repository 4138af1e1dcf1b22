"""Progress on standard error: a bar on a terminal, plain lines otherwise.

Not here: results, which go to files and to standard output.
"""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field


@dataclass
class Progress:
    """Says which stage runs and remembers how long each took.

    Parameters
    ----------
    stages : int
        How many stages the work has.
    quiet : bool
        Say nothing, only remember.
    """

    stages: int
    quiet: bool = False
    seconds: dict[str, float] = field(default_factory=dict)

    @contextlib.contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Announce a stage, run the body, remember its seconds."""
        self._say(name)
        began = time.perf_counter()
        yield
        self.seconds[name] = round(time.perf_counter() - began, 3)
        if len(self.seconds) == self.stages and sys.stderr.isatty() and not self.quiet:
            sys.stderr.write("\r\033[K")

    def _say(self, name: str) -> None:
        if self.quiet:
            return
        done = len(self.seconds)
        if sys.stderr.isatty():
            bar = "#" * done + "." * (self.stages - done)
            sys.stderr.write(f"\r\033[K[{bar}] {name}")
        else:
            sys.stderr.write(f"{done + 1}/{self.stages} {name}\n")
        sys.stderr.flush()
