"""reports/index.html: every engine and every day, newest first, each with its sentence; found by eye or by typing."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pullbook.book import day_order, natural
from pullbook.report import html
from pullbook.report.day_row import address
from pullbook.report.words import clean_all


def render_index(reports: Path, days: list[dict[str, Any]]) -> Path:
    """Write the page that lists every day.

    Parameters
    ----------
    reports
        The reports folder.
    days
        One :func:`pullbook.report.day_row.summary` a day, any order; ``folder`` where the engine's folder is not its name,
        ``logs_here`` false where the day's logs are gone.
    """
    rows = day_rows(days)
    engines: dict[str, dict[str, Any]] = {}
    for row in rows:
        engines.setdefault(
            row["folder"],
            {
                "name": row["engine"],
                "title": row["title"] if row["title"] != row["engine"] else "",
                "href": f"{address(row['folder'])}/index.html",
                "days": 0,
            },
        )["days"] += 1
    values = {
        "engines": [engines[name] for name in sorted(engines, key=natural)],
        "years": by_year(rows),
        "count": len(rows),
        "gone": sum(not r["logs_here"] for r in rows),
    }
    path = reports / "index.html"
    path.write_text(html.page("index.html.j2", **values), encoding="utf-8", errors="replace")
    return path


def day_rows(days: Iterable[dict[str, Any]], *, up: str = "") -> list[dict[str, Any]]:
    """Summaries ready to show, newest first, their addresses taken from ``up``."""
    rows = []
    for day in days:
        folder = str(day.get("folder") or day["engine"])
        shown = clean_all(day)
        shown |= {
            "folder": folder,
            "href": f"{up}{address(folder)}/{address(str(day['day']))}/report.html",
            "history": f"{up}{address(folder)}/index.html",
            "logs_here": bool(day.get("logs_here", True)),
        }
        rows.append({**_EMPTY, **shown, "facts": _facts({**_EMPTY, **shown})})
    return sorted(sorted(rows, key=lambda r: natural(r["engine"])), key=lambda r: day_order(r["day"]), reverse=True)


def _facts(r: dict[str, Any]) -> str:
    said = [
        r["title"] if r["title"] != r["engine"] else "",
        f"Set: {r['advised'] or 'none'}",
        f"{'Costs next to nothing' if '°' in r['best_band'] else 'Best'}: {r['best_band'] or 'not placed'}",
        f"A repeat lands {r['repeatability']}" if r["repeatability"] else "",
        r["pulls"],
        f"Run: {'; '.join(r['settings'])}" if r["settings"] else "",
        f"Fuel: {r['fuel']}" if r["fuel"] else "",
        f"Dyno: {r['dyno']}" if r["dyno"] else "",
        f"Open questions: {r['questions']}" if r["questions"] else "",
    ]
    return " ".join(f"{text}." for text in said if text)


_EMPTY: dict[str, Any] = {
    "title": "",
    "sentence": "", "advised": "", "best_band": "", "repeatability": "", "pulls": "", "settings": [], "changes": [], "notes": "",
    "fuel": "", "dyno": "", "questions": 0, "made_at": "",
}  # fmt: skip


def by_year(rows: list[dict[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Rows that are in order, parted by year."""
    years: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        years.setdefault(row["day"][:4], []).append(row)
    return list(years.items())
