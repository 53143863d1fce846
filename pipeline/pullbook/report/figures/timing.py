"""The witnesses of timing (log, light, sheet) against the curves fitted to them."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.placing import column, thin
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import between, number, rpm
from pullbook.units import DEG_PER_RPM_US

LOOKS = {
    "log": ("soft", ".", 3.0),
    "light": ("up", "D", 4.5),
    "bench": ("hard", "^", 5.0),
    "sheet": ("down", "s", 4.0),
}


def picture(shown: DayView) -> Picture | None:
    """Timing picture, None where no witness was heard."""
    seen = shown.table("evidence")
    if seen is None:
        return None
    seen = seen.drop_nulls(["advance_deg", "fitted_deg", "rpm", "source"])
    if seen.is_empty():
        return None
    seen = seen.with_columns(miss=pl.col("advance_deg") - pl.col("fitted_deg"))
    sources = seen["source"].unique(maintain_order=True).to_list()

    def paint(panel: Panel) -> None:
        ax = panel.axes(right=0.8 if not panel.look.narrow else 0.5)
        inside = seen.filter(pl.col("rpm").is_between(panel.span[0] - 50, panel.span[1] + 50))
        size = max(1.0, float(np.abs(column(inside, "miss")).max())) if inside.height else 1.0
        panel.levels(ax, -1.15 * size, 1.15 * size)
        ax.axhline(0, color=PAPER["soft"], lw=1.0, zorder=1)
        ends = []
        _expected_log(ax, panel.span, shown.record.get("timing_scale") or {})
        for source in sources:
            rows = inside.filter(pl.col("source") == source).sort("rpm")
            if rows.is_empty():
                continue
            hue, shape, points = LOOKS.get(str(source), ("ink", "o", 4.0))
            for taken in (True, False):
                some = rows.filter(pl.col("used") == taken)
                x, y = thin(column(some, "rpm"), column(some, "miss"), 400)
                ax.plot(
                    x,
                    y,
                    ls="none",
                    marker=shape if taken else "x",
                    ms=points,
                    color=PAPER[hue],
                    mfc=PAPER[hue] if taken else "none",
                    zorder=3,
                )
            ends.append((panel.span[1] + 50, float(np.mean(column(rows, "miss"))), str(source), hue, False))
        panel.ends(ax, ends)
        panel.quantity(ax, "reading less the curve delivered, degrees")

    title = finding(shown)
    return Picture(
        "timing",
        title,
        f"Readings of advance less the curve fitted to them, over engine speed, by witness: "
        f"{', '.join(map(str, sources))}. {title}.",
        paint,
        _numbers(seen),
        height=2.4,
        narrow_height=2.7,
        note="Dashed: the log’s offset and delay as found. Crosses: shown, not used.",
    )


def _numbers(seen: pl.DataFrame) -> Table:
    rows = []
    for (setting, source), r in seen.partition_by(["setting", "source"], as_dict=True, maintain_order=True).items():
        used = r.filter(pl.col("used")).height
        miss, n = float(np.mean(column(r, "miss"))), column(r, "rpm")
        rows.append((str(setting), str(source), str(r.height), str(used), number(miss, 2), between(float(n.min()), float(n.max()))))
    heads = ("setting", "witness", "readings", "used", "mean miss, °", "rpm")
    return Table("Readings of advance by setting and witness", heads, tuple(rows), (False, False, True, True, True, True))


def _expected_log(ax: Any, span: tuple[float, float], scale: dict[str, Any]) -> None:
    """What the log should read above the truth: its offset, and its delay grown with engine speed."""
    if scale.get("log_minus_true_deg") is not None and scale.get("delay_us") is not None:
        ends = [scale["log_minus_true_deg"] + DEG_PER_RPM_US * n * scale["delay_us"] for n in span]
        ax.plot(span, ends, color=PAPER["soft"], lw=1.0, ls=(0, (4, 2)), zorder=2)


def finding(shown: DayView) -> str:
    """How log and truth differ, in one sentence."""
    found = shown.record.get("timing_scale") or {}
    off = found.get("log_minus_true_deg")
    if off is None:
        return "No log of advance to hold against the truth"
    if _unchecked(shown):
        late = f", late by {between(found.get('delay_lo_us'), found.get('delay_hi_us'), ' µs')}" if found.get("delay_us") else ""
        return f"Nothing to hold the log against: off by {between(found.get('lo_deg'), found.get('hi_deg'), '°', 1)}{late}"
    if _true(found):
        return "The log reads true: no offset and no delay"
    way = "high" if off > 0 else "low"
    text = f"The log reads {number(abs(off), 1)}° {way} ({between(found.get('lo_deg'), found.get('hi_deg'), '°', 1)})"
    if found.get("delay_us") is not None:
        text += f" and {number(found['delay_us'])} µs late ({between(found.get('delay_lo_us'), found.get('delay_hi_us'), ' µs')})"
    return text


def _true(found: dict[str, Any]) -> bool:
    """Whether offset and delay are nothing to the tenth of a degree and the microsecond they are given to, ends included."""
    degrees = [found.get(k) for k in ("log_minus_true_deg", "lo_deg", "hi_deg")]
    delays = [found.get(k) for k in ("delay_us", "delay_lo_us", "delay_hi_us")]
    return all(d is not None and abs(d) < 0.05 for d in degrees) and all(d is None or abs(d) < 0.5 for d in delays)


def _unchecked(shown: DayView) -> bool:
    seen = shown.table("evidence")
    return seen is not None and set(seen["source"].drop_nulls().to_list()) <= {"log"}


def worked(shown: DayView) -> str:
    """The delay turned into degrees at the top of the span; empty where nothing but the log speaks of it."""
    delay = (shown.record.get("timing_scale") or {}).get("delay_us")
    if delay is None or _unchecked(shown) or _true(shown.record["timing_scale"]):
        return ""
    top = shown.span[1]
    return f"{number(delay)} µs is {number(DEG_PER_RPM_US * top * delay, 1)}° at {rpm(top)}: 6 × 10⁻⁶ × rpm × µs."
