"""An engine's days side by side: best advance with its band, what was set, and how closely pulls repeated."""

from typing import Any

from pullbook.measure.normal import Z90
from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.style import PAPER
from pullbook.report.words import between, number, setting_degrees

DRAWN = 14
Rows = list[dict[str, Any]]


def picture(days: Rows) -> Picture | None:
    """History picture of summaries, oldest first; None where fewer than two days say anything.

    Parameters
    ----------
    days
        :func:`pullbook.report.day_row.summary` of the engine's days.
    """
    told = [d for d in days if d.get("placed") or d.get("pull_sd_pct") is not None or d.get("total_deg") is not None][-DRAWN:]
    if len(told) < 2:
        return None

    def paint(panel: Panel) -> None:
        right = 0.75 if not panel.look.narrow else 0.62
        top = panel.axes(low=0.4, rpm=False, foot=0.1, right=right)
        low = panel.axes(high=0.4, rpm=False, head=0.24, foot=0.52, right=right)
        for ax in (top, low):
            ax.set_xlim(-0.6, len(told) - 0.4)
        _advance(panel, top, told)
        spreads = [(i, Z90 * d["pull_sd_pct"]) for i, d in enumerate(told) if d.get("pull_sd_pct") is not None]
        panel.levels(low, 0, 1.25 * max([s for _, s in spreads], default=1.0), most=2)
        low.bar([i for i, _ in spreads], [s for _, s in spreads], width=0.35, color=PAPER["step3"], zorder=2)
        panel.quantity(low, "a repeat lands within ±, %")
        step = -(-len(told) // (4 if panel.look.narrow else 7))
        shown = [i for i in range(len(told)) if (len(told) - 1 - i) % step == 0]
        panel.below(low, shown, [str(told[i]["day"])[:10] for i in shown], "day")

    first, last = told[0], told[-1]
    title = _finding(told)
    return Picture(
        "history",
        title,
        f"Best advance, advance set and repeatability of {len(told)} days from {first['day']} to {last['day']}. {title}.",
        paint,
        _numbers(told),
        height=3.4,
        narrow_height=3.6,
        note="Dots: best advance at the rpm named in the table, with its range; shaded: what costs next to nothing. "
        "Squares: total advised." + (f" The last {DRAWN} days are drawn." if len(days) > DRAWN else ""),
    )


def _advance(panel: Panel, ax: Any, told: Rows) -> None:
    placed = [(i, d["placed"]) for i, d in enumerate(told) if d.get("placed")]
    totals = [(i, d["total_deg"]) for i, d in enumerate(told) if d.get("total_deg") is not None]
    ends = [p[k] for _, p in placed for k in ("best_deg", "lo_deg", "hi_deg", "band_lo_deg", "band_hi_deg") if p.get(k) is not None]
    ends += [t for _, t in totals]
    panel.levels(ax, min(ends, default=0) - 1.5, max(ends, default=40) + 1.5)
    for i, p in placed:
        if p.get("band_lo_deg") is not None and p.get("band_hi_deg") is not None:
            ax.fill_between((i - 0.28, i + 0.28), p["band_lo_deg"], p["band_hi_deg"], color=PAPER["wash"], lw=0, zorder=1)
        if p.get("lo_deg") is not None and p.get("hi_deg") is not None:
            ax.plot((i, i), (p["lo_deg"], p["hi_deg"]), color=PAPER["up"], lw=1.4, zorder=3)
        ax.plot(i, p["best_deg"], marker="o", ms=5, color=PAPER["up"], zorder=4)
    ax.plot([i + 0.2 for i, _ in totals], [t for _, t in totals], ls="none", marker="s", ms=5, color=PAPER["hard"], zorder=5)
    if placed:
        panel.say(ax, placed[-1][0] + 0.32, placed[-1][1]["best_deg"], "best", hue="up", dx=2)
    if totals and (not placed or abs(totals[-1][1] - placed[-1][1]["best_deg"]) > 1.5):
        panel.say(ax, totals[-1][0] + 0.32, totals[-1][1], "total", hue="hard", dx=2)
    panel.quantity(ax, "advance, ° before top dead centre")


def _finding(told: Rows) -> str:
    placed = [d["placed"]["best_deg"] for d in told if d.get("placed")]
    if len(placed) < 2:
        return "The best advance was placed on " + ("one day" if placed else "no day") + " so far"
    lowest, highest = (setting_degrees(round(v)) for v in (min(placed), max(placed)))
    return f"Best advance lay between {lowest} and {highest} on {len(placed)} days"


def _numbers(told: Rows) -> Table:
    rows = []
    for d in reversed(told):
        p = d.get("placed") or {}
        spread = None if d.get("pull_sd_pct") is None else Z90 * d["pull_sd_pct"]
        rows.append(
            (
                str(d["day"]),
                number(p.get("rpm")),
                number(p.get("best_deg"), 1),
                between(p.get("lo_deg"), p.get("hi_deg"), "", 1),
                between(p.get("band_lo_deg"), p.get("band_hi_deg"), "", 1),
                number(d.get("total_deg"), 1),
                number(spread, 1),
            )
        )
    heads = (
        "day",
        "rpm",
        "best, °",
        "likely between, °",
        "costs next to nothing, °",
        "total advised, °",
        "a repeat lands within ±, %",
    )
    return Table("Days of this engine", heads, tuple(rows), (False, True, True, True, True, True, True))
