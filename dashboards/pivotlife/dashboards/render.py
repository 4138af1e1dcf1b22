"""Fill the templates: one file a page, style and script inside it.

Not here: any decision on what a page says.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any, Final

import jinja2
from markupsafe import Markup, escape

#: A space between a number and its unit, or a currency code and its number.
_LOOSE: Final = re.compile(r"(?<=\d) (?=(?:%|mm|mi|in)\b|%)|(?<=\b[A-Z]{3}) (?=\d)")
_DATE: Final = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def render(template: str, context: Mapping[str, Any]) -> str:
    """Fill one template.

    Parameters
    ----------
    template : str
        File name in `templates/`.
    context : mapping
        What the template loops over. Text is escaped; only `Markup` made by this package
        passes as it is.

    Returns
    -------
    str
        A whole HTML document that asks for nothing outside itself.
    """
    shared = {
        "style": _static("style.css"),
        "sheet_style": _static("sheet.css"),
        "script": _static("page.js"),
        "what_if_script": _static("what_if.js"),
    }
    return _environment().get_template(template).render({**shared, **context})


def tied(text: str) -> Markup:
    """Keep dates, and numbers with their units, on one line; everything else is escaped.

    Parameters
    ----------
    text : str
        A sentence.

    Returns
    -------
    Markup
    """
    safe = _LOOSE.sub("\u00a0", str(escape(text)))
    # Escaped above; what is added is a fixed tag around digits and hyphens.
    return Markup(_DATE.sub(r"<time>\g<0></time>", safe))  # noqa: S704 - see above


@cache
def _environment() -> jinja2.Environment:
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("pivotlife.dashboards", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["tied"] = tied
    return made


@cache
def _static(name: str) -> Markup:
    file = resources.files("pivotlife.dashboards").joinpath("static", name)
    # Our own files, part of the package: no foreign text can be in them.
    return Markup(file.read_text(encoding="utf-8"))  # noqa: S704 - own file, see above
