"""How well a pull repeats today, against what earlier days on this dyno led one to expect."""

from math import exp
from typing import Any

from pullbook.measure.normal import Z90
from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.placing import round_marks
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import between, number
from pullbook.wording import counted


def picture(shown: DayView) -> Picture | None:
    """Repeatability picture, None where neither today nor earlier days say anything."""
    found = shown.record.get("repeatability") or {}
    today = found.get("pull_sd_pct")
    expected = _expected(shown.record.get("prior") or {})
    if today is None or expected is None or found.get("source") == "default":
        return None  # nothing was repeated: what is expected is no finding of this day's
    lo, mid, hi = expected
    known = len((shown.record.get("prior") or {}).get("frozen_from") or [])
    source = f"{counted(known, 'earlier day')}" if known else "no earlier day: a stated default"

    def paint(panel: Panel) -> None:
        ax = panel.axes(rpm=False, left=1.15 if not panel.look.narrow else 0.85, right=0.4)
        top = max(hi, today) * 1.2
        ax.set_xlim(0, top)
        ax.set_ylim(-0.6, 1.6)
        marks = round_marks(0, top, 6)
        for mark in marks:
            ax.axvline(mark, color=PAPER["rule"], lw=0.6, zorder=0)
        ax.plot((lo, hi), (1, 1), color=PAPER["soft"], lw=5, alpha=0.5, solid_capstyle="butt")
        ax.plot(mid, 1, marker="|", ms=12, mew=2, color=PAPER["ink"], ls="none")
        ax.plot(today, 0, marker="D", ms=6, color=PAPER["up"], ls="none")
        panel.say(
            ax,
            today,
            0,
            f"±{number(Z90 * today, 1)} % nine times in ten",
            dx=8 if today < 0.6 * top else -8,
            hue="up",
            ha="left" if today < 0.6 * top else "right",
        )
        panel.beside(ax, (1, 0), ("expected", "this day"))
        panel.below(ax, marks, [number(m, 1) for m in marks], "standard deviation of a repeat, % of torque")

    word = "as expected" if lo <= today <= hi else "better than expected" if today < lo else "worse than expected"
    title = f"Pulls repeated {word}: {number(today, 2)} %, expected {number(lo, 2)} to {number(hi, 2)} %"
    return Picture(
        "repeatability",
        title,
        f"Spread of repeated pulls this day, {number(today, 2)} %, beside what was expected from {source}: "
        f"{between(lo, hi, ' %', 2)}.",
        paint,
        Table(
            "Spread of a repeated pull, one standard deviation, % of torque",
            ("", "spread, %", "likely between, %"),
            (("expected from " + source, number(mid, 2), between(lo, hi, "", 2)), ("this day", number(today, 2), "–")),
            (False, True, True),
        ),
        height=1.35,
        narrow_height=1.45,
        note=f"Expected from {source}.",
    )


def _expected(prior: dict[str, Any]) -> tuple[float, float, float] | None:
    mid, wide = prior.get("sd_median"), prior.get("sd_log_sd")
    if not mid or wide is None:
        return None
    return 100 * mid * exp(-Z90 * wide), 100 * mid, 100 * mid * exp(Z90 * wide)
