"""The card for the stand: one sheet, read at arm's length in black and white, with room for a signature."""

import matplotlib as mpl

from pullbook.report import model
from pullbook.report.content import Content
from pullbook.report.letters import cut_to, drawable, measure
from pullbook.report.paper import PaperColumn, Sheets, settings
from pullbook.report.pdf import columns_height, two_columns
from pullbook.report.to_set import on_the_light
from pullbook.report.view import DayView
from pullbook.report.words import number, setting_degrees, setting_rpm

READINGS = 12
CAUTION_SIZE = 8.0
LIMIT_SIZE = 11.0
SIGNATURES = ("set by", "checked with a light by", "date and hours")


def card_pdf(shown: DayView, said: Content, *, page: str = "A4") -> bytes:
    """The card as PDF bytes, one page whatever the day holds.

    Parameters
    ----------
    shown, said
        The day and what its report says.
    page
        ``A4`` or ``Letter``.
    """
    with mpl.rc_context(settings()):
        sheets = Sheets(page, ("", said.made), f"Tune card: {said.title}, {said.day}")
        sheet = sheets.sheet()
        _head(sheet, said)
        bottom = sheet.bottom - min(columns_height(sheet, _cautions(said), CAUTION_SIZE) + 1.25, 4.2)
        left = PaperColumn(sheets, sheet.figure, sheet.x, sheet.y, 3.35, bottom)
        right = PaperColumn(sheets, sheet.figure, sheet.x + 3.65, sheet.y, sheet.width - 3.65, bottom)
        limit = _limit_height(left, said)
        left.bottom -= limit  # its room is kept before anything else is set: the limit is never what finds none
        _set(left, shown, said)
        left.bottom += limit
        _limit(left, said)
        _readings(right, shown)
        _conditions([right, left], shown)
        _foot(PaperColumn(sheets, sheet.figure, sheet.x, bottom + 0.05, sheet.width, sheet.bottom), said)
        return sheets.pdf()


def _fit(text: str, size: float, width: float, least: float) -> float:
    while size > least and measure(drawable(text), size, True) > width:
        size -= 1
    return size


def _head(sheet: PaperColumn, said: Content) -> None:
    name = drawable(said.title)
    size = _fit(name, 26, sheet.width, 14)
    sheet.text(cut_to(name, size, sheet.width, bold=True), size, bold=True, after=0.02)
    sheet.text(f"Day {said.day}. Behind it: {said.standing[0].text}.", 12, after=0.08)
    sheet.rule("ink", 2.0)
    sheet.y += 0.15


def _set(left: PaperColumn, shown: DayView, said: Content) -> None:
    left.text("SET", 13, bold=True, after=0.02)
    curve = shown.mechanical
    if curve:
        for label, value in (("Total", curve["total_deg"]), ("Initial", curve.get("initial_deg")), ("Stop", curve.get("stop_deg"))):
            _big(left, label, setting_degrees(value), 34 if label == "Total" else 24)
        for read in on_the_light(shown):
            _big(left, read.label, read.text, 16)
        for label, name in (("Weights move from", "start_rpm"), ("Bends", "knee_rpm"), ("All in by", "all_in_rpm")):
            if curve.get(name) is not None:
                bend = f"{number(curve['knee_deg'])}° at " if label == "Bends" and curve.get("knee_deg") is not None else ""
                _big(left, label, f"{bend}{setting_rpm(curve[name])}", 16)
        if curve.get("springs_note"):
            _shrunk(left, str(curve["springs_note"]), (11, 9.5, 8, 7), after=0.05)
        _shrunk(left, "Crank degrees before top dead centre, vacuum advance off and plugged.", (10, 8.5, 7), after=0.1)
    elif said.table:
        left.text("Enter the table at the right.", 18, bold=True, after=0.05)
        left.text("Crank degrees before top dead centre. “Enter” makes up for what the log and the delay add.", 10, after=0.1)
    else:
        left.text("Nothing: this day cannot tell.", 18, bold=True, after=0.1)
        if said.next_pulls:
            left.text("Run next: " + "; ".join(s.label + (f" ({s.text})" if s.text else "") for s in said.next_pulls[:3]), 12)


def _shrunk(column: PaperColumn, text: str, sizes: tuple[float, ...], after: float) -> bool:
    """A paragraph in the first of ``sizes`` that finds room; False where none does."""
    return any(column.text(text, size, after=after) for size in sizes)


def _limit_height(left: PaperColumn, said: Content) -> float:
    return left.height_of(said.limit, LIMIT_SIZE, bold=True) + 0.2 if said.limit else 0.0


def _limit(left: PaperColumn, said: Content) -> None:
    if not said.limit:
        return
    left.y += 0.05
    top = left.y
    left.text(said.limit, LIMIT_SIZE, bold=True, after=0.0)
    left.frame(top, left.y, "ink", pad=0.05)
    left.y += 0.15


def _big(column: PaperColumn, label: str, value: str, size: float) -> None:
    size = _fit(value, size, column.width - measure(label, 12) - 0.15, 10)
    if not column.room(size * 1.25 / 72):
        return
    column.line(label, column.x, column.y + (size - 12) / 72, 12)
    column.line(value, column.x + column.width, column.y, size, bold=True, ha="right")
    column.y += size * 1.25 / 72


def _conditions(columns: list[PaperColumn], shown: DayView) -> None:
    """What the setting holds for, in whichever column has room, smaller before anything is left out."""
    facts = shown.record.get("facts") or {}
    day, engine = facts.get("day") or {}, facts.get("engine") or {}
    told = (
        ("Fuel", day.get("fuel") or engine.get("fuel")),
        ("Timing mark", model.mark(shown.record)),
        ("Knock", model.knock(shown.record)),
        ("Plugs", day.get("plugs")),
        ("Oil", day.get("oil")),
        ("Mixture", day.get("mixture")),
    )
    missing = [label.lower() for label, text in told if not text]
    lines = [f"{label}: {text}" for label, text in told if text] + [f"Not noted: {', '.join(missing)}"] * bool(missing)
    for line in lines:
        any(column.text(line, size, after=0.03) for size in (10.5, 8.5, 7.0, 6.0) for column in columns)


def _rows(shown: DayView) -> tuple[str, tuple[str, ...], list[tuple[str, ...]]]:
    readings = [r for r in (shown.record.get("card") or {}).get("readings") or [] if r.get("up_deg") is not None]
    table = [] if shown.mechanical else [r for r in shown.advice.get("table") or [] if r.get("delivered_deg") is not None]
    if table:
        light = {r["rpm"]: r["up_deg"] for r in readings}
        heads = ("rpm", "at the spark", "enter") + (("light reads",) if light else ())
        rows = [(number(r["rpm"]), setting_degrees(r["delivered_deg"]), setting_degrees(r.get("enter_deg"))) for r in table]
        lit = [(setting_degrees(light[r["rpm"]]) if r["rpm"] in light else "–",) if light else () for r in table]
        return "TABLE", heads, [(*row, *extra) for row, extra in zip(rows, lit, strict=True)]
    if any(r.get("down_deg") is not None and r["down_deg"] != r["up_deg"] for r in readings):
        cells = [(number(r["rpm"]), setting_degrees(r["up_deg"]), setting_degrees(r.get("down_deg"))) for r in readings]
        return "CHECK WITH A LIGHT", ("rpm", "rpm rising", "rpm falling"), [tuple(c) for c in cells]
    return "CHECK WITH A LIGHT", ("rpm", "light reads"), [(number(r["rpm"]), setting_degrees(r["up_deg"])) for r in readings]


def _readings(right: PaperColumn, shown: DayView) -> None:
    title, heads, cells = _rows(shown)
    right.text(title, 13, bold=True, after=0.03)
    if not cells:
        right.text("No readings to check against: no curve is advised.", 12)
        return
    step = -(-len(cells) // READINGS)
    cells = [c for i, c in enumerate(cells) if i % step == 0 or i == len(cells) - 1]
    part = right.width / len(heads)
    for k, row in enumerate([heads, *cells]):
        size = 10.0 if k == 0 else 15.0
        if not right.room(size * 1.42 / 72):
            break
        for i, cell in enumerate(row):
            right.line(cell, right.x + part * (i + 1) - 0.05, right.y, _fit(cell, size, part - 0.08, 6), bold=k > 0, ha="right")
        right.y += size * 1.42 / 72
        right.rule("soft" if k else "ink", 0.6 if k else 1.2, y=right.y - 0.04)
    right.y += 0.05
    card = shown.record.get("card") or {}
    scale = str(card.get("scale") or "as a light reads on a true mark")
    right.text(f"Degrees {scale}." if title != "TABLE" else f"Light: {scale}.", 9)
    if card.get("mm_per_deg") is not None:
        right.text(f"On this damper one degree is {number(card['mm_per_deg'], 2)} mm.", 10.5)
    right.y += 0.08


def _cautions(said: Content) -> list[str]:
    return said.cautions or ["Follow the engine maker and the rules of your cell."]


def _foot(foot: PaperColumn, said: Content) -> None:
    end = foot.bottom
    foot.rule("ink", 1.2)
    foot.y += 0.08
    foot.text("TAKE CARE", 12, bold=True, after=0.02)
    foot.bottom = end - 0.72
    cautions = _cautions(said)
    size = next((s for s in (CAUTION_SIZE, 7.5, 7.0, 6.5) if columns_height(foot, cautions, s) <= foot.bottom - foot.y), 6.0)
    left_over = two_columns(foot, cautions, size)
    foot.bottom = end
    if left_over:
        foot.text(f"{len(left_over)} more in the report.", 8, bold=True)
    foot.y = end - 0.32
    thirds = foot.width / 3
    for i, label in enumerate(SIGNATURES):
        part = PaperColumn(foot.sheets, foot.figure, foot.x + i * thirds, foot.y, thirds - 0.2, foot.bottom)
        part.rule("ink", 0.8)
        part.line(label, part.x, part.y + 0.03, 9, hue="soft")
