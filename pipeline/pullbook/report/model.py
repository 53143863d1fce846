"""What a day's report says, in a builder's words. Every output (page, paper, card, lists of days) takes it from here."""

from dataclasses import dataclass
from typing import Any

from pullbook.columns import LISTENED, NOTED
from pullbook.measure.normal import Z90
from pullbook.report import words
from pullbook.report.view import DayView
from pullbook.report.words import number
from pullbook.wording import counted, listed, noted

UNSETTLED_DEG = 1.5  # width of the range of the log's error above which page one says so


@dataclass(frozen=True, slots=True)
class Said:
    """A label and what it says, with a second line in small print."""

    label: str
    text: str
    small: str = ""


def sentence(record: dict[str, Any]) -> str:
    """The day in one sentence."""
    return str((record.get("advice") or {}).get("sentence") or "This day cannot tell what to set.")


def count_pulls(pulls: list[dict[str, Any]]) -> str:
    """How many pulls stand behind a number, and how many do not."""
    by = {s: sum(p.get("status") == s for p in pulls) for s in ("used", "part", "left_out")}
    parts = [counted(by["used"], "pull") + " used"] if by["used"] or not by["part"] else []
    if by["part"]:
        parts.append((str(by["part"]) if by["used"] else counted(by["part"], "pull")) + " used in part")
    if by["left_out"]:
        parts.append(f"{by['left_out']} left out")
    return listed(parts)


def standing(shown: DayView) -> list[Said]:
    """How much the day can be trusted, in a few short facts."""
    logged = logged_degrees(shown.record)
    return [
        Said("Pulls", count_pulls(shown.pulls)),
        Said("A repeat pull lands", repeats_within(shown.record)),
        Said("Air", air(shown.record)),
        Said("Timing mark", mark(shown.record)),
        *([] if logged is None else [Said("Logged degrees", logged)]),
    ]


def repeats_within(record: dict[str, Any]) -> str:
    """Where a repeated pull falls, nine times in ten."""
    found = record.get("repeatability") or {}
    sd = found.get("pull_sd_pct")
    if sd is None:
        return "nobody knows where: no pull was repeated"
    dyno = "on this dyno" if (record.get("conditions") or {}).get("dyno") else "of this engine, dyno not noted"
    source = {
        "day": "from this day's pulls",
        "archive": f"from this day and earlier ones {dyno}",
        "default": "assumed: too few repeats to tell",
    }
    return f"within ±{number(Z90 * sd, 1)} % ({source.get(str(found.get('source')), 'assumed')})"


def air(record: dict[str, Any]) -> str:
    """Correction in one line."""
    found = record.get("correction") or {}
    already = found.get("already_corrected")
    if already == "unknown":
        return "the logs may already be corrected: nobody has said"
    if already:
        return f"the logs were already corrected to {already}; not corrected again"
    if found.get("standard") == "none":
        return "not corrected, as the day asks"
    if found.get("factor_min") is None:
        return "not corrected: pressure or temperature is missing"
    lo, hi = number(found["factor_min"], 3), number(found["factor_max"], 3)
    return f"{noted(found.get('standard'))}, factor {lo if lo == hi else f'{lo} to {hi}'}" + (
        ", outside the standard's window" if found.get("inside_window") is False else ""
    )


def mark(record: dict[str, Any]) -> str:
    """What is known of the damper mark."""
    found = record.get("timing_scale") or {}
    unsure = found.get("mark_uncertainty_deg")
    if found.get("verified"):
        error = found.get("zero_mark_error_deg")
        checked = ((((record.get("facts") or {}).get("day") or {}).get("zero_mark")) or {}).get("checked")
        when = f" on {checked}" if checked and str(checked) != str(record.get("day"))[:10] else ""
        text = f"checked with a stop{when}" + (
            f", reads {number(abs(error), 1)}° {'high' if error > 0 else 'low'}" if error else ""
        )
        return text + (f"; good to ±{number(unsure)}°" if unsure else "")
    return "not checked with a stop" + (
        f": every degree here may be off by the same amount, up to ±{number(unsure)}°" if unsure else ""
    )


def logged_degrees(record: dict[str, Any]) -> str | None:
    """How far the log's degrees may be off where next to nothing settles it; None where it is settled, or no log has any."""
    found = record.get("timing_scale") or {}
    lo, hi = found.get("lo_deg"), found.get("hi_deg")
    if lo is None or hi is None or hi - lo < UNSETTLED_DEG:
        return None
    ways = [f"{number(abs(end))}° {side}" for end, side in ((lo, "low"), (hi, "high")) if round(abs(end)) >= 1]
    return f"the log may read up to {' or '.join(ways)}: a light reading would settle it, and every degree here rests on it"


def knock(record: dict[str, Any]) -> str:
    """Knock notes; silence is never called absence."""
    notes = record.get("knock") or []
    heard = [n for n in notes if n.get("word") in NOTED]
    listened = {n.get("pull_id") for n in notes if n.get("word") in LISTENED}
    if heard:
        at: dict[str, tuple[list[str], list[float]]] = {}
        for n in heard:
            said, ends = at.setdefault(noted(n.get("setting")), ([], []))
            said += [str(n["word"])] if n["word"] not in said else []
            ends += [n[k] for k in ("rpm_lo", "rpm_hi") if n.get(k) is not None]
        places = [
            f"{listed(said)} on {name}" + (f" at {number(min(ends))} to {words.rpm(max(ends))}" if ends else "")
            for name, (said, ends) in at.items()
        ]
        return "; ".join(places[:6]) + (f"; and on {len(places) - 6} more" if len(places) > 6 else "")
    if not listened:
        return "nobody was listening" if record.get("pulls") else "no pull to listen to"
    run = len(record.get("pulls") or notes)
    if len(listened) >= run:
        return f"not heard, with somebody listening on all {counted(run, 'pull')}" if run > 1 else "not heard on the one pull run"
    return f"not heard on the {counted(len(listened), 'pull')} listened to, of {run} run"


def refused_inputs(record: dict[str, Any]) -> list[str]:
    """Inputs that could not be used, each with what to do."""
    told = []
    for e in record.get("errors") or []:
        place = noted(e.get("file")) + (f", line {e['line']}" if e.get("line") else "")
        found, expected, remedy = (noted(e.get(k)) for k in ("found", "expected", "remedy"))
        told.append(f"{place} could not be used: found {found}; expected {expected}. To do: {remedy}")
    return told


def left_out(shown: DayView) -> list[str]:
    """Pulls not used, or used in part, with their reasons; pulls of one fate and one reason in one line."""
    alike: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for pull in shown.pulls:
        if pull.get("status") in ("left_out", "part"):
            why = "; ".join(str(r) for r in pull.get("reasons") or []) or "no reason given"
            fate = "left out" if pull["status"] == "left_out" else "used in part"
            alike.setdefault((fate, why), []).append((noted(pull.get("order")), noted(pull.get("file"))))
    return [f"{_numbered(told)} {fate}: {why}" for (fate, why), told in alike.items()]


def _numbered(pulls: list[tuple[str, str]]) -> str:
    """``Pull 3 (a.csv)``, ``Pulls 3 (a.csv) and 4 (b.csv)``; more than three by their numbers alone."""
    names = [f"{order} ({file})" if len(pulls) <= 3 else order for order, file in pulls]
    return ("Pull " if len(pulls) == 1 else "Pulls ") + listed(names)
