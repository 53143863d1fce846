"""Where older revisions lie: ``archive/_kept/<table>/engine=…/day=…/revision-0001.parquet`` and the seals beside them."""

import re
from pathlib import Path

from pullbook.archive.names import partition
from pullbook.archive.seal import FOLDER, KEPT

_REVISION = re.compile(r"revision-(\d+)\.json")


def kept_file(root: Path, table: str, engine: str, day: str, revision: int) -> Path:
    """Place of one table of an older revision."""
    return root / KEPT / table / partition(engine, day) / f"revision-{revision:04d}.parquet"


def kept_seal(root: Path, engine: str, day: str, revision: int) -> Path:
    """Place of the seal of an older revision."""
    return root / KEPT / FOLDER / partition(engine, day) / f"revision-{revision:04d}.json"


def unsealed_place(path: Path, sha256: str) -> Path:
    """Place for a file that did not match its seal when it was replaced: kept, and named for what it is."""
    return path.with_name(f"{path.stem}.unsealed-{sha256[:12]}{path.suffix}")


def kept_revisions(root: Path, engine: str, day: str) -> list[int]:
    """Numbers of the older revisions of a day, rising."""
    folder = root / KEPT / FOLDER / partition(engine, day)
    if not folder.is_dir():
        return []
    return sorted(int(found[1]) for p in folder.iterdir() if (found := _REVISION.fullmatch(p.name)))


def kept_seals(root: Path) -> list[Path]:
    """Seals of all older revisions, in order of folder name."""
    return sorted(p for p in (root / KEPT / FOLDER).glob("engine=*/day=*/*.json") if _REVISION.fullmatch(p.name))
