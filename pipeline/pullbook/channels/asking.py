"""How a reader asks: every question that changes the answer carries the columns.yaml line that settles it."""

import re
from typing import Any


def yaml_line(file: str, header: str, **facts: Any) -> str:
    """The line for columns.yaml, ready to copy.

    Examples
    --------
    >>> yaml_line("this file.csv", "K2", channel="rpm", unit="rpm")
    "in columns.yaml: 'this file.csv': {K2: {channel: rpm, unit: rpm}}"
    >>> yaml_line("a.csv", "Pedal", unit="%", scale=0.5)
    "in columns.yaml: 'a.csv': {Pedal: {unit: '%', scale: 0.5}}"
    """
    inside = ", ".join(f"{key}: {_value(value)}" for key, value in facts.items())
    return f"in columns.yaml: {_quoted(file, always=True)}: {{{_quoted(header)}: {{{inside}}}}}"


def _value(value: object) -> str:
    """A value as YAML takes it: a bare ``%`` would start a directive."""
    return f"'{value}'" if isinstance(value, str) and value.startswith("%") else str(value)


def _quoted(text: str, *, always: bool = False) -> str:
    plain = re.fullmatch(r"[A-Za-z][\w.-]*(?: [\w.-]+)*", text) and text.casefold() not in (
        "y",
        "n",
        "yes",
        "no",
        "on",
        "off",
        "true",
        "false",
        "null",
    )
    return text if plain and not always else "'" + text.replace("'", "''") + "'"
