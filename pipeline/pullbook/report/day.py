"""A day's report as files: report.html, report.pdf, tune_card.pdf, the pictures as SVG and their numbers as CSV."""

import csv
import io
from pathlib import Path
from typing import Any

import polars as pl

from pullbook.report import canvas, drawing, html
from pullbook.report.content import PAGE_ONE, PAGE_THREE, PAGE_TWO, Content, Figures, content
from pullbook.report.glossary import GLOSSARY
from pullbook.report.pictures import Shown, prepare
from pullbook.report.view import view
from pullbook.wording import inert


def render_day(
    record: dict[str, Any], tables: dict[str, pl.DataFrame], folder: Path, *, pictures_from: Path | None = None, page: str = "A4"
) -> list[Path]:
    """Write the report of one day.

    Parameters
    ----------
    record
        The day's record (contract: day.json) with ``not_established``, ``sums``, ``tested_limit``, ``facts``, ``method``,
        ``inputs``, ``prior`` and ``lag`` beside; any may be missing.
    tables
        Tables of the stages by name; used are ``pulls, setting_curves, offsets, residuals, evidence, surface`` (``rpm, advance_deg,
        loss_pct`` on a grid, tested places only) and ``pull_advance``. Any may be missing or empty.
    folder
        Where to write; made if need be.
    pictures_from
        The day folder with the pictures the record names.
    page
        ``A4`` or ``Letter``.

    Returns
    -------
    list of Path
        The files written.
    """
    from pullbook.report.card import card_pdf
    from pullbook.report.pdf import report_pdf

    shown = view(record, tables)
    said = content(shown)
    photos = prepare([str(n) for n in record.get("pictures") or []], pictures_from)
    (folder / "figures").mkdir(parents=True, exist_ok=True)
    drawings = {
        name: (drawing.svg(p, said.span, narrow=False), drawing.svg(p, said.span, narrow=True)) for name, p in said.pictures.items()
    }
    files: dict[Path, bytes] = {folder / "report.html": day_page(said, drawings, photos).encode("utf-8", "replace")}
    for name, picture in said.pictures.items():
        files[folder / "figures" / f"{name}.svg"] = drawing.svg_file(drawings[name][0], picture.alt).encode("utf-8", "replace")
        files[folder / "figures" / f"{name}.csv"] = _csv(picture.table)
    files[folder / "report.pdf"] = report_pdf(said, photos, page=page)
    files[folder / "tune_card.pdf"] = card_pdf(shown, said, page=page)
    for path, data in files.items():
        path.write_bytes(data)
    for stale in (folder / "figures").iterdir():
        if stale not in files and stale.suffix in (".svg", ".csv"):
            stale.unlink()
    return list(files)


def day_page(said: Content, drawings: dict[str, tuple[str, str]], photos: list[Shown]) -> str:
    """The page as HTML text."""

    def some(modules: Figures) -> list[dict[str, Any]]:
        return [html.drawn_figure(p, *drawings[p.name]) for p in said.drawn(modules)]

    return html.page(
        "day.html.j2", c=said, one=some(PAGE_ONE), two=some(PAGE_TWO), three=some(PAGE_THREE), photos=photos, glossary=GLOSSARY
    )


def _csv(table: canvas.Table) -> bytes:
    out = io.StringIO()
    pen = csv.writer(out, lineterminator="\r\n")
    pen.writerow([inert(h) for h in table.heads])
    for row in table.rows:
        pen.writerow([_plain(cell) if table.is_figure(i) else inert(cell) for i, cell in enumerate(row)])
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8", "replace")


def _plain(cell: str) -> object:
    """A shown number as a machine reads it; anything else as guarded text."""
    try:
        return float(cell.replace("−", "-").replace("\u202f", ""))
    except ValueError:
        return inert(cell)
