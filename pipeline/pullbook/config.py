"""config.yaml: load, check against its schema, fill defaults. Small on purpose: what engines and days are is in their own files."""

import json
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pullbook.book import Book
from pullbook.place import carried

_MOST_BYTES = 64_000


class ConfigError(ValueError):
    """config.yaml cannot be used; the message is one line: file, what was found, what was expected, what to do."""


@dataclass(frozen=True, slots=True)
class Settings:
    """config.yaml with every default filled in, as config/config.schema.json says: the logs' folder, the size of the page, seconds
    without a change after which a file is whole, and ``days_per_job``: days at most that one process makes."""

    logs: str
    page: str
    settle_s: float
    days_per_job: int


def open_book(root: Path) -> tuple[Book, Settings]:
    """The book in ``root`` with its settings.

    Raises
    ------
    ConfigError
        Its config.yaml is not as the schema says.
    """
    settings = load(root)
    return Book.at(root, logs=settings.logs), settings


def load(root: Path) -> Settings:
    """Settings of the book in ``root``: ``config.yaml`` or ``config/config.yaml`` there, else defaults.

    Raises
    ------
    ConfigError
        The file cannot be read, or a key or a value is not in the schema.
    """
    schema = json.loads((carried("config") / "config.schema.json").read_text(encoding="utf-8"))
    known: dict[str, Any] = schema["properties"]
    given: dict[str, Any] = {}
    for path in (root / "config.yaml", root / "config" / "config.yaml"):
        if path.is_file():
            given = _read(path)
            _check(given, schema, path)
            break
    return Settings(**{key: given.get(key, about["default"]) for key, about in known.items()})


def _read(path: Path) -> dict[str, Any]:
    import yaml

    if path.stat().st_size > _MOST_BYTES:
        raise ConfigError(f"{path.name}: larger than {_MOST_BYTES} bytes; expected a few lines; cut it down")
    try:
        loaded = yaml.safe_load(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as fault:
        first = str(fault).splitlines()[0]
        mark = getattr(fault, "problem_mark", None)
        line = f", line {mark.line + 1}" if mark else ""
        raise ConfigError(f"{path.name}{line}: cannot be read ({first}); expected YAML, one `key: value` a line") from fault
    if loaded is None:
        return {}
    if not isinstance(loaded, dict):
        raise ConfigError(f"{path.name}: found {type(loaded).__name__}; expected `key: value` lines such as `page: A4`")
    return {str(key): value for key, value in loaded.items()}


def _check(given: dict[str, Any], schema: dict[str, Any], path: Path) -> None:
    from jsonschema import Draft202012Validator

    known = list(schema["properties"])
    for key in given:
        if key not in known:
            near = get_close_matches(key, known, n=1)
            hint = f"did you mean `{near[0]}`?" if near else f"known are {', '.join(known)}"
            raise ConfigError(f"{path.name}: found the key `{key}`; {hint}")
    for wrong in Draft202012Validator(schema).iter_errors(given):
        key = ".".join(map(str, wrong.absolute_path)) or "the file"
        expected = schema["properties"].get(key, {}).get("description", "what docs/ says")
        raise ConfigError(f"{path.name}: `{key}` is {wrong.instance!r}; {wrong.message[:120]}. {expected}")
