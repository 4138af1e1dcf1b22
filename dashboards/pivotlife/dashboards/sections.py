"""A part of a page: a heading, sentences, figures, tables, and the file that has all rows.

Pages that several modules write together loop over sections, in the order in which they are given.

Not here: what any section says.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup

from pivotlife.dashboards.charts import Drawing
from pivotlife.dashboards.tables import Table

_NOTHING: Final = Markup("")


@dataclass(frozen=True)
class Section:
    """One part of a page.

    Attributes
    ----------
    heading : str
    sentences : tuple of str
        Paragraphs above the figures.
    drawings : tuple of Drawing
    tables : tuple of Table
    form : Markup
        Fields made by this package, shown below the tables; empty for none.
    file : str
        The file beside the page that has all rows; "" for none.
    """

    heading: str
    sentences: tuple[str, ...] = ()
    drawings: tuple[Drawing, ...] = ()
    tables: tuple[Table, ...] = ()
    form: Markup = _NOTHING
    file: str = ""

    @property
    def anchor(self) -> str:
        """Where a link to this part leads."""
        return anchor(self.heading)


def anchor(heading: str) -> str:
    """Turn a heading into an anchor: its letters and digits, joined by underscores."""
    return "_".join(re.findall(r"[a-z0-9]+", heading.lower()))
