"""A record put in order for showing: cleaned, with its settings, the baseline, the chosen one and the common engine-speed span."""

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pullbook.report.words import clean, clean_all

SHOWN_TABLES = ("pulls", "setting_curves", "offsets", "residuals", "evidence", "surface", "pull_advance")


@dataclass(slots=True)
class DayView:
    """A record ready to be shown. ``record`` is cleaned (no control characters, no endless words), tables as handed on; ``span``:
    least and most rpm of every picture."""

    record: dict[str, Any]
    tables: dict[str, pl.DataFrame]
    settings: list[str] = field(default_factory=list)
    baseline: str | None = None
    chosen: str | None = None
    span: tuple[float, float] = (1000.0, 6000.0)

    @property
    def engine(self) -> str:
        """The engine as its folder is called."""
        return str(self.record.get("engine", ""))

    @property
    def day(self) -> str:
        """The day as its folder is called."""
        return str(self.record.get("day", ""))

    @property
    def advice(self) -> dict[str, Any]:
        """The record's advice, empty where there is none."""
        return self.record.get("advice") or {}

    @property
    def title(self) -> str:
        """The engine's own name where it has one."""
        name = ((self.record.get("facts") or {}).get("engine") or {}).get("name")
        return str(name) if name else self.engine

    @property
    def mechanical(self) -> dict[str, Any] | None:
        """Curve for springs and stop, where the advice has one and the engine is not mapped."""
        found = self.advice.get("mechanical")
        return found if found and found.get("total_deg") is not None and not mapped(self.record) else None

    @property
    def pulls(self) -> list[dict[str, Any]]:
        """Pulls in the order run."""
        return sorted(self.record.get("pulls") or [], key=lambda p: p.get("order") or 0)

    def table(self, name: str) -> pl.DataFrame | None:
        """A table of the stages by name; None where it is not there or has no rows."""
        found = self.tables.get(name)
        return None if found is None or found.is_empty() else found

    def sheet(self) -> dict[str, dict[str, Any]]:
        """What the sheet and the logs say of each pull beside its torque (temperatures, notes), by pull."""
        noted = self.table("pulls")
        rows: dict[str, dict[str, Any]] = {} if noted is None else {str(r["pull_id"]): r for r in noted.iter_rows(named=True)}
        return {str(p["pull_id"]): {**rows.get(str(p["pull_id"]), {}), **p} for p in self.pulls}

    def texts(self, name: str) -> list[str]:
        """A list of sentences of the record."""
        return [str(t) for t in self.record.get(name) or []]


def mapped(record: dict[str, Any]) -> bool:
    """Whether the engine takes its advance from a table, and the advice has one to enter."""
    noted = (record.get("conditions") or {}).get("ignition")
    kind = noted or (((record.get("facts") or {}).get("engine") or {}).get("ignition") or {}).get("kind")
    return kind == "mapped" and any(r.get("delivered_deg") is not None for r in (record.get("advice") or {}).get("table") or [])


def view(record: dict[str, Any], tables: dict[str, pl.DataFrame]) -> DayView:
    """Put a record and its tables in order for showing.

    Parameters
    ----------
    record
        The day's record (contract: day.json).
    tables
        Tables of the stages by name; any may be missing or empty.
    """
    shown = DayView(clean_all(record), {name: _clean_table(tables[name]) for name in SHOWN_TABLES if name in tables})
    pulls = shown.pulls
    seen: dict[str, None] = {str(p["setting"]): None for p in pulls if p.get("setting") is not None}
    shown.baseline = next((str(p["setting"]) for p in pulls if p.get("baseline") and p.get("setting") is not None), None)
    shown.settings = list(seen)
    handed = shown.advice.get("hand_over_pull")
    shown.chosen = next((str(p["setting"]) for p in pulls if p.get("pull_id") == handed and p.get("setting") is not None), None)
    shown.span = _span(shown)
    return shown


def _clean_table(table: pl.DataFrame) -> pl.DataFrame:
    texts = [name for name, kind in table.schema.items() if kind == pl.String]
    if not texts:
        return table
    wanted = {t for name in texts for t in table[name].unique().to_list() if t is not None}
    changed = {t: c for t in wanted if (c := clean(t)) != t}
    return table.with_columns(pl.col(texts).replace(changed)) if changed else table


def _span(shown: DayView) -> tuple[float, float]:
    rows = [r["rpm"] for r in shown.record.get("best") or []] or [r["rpm"] for r in shown.record.get("delivered") or []]
    if not rows:
        rows = [p[k] for p in shown.pulls for k in ("rpm_min", "rpm_max") if p.get(k) is not None]
    if not rows:
        return (1000.0, 6000.0)
    lo, hi = float(min(rows)), float(max(rows))
    return (lo, hi) if hi - lo >= 200 else (lo - 500, hi + 500)
