"""`pullbook compare`: two days or settings of the archive side by side, written as a page and told in lines."""

import hashlib
from pathlib import Path
from typing import Any

from pullbook.archive.store import Store
from pullbook.book import Book

_MOST_BYTES = 240
"""Longest folder name that every file system holds with room to spare."""

_NO_FILE_NAME = str.maketrans(dict.fromkeys('/\\:*?"<>|', "_"))


def compare(book: Book, a: str, b: str) -> dict[str, Any]:
    """Compare two sides and write ``reports/compare/<a>--<b>/``.

    Parameters
    ----------
    book
        The book; only its archive and reports are used.
    a, b
        ENGINE/DAY or ENGINE/DAY:SETTING, as typed.

    Returns
    -------
    dict
        ``comparison`` (what compare.json holds) and ``said`` (lines for the screen).

    Raises
    ------
    LookupError
        A side names no day of the archive, or no setting of that day; the message says what there is.
    OSError
        The reports folder cannot be written.
    """
    from pullbook.report.compare import compare_days, render_compare

    store = Store(book.archive)
    (record_a, curves_a, setting_a), (record_b, curves_b, setting_b) = (_side(store, name) for name in (a, b))
    comparison = compare_days(record_a, record_b, setting_a, setting_b, curves_a=curves_a, curves_b=curves_b)
    folder = book.reports / "compare" / _folder(a, b)
    render_compare(record_a, record_b, comparison, folder)
    return {"comparison": comparison, "said": [*_lines(comparison), f"Page: {folder / 'compare.html'}"]}


def _lines(comparison: dict[str, Any]) -> list[str]:
    """The comparison on a terminal: which is which, the sentence, what stands between the two, what changed."""
    lines = [f"A: {comparison['a']['name']}", f"B: {comparison['b']['name']}", comparison["sentence"]]
    lines += [f"  {x['what']} ({x['of']} {x['level']}): {x['why']}; needed: {x['needed']}" for x in comparison["limits"]]
    return lines + [f"  {text}" for text in comparison["changed"]]


def _side(store: Store, name: str) -> tuple[dict[str, Any], Any, str | None]:
    """Record, setting curves and setting of a side. An engine's name may hold anything, so what fits the archive decides."""
    engine, _, rest = name.partition("/")
    known = dict.fromkeys(store.catalog().select("engine", "day").collect().sort("engine", "day").rows())
    for day, setting in ((rest, None), *((rest[:i], rest[i + 1 :]) for i, c in enumerate(rest) if c == ":")):
        if (engine, day) in known:
            record = store.read_record(engine, day)
            if record is None:
                break
            settings = dict.fromkeys(p["setting"] for p in record["pulls"])
            if setting is not None and setting not in settings:
                raise LookupError(f"{engine}/{day} has no setting {setting!r}; it has {', '.join(map(str, settings))}")
            return record, store.read_tables(engine, day, ["setting_curves"]).get("setting_curves"), setting
    days = [f"{e}/{d}" for e, d in known if e == engine] or [f"{e}/{d}" for e, d in known]
    raise LookupError(f"the archive has no day {name!r}; it has {', '.join(days[:12]) or 'none'}")


def _folder(a: str, b: str) -> Path:
    name = f"{a}--{b}".translate(_NO_FILE_NAME)
    if len(name.encode("utf-8", "surrogateescape")) <= _MOST_BYTES and name.isprintable():
        return Path(name)
    digest = hashlib.sha256(name.encode("utf-8", "surrogateescape")).hexdigest()[:12]
    return Path("".join(c for c in name if c.isprintable())[:40] + "~" + digest)
