"""Which days the archive lists, without opening a table of it: what every run asks first, and mostly all it asks.

The catalogue is a Parquet file, and the library that reads it takes longer to load than everything else that a run with nothing new
does. So the names it lists are noted beside the plan, under the hash of the very bytes they were read from.
"""

import hashlib
import json
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from pullbook.archive.names import day_key
from pullbook.book import printable

NAME = "catalog.parquet"
HASHES = "_catalog.json"
SLIPS = "_slips"
MEMORY = "listed.json"


class Listed(NamedTuple):
    """A day of the catalogue, its names as the catalogue prints them."""

    engine: str
    day: str
    logs_here: bool


def slip_name(engine: str, day: str) -> str:
    """File name of a day's slip."""
    return f"{day_key(engine, day)}.json"


def slips(root: Path) -> list[Path]:
    """Slips not yet folded into the catalogue."""
    folder = root / SLIPS
    return sorted(p for p in folder.iterdir() if p.suffix == ".json") if folder.is_dir() else []


def read_slip(path: Path) -> dict[str, Any] | None:
    """A slip's row, None where it is damaged or was just folded in."""
    try:
        content = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return None
    return content if isinstance(content, dict) and "engine" in content and "day" in content else None


def catalog_bytes(root: Path) -> bytes | None:
    """The catalogue's bytes, all of one moment; None where it is not there."""
    try:
        return (root / NAME).read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None


def is_known(root: Path, data: bytes) -> bool:
    """Whether these bytes are a catalogue that was written here."""
    try:
        return hashlib.sha256(data).hexdigest() in json.loads((root / HASHES).read_bytes())
    except (OSError, ValueError, TypeError):
        return False


def intact(root: Path) -> bool:
    """Whether catalog.parquet is byte for byte one that was written here."""
    try:
        data = catalog_bytes(root)
    except OSError:
        return False
    return data is not None and is_known(root, data)


def out_of_step(days: list[Listed], here: Collection[tuple[str, str]]) -> bool:
    """Whether the catalogue's marks of days without logs differ from the day folders that are ``here``."""
    present = {(printable(engine), printable(day)) for engine, day in here}
    return any(bool(listed.logs_here) != (listed[:2] in present) for listed in days)


def remembered(work: Path, digest: str) -> list[Listed] | None:
    """What was noted of the catalogue whose bytes have this hash; None where the note is of another, or damaged."""
    try:
        note = json.loads((work / MEMORY).read_bytes())
        return [Listed(*day) for day in note["days"]] if note["sha256"] == digest else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def remember(work: Path, digest: str, days: list[Listed]) -> None:
    """Note in the work folder what the catalogue whose bytes have this hash lists."""
    half = work / f".{MEMORY}.part"
    with suppress(OSError):  # only costs time next run
        work.mkdir(parents=True, exist_ok=True)
        half.write_text(json.dumps({"sha256": digest, "days": days}, ensure_ascii=True), encoding="utf-8")
        half.replace(work / MEMORY)
