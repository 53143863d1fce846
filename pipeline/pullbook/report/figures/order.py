"""The day in the order it was run: each pull's level against the model, air and oil temperature under it."""

from typing import Any

from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import between, number, short
from pullbook.wording import noted


def picture(shown: DayView) -> Picture | None:
    """Order picture, None where no pull has a level."""
    offsets = shown.table("offsets")
    if offsets is None or not shown.pulls:
        return None
    level = {r["pull_id"]: r for r in offsets.iter_rows(named=True) if r["level_pct"] is not None}
    if not level:
        return None
    sheet = shown.sheet()
    pulls = shown.pulls
    warm = [("air", "temperature_c", "ink", "-", "o"), ("oil", "oil_c", "down", (0, (4, 1.5)), "s")]
    temps = {name: [(p["order"], sheet.get(p["pull_id"], {}).get(key)) for p in pulls] for name, key, *_ in warm}
    temps = {name: [(o, t) for o, t in v if t is not None] for name, v in temps.items()}
    any_temps = any(temps.values())

    def paint(panel: Panel) -> None:
        split = 0.42 if any_temps else 0.0
        right = 0.55 if not panel.look.narrow else 0.42
        top = panel.axes(low=split, rpm=False, foot=0.14 if any_temps else 0.42, right=right)
        first, last = pulls[0]["order"], pulls[-1]["order"]
        values = [r[k] for r in level.values() for k in ("level_pct", "lo_pct", "hi_pct") if r[k] is not None]
        low, high = min(*values, -0.5), max(*values, 0.5)
        pad = 0.1 * (high - low)
        panel.levels(top, low - pad, high + pad)
        top.axhline(0, color=PAPER["soft"], lw=0.9, zorder=1)
        for p in pulls:
            if (r := level.get(p["pull_id"])) is not None:
                _mark(top, p["order"], r, baseline=bool(p.get("baseline")))
            else:
                top.plot(p["order"], low, marker="x", ms=6, mew=1.5, color=PAPER["down"], ls="none", zorder=4)
                panel.say(top, p["order"], low, "out", hue="down", ha="center", va="bottom", dy=5)
        panel.quantity(top, "level of each pull, % of torque")
        lowest = _temperatures(panel, temps, warm, split, right) if any_temps else top
        step = next(s for s in (1, 2, 5, 10, 20, 50, 100) if (last - first) / s <= 16 or s == 100)
        marks = list(range(int(first), int(last) + 1, step))
        for ax in {top, lowest}:
            ax.set_xlim(first - 0.6, last + 0.6)
        if not panel.look.narrow:
            _name_baseline(panel, top, pulls, level)
        panel.below(lowest, marks, [str(m) for m in marks], "pull, in the order run")

    drift = shown.record.get("repeatability") or {}
    finding = _finding(drift, len(pulls))
    return Picture(
        "order",
        finding,
        f"Level of each of {len(pulls)} pulls in the order run, in per cent of torque, with air and oil temperature. {finding}.",
        paint,
        _numbers(pulls, level, sheet),
        height=3.0 if any_temps else 2.2,
        narrow_height=3.2 if any_temps else 2.4,
        note="Level: how far the whole pull lies above or below what its timing explains. Filled squares: the baseline. "
        "Crosses: left out. Bars: how sure.",
    )


def _name_baseline(panel: Panel, ax: Any, pulls: list[dict[str, Any]], level: dict[str, Any]) -> None:
    """The word beside the baseline's last mark where that is the day's last pull, else over or under the one with most room."""
    bases = [p for p in pulls if p.get("baseline") and p["pull_id"] in level]
    if not bases:
        return
    if bases[-1] is pulls[-1]:
        panel.say(ax, bases[-1]["order"], level[bases[-1]["pull_id"]]["level_pct"], "baseline", dx=7, va="center", ground=True)
        return
    ends = {r["order"]: _ends(level[r["pull_id"]]) for r in pulls if r["pull_id"] in level}
    spots = [(p["order"], ends[p["order"]][side > 0], side) for p in bases for side in (-1, 1)]
    panel.name(ax, spots, "baseline", [(n, *e) for n, e in ends.items()])


def _ends(r: dict[str, Any]) -> tuple[float, float]:
    """Lower and upper end of what is drawn of a pull's level."""
    seen = [r[k] for k in ("level_pct", "lo_pct", "hi_pct") if r[k] is not None]
    return min(seen), max(seen)


def _mark(ax: Any, order: int, r: dict[str, Any], *, baseline: bool) -> None:
    """A pull's level and how sure it is."""
    if r["lo_pct"] is not None and r["hi_pct"] is not None:
        ax.plot((order, order), (r["lo_pct"], r["hi_pct"]), color=PAPER["soft"], lw=1.2, zorder=2)
    shape, fill = ("s", "ink") if baseline else ("o", "paper")
    ax.plot(order, r["level_pct"], ls="none", marker=shape, ms=5.5, mec=PAPER["ink"], mfc=PAPER[fill], zorder=3)


def _temperatures(panel: Panel, temps: dict[str, Any], warm: list[Any], split: float, right: float) -> Any:
    low = panel.axes(high=split, rpm=False, head=0.1, right=right)
    known = [t for v in temps.values() for _, t in v]
    lo, hi = min(known), max(known)
    panel.levels(low, lo - 0.15 * (hi - lo) - 1, hi + 0.15 * (hi - lo) + 1, most=3)
    for name, _, hue, pattern, shape in warm:
        points = temps[name]
        if not points:
            continue
        low.plot([o for o, _ in points], [t for _, t in points], color=PAPER[hue], ls=pattern, marker=shape, ms=3, lw=1.1)
        panel.say(low, points[-1][0], points[-1][1], name, hue=hue, dx=6)
    panel.quantity(low, "temperature, °C")
    return low


def _finding(found: dict[str, Any], count: int) -> str:
    drift, lo, hi = (found.get(k) for k in ("drift_pct_per_pull", "drift_lo", "drift_hi"))
    if drift is None or lo is None or hi is None:
        return "Nothing is known about drift over the day"
    if lo > 0 or hi < 0:
        way = "rose" if drift > 0 else "fell"
        return f"Torque {way} by about {number(abs(drift) * (count - 1), 1)} % over the day, whatever was set"
    return f"No drift over the day that can be told from none ({number(lo, 2)} to {number(hi, 2)} % a pull)"


def _numbers(pulls: list[dict[str, Any]], level: dict[str, Any], sheet: dict[str, Any]) -> Table:
    rows = []
    for p in pulls:
        r, s = level.get(p["pull_id"]), sheet.get(p["pull_id"], {})
        rows.append(
            (
                str(p["order"]),
                short(noted(p.get("setting")), 40),
                number(r["level_pct"], 2) if r else "left out",
                between(r["lo_pct"], r["hi_pct"], "", 2) if r else "–",
                number(s.get("temperature_c"), 1),
                number(s.get("oil_c")),
                number(s.get("coolant_c")),
            )
        )
    heads = ("pull", "setting", "level, %", "likely between, %", "air, °C", "oil, °C", "coolant, °C")
    return Table("Level of each pull and temperatures", heads, tuple(rows), (True, False, True, True, True, True, True))
