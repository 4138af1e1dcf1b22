"""All pages of one run.

Not here: writing them to a folder.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from pivotlife.dashboards.engineer import engineer_context
from pivotlife.dashboards.finance import finance_context
from pivotlife.dashboards.fleet import fleet_context
from pivotlife.dashboards.index import index_context
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.render import render
from pivotlife.dashboards.sheets import build_sheets

_PAGES: Final[dict[str, tuple[str, Callable[[PageInputs], dict[str, Any]]]]] = {
    "index.html": ("Overview", index_context),
    "fleet.html": ("Fleet", fleet_context),
    "engineer.html": ("Engineer", engineer_context),
    "finance.html": ("Finance", finance_context),
}


def build_pages(inputs: PageInputs) -> dict[str, str]:
    """Draw the four pages of a run and its work sheets.

    Parameters
    ----------
    inputs : PageInputs
        The finished tables; amounts in one currency, miles, millimetres.

    Returns
    -------
    dict of str to str
        File name to HTML. Each page carries its style, its figures and its script, asks for
        nothing outside itself, and equal inputs give equal bytes.
    """
    pages = {
        file: render(file, {**_frame(inputs, file), **prepare(inputs)})
        for file, (_, prepare) in _PAGES.items()
    }
    return pages | build_sheets(inputs)


def _frame(inputs: PageInputs, here: str) -> dict[str, Any]:
    """Give what the head and foot of every page say."""
    return {
        "fleet_name": inputs.fleet_name,
        "as_of": inputs.as_of.isoformat(),
        "page_title": _PAGES[here][0],
        "doors_bar": tuple(
            (file, title, "page" if file == here else "false")
            for file, (title, _) in _PAGES.items()
        ),
    }
