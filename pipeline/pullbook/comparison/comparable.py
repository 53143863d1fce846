"""What of a day's record another day can be compared with: small enough to be kept in its seal."""

from typing import Any

Plain = dict[str, Any]


def comparable(record: Plain) -> Plain:
    """What of a record (or of its outline) can be compared with another day's, a kilobyte or two.

    Parameters
    ----------
    record
        ``engine, day, correction, pulls, shapes, timing_scale, conditions`` as in day.json.

    Returns
    -------
    dict
        ``engine, day, correction, timing_scale``: as in the record, what a comparison asks of them; ``settings``: label -> initial
        and total advance with their intervals; ``conditions``: as noted, and the means of what was noted pull by pull.
    """
    pulls = [p for p in record.get("pulls") or [] if p.get("status") != "left_out"]
    shapes = {s.get("setting"): s for s in record.get("shapes") or []}
    named = dict.fromkeys(str(p["setting"]) for p in pulls if p.get("setting") is not None)
    ends = [f"{side}{what}" for what in ("initial_deg", "total_deg") for side in ("", "lo_", "hi_")]
    noted = dict(record.get("conditions") or {})
    for name, column in (("air pressure", "pressure_kpa"), ("air temperature", "temperature_c"), ("oil at start", "oil_c"),
                         ("coolant at start", "coolant_c")):  # fmt: skip
        if noted.get(name) is None:
            noted[name] = _mean([p.get(column) for p in pulls])
    correction = record.get("correction") or {}
    if correction.get("standard") is not None:
        noted["correction"] = correction["standard"]
    scale = record.get("timing_scale") or {}
    return {
        "engine": record.get("engine"),
        "day": record.get("day"),
        "settings": {name: {k: shapes.get(name, {}).get(k) for k in ends} for name in named},
        "conditions": noted,
        "correction": {k: correction.get(k) for k in ("standard", "already_corrected", "factor_min", "inside_window")},
        "timing_scale": {k: scale.get(k) for k in ("log_minus_true_deg", "lo_deg", "hi_deg", "zero_mark_error_deg", "verified")},
    }


def _mean(values: list[Any]) -> float | None:
    numbers = [float(v) for v in values if isinstance(v, int | float)]
    return round(sum(numbers) / len(numbers), 2) if numbers else None
