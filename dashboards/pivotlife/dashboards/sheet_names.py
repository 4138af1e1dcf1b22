"""File names of the work sheets: safe on every system, one for each unit.

Not here: what stands on a sheet (`sheets`).
"""

from __future__ import annotations

import hashlib
import re
from typing import Final

FOLDER: Final = "sheets"
#: A name that is the same file on every system, whatever it thinks of upper and lower case.
_PLAIN: Final = re.compile(r"(?!(CON|PRN|AUX|NUL|COM\d|LPT\d)$)[A-Z0-9][A-Z0-9_-]{0,59}")


def sheet_path(unit: str) -> str:
    """Name the file of a unit's sheet, relative to the fleet page.

    Parameters
    ----------
    unit : str
        The unit's id, whatever it holds.

    Returns
    -------
    str
        A name of letters, digits, - and _ alone; ids that cannot stand as they are carry a mark
        of their own, so that no two units share a file.
    """
    if _PLAIN.fullmatch(unit):
        return f"{FOLDER}/{unit}.html"
    safe = re.sub(r"[^A-Za-z0-9_-]+", "_", unit).strip("_")[:40] or "unit"
    mark = hashlib.sha256(unit.encode()).hexdigest()[:10]
    return f"{FOLDER}/{safe}.{mark}.html"
