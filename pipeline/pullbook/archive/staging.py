"""Write a day's new files into its staging folder: every table, the record, the catalogue slip, and the seal last."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pullbook.archive import catalog, disk, listing
from pullbook.archive.brief import brief
from pullbook.archive.inputs import Input
from pullbook.archive.kept import kept_file, kept_revisions, kept_seal, unsealed_place
from pullbook.archive.names import partition
from pullbook.archive.schema import SCHEMA_VERSION, TABLES, from_parquet, to_parquet
from pullbook.archive.seal import FOLDER, NAME, Seal, file_hash, seal_bytes
from pullbook.archive.switch import Step
from pullbook.book import printable
from pullbook.provenance import Provenance


@dataclass(frozen=True, slots=True)
class Revision:
    """A day's revision to write: its ``number`` from 1, a hash over its inputs, else as in :meth:`.store.Store.write_day`."""

    engine: str
    day: str
    number: int
    tables: dict[str, pl.DataFrame]
    record: dict[str, Any]
    made: Provenance
    inputs_hash: str
    own: dict[str, Any] | None

    @property
    def head(self) -> dict[str, Any]:
        """What stands on top of its seal and in its row of the catalogue."""
        made = {"made_at": self.made.made_at, "tool_version": self.made.tool_version, "method": self.made.method}
        return {"revision": self.number, **made, "inputs_hash": self.inputs_hash}


def stage_day(root: Path, folder: Path, new: Revision, old: Seal | None) -> list[Step]:
    """Stage one revision of a day.

    Parameters
    ----------
    root, folder
        The archive and the day's staging folder, empty.
    new
        What is to be written.
    old
        Seal of the revision that will be replaced, None where there is none or it is damaged.

    Returns
    -------
    list of Step
        Where each staged file goes and where what it replaces is kept, in the order of the switch.
    """
    engine, day, record, inputs, head = new.engine, new.day, new.record, new.made.inputs, new.head
    text = json.dumps(record, ensure_ascii=False, allow_nan=False)
    whole = {
        **dict.fromkeys(TABLES, pl.DataFrame()),
        **dict.fromkeys(old["files"] if old else (), pl.DataFrame()),  # a table that only the old revision had is emptied
        **new.tables,
        "runs": _runs(inputs, head),
        "record": pl.DataFrame({"text": [_without_stray_bytes(text)]}),
    }
    files: dict[str, dict[str, Any]] = {}
    steps: list[Step] = []
    replaced = old["revision"] if old else new.number - 1
    for name, table in whole.items():
        data = to_parquet(name, table, engine=printable(engine), day=printable(day), revision=new.number)
        staged = folder / f"{name}.parquet"
        disk.write_file(staged, data)
        place = Path(name) / partition(engine, day) / f"{name}.parquet"
        files[name] = {"file": place.as_posix(), "sha256": file_hash(staged), "bytes": len(data), "rows": table.height,
                       "mtime_ns": staged.stat().st_mtime_ns}  # fmt: skip
        sealed = old["files"].get(name, {}).get("sha256") if old else None
        steps.append(
            Step(staged.name, place.as_posix(), _keep(root / place, kept_file(Path(), name, engine, day, replaced), sealed))
        )
    lost = [name for name, was in old["files"].items() if not (root / was["file"]).exists()] if old else []
    named = {**record, "engine": engine, "day": day}
    row = catalog.row(named, conditions=record.get("conditions") or {}, own=new.own, head={**head, "inputs": len(inputs)})
    seal = {"schema": SCHEMA_VERSION, "engine": engine, "day": day, **head, "inputs": inputs, "own": new.own, "files": files,
            "row": row, "brief": brief(record), "replaced": replaced, "lost": lost}  # fmt: skip
    slip = Path(listing.SLIPS, listing.slip_name(engine, day))
    disk.write_file(folder / slip.name, json.dumps(row, ensure_ascii=True).encode())
    disk.write_file(folder / NAME, seal_bytes(seal))
    place = Path(FOLDER) / partition(engine, day) / NAME
    keep = kept_seal(Path(), engine, day, replaced)
    if old is None and (root / place).exists():  # a damaged one
        keep = unsealed_place(keep, file_hash(root / place))
    return [*steps, Step(slip.name, slip.as_posix()), Step(NAME, place.as_posix(), keep.as_posix())]


def next_revision(root: Path, engine: str, day: str, now: dict[str, Any] | None) -> int:
    """Number of the day's next revision; ``now`` is the head of the current one."""
    known = [0, *kept_revisions(root, engine, day)]
    if now is not None:
        known.append(int(now["revision"]))
    else:  # a lost or damaged seal: the tables themselves still say which revision they are
        known += [_revision_in(path) for path in root.glob(f"[a-z]*/{_literal(partition(engine, day))}/*.parquet")]
    return max(known) + 1


def _keep(path: Path, keep: Path, sealed: str | None) -> str | None:
    """Where to keep what lies in ``path``: under its own number where it is what was sealed, set aside where it is not."""
    if not path.exists():
        return None
    digest = file_hash(path)
    return (keep if digest == sealed else unsealed_place(keep, digest)).as_posix()


def _revision_in(path: Path) -> int:
    try:
        table = from_parquet(path, ["revision"])
        return int(table["revision"][0]) if table.height else 0
    except (OSError, ValueError, TypeError):  # a damaged file says nothing
        return 0


def _runs(inputs: list[Input], head: dict[str, Any]) -> pl.DataFrame:
    made = {k: head[k] for k in ("made_at", "tool_version", "method", "inputs_hash")} | {"schema": SCHEMA_VERSION}
    listed = {"files": [i["file"] for i in inputs], "sha256": [i["sha256"] for i in inputs]}
    return pl.DataFrame([made | listed], schema=TABLES["runs"])


def _without_stray_bytes(text: str) -> str:
    r"""JSON text in which bytes of a name that are no UTF-8 stand as ``\xNN``, the backslash escaped as JSON wants it."""
    try:
        text.encode()
    except UnicodeEncodeError:
        pass
    else:
        return text
    return "".join(f"\\\\x{ord(c) - 0xDC00:02x}" if 0xDC80 <= ord(c) <= 0xDCFF else c for c in text)


def _literal(path: Path) -> str:
    """A path as a pattern that matches only itself."""
    return "".join(f"[{c}]" if c in "*?[" else c for c in path.as_posix())
