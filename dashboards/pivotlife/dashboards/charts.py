"""Drawing board: one look for all figures, and a figure as inline SVG.

Figures are drawn small (about the width of a telephone) and scaled up on a desk, so that their
writing stays legible on both. Equal figures give equal bytes.

Not here: what is drawn (`chart_survival`, `chart_probability`, `chart_cost`).
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import matplotlib as mpl
from markupsafe import Markup, escape
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

INK: Final = "#1d232b"
QUIET: Final = "#5b6470"
RULE: Final = "#d5d2c8"

_LOOK: Final[dict[Any, Any]] = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "font.size": 11.5,
    "axes.labelsize": 11.5,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.grid": True,
    "axes.unicode_minus": False,
    "grid.color": RULE,
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.7,
    "legend.frameon": False,
    "legend.fontsize": 11.0,
    "text.color": INK,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
}


@dataclass(frozen=True)
class Pen:
    """How one bushing type is drawn: a colour and a marker, so colour never speaks alone."""

    colour: str
    marker: str


_PENS: Final[dict[str, Pen]] = {
    "rubber-bonded": Pen("#b8501a", "o"),
    "threaded": Pen("#123f7a", "s"),
    "roller": Pen("#12806f", "^"),
}
_SPARE_PENS: Final[tuple[Pen, ...]] = (
    Pen("#7d3c78", "D"),
    Pen("#6b6a1e", "v"),
    Pen("#3b3f45", "X"),
)


@dataclass(frozen=True)
class Drawing:
    """A figure on a page.

    Attributes
    ----------
    svg : Markup
        The drawing itself.
    title : str
        What is drawn.
    caption : str
        One sentence on what to read from it, with the number of cases.
    """

    svg: Markup
    title: str
    caption: str


def pens(types: Sequence[str]) -> dict[str, Pen]:
    """Give each bushing type its pen, the same on every page."""
    strangers = sorted(set(types) - set(_PENS))
    spare = {name: _SPARE_PENS[i % len(_SPARE_PENS)] for i, name in enumerate(strangers)}
    return {name: _PENS.get(name) or spare[name] for name in types}


def plain(label: str) -> str:
    """Keep the printable letters that the drawing font surely has; others become "?".

    A leading underscore goes, because a legend hides such a label.
    """
    latin = label.encode("latin-1", "replace").decode("latin-1")
    return "".join(letter for letter in latin if letter.isprintable()).lstrip("_") or "?"


@contextmanager
def board(height: float = 3.7) -> Iterator[tuple[Figure, Axes]]:
    """Open an empty drawing in the house look.

    Parameters
    ----------
    height : float, inches
        The width is always 5.2 inches.
    """
    with mpl.rc_context(_LOOK):
        figure = Figure(figsize=(5.2, height), layout="constrained")
        FigureCanvasSVG(figure)
        yield figure, figure.add_subplot()


def to_svg(figure: Figure, name: str, title: str) -> Markup:
    """Write a figure as an SVG element that can stand in a page beside others.

    Parameters
    ----------
    figure : Figure
        A finished figure of `board`.
    name : str
        Unique on the page: letters, digits and dashes.
    title : str
        Read out by screen readers.
    """
    buffer = io.StringIO()
    no_marks = {"Date": None, "Creator": None, "Format": None, "Type": None}
    with mpl.rc_context({**_LOOK, "svg.hashsalt": name}):
        figure.savefig(buffer, format="svg", metadata=no_marks, facecolor="none")
    return Markup(_stand_alone(buffer.getvalue(), name, title))  # noqa: S704 - texts escaped by the SVG writer


def _stand_alone(document: str, name: str, title: str) -> str:
    """Cut the file head and the document-wide style; make ids the page's own."""
    body = document[document.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>\s*", "", body, flags=re.DOTALL)
    body = re.sub(r"<style[^>]*>.*?</style>\s*", "", body, flags=re.DOTALL)
    body = re.sub(r"<!--.*?-->\s*", "", body, flags=re.DOTALL)
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = re.sub(r"url\(#", f"url(#{name}-", body)
    body = re.sub(r'(xlink:href|href)="#', rf'\1="#{name}-', body)
    head = f'<svg role="img" aria-label="{escape(title)}" '
    body = re.sub(r'(<svg [^>]*?)\s(width|height)="[^"]*"', r"\1", body, count=1)
    body = re.sub(r'(<svg [^>]*?)\s(width|height)="[^"]*"', r"\1", body, count=1)
    return head + body[len("<svg ") :].strip()
