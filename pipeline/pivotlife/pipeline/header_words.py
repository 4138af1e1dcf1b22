"""How alike a header and a native column are, by their words.

A header is split into words, each word is replaced by the one word that the trade's synonyms share
(`trade_words.SAME_WORD`), abbreviations and slips of the pen included, and the words are compared
with the phrases that name a column.

Not here: what stands below the header (`column_evidence`).
"""

from __future__ import annotations

import difflib
import functools
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from pivotlife.pipeline.trade_words import PHRASES, SAME_WORD

#: Words that say little by themselves.
_WEAK: Final = {"id": 0.5, "date": 0.8, "units": 0.9, "type": 0.7, "all": 0.6, "records": 0.8}
_IGNORED: Final = frozenset({"of", "the", "in", "at", "a", "an", "is", "was", "per", "for", "and"})
#: What a header says in brackets or at its end about the unit of its numbers.
UNIT_HINTS: Final[dict[str, str]] = {
    "mm": "mm",
    "millimetres": "mm",
    "cm": "cm",
    "in": "in",
    "inch": "in",
    "inches": "in",
    "thou": "thou",
    "mil": "thou",
    "mils": "thou",
    "thousandths": "thou",
    "mi": "mi",
    "miles": "mi",
    "km": "km",
    "kms": "km",
    "kilometres": "km",
    "kilometers": "km",
}
_WORD: Final = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|[0-9]+|[#%]")
_CANONICAL: Final = {word: shared for shared, words in SAME_WORD.items() for word in words} | {
    shared: shared for shared in SAME_WORD
}
_ALIKE: Final = 0.84
_SHORTEST_ABBREVIATION: Final = 3


def split_words(header: str) -> tuple[str, ...]:
    """Split a header into lower-case words, at signs, spaces and capitals."""
    words = [word.casefold() for word in _WORD.findall(header)]
    return tuple("id" if word == "#" else word for word in words)


def unit_hint(header: str) -> str:
    """Give the unit that a header names in brackets or as its last word; "" if none."""
    inside = re.search(r"[(\[]\s*([A-Za-z]+)\s*[)\]]", header)
    words = split_words(header)
    last = inside[1].casefold() if inside else (words[-1] if len(words) > 1 else "")
    return UNIT_HINTS.get(last, "")


def shared_prefix(headers: Sequence[str]) -> frozenset[str]:
    """Find words that begin most headers of a file, such as the name of the export."""
    firsts = Counter(words[0] for header in headers if len(words := split_words(header)) > 1)
    enough = max(5.0, 0.6 * len(headers))
    return frozenset(word for word, count in firsts.items() if count >= enough)


def likeness(header: str, column: str, ignored: Iterable[str] = ()) -> float:
    """Say how alike a header is to a native column.

    Parameters
    ----------
    header : str
        As in the file.
    column : str
        Native name.
    ignored : iterable of str
        Words at the beginning that all headers of the file share.

    Returns
    -------
    float
        From 0 (nothing in common) to 1 (the same words).
    """
    skipped = frozenset(ignored)
    words = split_words(re.sub(r"[(\[].*?[)\]]", "", header)) or split_words(header)
    if len(words) > 1 and words[0] in skipped:
        words = words[1:]
    phrases = [tuple(column.split("_")), *(split_words(one) for one in PHRASES.get(column, ()))]
    return max(_alike(words, phrase) for phrase in phrases)


@functools.lru_cache(maxsize=100_000)
def _alike(words: tuple[str, ...], phrase: tuple[str, ...]) -> float:
    if "".join(words) == "".join(phrase):
        return 1.0
    mine, theirs = _meanings(words), _meanings(phrase)
    if not mine or not theirs:
        return 0.0
    found, rest = 0.0, list(theirs)
    for word, trust in mine:
        best = max(rest, key=lambda one, word=word: _same(word, one[0]), default=None)  # type: ignore[misc]  # the default binds the loop's word
        if best is not None and (share := _same(word, best[0])) > 0:
            found += _weight(word) * share * trust
            rest.remove(best)
    total = sum(_weight(word) for word, _ in mine) + sum(_weight(word) for word, _ in theirs)
    return min(0.97, 2.0 * found / total)


def _weight(word: str) -> float:
    return _WEAK.get(word, 1.0)


def _same(word: str, other: str) -> float:
    if word == other:
        return 1.0
    ratio = difflib.SequenceMatcher(None, word, other).ratio()
    return ratio if ratio >= _ALIKE and min(len(word), len(other)) > 3 else 0.0


@functools.lru_cache(maxsize=20_000)
def _meanings(words: tuple[str, ...]) -> tuple[tuple[str, float], ...]:
    """Give each word its shared meaning, and how surely it has it."""
    joined = []
    place = 0
    kept = [word for word in words if word not in _IGNORED] or list(words)
    while place < len(kept):
        pair = "".join(kept[place : place + 2])
        if place + 1 < len(kept) and pair in _CANONICAL:
            joined.append(pair)
            place += 2
        else:
            joined.append(kept[place])
            place += 1
    return tuple(_meaning(word) for word in joined if not word.isdigit())


@functools.lru_cache(maxsize=20_000)
def _meaning(word: str) -> tuple[str, float]:
    if word in _CANONICAL:
        return _CANONICAL[word], 1.0
    if word.endswith("s") and word[:-1] in _CANONICAL:
        return _CANONICAL[word[:-1]], 1.0
    short = [known for known in _CANONICAL if _is_abbreviation(word, known)]
    meant = {_CANONICAL[known] for known in short}
    if len(meant) == 1:
        return meant.pop(), 0.9
    close = difflib.get_close_matches(word, list(_CANONICAL), 1, _ALIKE)
    if close and min(len(word), len(close[0])) > _SHORTEST_ABBREVIATION:
        return _CANONICAL[close[0]], 0.85
    return word, 1.0


def _is_abbreviation(short: str, word: str) -> bool:
    """Say whether one word is the other without some of its letters, first letter kept."""
    if not _SHORTEST_ABBREVIATION <= len(short) < len(word) or short[0] != word[0]:
        return False
    if word.startswith(short):
        return True
    letters = iter(word)
    return all(letter in letters for letter in short) and not set(short[1:]) & set("aeiou")
