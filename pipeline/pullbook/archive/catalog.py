"""``archive/catalog.parquet``: one row per engine and day, for finding what was run when.

Adding a day costs the same in a full archive as in an empty one: the day's row is dropped as a small slip in ``_slips/`` together
with its tables, and the slips are folded into the catalogue once, when a run ends. Our own readers see the slips at once.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator
from contextlib import suppress
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl

from pullbook.archive import disk
from pullbook.archive.listing import HASHES, NAME, catalog_bytes, intact, is_known, read_slip, slips
from pullbook.archive.schema import described
from pullbook.archive.seal import SealDamaged, all_seals, file_hash, read_seal
from pullbook.book import printable
from pullbook.columns import Schema

_F, _I, _T, _B = pl.Float64(), pl.Int64(), pl.String(), pl.Boolean()
CATALOG: Schema = {
    "engine": _T, "day": _T, "revision": _I, "made_at": _T, "tool_version": _T, "method": _I, "inputs_hash": _T, "inputs": _I,
    "logs_here": _B, "dyno": _T, "dyno_kind": _T, "correction": _T, "fuel": _T, "pulls": _I, "pulls_used": _I, "settings": _I,
    "baseline": _T, "rpm_min": _F, "rpm_max": _F, "best_inside": _I, "initial_deg": _F, "total_deg": _F, "all_in_rpm": _F,
    "cost_pct": _F, "pull_sd_pct": _F, "knock": _T, "mark_verified": _B, "enough": _B, "sentence": _T, "own": _T,
}  # fmt: skip
"""``initial_deg`` to ``cost_pct``: the mechanical advice. ``knock``: the strongest word noted. ``own``: own figures, JSON."""


def row(record: dict[str, Any], *, conditions: dict[str, Any], own: dict[str, Any] | None, head: dict[str, Any]) -> dict[str, Any]:
    """A day's catalogue row from its record.

    Parameters
    ----------
    record
        The day's record (day.json).
    conditions
        Its parts and conditions (:func:`pullbook.comparison.conditions.conditions`).
    own
        Its own figures before pooling, or None.
    head
        ``revision, made_at, tool_version, method, inputs_hash, inputs``.
    """
    pulls = record.get("pulls") or []
    used = [p for p in pulls if p.get("status") in ("used", "part")]
    mechanical = (record.get("advice") or {}).get("mechanical") or {}
    words = [k.get("word") for k in record.get("knock") or []]
    loudest = next((w for w in ("heard", "counted", "faint", "not heard", "not listened") if w in words), None)
    spans = [(p["rpm_min"], p["rpm_max"]) for p in used if p.get("rpm_min") is not None and p.get("rpm_max") is not None]
    filled = {
        **head,
        "engine": record.get("engine"),
        "day": record.get("day"),
        "logs_here": True,
        "dyno": conditions.get("dyno"),
        "dyno_kind": conditions.get("dyno kind"),
        "correction": (record.get("correction") or {}).get("standard"),
        "fuel": conditions.get("fuel"),
        "pulls": len(pulls),
        "pulls_used": len(used),
        "settings": len({p.get("setting") for p in used} - {None}),
        "baseline": next((p.get("setting") for p in pulls if p.get("baseline")), None),
        "rpm_min": min((lo for lo, _ in spans), default=None),
        "rpm_max": max((hi for _, hi in spans), default=None),
        "best_inside": sum(b.get("state") == "inside" for b in record.get("best") or []),
        **{k: mechanical.get(k) for k in ("initial_deg", "total_deg", "all_in_rpm", "cost_pct")},
        "pull_sd_pct": (record.get("repeatability") or {}).get("pull_sd_pct"),
        "knock": loudest,
        "mark_verified": (record.get("timing_scale") or {}).get("verified"),
        "enough": (record.get("advice") or {}).get("enough"),
        "sentence": (record.get("advice") or {}).get("sentence"),
        "own": json.dumps(own, ensure_ascii=True) if own is not None else None,
    }
    return {name: filled.get(name) for name in CATALOG}


def frame(rows: Iterable[dict[str, Any]]) -> pl.DataFrame:
    """Rows as a table of :data:`CATALOG`, one row each, missing keys null; names that are no UTF-8 in their printable form."""
    plain = [{k: printable(v) if isinstance(v, str) else v for k, v in r.items()} for r in rows]
    return pl.DataFrame(plain, schema=CATALOG, strict=False)


def scan(root: Path) -> pl.LazyFrame:
    """The catalogue with slips laid over it, in no order; a missing one is empty, a damaged one is read from the seals instead.

    Slips are read before the catalogue, and the catalogue's bytes at once: a run that folds the one into the other meanwhile takes
    no day from this reader.
    """
    over = [r for p in slips(root) if (r := read_slip(p)) is not None]
    data = catalog_bytes(root)
    if data is None:
        base = pl.LazyFrame(schema=CATALOG)
    elif is_known(root, data):
        base = pl.scan_parquet(data, hive_partitioning=False)
    else:
        base = frame(_sealed_rows(root)).lazy()
    there = base.collect_schema()
    base = base.select(pl.col(n).cast(t) if n in there else pl.lit(None, dtype=t).alias(n) for n, t in CATALOG.items())
    if not over:
        return base
    laid = frame(over).lazy()
    return pl.concat([base.join(laid, on=["engine", "day"], how="anti"), laid])


def write(root: Path, table: pl.DataFrame) -> None:
    """Put a whole new catalogue (:data:`CATALOG`) in the place of the old one; its hash is noted first, beside the old one's.

    Raises
    ------
    OSError
        The archive cannot be written; the old catalogue stands.
    """
    import pyarrow.parquet as pq

    out = BytesIO()
    arrow = table.select(*CATALOG).sort("engine", "day").to_arrow().cast(described("catalog", CATALOG))
    pq.write_table(arrow, out, compression="zstd", version="2.6", row_group_size=4096)
    known = [hashlib.sha256(out.getvalue()).hexdigest()]
    if intact(root):
        known.append(file_hash(root / NAME))
    disk.write_file(root / ".hashes.part", json.dumps(known).encode())
    disk.replace(root / ".hashes.part", root / HASHES)
    disk.write_file(root / ".catalog.part", out.getvalue())
    disk.replace(root / ".catalog.part", root / NAME)
    disk.sync_folder(root)


def take_slips(root: Path) -> int:
    """Take the slips into the catalogue; returns how many there were. A crash in between takes them again, to the same end."""
    fresh = slips(root)
    if fresh:
        write(root, scan(root).collect())
        for path in fresh:
            disk.remove(path)
    return len(fresh)


def rebuild(root: Path) -> int:
    """Make the catalogue anew from the seals of all days; returns the number of days. Marks of absent logs carry over."""
    absent: set[tuple[str, str]] = set()
    with suppress(Exception):  # whatever is wrong with the old one is why it is made anew
        absent = set(scan(root).filter(~pl.col("logs_here")).select("engine", "day").collect().rows())
    rows = [{**row, "logs_here": (printable(row["engine"]), printable(row["day"])) not in absent} for row in _sealed_rows(root)]
    fresh = slips(root)
    write(root, frame(rows))
    for path in fresh:
        disk.remove(path)
    return len(rows)


def _sealed_rows(root: Path) -> Iterator[dict[str, Any]]:
    for path in all_seals(root):
        with suppress(SealDamaged):  # verify reports it
            seal = read_seal(path)
            if seal is not None:
                yield seal["row"]
