"""Change of torque against the baseline, a lane a setting; coloured only where the whole interval is on one side of zero."""

from typing import Any

import numpy as np

from pullbook.measure.runs import runs
from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.figures.lines import broken
from pullbook.report.placing import values
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import between, half_width, number, percent, percent_between, rpm, short, told_apart

LANES = 8
MIDDLE = 0.64
"""Where a lane's zero lies under its upper edge, in lanes: its setting's name stands above."""
VERDICT = {"gain": "gain", "loss": "loss", "same": "same", "cannot_tell": "cannot tell"}


def picture(shown: DayView) -> Picture | None:
    """Difference picture, None where there is nothing to compare."""
    lanes = _lanes(shown)
    if not lanes:
        return None
    drawn = sorted(lanes, key=lambda e: -abs(e["change_pct"] or 0.0))[:LANES]
    drawn = [e for e in lanes if e in drawn]
    gains = [e for e in lanes if e["verdict"] == "gain"]
    best = max(gains or lanes, key=lambda e: e["change_pct"] if e["change_pct"] is not None else -1e9)
    versus = str(lanes[0]["versus"])
    reach = [abs(r[k]) for e in drawn for r in e["rows"] for k in ("change_pct", "lo_pct", "hi_pct") if r[k] is not None]
    reach += [abs(e[k]) for e in drawn for k in ("change_pct",) if e[k] is not None]
    scale = max(float(np.quantile(reach, 0.97)) if reach else 1.0, 0.5) * 1.15

    def paint(panel: Panel) -> None:
        look = panel.look
        ax = panel.axes(right=1.15 if not look.narrow else 0.86)
        ax.set_ylim(-len(drawn), 0)
        power = 10.0 ** np.floor(np.log10(scale))
        mark = max(s * power for s in (1, 2, 5) if s * power <= scale)
        lane = ax.get_position().height * panel.figure.get_size_inches()[1] / len(drawn)
        lines = lane * 0.64 * mark / scale * 72 / look.font  # how many lines of words fit between the two marks of a lane
        sides = {1: f"+{mark:g}"} | ({-1: f"−{mark:g}"} if lines >= 1.15 else {}) | ({0: "0"} if lines >= 2.2 else {})
        named = told_apart([*(e["setting"] for e in drawn), versus], 24)
        ticks, labels = [], []
        for i, effect in enumerate(drawn):
            middle = -i - MIDDLE
            ticks += [middle + side * mark / scale * 0.32 for side in sides]
            labels += list(sides.values())
            _lane(ax, effect, middle, 0.32 / scale)
            _words(panel, ax, effect, i, named[effect["setting"]], chosen=effect["setting"] == shown.chosen)
            if i:
                ax.axhline(-i, color=PAPER["rule"], lw=0.6)
        panel.beside(ax, ticks, labels)
        panel.quantity(ax, f"torque against “{named[versus]}”, %")

    verdict = VERDICT.get(best["verdict"], "")
    half = half_width(best["lo_pct"], best["hi_pct"])
    title = _finding(best, {e["verdict"] for e in lanes})
    return Picture(
        "difference",
        title,
        f"Change of torque against {versus}, a strip for each of {len(drawn)} settings from {rpm(shown.span[0])} to "
        f"{rpm(shown.span[1])}. Best: {best['setting']}, {percent(best['change_pct'], half, signed=True)} "
        f"({percent_between(best['lo_pct'], best['hi_pct'])}), {verdict}.",
        paint,
        _numbers(lanes),
        height=0.75 + 0.66 * len(drawn),
        narrow_height=0.75 + 0.72 * len(drawn),
        note="Grey: cannot be told from zero. Thick: the whole likely range is above or below zero."
        + (f" The {LANES} largest of {len(lanes)} are drawn; all are in the table." if len(lanes) > LANES else ""),
    )


def _finding(best: dict[str, Any], verdicts: set[Any]) -> str:
    if best["verdict"] == "gain":
        gained = percent(best["change_pct"], half_width(best["lo_pct"], best["hi_pct"]))
        return f"“{short(best['setting'], 24)}” as run gains {gained} on the baseline"
    if verdicts == {"loss"}:
        return "Every other setting loses torque to the baseline"
    if verdicts <= {"same", "loss"}:
        return "No setting run beats the baseline by enough to matter"
    return "No setting run is proved better than the baseline"


def _words(panel: Panel, ax: Any, effect: dict[str, Any], lane: int, name: str, *, chosen: bool) -> None:
    """A lane's setting above it, and its change over the whole span at its end."""
    panel.say(ax, panel.span[0] - 50, -lane - 0.02, name, va="top", bold=chosen, hue="up" if chosen else "ink", dx=1)
    hue = {"gain": "up", "loss": "down"}.get(effect["verdict"], "soft")
    change = percent(effect["change_pct"], half_width(effect["lo_pct"], effect["hi_pct"]), signed=True)
    told = change + "\n" + VERDICT.get(effect["verdict"], "")
    panel.say(ax, panel.span[1] + 50, -lane - MIDDLE, told, hue=hue, bold=effect["verdict"] in ("gain", "loss"), dx=4)


def _lanes(shown: DayView) -> list[dict[str, Any]]:
    effects = [e for e in shown.record.get("effects") or [] if shown.baseline is None or e.get("versus") == shown.baseline]
    whole: dict[str, dict[str, Any]] = {}
    for e in effects:
        if e.get("rpm_lo") != e.get("rpm_hi"):
            whole.setdefault(str(e["setting"]), {**e, "setting": str(e["setting"]), "rows": []})
    for e in effects:
        if e.get("rpm_lo") == e.get("rpm_hi") and str(e["setting"]) in whole:
            whole[str(e["setting"])]["rows"].append(e)
    for e in whole.values():
        e["rows"].sort(key=lambda r: r["rpm_lo"])
    order = {s: i for i, s in enumerate(shown.settings)}
    return sorted(whole.values(), key=lambda e: order.get(e["setting"], 999))


def _lane(ax: Any, effect: dict[str, Any], middle: float, per_pct: float) -> None:
    ax.plot(ax.get_xlim(), (middle, middle), color=PAPER["soft"], lw=0.7, zorder=2)
    rows = effect["rows"]
    if not rows:
        return
    x, y, lo, hi = broken(*(values(rows, c) for c in ("rpm_lo", "change_pct", "lo_pct", "hi_pct")))
    up, down = np.clip(middle + per_pct * np.array([hi, lo]), middle - 0.35, middle + 0.35)
    ax.fill_between(x, down, up, color=PAPER["rule"], lw=0, zorder=1)
    ax.plot(x, middle + per_pct * y, color=PAPER["soft"], lw=1.0, zorder=3)
    for clear, hue, wash in ((lo > 0, "up", "wash"), (hi < 0, "down", "warm")):
        for first, stop in runs(clear):
            part = slice(first, stop)
            if stop - first == 1:
                ax.plot(x[part], middle + per_pct * y[part], color=PAPER[hue], marker="o", ms=3, zorder=4)
                continue
            ax.fill_between(x[part], down[part], up[part], color=PAPER[wash], lw=0, zorder=1.5)
            ax.plot(x[part], middle + per_pct * y[part], color=PAPER[hue], lw=2.4, zorder=4, solid_capstyle="butt")


def _numbers(lanes: list[dict[str, Any]]) -> Table:
    rows = []
    for e in lanes:
        for r in (e, *e["rows"]):
            where = number(r["rpm_lo"]) if r["rpm_lo"] == r["rpm_hi"] else between(r["rpm_lo"], r["rpm_hi"])
            rows.append(
                (
                    str(e["setting"]),
                    where,
                    number(r["change_pct"], 2),
                    between(r["lo_pct"], r["hi_pct"], "", 2),
                    VERDICT.get(r["verdict"], ""),
                )
            )
    return Table(
        f"Change of torque against {lanes[0]['versus']}, %",
        ("setting", "rpm", "change, %", "likely between, %", "verdict"),
        tuple(rows),
        (False, True, True, True, False),
    )
