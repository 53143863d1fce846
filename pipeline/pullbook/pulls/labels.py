"""Spellings of one name: labels of settings and names of logs, as hands, spreadsheets and encodings alter them."""

import re
from collections.abc import Iterable

_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-"))
_LOST = "?\N{REPLACEMENT CHARACTER}"


def label_key(label: str) -> str:
    """What two spellings of a label share: case, spaces and dashes (hyphen, minus) do not tell settings apart."""
    return " ".join(label.translate(_DASHES).split()).casefold()


def is_torn(label: str) -> bool:
    """Whether an encoding lost a character of a label."""
    return any(sign in label for sign in _LOST)


def with_lost_dash(key: str, known: Iterable[str]) -> str:
    """The key that is meant by one in which an encoding lost a dash; the key itself where that is not beyond doubt.

    Parameters
    ----------
    key
        A label's key (:func:`label_key`).
    known
        Keys of all labels.

    Examples
    --------
    >>> with_lost_dash("base?4", ["base-4", "base+40"]), with_lost_dash("base?4", ["base-4", "base+4"])
    ('base-4', 'base?4')
    """
    if not is_torn(key):
        return key
    pattern = re.compile("".join("." if sign in _LOST else re.escape(sign) for sign in key))
    fits = {other for other in known if pattern.fullmatch(other) and not is_torn(other)}
    dashed = re.sub(f"[{_LOST}]", "-", key)
    return dashed if fits == {dashed} else key
