"""The headers of a file turned into the native ones, as the settings say and no further.

`[sources.<table>.columns]` names for a native column the header that the file has for it; several
headers may be listed for files that differ. A header that is already native needs no line. One
header may feed two columns. Where a mapping would leave a native column of the file unread, it is
refused: a finding must not disappear behind a renamed remark.

Not here: what the cells mean, and proposing a mapping (`proposals`).
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from pivotlife.data.contracts.registry import INCOMING
from pivotlife.data.contracts.tables import column_facts, required_columns
from pivotlife.data.units_of_measure import canonical_unit
from pivotlife.pipeline.errors import SourceError, one_line
from pivotlife.pipeline.header_words import unit_hint
from pivotlife.pipeline.text_table import written_columns

_SEPARATORS = ((";", "semicolons"), ("\t", "tabs"), ("|", "bars"), (",", "commas"))


def with_native_headers(
    frame: pd.DataFrame, table: str, columns: Mapping[str, Sequence[str]], where: str
) -> tuple[pd.DataFrame, dict[str, str]]:
    """Give one file's columns their native names.

    Parameters
    ----------
    frame : DataFrame
        As read, under the file's own headers.
    table : str
        Name of its contract.
    columns : mapping of str to sequence of str
        Native column to the headers that the settings name for it.
    where : str
        How error messages call the file.

    Returns
    -------
    tuple of DataFrame and dict
        The same cells under native headers, and native column to the file's own header where
        they differ.

    Raises
    ------
    SourceError
        When a header that the settings name is not there, a native column would stay unread, or
        a required column is missing.
    """
    headers = written_columns(frame)
    chosen = {native: _chosen(native, names, headers, where) for native, names in columns.items()}
    _refuse_unread(chosen, headers, table, where)
    renamed = {native: header for native, header in chosen.items() if native != header}
    as_they_are = {native for native, header in chosen.items() if native == header}
    kept = frame.drop(columns=sorted(set(renamed.values()) - as_they_are))
    native = kept.assign(**{name: frame[header] for name, header in renamed.items()})
    absent = missing_columns(table, written_columns(native))
    if absent:
        raise SourceError(one_line(_lacks(absent, headers, table, where)))
    return native, renamed


def refuse_other_unit(
    frame: pd.DataFrame,
    table: str,
    columns: Mapping[str, Sequence[str]],
    units: Mapping[str, str],
    where: str,
) -> None:
    """Refuse a declared unit where the header's brackets name another one, as in `Play (in)`.

    Parameters
    ----------
    frame : DataFrame
        As read, under the file's own headers.
    table : str
        Name of its contract.
    columns, units : mapping
        What the settings say.
    where : str
        How error messages call the file.

    Raises
    ------
    SourceError
        Naming header and unit.
    """
    for native, fact in column_facts(INCOMING[table]).items():
        declared = units.get(native) or units.get(fact.unit_column)
        for header in columns.get(native, (native,)) if fact.kind == "quantity" else ():
            said = unit_hint(header) if re.search(r"[(\[]", header) else ""
            if declared and said and header in frame.columns and canonical_unit(declared) != said:
                raise SourceError(
                    one_line(
                        f"{where}: the settings give {native} in {declared!r}, its header "
                        f"{header!r} says {said!r}; one of the two is wrong"
                    )
                )


def missing_columns(table: str, headers: Iterable[str]) -> list[str]:
    """List the required columns of a table that are not among the headers."""
    there = set(headers)
    return [name for name in required_columns(INCOMING[table]) if name not in there]


def _chosen(native: str, names: Sequence[str], headers: list[str], where: str) -> str:
    found = [name for name in names if name in headers]
    if len(found) == 1:
        return found[0]
    said = f"{where}: the settings read {native} from the header"
    if found:
        raise SourceError(
            one_line(f"{said} {' or '.join(map(repr, names))}, and the file has both; name one")
        )
    raise SourceError(
        one_line(
            f"{said} {' or '.join(map(repr, names))}, which the file does not have"
            f"{nearest(names[0], headers)}; its headers are {', '.join(headers)}"
        )
    )


def _refuse_unread(chosen: Mapping[str, str], headers: list[str], table: str, where: str) -> None:
    known = column_facts(INCOMING[table])
    for native, header in chosen.items():
        if native != header and native in headers and native not in chosen.values():
            raise SourceError(
                one_line(
                    f"{where}: the settings read {native} from {header!r}, but the file also has "
                    f"a column {native!r}, which nobody would read; remove one of the two"
                )
            )
        if native != header and header in known and chosen.get(header) is None:
            raise SourceError(
                one_line(
                    f"{where}: the settings read {native} from {header!r}, which is itself a "
                    f"column of {table}; say where {header} is to be read from, or remove the line"
                )
            )


def _lacks(absent: list[str], headers: list[str], table: str, where: str) -> str:
    # A header that is a column of its own is not meant for another one.
    free = [header for header in headers if header not in column_facts(INCOMING[table])]
    hint = separator_hint(headers)
    mend = hint or f"; name its header under [sources.{table}.columns], `pivotlife check` proposes"
    return (
        f"{where}: lacks the column {', '.join(map(repr, absent))}{nearest(absent[0], free)}; "
        f"its headers are {', '.join(headers)}{mend}"
    )


def nearest(name: str, known: Iterable[str]) -> str:
    """Name the nearest of the known names, in brackets; "" when there is none."""
    by_folded = {entry.casefold(): entry for entry in known}
    match = difflib.get_close_matches(name.casefold(), list(by_folded), 1, 0.0)
    return f" (nearest: {by_folded[match[0]]!r})" if match else ""


def seeming_separator(headers: Sequence[str]) -> str:
    """Give the sign that seems to part the cells of a file read as one column; "" if none."""
    if len(headers) != 1:
        return ""
    return next((sign for sign, _ in _SEPARATORS if sign in headers[0]), "")


def separator_hint(headers: Sequence[str]) -> str:
    """Say by which sign the cells seem to be parted; "" when nothing points to another one."""
    sign = seeming_separator(headers)
    if not sign:
        return ""
    written = "\\t" if sign == "\t" else sign
    called = dict(_SEPARATORS)[sign]
    return f'; the cells seem to be separated by {called}: set separator = "{written}"'
