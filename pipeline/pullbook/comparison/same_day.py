"""Two settings of one day: the day's own effects, whose ranges know what the two settings share, in place of two ranges added."""

from typing import Any

Plain = dict[str, Any]
Change = tuple[float, float, float]

WHOLE = 0
"""Key of the change over the whole span."""


def own_effects(record: Plain, setting_a: str | None, setting_b: str | None) -> dict[int, Change]:
    """Change of B against A as the day itself tells it, %, with its 90 % interval.

    Parameters
    ----------
    record
        The day's record (contract: day.json).
    setting_a, setting_b
        Settings of that day; one of them has to be the baseline, which all effects are told against.

    Returns
    -------
    dict
        By rpm, and under ``WHOLE`` over the span; empty where the day has no such effect.
    """
    found: dict[int, Change] = {}
    for row in record.get("effects") or []:
        if None in (row.get("change_pct"), row.get("lo_pct"), row.get("hi_pct")):
            continue
        change = (float(row["change_pct"]), float(row["lo_pct"]), float(row["hi_pct"]))
        rpm = int(row["rpm_lo"]) if row["rpm_lo"] == row["rpm_hi"] else WHOLE
        if (row["versus"], row["setting"]) == (setting_a, setting_b):
            found[rpm] = change
        elif (row["setting"], row["versus"]) == (setting_a, setting_b):
            found[rpm] = _turned(change)
    return found


def _turned(change: Change) -> Change:
    """The same change seen from the other side: 1 % more one way is 0.990 % less the other."""
    mean, lo, hi = (round(100.0 * (1.0 / (1.0 + value / 100.0) - 1.0), 3) for value in change)
    return mean, hi, lo
