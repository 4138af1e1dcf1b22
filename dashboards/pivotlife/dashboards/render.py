"""Fill the templates: one file a page, style and script inside it.

Not here: any decision on what a page says.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup


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


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("pivotlife.dashboards", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


@cache
def _static(name: str) -> Markup:
    file = resources.files("pivotlife.dashboards").joinpath("static", name)
    # Our own files, part of the package: no foreign text can be in them.
    return Markup(file.read_text(encoding="utf-8"))  # noqa: S704 - own file, see above
