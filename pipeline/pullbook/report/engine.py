"""reports/<engine>/index.html: an engine's tune history, what was run, what was best, what changed from day to day."""

from pathlib import Path
from typing import Any

from pullbook.report import html
from pullbook.report.canvas import Table
from pullbook.report.figures import history
from pullbook.report.index import by_year, day_rows
from pullbook.report.words import clean


def render_engine(reports: Path, engine: str, days: list[dict[str, Any]]) -> Path:
    """Write an engine's history page.

    Parameters
    ----------
    reports
        The reports folder.
    engine
        The engine's folder name.
    days
        One :func:`pullbook.report.day_row.summary` a day of this engine, any order.
    """
    rows = [{**r, "href": r["href"].split("/", 1)[1]} for r in day_rows([{**d, "folder": engine} for d in days])]
    name = rows[0]["engine"] if rows else clean(engine)
    heads = ("day", "to set", "best band", "a repeat lands", "pulls")
    cells = tuple((r["day"], r["advised"], r["best_band"], r["repeatability"], r["pulls"]) for r in rows)
    drawn = history.picture(rows[::-1])
    figures = [] if drawn is None else [html.figure(drawn, (0.0, 1.0))]
    title = rows[0]["title"] if rows and rows[0]["title"] != name else ""
    values = {
        "title": title,
        "engine": name,
        "years": by_year(rows),
        "count": len(rows),
        "glance": Table(f"All days of {name}", heads, cells),
        "figures": figures,
    }
    folder = reports / engine
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "index.html"
    path.write_text(html.page("engine.html.j2", **values), encoding="utf-8", errors="replace")
    return path
