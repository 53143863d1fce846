"""docs/config.md from config/config.schema.json: `python -m tests.unit.docs.generate` writes it anew, `--check` only looks."""

import json
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[3]
SCHEMA = ROOT / "config" / "config.schema.json"
PAGE = ROOT / "docs" / "config.md"


def config_page() -> str:
    """The page as the schema has it now."""
    properties: dict[str, Any] = json.loads(SCHEMA.read_text(encoding="utf-8"))["properties"]
    lines = [
        "# config.yaml: settings of a book",
        "",
        "<!-- made from config/config.schema.json by `python -m tests.unit.docs.generate`; edit the schema, not this page -->",
        "",
        "Optional: `config.yaml` in the book's folder, or `config/config.yaml` there.",
        "A key not below is refused with the nearest right one.",
        "What an engine or a day is stands in their own files ([contract.md](contract.md)); where jobs run is a profile",
        "(`pullbook run --profile NAME`).",
        "",
        "| key | may be | default | is |",
        "| --- | --- | --- | --- |",
    ]
    lines += [f"| `{key}` | {may_be(about)} | `{about['default']}` | {about['description']} |" for key, about in properties.items()]
    return "\n".join(lines) + "\n"


def may_be(about: dict[str, Any]) -> str:
    """What values a key takes, in words."""
    if "enum" in about:
        return " or ".join(f"`{value}`" for value in about["enum"])
    kind = {"string": "a name", "number": "a number", "integer": "a whole number"}[about["type"]]
    span = f" from {about['minimum']:g} to {about['maximum']:g}" if "minimum" in about else ""
    barred = about.get("not", {}).get("enum")
    return kind + span + (f", not {', '.join(f'`{value}`' for value in barred)}" if barred else "")


def main() -> int:
    """Write the page, or with ``--check`` say whether it is stale (status 1)."""
    fresh = PAGE.is_file() and PAGE.read_text(encoding="utf-8") == config_page()
    if "--check" in sys.argv[1:]:
        print("docs/config.md is fresh" if fresh else "docs/config.md is stale: python -m tests.unit.docs.generate")
        return 0 if fresh else 1
    PAGE.write_text(config_page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
