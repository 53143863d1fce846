"""An order of pulls for a day still to be run: what the engine's last day ran from and what its report asked for come first."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from pullbook.book import Book, day_files, day_order, days
from pullbook.columns import NOTED
from pullbook.pulls.labels import with_total
from pullbook.sheets.facts_files import FactsRead
from pullbook.sheets.pull_sheet import pull_sheet_of
from pullbook.sheets.row import SheetRow
from pullbook.sheets.sheet_copies import settle_copies

_BACK_DEG, _LEAST_BACK_DEG = 8.0, 2.0
_SAME_DEG = 0.25  # totals this near are one setting


@dataclass(frozen=True, slots=True)
class _LastDay:
    """The engine's latest earlier day with a baseline in its sheet. ``record``: what was found on it, empty where it never ran."""

    day: str
    rows: tuple[SheetRow, ...]
    baseline: SheetRow
    record: dict[str, Any]


def planned_rows(book: Book, engine: str, day: str, pulls: int, facts: FactsRead) -> list[dict[str, str]]:
    """Rows of a pull sheet for pulls still to be run; the file names are filled in as they come.

    Parameters
    ----------
    book, engine, day
        The book, the engine, the day that is to be run.
    pulls
        How many, at least 1.
    facts
        What engine.yaml and day.yaml say: the largest step up, the margin below knock, the known limit.

    Returns
    -------
    list of dict
        Column -> cell. From the last day's baseline, labels written as its label is; what its report said to set and to run next
        is among the first asked for. None lies above the known limit, or within the margin of what was noted to knock that day.
    """
    from pullbook.advice.pull_order import propose

    last = _last_day(book, engine, day)
    limits = facts.day.limits
    total = None if last is None else last.baseline.total_deg
    tops = [facts.engine.max_advance_deg, None if last is None else _below_knock(last, limits.margin_below_knock_deg)]
    top = min((t for t in tops if t is not None), default=None)
    wanted = {} if last is None else _asked_for(last)
    plan = propose(
        pulls, total, max_step=limits.max_step_deg, width=_width(last), max_advance=top, shuffle=pulls, wanted=tuple(wanted)
    )
    return [
        {"setting": p.setting if last is None else _label(last.baseline, p.offset_deg), "baseline": "yes" if p.baseline else "",
         "initial_deg": "" if last is None else _degrees(last.baseline.initial_deg, p.offset_deg),
         "total_deg": "" if p.total_deg is None else f"{p.total_deg:g}", "notes": wanted.get(p.offset_deg, p.why)}
        for p in plan
    ]  # fmt: skip


def _last_day(book: Book, engine: str, day: str) -> _LastDay | None:
    for earlier in reversed([d for d in days(book, engine)[0] if day_order(d) < day_order(day)]):
        sheet, _, _ = pull_sheet_of(settle_copies(day_files(book, engine, earlier), book.shown).files.sheets, book.shown)
        marked = [r for r in sheet.rows if r.baseline and r.total_deg is not None] if sheet else []
        if sheet and marked:
            from pullbook.archive.store import Store

            return _LastDay(earlier, tuple(sheet.rows), marked[-1], Store(book.archive).read_record(engine, earlier) or {})
    return None


def _width(last: _LastDay | None) -> float:
    """How far back a plan reaches, degrees: no further than an initial at top dead centre, or an engine hardly starts."""
    initial = None if last is None else last.baseline.initial_deg
    return _BACK_DEG if initial is None else float(np.clip(initial, _LEAST_BACK_DEG, _BACK_DEG))


def _below_knock(last: _LastDay, margin_deg: float) -> float | None:
    """The most total a plan may hold, a margin under the least that was noted to knock (sheet or counter); None: none was."""
    counted = {str(k.get("setting")) for k in last.record.get("knock") or [] if k.get("word") in NOTED}
    noted = [r.total_deg for r in last.rows if r.total_deg is not None and (r.knock in NOTED or str(r.setting) in counted)]
    return min(noted) - margin_deg if noted else None


def _asked_for(last: _LastDay) -> dict[float, str]:
    """What the last day's report said to set and to run next: degrees from the baseline -> a note for the sheet.

    Only what the distributor alone makes: other springs are the builder's to fit first. The note holds no word of knock, which a
    sheet would read as one.
    """
    advice = last.record.get("advice") or {}
    home = float(last.baseline.total_deg or 0.0)
    asked: dict[float, str] = {}
    for pull in advice.get("next_pulls") or []:
        if pull.get("total_deg") is not None and _same_stop(last.baseline, pull):
            asked.setdefault(pull["total_deg"] - home, f"the report of {last.day} asks for it")
    curve = advice.get("mechanical") or {}
    shapes = {s.get("setting"): s for s in last.record.get("shapes") or []}
    delivered = (shapes.get(last.baseline.setting) or {}).get("total_deg")
    if str(curve.get("springs_note") or "").startswith("keep") and delivered is not None:
        # the report speaks of true degrees; the sheet of what the operator believes was set
        offset = round(2.0 * (curve["total_deg"] - delivered)) / 2.0
        asked.setdefault(offset, f"what the report of {last.day} said to set")
    return {offset: why for offset, why in asked.items() if abs(offset) > _SAME_DEG}


def _same_stop(baseline: SheetRow, pull: dict[str, Any]) -> bool:
    if baseline.initial_deg is None or pull.get("initial_deg") is None or baseline.total_deg is None:
        return True
    stop = float(pull["total_deg"] - pull["initial_deg"])
    return abs(stop - (baseline.total_deg - baseline.initial_deg)) < 2 * _SAME_DEG


def _label(baseline: SheetRow, offset: float) -> str:
    """A label in the style of the baseline's: its total in it replaced; else the baseline's with the degrees added."""
    name = str(baseline.setting or "base")
    if offset == 0:
        return name
    home = float(baseline.total_deg or 0.0)
    return with_total(name, home, home + offset) or f"{name} {offset:+g}"


def _degrees(initial: float | None, offset: float) -> str:
    """Turning a distributor moves initial and total alike."""
    return "" if initial is None else f"{initial + offset:g}"
