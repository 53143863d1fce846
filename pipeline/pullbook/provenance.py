"""Where a day's record comes from."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Provenance:
    """What a day's record was made from, when and by what.

    ``inputs``: ``{"file", "kind", "sha256", "bytes"}`` of every log, sheet, picture and yaml behind it; ``made_at``: UTC, ISO 8601;
    ``method``: version of the method (:data:`pullbook.METHOD`).
    """

    inputs: list[dict[str, Any]]
    made_at: str
    tool_version: str
    method: int
