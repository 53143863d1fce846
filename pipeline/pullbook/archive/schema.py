"""The archive's tables as explicit Arrow schemas: names, types, units and meanings, under a version number.

Between stages the tables are those of :mod:`pullbook.columns`; here each gains ``revision``, ``engine_name`` and ``day_name``.
The two names are not called ``engine`` and ``day`` because readers make columns of those names from the folders, and several
refuse a file that has them too.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from pullbook import columns
from pullbook.archive.words import MEANS, unit_of_column
from pullbook.columns import CHANNELS, Schema

if TYPE_CHECKING:
    import pyarrow as pa

SCHEMA_VERSION = 1
"""Raised with every change of a table below; docs/archive.md says how to migrate."""

_I, _T = pl.Int64(), pl.String()

KEYS: Schema = {"revision": _I, "engine_name": _T, "day_name": _T}
"""Lead every table."""

SAMPLES: Schema = columns.SAMPLES | {name: pl.Float64() for name in CHANNELS if name not in columns.SAMPLES}

TABLES: dict[str, Schema] = {
    "samples": SAMPLES,
    "pulls": columns.ALIGNED_PULLS,
    "delivered": columns.DELIVERED,
    "shapes": columns.SHAPES,
    "best": columns.BEST,
    "effects": columns.EFFECTS,
    "knock": columns.KNOCK,
    "settings": {"file": _T, "kind": _T, "sha256": _T, "bytes": _I, "item": _I, "key": _T, "value": _T},
    "runs": {"made_at": _T, "tool_version": _T, "method": _I, "schema": _I, "inputs_hash": _T, "files": pl.List(pl.String()),
             "sha256": pl.List(pl.String())},
    "rows": columns.ROWS,
    "evidence": columns.EVIDENCE,
    "residuals": columns.RESIDUALS,
    "offsets": columns.OFFSETS,
    "setting_curves": columns.SETTING_CURVES,
    "ceiling": columns.CEILING,
    "pull_advance": columns.PULL_ADVANCE,
    "surface": columns.SURFACE,
    "record": {"text": _T},
}  # fmt: skip
"""Every table a day always has, empty where the day says nothing. A day may bring further ones; they are kept as they come."""


def conformed(name: str, table: pl.DataFrame) -> pl.DataFrame:
    """``table`` with the columns of its schema in order and type, what else it has after them, NaN as null."""
    if not table.width:
        return pl.DataFrame(schema=TABLES.get(name, {}))
    wanted = columns.conform(table, TABLES.get(name, {}))
    # Further columns of kinds that not every reader knows are kept as text.
    other = [c for c, kind in wanted.schema.items() if kind.is_temporal() or kind in (pl.Categorical, pl.Enum)]
    return wanted.with_columns(pl.col(pl.Float64, pl.Float32).fill_nan(None), pl.col(other).cast(pl.String))


def arrow_schema(name: str, table: pl.DataFrame | None = None) -> "pa.Schema":
    """The Arrow schema of a table, each field with ``unit`` and ``meaning`` in its metadata.

    Parameters
    ----------
    name
        The table.
    table
        What is to be written: columns beyond the schema are taken from it.

    Raises
    ------
    TypeError
        A column of a type that the archive does not keep: a fault of ours.
    """
    kinds = KEYS | TABLES.get(name, {})
    if table is not None:
        kinds = kinds | {c: t for c, t in table.schema.items() if c not in kinds}
    return described(name, kinds)


def described(name: str, kinds: Schema) -> "pa.Schema":
    """Columns as Arrow fields, each with its unit and meaning."""
    import pyarrow as pa

    fields = [
        pa.field(c, _arrow_type(t), metadata={"unit": unit_of_column(c), "meaning": meaning(name, c)}) for c, t in kinds.items()
    ]
    return pa.schema(fields, metadata={"pullbook.schema": str(SCHEMA_VERSION), "pullbook.table": name})


def meaning(table: str, column: str) -> str:
    """What a column says, in a few words (empty where its name says it)."""
    if table == "samples" and column in CHANNELS:
        return CHANNELS[column].means
    return MEANS.get(f"{table}.{column}", MEANS.get(column, ""))


def to_parquet(name: str, table: pl.DataFrame, *, engine: str, day: str, revision: int) -> bytes:
    """A day's table as the bytes of one Parquet file.

    Parameters
    ----------
    name, table
        Which table, and its rows as the stages give them.
    engine, day, revision
        Written on every row.
    """
    from io import BytesIO

    import pyarrow.parquet as pq

    table = conformed(name, table)
    if not table.height:
        table = pl.DataFrame(schema=KEYS | dict(table.schema))
    lead = [pl.lit(revision, dtype=pl.Int64).alias("revision"), pl.lit(engine).alias("engine_name"), pl.lit(day).alias("day_name")]
    table = table.select(*lead, *[pl.col(c) for c in table.columns if c not in KEYS])
    schema = arrow_schema(name, table)
    out = BytesIO()
    pq.write_table(table.to_arrow().cast(schema), out, compression="zstd", version="2.6")
    return out.getvalue()


def from_parquet(path: Path, columns: list[str] | None = None) -> pl.DataFrame:
    """One file of the archive as a table, all of it as it stood at one moment.

    The bytes are taken at once: a reader that opens a path twice, for its footer and for its rows, would put the footer of one
    revision to the rows of the next where a run replaces the file in between.

    Raises
    ------
    OSError
        It is not there, or cannot be read.
    ValueError
        Its content is damaged.
    """
    data = path.read_bytes()
    try:
        return pl.read_parquet(data, columns=columns, hive_partitioning=False)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as fault:  # some flipped bits make the reader panic
        raise ValueError(f"{path.name} is damaged: {str(fault)[:120]}") from fault


def _arrow_type(kind: Any) -> "pa.DataType":
    import pyarrow as pa

    if isinstance(kind, pl.List):
        return pa.list_(_arrow_type(kind.inner))
    plain = {
        pl.Float64: pa.float64(),
        pl.Float32: pa.float64(),
        pl.String: pa.string(),
        pl.Boolean: pa.bool_(),
        pl.Null: pa.string(),
    }
    for known, arrow in plain.items():
        if kind == known:
            return arrow
    if kind.is_integer():
        return pa.int64()
    raise TypeError(f"the archive keeps no column of type {kind}")
