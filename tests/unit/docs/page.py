"""Reads docs/reading-logs.md: its sections, the logs and files they show, and the questions they quote."""

import re
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
PAGE = ROOT / "docs" / "reading-logs.md"
_FENCE = re.compile(r"^```(\w*)$")
_NAMED = re.compile(r"`([^`]+\.(?:csv|yaml))`")


@dataclass(slots=True)
class Case:
    """One example: logs it names, how they begin, what is asked, and the files that settle it, in turn.

    ``before``: files that stand there when the question is asked; ``after``: (name, content) each of which settles it.
    """

    title: str
    logs: list[str] = field(default_factory=list)
    begins: dict[str, str] = field(default_factory=dict)
    quotes: list[str] = field(default_factory=list)
    before: dict[str, str] = field(default_factory=dict)
    after: list[tuple[str, str]] = field(default_factory=list)


def cases() -> list[Case]:
    """Every example of the page: a section's examples part where the next log begins after an answer."""
    found: list[Case] = []
    case: Case | None = None
    named = ""
    lines = iter(PAGE.read_text(encoding="utf-8").split("\n"))
    for line in lines:
        if line.startswith("#"):
            case = Case(line.lstrip("# ")) if line.startswith("### ") else None
            found += [case] if case else []
            continue
        if case is None:
            continue
        if (fence := _FENCE.match(line)) is not None:
            block = "\n".join(iter(lambda: next(lines), "```")) + "\n"
            if fence[1] == "text":
                case.begins[named] = block
            elif case.quotes:
                case.after.append((named, block))
            else:
                case.before[named] = block
            continue
        names = _NAMED.findall(line)
        if names:
            named = names[-1]
        logs = [n for n in names if n.endswith(".csv") and n not in ("pulls.csv", "strobe.csv")]
        if logs and case.after:
            case = Case(case.title)
            found.append(case)
        case.logs += [n for n in logs if n not in case.logs]
        if line.startswith("> "):
            case.quotes.append(line[2:])
    return found
