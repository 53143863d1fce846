"""What to set and what it is worth, in a builder's words."""

from typing import Any

from pullbook.report import words
from pullbook.report.model import Said
from pullbook.report.view import DayView, mapped
from pullbook.report.words import degrees, half_width, percent, setting_degrees

MARK_OFF_DEG = 0.5
"""A mark that reads off by less is as true as a light is read; the day's sentence names the light from here on too."""

SAME_SETTING_DEG = 0.5
"""A total to set this near to the one a setting ran is that setting's, rounded."""

COARSE_PCT = 8.0
"""A change whose interval is this wide is given to half per cents, in the sentence to whole ones."""


def what_to_set(shown: DayView) -> list[Said]:
    """The advice as things to set; empty where there is none."""
    curve = shown.mechanical
    if curve is None:
        return []
    said = [
        Said("Total", setting_degrees(curve["total_deg"])),
        Said(
            "Initial",
            setting_degrees(curve.get("initial_deg")),
            "" if curve.get("initial_deg") is not None else "follows from the total once the stop is known",
        ),
    ]
    said += on_the_light(shown)
    if curve.get("stop_deg") is not None:
        said.append(Said("Stop", setting_degrees(curve["stop_deg"])))
    if curve.get("start_rpm") is not None:
        said.append(Said("Weights move from", words.setting_rpm(curve["start_rpm"])))
    if curve.get("knee_rpm") is not None:
        said.append(Said("Bends", f"{degrees(curve.get('knee_deg'))} at {words.setting_rpm(curve['knee_rpm'])}"))
    if curve.get("all_in_rpm") is not None:
        said.append(Said("All in by", words.setting_rpm(curve["all_in_rpm"])))
    if curve.get("springs_note"):
        said.append(Said("Springs", str(curve["springs_note"])))
    return said


def on_the_light(shown: DayView) -> list[Said]:
    """What a light shows on this damper at the setting, where its mark is known to read half a degree off or more.

    A setting is true degrees; a light reads the mark, so whoever sets by the light needs its number (true advance + mark error).
    To half a degree, as a light is read. Empty where the mark was not checked or is true, and where there is nothing to set.
    """
    curve, error = shown.mechanical, (shown.record.get("timing_scale") or {}).get("zero_mark_error_deg")
    if curve is None or error is None or abs(error) < MARK_OFF_DEG:
        return []
    read = {
        label: setting_degrees(round(2.0 * (curve[name] + error)) / 2.0)
        for label, name in (("Total", "total_deg"), ("Initial", "initial_deg"))
        if curve.get(name) is not None
    }
    return [Said(f"{label} on the light", text) for label, text in read.items()]


def what_it_is_worth(shown: DayView) -> list[str]:
    """Cost against the best and change against the baseline, with how sure."""
    curve = shown.mechanical
    if curve is None:
        costs = [r["cost_pct"] for r in shown.advice.get("least_curve") or [] if r.get("cost_pct") is not None]
        mean = sum(costs) / len(costs) if costs else None
        return (
            [f"Given away against the best under the limit at every rpm: {percent(mean, 0.1)} on average."]
            if costs and mapped(shown.record)
            else []
        )
    told = []
    if curve.get("versus_baseline_pct") is not None and curve.get("versus_lo_pct") is not None:
        half = _as_the_sentence(curve["versus_lo_pct"], curve["versus_hi_pct"])
        told.append(
            f"This curve against the baseline{f' ({shown.baseline})' if shown.baseline else ''}: torque "
            f"{percent(curve['versus_baseline_pct'], half, signed=True)} "
            f"(likely {words.percent_between(curve['versus_lo_pct'], curve['versus_hi_pct'])})."
        )
    if curve.get("cost_pct") is not None:
        # what the model allows below nothing is torque nobody found: no curve gives away less than none
        ends = [None if curve.get(end) is None else max(curve[end], 0.0) for end in ("cost_lo_pct", "cost_hi_pct")]
        cost = "" if None in ends else f" (likely {words.percent_between(*ends)})"
        told.append(
            f"Given away against the best under the limit at every rpm: "
            f"{percent(max(curve['cost_pct'], 0.0), half_width(*ends))}{cost}."
        )
    told += [f"{note[0].upper()}{note[1:]}." for note in curve.get("notes") or [] if note]
    told += _for_most_torque(curve.get("most_torque") or {}, curve)
    return ["Crank degrees before top dead centre, vacuum advance off.", *_on_the_sheet(shown), *told]


def _on_the_sheet(shown: DayView) -> list[str]:
    """Where the baseline's own total is advised and the sheet writes it otherwise: that both are the same setting."""
    curve, home = shown.mechanical, shown.baseline
    written = next((p.get("total_deg") for p in shown.sheet().values() if p.get("setting") == home and p.get("baseline")), None)
    ran = next((s.get("total_deg") for s in shown.record.get("shapes") or [] if s.get("setting") == home), None)
    if curve is None or written is None or ran is None or abs(curve["total_deg"] - ran) > SAME_SETTING_DEG:
        return []
    if abs(written - curve["total_deg"]) < SAME_SETTING_DEG / 2:
        return []
    return [f"The sheet has this total as {setting_degrees(written)}: that is what was believed, this is what the spark did."]


def _as_the_sentence(lo: float | None, hi: float | None) -> float | None:
    """Half a width that shows as many digits as the day's sentence gives the same change; None where a side is not known."""
    half = half_width(lo, hi)
    return 0.1 if half is not None and 2.0 * half < COARSE_PCT else half


def _for_most_torque(most: dict[str, Any], curve: dict[str, Any]) -> list[str]:
    """What it would take to have the last of the torque, where that is another setting."""
    gain, have = most.get("versus_baseline_pct"), curve.get("versus_baseline_pct")
    may_be_nothing = most.get("versus_lo_pct") is not None and most["versus_lo_pct"] <= 0.0
    if gain is None or have is None or gain - have < 0.1 or most.get("total_deg") is None or may_be_nothing:
        return []
    initial = f", {setting_degrees(most['initial_deg'])} initial" if most.get("initial_deg") is not None else ""
    total = f"{setting_degrees(most['total_deg'])} total{initial}"
    return [
        f"For the last {percent(gain - have, 0.1)}: {total}" + (f"; {most['springs_note']}." if most.get("springs_note") else ".")
    ]
