"""The header words and unit spellings of the trade, kept as tables beside the code (words/*.csv)."""

import csv
from functools import cache
from importlib.resources import files


@cache
def rows(table: str) -> tuple[dict[str, str], ...]:
    """Rows of ``words/<table>.csv``; lines starting with ``#`` are remarks."""
    text = files("pullbook.vocabulary").joinpath("words", f"{table}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return tuple(csv.DictReader(lines))
