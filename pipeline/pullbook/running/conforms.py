"""A day's record held against the published JSON Schema before it leaves the house."""

import json
from importlib.resources import files
from typing import Any


def check_record(record: dict[str, Any]) -> list[str]:
    """Where ``record`` (the object of day.json) differs from the published JSON Schema, one line each; none: it conforms."""
    from jsonschema import Draft202012Validator

    schema = json.loads((files("pullbook") / "schemas" / "day.schema.json").read_text(encoding="utf-8"))
    return [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:200]}" for e in Draft202012Validator(schema).iter_errors(record)]
