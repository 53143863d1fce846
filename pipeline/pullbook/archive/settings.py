"""The ``settings`` table: sheets and yaml as they stood, with a content hash of every input.

One row an input, holding its hash and, for a text sheet, its whole text; then one row a value that stood in it.
"""

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl

from pullbook.archive.inputs import Input, input_files
from pullbook.archive.schema import TABLES
from pullbook.book import Book, day_files, printable
from pullbook.sheets.sheet_copies import settle_copies

MOST_BYTES = 1_000_000
MOST_VALUES = 20_000
MOST_DEPTH = 12


def settings_table(book: Book, engine: str, day: str, inputs: list[Input]) -> pl.DataFrame:
    """Read the day's sheets once more and set them down value by value.

    Parameters
    ----------
    book, engine, day
        Where the day lies.
    inputs
        Its inputs with hashes, from :class:`pullbook.archive.inputs.InputHashes`.

    Returns
    -------
    polars.DataFrame
        Table ``settings`` of the archive. A sheet too large, or no text, has only its own row.
    """
    where = {book.shown(path): path for path, _ in input_files(book, engine, day)}
    sheets = settle_copies(day_files(book, engine, day), book.shown).files.sheets
    kinds = {book.shown(path): kind for kind, path in sheets.items()}  # a copy that was read as the pull sheet is one
    rows: list[dict[str, Any]] = []
    for one in inputs:
        kind = str(kinds.get(one["file"], one["kind"]))
        base = {k: one.get(k) for k in ("file", "kind", "sha256", "bytes")} | {"kind": kind}
        text = _text(where.get(one["file"])) if kind not in ("log", "picture") else None
        rows.append({**base, "item": None, "key": None, "value": text})
        if text is not None:
            for number, (item, key, value) in enumerate(_values(kind, text)):
                if number >= MOST_VALUES:
                    break
                rows.append({**base, "item": item, "key": printable(key), "value": printable(value)})
    return pl.DataFrame(rows, schema=TABLES["settings"])


def _text(path: Path | None) -> str | None:
    if path is None or path.suffix.lower() == ".xlsx":
        return None
    try:
        if path.stat().st_size > MOST_BYTES:
            return None
        data = path.read_bytes()
    except OSError:
        return None
    for encoding in ("utf-8-sig", "utf-16") if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252", "latin-1"):
        try:
            return data.decode(encoding).replace("\x00", "")
        except UnicodeDecodeError:
            continue
    return None


def _values(kind: str, text: str) -> Iterator[tuple[int | None, str, str]]:
    if kind.endswith(".yaml"):
        import yaml

        try:
            content = yaml.safe_load(text)
        except (yaml.YAMLError, ValueError, RecursionError):
            return  # said elsewhere, with the line; the text is kept
        for key, value in _flat("", content, 0):
            yield None, key, value
        return
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    try:
        lines = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) if any(c.strip() for c in row)]
    except csv.Error:
        return
    for item, row in enumerate(lines[1:], start=1):
        for key, value in zip(lines[0], row, strict=False):
            if value.strip():
                yield item, key.strip(), value.strip()


def _flat(above: str, value: Any, depth: int) -> Iterator[tuple[str, str]]:
    """Leaves of a yaml with dotted keys. Aliases may fold a small file into a huge tree: depth and count are bounded."""
    if depth > MOST_DEPTH:
        return
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(f"{above}.{key}" if above else str(key), inner, depth + 1)
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _flat(f"{above}[{number}]", inner, depth + 1)
    elif value is not None:
        yield above, str(value)
