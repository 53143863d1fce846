"""An engine's tune history: what was run, what it delivered, what was best, what changed between days."""

from math import ceil, floor
from typing import Any

import polars as pl

from pullbook.archive.store import Store
from pullbook.book import day_order, on_screen, printable
from pullbook.comparison.changes import not_like_for_like, told
from pullbook.wording import counted, few, to_fifty

_FINE_DEG = 0.5
"""Half a width of an interval of degrees up to which tenths are shown."""
_COARSE_PCT = 8.0
"""Width of an interval of a change from which whole per cents are shown."""


def history(store: Store, engine: str) -> dict[str, Any]:
    """The tune history of one engine, oldest day first, from seals and catalogue alone (no table is opened).

    Parameters
    ----------
    store
        The book's archive.
    engine
        Folder name.

    Returns
    -------
    dict
        ``engine``; ``dynos``: names in order met; ``days``: one object a day with ``day, revision, made_at, tool_version,
        logs_here, dyno, correction, pulls, pulls_used`` (whole or in part)``, pulls_part, settings, best, advice, effects, knock,
        repeatability, sentence, changes, not_like_for_like``. ``changes`` and ``not_like_for_like`` are against the day before it
        in this list. ``knock_settings``: word of knock -> settings it was noted on. ``unread``: days whose seal is damaged
        (`pullbook verify` says more).
    """
    rows = store.catalog().filter(pl.col("engine") == printable(engine)).select("day", "logs_here").collect().rows()
    days: list[dict[str, Any]] = []
    unread: list[str] = []
    before: dict[str, Any] | None = None
    for day, logs_here in sorted(rows, key=lambda r: day_order(r[0])):
        seal = store.seal(engine, day)
        if seal is None:
            unread.append(day)
            continue
        brief = seal["brief"]
        now = brief["comparable"]
        days.append(
            {
                "day": day,
                **{k: seal[k] for k in ("revision", "made_at", "tool_version")},
                "logs_here": bool(logs_here),
                "dyno": now["conditions"].get("dyno"),
                # without pressure or temperature a standard was asked for and nothing corrected; seals of before do not say
                "correction": now["conditions"].get("correction") if brief.get("corrected", True) else None,
                **{k: brief[k] for k in ("pulls", "pulls_used", "settings", "best", "advice", "effects", "knock", "repeatability")},
                "pulls_part": brief.get("pulls_part", 0),  # seals of before do not say this and the next
                "knock_settings": brief.get("knock_settings", {}),
                "sentence": brief["advice"].get("sentence"),
                "changes": told(now, before) if before else [],
                "not_like_for_like": not_like_for_like(now, before) if before else [],
            }
        )
        before = now
    dynos = list(dict.fromkeys(d["dyno"] for d in days if d["dyno"]))
    return {"engine": printable(engine), "dynos": dynos, "days": days, "unread": unread}


def as_text(told_history: dict[str, Any]) -> str:
    """The history for the screen, oldest day first; control characters of names do not reach the terminal."""
    days = told_history["days"]
    dynos = f", on {', '.join(told_history['dynos'])}" if told_history["dynos"] else ""
    lines = [f"{told_history['engine']}: {counted(len(days), 'day')}{dynos}"]
    for day in days:
        footing = [
            day["dyno"] or "dyno not noted",
            day["correction"] or "not corrected",
            _pulls(day),
        ]
        if day["revision"] > 1:
            footing.append(f"revision {day['revision']}")
        if not day["logs_here"]:
            footing.append("logs not here")
        lines += ["", f"{day['day']}   {', '.join(footing)}"]
        lines += [f"  run      {_setting(s)}" for s in day["settings"]]
        lines += [f"  effect   {_effect(e)}" for e in day["effects"]]
        lines += _best(day["best"])
        lines.append(f"  knock    {_knock(day)}")
        if day["sentence"]:
            lines.append(f"  advice   {day['sentence']}")
        lines += [f"  {'changed' if n == 0 else '':<8} {line}" for n, line in enumerate(day["changes"])]
    lines += [f"{day}: its seal is damaged; `pullbook verify` says what to do" for day in told_history["unread"]]
    return "\n".join(on_screen(line) for line in lines)


def _pulls(day: dict[str, Any]) -> str:
    in_part = f", {day['pulls_part']} of them in part" if day["pulls_part"] else ""
    return f"{day['pulls_used']} of {day['pulls']} pulls used{in_part}"


def _setting(setting: dict[str, Any]) -> str:
    delivered = []
    for key, word in (("initial_deg", "initial"), ("total_deg", "total")):
        if setting.get(key) is not None:
            delivered.append(f"{word} {_degrees(setting[key], setting.get(f'lo_{key}'), setting.get(f'hi_{key}'))}")
    if setting.get("all_in_rpm") is not None:
        delivered.append(f"all in by {to_fifty(setting['all_in_rpm'])} rpm")
    pulls = counted(setting["pulls"], "pull")
    kind = ", baseline" if setting["baseline"] else ""
    return f"{setting['setting']}: {pulls}{kind}; delivered {', '.join(delivered) or 'not known'}"


def _effect(effect: dict[str, Any]) -> str:
    if effect.get("change_pct") is None:
        return f"{effect['setting']} against {effect['versus']}: cannot tell"
    verdict = str(effect["verdict"]).replace("_", " ")
    change, lo, hi = _signed_alike([effect[k] for k in ("change_pct", "lo_pct", "hi_pct")])
    return f"{effect['setting']} against {effect['versus']}: {change} % ({lo} to {hi}), {verdict}"


def _signed_alike(values: list[float]) -> list[str]:
    """A change and its ends with the same number of decimals: one, none where the interval is wide, more where an end that
    excludes zero would be written as 0."""
    _, lo, hi = values
    coarsest = 0 if hi - lo >= _COARSE_PCT else 1
    near = min(abs(lo), abs(hi)) if lo * hi > 0 else None
    places = next((p for p in (coarsest, 1, 2) if near is None or round(near, p) > 0), 2)
    return [f"{v:+.{places}f}".replace("-", "−") if round(v, places) else f"{0:.{places}f}" for v in values]


def _degrees(value: float, lo: float | None, hi: float | None) -> str:
    """Degrees, a tenth only where the interval earns it."""
    return f"{value:.{_places(lo, hi)}f}°".replace("-", "−")


def _places(lo: float | None, hi: float | None) -> int:
    return 1 if lo is not None and hi is not None and hi - lo <= 2 * _FINE_DEG else 0


def _knock(day: dict[str, Any]) -> str:
    """What was noted, and on which settings; who did not listen is said too."""
    every = {s["setting"] for s in day["settings"]}
    if len(every) > 1 and [set(s) for s in day["knock_settings"].values()] == [every]:
        (word,) = day["knock_settings"]
        return f"{word} on any setting" if word.startswith("not ") else f"{word} on every setting"
    told = [f"{word} on {few([f'‘{s}’' for s in settings])}" for word, settings in day["knock_settings"].items()]
    return "; ".join(told) or ", ".join(day["knock"]) or "not listened"


def _best(rows: list[dict[str, Any]]) -> list[str]:
    shown = []
    for row in rows:
        if row["state"] == "inside" and row["best_deg"] is not None:
            places = _places(row["lo_deg"], row["hi_deg"])
            best, lo, hi = (f"{row[k]:.{places}f}".replace("-", "−") for k in ("best_deg", "lo_deg", "hi_deg"))
            shown.append(f"{row['rpm']}: {best}° ({lo} to {hi})")
        elif row["state"] == "above_tested" and row["lo_deg"] is not None:
            shown.append(f"{row['rpm']}: above {floor(row['lo_deg'])}°")
        elif row["state"] == "below_tested" and row["hi_deg"] is not None:
            shown.append(f"{row['rpm']}: below {ceil(row['hi_deg'])}°")
        elif row["state"] == "flat":
            shown.append(f"{row['rpm']}: not placed")
    return [f"  {'best' if n == 0 else '':<8} {', '.join(shown[n : n + 4])}" for n in range(0, len(shown), 4)]
