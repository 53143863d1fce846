"""How a run ends: where the reports are and each day's sentence, for people and as JSON."""

from typing import Any

from pullbook.book import Book, on_screen, printable
from pullbook.running.run import Outcome, reports_page


def as_json(book: Book, outcome: Outcome) -> dict[str, Any]:
    """The object of `pullbook run --json` (docs/json.md)."""
    return {
        "status": outcome.status,
        "nothing_new": not outcome.days,
        "reports": book.shown(reports_page(book)),
        "days": [
            {
                "engine": printable(day["engine"]),
                "day": printable(day["day"]),
                "why": day.get("why"),
                "sentence": day.get("sentence"),
                "report": day.get("report"),
                "revision": day.get("revision") or None,
                "errors": day.get("errors", []),
                "unwritable": day.get("unwritable"),
                "fault": day.get("fault"),
            }
            for day in outcome.days
        ],
        "notices": outcome.notices + ([outcome.unwritable] if outcome.unwritable else []),
    }


def as_text(book: Book, outcome: Outcome) -> str:
    """What `pullbook run` prints last."""
    lines = [*outcome.notices]
    for day in outcome.days:
        lines.append(f"{printable(day['engine'])} / {printable(day['day'])} ({day.get('why')})")
        if day.get("sentence"):
            lines.append(f"  {day['sentence']}")
        lines += [f"  not used: {_sentence(error)}" for error in day.get("errors", [])]
        if day.get("unwritable"):
            lines.append(f"  not archived: {day['unwritable']}")
        if day.get("fault"):
            lines.append(f"  a fault of pullbook's own: {day['fault']}; the traceback is in .pullbook ({day.get('log')})")
    if not outcome.days:
        lines.append("Nothing new.")
    if reports_page(book).exists():
        lines.append(f"Reports: {reports_page(book)}")
    return "\n".join(on_screen(line) for line in lines)


def _sentence(error: dict[str, Any]) -> str:
    from pullbook.handover import Fault  # a run with nothing to say loads no table

    return Fault(**error).sentence()
