"""The report on paper: page one in one look, then the evidence, then the builder's page. As many sheets as the day needs."""

import io

import matplotlib as mpl

from pullbook.report.content import PAGE_ONE, PAGE_THREE, PAGE_TWO, RANGES, Content, Figures
from pullbook.report.glossary import GLOSSARY
from pullbook.report.letters import measure
from pullbook.report.model import Said
from pullbook.report.paper import PaperColumn, Sheets, settings
from pullbook.report.pictures import Shown
from pullbook.wording import counted

CAUTION_SIZE = 6.3
WORDS_SIZE = 7.0
FIRST_QUESTIONS = 2
TOGETHER = 1.6
"""Inches of a list that stand on one sheet: a shorter one is not broken."""


def report_pdf(said: Content, photos: list[Shown], *, page: str = "A4") -> bytes:
    """The report as PDF bytes.

    Parameters
    ----------
    said
        What the report says.
    photos
        Pictures made fit to show.
    page
        ``A4`` or ``Letter``.
    """
    with mpl.rc_context(settings()):
        sheets = Sheets(page, (said.engine, f", {said.day}. {said.made}"), f"{said.engine}, {said.day}")
        over = _page_one(sheets, said)
        _page_two(sheets, said, over)
        _page_three(sheets, said, photos)
        return sheets.pdf()


def _page_one(sheets: Sheets, said: Content) -> list[str]:
    sheet = sheets.sheet()
    sheet.text(f"{said.title}   {said.day}", 10, hue="soft", after=0.04)
    size = 15.0 if len(said.sentence) < 160 else 11.0
    sheet.text(said.sentence, size, bold=True, after=0.12)
    over: list[str] = []
    cautions = said.cautions or [
        "A dyno pull can break an engine and hurt people: follow the engine maker and the rules of your cell."
    ]
    height = min(columns_height(PaperColumn(sheets, sheet.figure, 0, 0, sheet.width - 0.14, 0), cautions, CAUTION_SIZE) + 0.42, 3.2)
    bottom = sheet.bottom - height - 0.2
    left = PaperColumn(sheets, sheet.figure, sheet.x + 0.07, sheet.y + 0.03, 2.4, bottom)
    right = PaperColumn(sheets, sheet.figure, sheet.x + 2.68, sheet.y, sheet.width - 2.68, bottom)
    _limit(left, said)
    over += _set(left, said)
    over += _points(left, "How far to trust it", [f"{s.label}: {s.text}." for s in said.standing])
    doubts = _points(left, "Left out and doubtful", said.doubts_first or ["Nothing was left out."])
    over += doubts if said.doubts_first else []
    if said.questions:
        fits = left.room(left.height_of("• " + said.questions[0], 7.5) + 0.16)
        where = "; all in the evidence:" if fits else ", in the evidence."
        left.text(f"{counted(len(said.questions), 'open question')}{where}", 8, after=0.01)
        for question in said.questions[: FIRST_QUESTIONS if fits else 0]:
            left.text("• " + question, 7.5, after=0.02)  # no room: it stands in the evidence all the same
    over += _right(right, said)
    foot = PaperColumn(sheets, sheet.figure, sheet.x + 0.07, bottom + 0.12, sheet.width - 0.14, sheet.bottom - 0.18)
    top = foot.y
    foot.text("Take care", 8.5, bold=True, hue="down", after=0.02)
    over += two_columns(foot, cautions, CAUTION_SIZE)
    foot.frame(top, foot.y, "down")
    foot.y += 0.06
    foot.bottom = sheet.bottom + 0.1
    foot.text(RANGES, 6.8, hue="soft")
    return over


def _right(right: PaperColumn, said: Content) -> list[str]:
    """Pictures, as tall as there is room, and what to run next under them."""
    lines = _next(said)
    text = min(sum(right.height_of("• " + line, 7.5) + 0.02 for line in lines) + 0.26, 2.0)
    pictures = said.drawn(PAGE_ONE)
    if pictures:
        room = right.bottom - right.y - text - sum(right.height_of(p.title, 8.5, bold=True) + 0.06 for p in pictures)
        heights = [
            2.0 if p.name == "torque" else p.height for p in pictures
        ]  # torque needs least: it is told again as a difference
        for p, height in zip(pictures, heights, strict=True):
            right.picture(p, said.span, height=height * min(room / sum(heights), 1.35), size=8.5)
            right.y += 0.06
    else:
        right.text("There is nothing to draw: no pull of this day could be used.")
    return _points(right, "Run next", lines)


def two_columns(foot: PaperColumn, lines: list[str], size: float) -> list[str]:
    """Paragraphs of ``size`` points in two columns, as even as they go; gives back those that found no room."""
    gap = 0.2
    width = (foot.width - gap) / 2
    heights = [foot.height_of("• " + c, size, indent=width + gap) + 0.02 for c in lines]
    split = even_split(heights)
    over: list[str] = []
    ends = [foot.y]
    for x, part in ((foot.x, lines[:split]), (foot.x + width + gap, lines[split:])):
        column = PaperColumn(foot.sheets, foot.figure, x, foot.y, width, foot.bottom)
        over += [c for c in part if not column.text("• " + c, size, after=0.02)]
        ends.append(column.y)
    foot.y = max(ends)
    return over


def even_split(heights: list[float]) -> int:
    """How many of a list, by their ``heights`` in any unit, go into the first of two columns as even as they go."""
    return min(range(len(heights) + 1), key=lambda i: max(sum(heights[:i]), sum(heights[i:])))


def columns_height(sheet: PaperColumn, lines: list[str], size: float) -> float:
    """Height, inches, that :func:`two_columns` takes."""
    half = PaperColumn(sheet.sheets, sheet.figure, 0, 0, (sheet.width - 0.2) / 2, 99)
    heights = [half.height_of("• " + c, size) + 0.02 for c in lines]
    split = even_split(heights)
    return max(sum(heights[:split]), sum(heights[split:]))


def _limit(left: PaperColumn, said: Content) -> None:
    """The most advance and who heard what: before any number that could make somebody advance further."""
    top = left.y
    if said.limit:
        left.text(said.limit, 8, bold=True, hue="down", after=0.02)
    left.text(said.knock, 7.5, after=0.0)
    left.frame(top, left.y, "down")
    left.y += 0.14


def _set(left: PaperColumn, said: Content) -> list[str]:
    """What to set and what it is worth; gives back what it is worth where there is no room for it."""
    top = left.y
    left.text("Set", 9, bold=True, hue="hard", after=0.02)
    if said.to_set:
        for i, s in enumerate(said.to_set):
            _pair(left, s, 15 if i < 2 else 9)
    elif said.table:
        row = 9 * 1.35 / 72
        for k, cells in enumerate((said.table.heads, *said.table.rows[:24])):
            if not left.room(row):
                break
            for x, cell in zip((0.5, 1.3, 2.0), cells, strict=True):
                left.line(cell, left.x + x, left.y, 7 if k == 0 else 8.5, hue="soft" if k == 0 else "ink", ha="right")
            left.y += row
    else:
        left.text("This day gives nothing to set. See what to run next.", 9)
    over = [f"Set: {w}" for w in said.worth if not left.text(w, 7.2, hue="soft")]
    left.frame(top, left.y, "hard")
    left.y += 0.14
    return over


def _pair(left: PaperColumn, s: Said, size: float) -> None:
    label = measure(s.label, 8) + 0.1
    if label + measure(s.text, size, True) <= left.width and left.room(size * 1.32 / 72):
        left.line(s.label, left.x, left.y + (size - 8) * 0.95 / 72, 8, hue="soft")
        left.line(s.text, left.x + left.width, left.y, size, bold=True, ha="right")
        left.y += size * 1.32 / 72
    else:
        left.text(f"{s.label}: {s.text}", 8, after=0.02)


def _next(said: Content) -> list[str]:
    if said.next_pulls:
        return [f"{s.label}{f' ({s.text})' if s.text else ''}: {s.small}" for s in said.next_pulls]
    return ["Nothing: more pulls would gain less than they cost." if said.enough else "No pull to propose from what is known."]


def _points(column: PaperColumn, head: str, lines: list[str]) -> list[str]:
    """Draw a heading and its points; give back the points that found no room."""
    first = column.height_of(head, 9, bold=True) + 0.01 + column.height_of("• " + lines[0], 7.5) if lines else 0.0
    if not column.room(first) or not column.text(head, 9, bold=True, after=0.01):  # no heading stands without its first point
        return [f"{head}: {line}" for line in lines]
    for i, line in enumerate(lines):
        if not column.text("• " + line, 7.5, after=0.02):
            return [f"{head}: {rest}" for rest in lines[i:]]
    column.y += 0.07
    return []


def _flow(sheets: Sheets, column: PaperColumn, head: str, lines: list[str], none: str = "", size: float = 8.2) -> PaperColumn:
    """A heading and points that may run over to further sheets."""
    points = lines or ([none] if none else [])
    if not points:
        return column
    tall = 0.2 + sum(column.height_of("• " + p, size) + 0.02 for p in points)
    if not column.room(min(tall, TOGETHER)):  # a short list stays in one piece, a long one begins with more than its heading
        column = sheets.sheet()
    column.text(head, 10, bold=True, after=0.02)
    for p in points:
        if not column.text("• " + p, size, after=0.02):
            column = sheets.sheet()
            column.text("• " + p, size, after=0.02)
    column.y += 0.12
    return column


def _pictures(sheets: Sheets, column: PaperColumn, said: Content, modules: Figures, scale: float = 1.0) -> PaperColumn:
    for picture in said.drawn(modules):
        if not column.picture(picture, said.span, height=picture.height * scale):
            column = sheets.sheet()
            column.picture(picture, said.span, height=min(picture.height, column.bottom - column.y - 0.5))
        if picture.note:
            column.text(picture.note, 7.2, hue="soft", after=0.12)
    return column


def _page_two(sheets: Sheets, said: Content, over: list[str]) -> None:
    column = sheets.sheet()
    column.text("The evidence", 14, bold=True, after=0.1)
    column = _flow(sheets, column, "Continued from the first page", over)
    column = _pictures(sheets, column, said, PAGE_TWO, 0.88)
    column = sheets.table(column, said.pulls)
    column = _flow(sheets, column, "Warnings", said.warnings)
    column = _flow(sheets, column, "Air and correction", [f"{s.label}: {s.text}" for s in said.air])
    column = _flow(sheets, column, "Changed since this engine’s last day", said.changes, "Nothing noted, or no earlier day.")
    column = _flow(sheets, column, "Not established", said.not_established, "Nothing to add.")
    column = _flow(sheets, column, "Not tested", said.not_tested, "Nothing to add.")
    _flow(sheets, column, "Questions still open", said.questions, "No question is open.")


def _page_three(sheets: Sheets, said: Content, photos: list[Shown]) -> None:
    column = sheets.sheet()
    column.text("For the builder", 14, bold=True, after=0.1)
    column = _pictures(sheets, column, said, PAGE_THREE)
    if said.shapes:
        column = sheets.table(column, said.shapes)
    column = _flow(sheets, column, "Sums", [f"{s.label}: {s.text}" for s in said.sums])
    column = _flow(
        sheets,
        column,
        "What was taken as given",
        [f"{s.label}: {s.text}{f' ({s.small})' if s.small else ''}" for s in said.assumptions],
    )
    column = _photos(sheets, column, photos)
    if said.facts:
        column = sheets.table(column, said.facts)
    if said.inputs:
        column = sheets.table(column, said.inputs)
    _words(sheets, column)


def _words(sheets: Sheets, column: PaperColumn) -> None:
    """The words in two columns that stay together: in one they ran over by a line that had a sheet to itself."""
    lines = [f"{word}: {meaning}" for word, meaning in GLOSSARY]
    if not column.room(columns_height(column, lines, WORDS_SIZE) + 0.3):
        column = sheets.sheet()
    column.text("Words", 10, bold=True, after=0.02)
    two_columns(column, lines, WORDS_SIZE)


def _photos(sheets: Sheets, column: PaperColumn, photos: list[Shown]) -> PaperColumn:
    if not photos:
        return column
    from PIL import Image

    w, h = sheets.size
    column = _flow(sheets, column, "Pictures", [f"{p.name}: {p.why_not}" for p in photos if p.jpeg is None])
    for p in photos:
        if p.jpeg is None:
            continue
        width = min(column.width * 0.62, 5.5 * p.width / p.height)
        height = width * p.height / p.width
        if not column.room(height + 0.25):
            column = sheets.sheet()
        column.text(p.name, 8, bold=True)
        ax = column.figure.add_axes((column.x / w, 1 - (column.y + height) / h, width / w, height / h))
        ax.set_axis_off()
        image = Image.open(io.BytesIO(p.jpeg))
        image.thumbnail((900, 900))
        ax.imshow(image, aspect="auto", interpolation="none")
        column.y += height + 0.15
    return column
