"""The card for the stand: one sheet, read at arm's length in black and white, with room for a signature."""

import matplotlib as mpl

from pullbook.report import model
from pullbook.report.content import Content
from pullbook.report.paper import Column, Sheets, measure, printable, settings
from pullbook.report.view import DayView
from pullbook.report.words import number, setting_degrees

READINGS = 14


def card_pdf(shown: DayView, said: Content, *, page: str = "A4") -> bytes:
    """The card as PDF bytes, one page whatever the day holds."""
    with mpl.rc_context(settings()):
        sheets = Sheets(page, said.made, f"Tune card: {said.engine}, {said.day}")
        sheet = sheets.sheet()
        _head(sheet, said)
        foot = _foot_height(sheet, said)
        bottom = sheet.bottom - foot
        middle = sheet.y
        left = Column(sheets, sheet.figure, sheet.x, middle, 3.35, bottom)
        right = Column(sheets, sheet.figure, sheet.x + 3.65, middle, sheet.width - 3.65, bottom)
        _set(left, shown, said)
        _conditions(left, shown)
        _readings(right, shown)
        _foot(Column(sheets, sheet.figure, sheet.x, bottom + 0.05, sheet.width, sheet.bottom), said)
        return sheets.pdf()


def _fit(text: str, size: float, width: float, least: float) -> float:
    while size > least and measure(printable(text), size, True) > width:
        size -= 1
    return size


def _head(sheet: Column, said: Content) -> None:
    size = _fit(said.engine, 26, sheet.width, 14)
    name = printable(said.engine)
    while measure(name, size, True) > sheet.width and len(name) > 2:
        name = name[:-2].rstrip() + "…"
    sheet.text(name, size, bold=True, after=0.02)
    sheet.text(f"Day {said.day}. Behind it: {said.standing[0].text}.", 12, after=0.08)
    sheet.rule("ink", 2.0)
    sheet.y += 0.15


def _set(left: Column, shown: DayView, said: Content) -> None:
    left.text("SET", 13, bold=True, after=0.02)
    curve = shown.mechanical
    if curve:
        for label, value in (("Total", curve["total_deg"]), ("Initial", curve.get("initial_deg")), ("Stop", curve.get("stop_deg"))):
            _big(left, label, setting_degrees(value), 34 if label == "Total" else 24)
        for label, value in (
            ("Starts to move", curve.get("start_rpm")),
            ("Bends", curve.get("knee_rpm")),
            ("All in by", curve.get("all_in_rpm")),
        ):
            if value is not None:
                bend = f"{number(curve['knee_deg'])}° at " if label == "Bends" and curve.get("knee_deg") is not None else ""
                _big(left, label, f"{bend}{number(value)} rpm", 16)
        if curve.get("springs_note"):
            left.text(str(curve["springs_note"]), 12, after=0.05)
        left.text("Crank degrees before top dead centre, vacuum advance off and plugged.", 10, after=0.1)
    elif said.table:
        left.text("the table at the right, at the spark", 16, bold=True, after=0.1)
    else:
        left.text("Nothing: this day cannot tell.", 18, bold=True, after=0.1)
        left.text(
            "Run next: " + "; ".join(s.label + (f" ({s.text})" if s.text else "") for s in said.next_pulls[:3])
            if said.next_pulls
            else "",
            12,
        )
    if said.limit:
        top = left.y + 0.05
        left.y = top
        left.text(said.limit, 12, bold=True, after=0.0)
        left.frame(top, left.y, "ink", pad=0.05)
        left.y += 0.15


def _big(column: Column, label: str, value: str, size: float) -> None:
    value_size = _fit(value, size, column.width - measure(label, 12) - 0.15, 10)
    if not column.room(value_size * 1.25 / 72):
        return
    column.line(label, column.x, column.y + (value_size - 12) / 72, 12)
    column.line(value, column.x + column.width, column.y, value_size, bold=True, ha="right")
    column.y += value_size * 1.25 / 72


def _conditions(left: Column, shown: DayView) -> None:
    facts = shown.record.get("facts") or {}
    day, engine = facts.get("day") or {}, facts.get("engine") or {}
    for label, text in (
        ("Fuel", day.get("fuel") or engine.get("fuel")),
        ("Plugs", day.get("plugs")),
        ("Oil", day.get("oil")),
        ("Mixture", day.get("mixture")),
        ("Timing mark", model.mark(shown.record)),
        ("Knock", model.knock(shown.record)),
    ):
        left.text(f"{label}: {text or 'not noted'}", 11, after=0.03)


def _readings(right: Column, shown: DayView) -> None:
    card = shown.record.get("card") or {}
    rows = [r for r in card.get("readings") or [] if r.get("up_deg") is not None]
    table = (
        [(r["rpm"], r.get("delivered_deg"), r.get("enter_deg")) for r in shown.advice.get("table") or []]
        if not shown.mechanical
        else []
    )
    heads: tuple[str, ...]
    cells: list[tuple[str, ...]]
    if table:
        heads, cells = ("rpm", "at the spark", "enter"), [(number(n), setting_degrees(a), setting_degrees(b)) for n, a, b in table]
        right.text("TABLE", 13, bold=True, after=0.03)
    else:
        down = any(r.get("down_deg") is not None for r in rows)
        heads = ("rpm", "light, rpm rising", "rpm falling") if down else ("rpm", "light reads")
        cells = [
            (
                number(r["rpm"]),
                setting_degrees(r["up_deg"]),
                *((setting_degrees(r.get("down_deg")) if r.get("down_deg") is not None else "–",) if down else ()),
            )
            for r in rows
        ]
        right.text("CHECK WITH A LIGHT", 13, bold=True, after=0.03)
    if not cells:
        right.text("No readings to check against: no curve is advised.", 12)
        return
    step = (len(cells) + READINGS - 1) // READINGS
    cells = cells[::step] if step > 1 else cells
    edges = [right.x + right.width * (i + 1) / len(heads) - 0.05 for i in range(len(heads))]
    for k, row in enumerate([heads, *cells]):
        size = 10.5 if k == 0 else 16
        if not right.room(size * 1.5 / 72):
            break
        for x, cell in zip(edges, row, strict=True):
            right.line(cell, x, right.y, _fit(cell, size, right.width / len(heads) - 0.08, 7), bold=k > 0, ha="right")
        right.y += size * 1.5 / 72
        right.rule("soft" if k else "ink", 0.6 if k else 1.2, y=right.y - 0.04)
    right.y += 0.05
    if card.get("mm_per_deg") is not None:
        right.text(f"On this damper one degree is {number(card['mm_per_deg'], 2)} mm.", 11)
    right.text("Use a plain light on number one lead. A reading a degree off is within what a light can tell.", 10)


def _cautions(said: Content) -> list[str]:
    return said.cautions[:8] or ["Follow the engine maker and the rules of your cell."]


def _foot_height(sheet: Column, said: Content) -> float:
    return min(sum(sheet.height_of("• " + c, 10) + 0.03 for c in _cautions(said)) + 1.35, 4.2)


def _foot(foot: Column, said: Content) -> None:
    sign = 0.75
    foot.rule("ink", 1.2)
    foot.y += 0.08
    foot.text("TAKE CARE", 12, bold=True, after=0.02)
    end = foot.bottom
    foot.bottom = end - sign
    for c in _cautions(said):
        if not foot.text("• " + c, 10, after=0.03):
            break
    foot.bottom = end
    foot.y = end - 0.32
    thirds = foot.width / 3
    for i, label in enumerate(("set by", "checked with a light by", "date and hours")):
        part = Column(foot.sheets, foot.figure, foot.x + i * thirds, foot.y, thirds - 0.2, foot.bottom)
        part.rule("ink", 0.8)
        part.line(label, part.x, part.y + 0.03, 9, hue="soft")
