"""The tables of docs/archive.md, made from the schema: `python -m tests.unit.archive.schema_page` writes them anew."""

import hashlib
from pathlib import Path

from pullbook.archive.catalog import CATALOG
from pullbook.archive.schema import TABLES, arrow_schema, meaning
from pullbook.archive.words import unit_of_column

CONTRACT_TABLES = ("samples", "pulls", "delivered", "shapes", "best", "effects", "knock", "settings", "runs")
"""Tables that the contract names (section 5); the others may be followed by more."""
PAGE = Path(__file__).resolve().parents[3] / "docs" / "archive.md"
BEGIN, END = "<!-- tables: made by tests/unit/archive/schema_page.py -->", "<!-- end of tables -->"


def fingerprint() -> str:
    """A hash over the names and types of every table: another one needs another SCHEMA_VERSION."""
    text = "\n".join(f"{name} {field.name} {field.type}" for name in TABLES for field in arrow_schema(name))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def tables_text() -> str:
    """The part of docs/archive.md between the marks."""
    lines = [BEGIN]
    for name in [*CONTRACT_TABLES, *(t for t in TABLES if t not in CONTRACT_TABLES)]:
        lines += ["", f"### {name}", "", "| column | type | unit | is |", "| --- | --- | --- | --- |"]
        for field in arrow_schema(name):
            unit = field.metadata[b"unit"].decode()
            words = f"`{field.name}` | {_kind(str(field.type))} | {unit} | {meaning(name, field.name)}"
            lines.append(f"| {words} |")
    lines += ["", "### catalog.parquet", "", "| column | unit | is |", "| --- | --- | --- |"]
    lines += [f"| `{column}` | {unit_of_column(column)} | {meaning('catalog', column)} |" for column in CATALOG]
    return "\n".join([*lines, "", END])


def _kind(arrow: str) -> str:
    plain = {"double": "number", "string": "text", "int64": "whole number", "bool": "yes or no"}
    inner = arrow.removeprefix("list<item: ").removeprefix("list<element: ").removesuffix(">")
    return plain[arrow] if arrow in plain else f"list of {plain[inner]}"


def page_with_tables() -> str:
    """docs/archive.md as it should be."""
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    return before + tables_text() + rest.partition(END)[2]


if __name__ == "__main__":
    PAGE.write_text(page_with_tables(), encoding="utf-8")
