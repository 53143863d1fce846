"""A day's record in brief: what the tune history shows of it, kept in the seal so that years are listed without opening tables."""

from typing import Any

from pullbook.columns import LISTENED, NOTED
from pullbook.comparison.comparable import comparable

_SHAPE = ("setting", "family", "initial_deg", "lo_initial_deg", "hi_initial_deg", "total_deg", "lo_total_deg", "hi_total_deg",
          "start_rpm", "all_in_rpm")  # fmt: skip
_BEST = ("rpm", "best_deg", "lo_deg", "hi_deg", "state", "least_deg")
BRIEF_RPM = 500
"""Best advance is listed at multiples of this."""


def brief(record: dict[str, Any]) -> dict[str, Any]:
    """The parts of a record that the history lists and compares, a few kilobytes."""
    pulls = record.get("pulls") or []
    used = [p for p in pulls if p.get("status") in ("used", "part")]
    shapes = {s.get("setting"): s for s in record.get("shapes") or []}
    names = dict.fromkeys(p.get("setting") for p in used)
    settings = [
        {
            **{k: shapes.get(name, {}).get(k) for k in _SHAPE},
            "setting": name,
            "pulls": sum(p.get("setting") == name for p in used),
            "baseline": any(p.get("setting") == name and p.get("baseline") for p in used),
        }
        for name in names
    ]
    advice = record.get("advice") or {}
    mechanical = advice.get("mechanical") or {}
    return {
        "settings": settings,
        "best": [{k: b.get(k) for k in _BEST} for b in record.get("best") or [] if (b.get("rpm") or 1) % BRIEF_RPM == 0],
        "advice": {k: mechanical.get(k) for k in ("initial_deg", "total_deg", "start_rpm", "all_in_rpm", "cost_pct")}
        | {"enough": advice.get("enough"), "sentence": advice.get("sentence")},
        "effects": [e for e in record.get("effects") or [] if e.get("rpm_lo") != e.get("rpm_hi")],
        "comparable": comparable(record),
        "corrected": (record.get("correction") or {}).get("factor_min") is not None,
        "repeatability": record.get("repeatability") or {},
        "knock": sorted({k.get("word") for k in record.get("knock") or [] if k.get("word")}),
        "knock_settings": _knock_settings(record.get("knock") or []),
        "pulls": len(pulls),
        "pulls_used": len(used),
        "pulls_part": sum(p.get("status") == "part" for p in used),
    }


def _knock_settings(knock: list[dict[str, Any]]) -> dict[str, list[str]]:
    """The settings under each word of knock, in the order met; notes come first, silence after, and who did not listen last."""
    words: dict[str, dict[str, None]] = {}
    for fact in knock:
        if fact.get("word") and fact.get("setting") is not None:
            words.setdefault(str(fact["word"]), {})[str(fact["setting"])] = None
    order = [*NOTED, *(w for w in LISTENED if w not in NOTED)]
    return {w: list(words[w]) for w in sorted(words, key=lambda w: order.index(w) if w in order else len(order))}
