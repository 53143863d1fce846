"""What the logs' preambles say of the day (barometer, correction, notes): offered as questions, never used silently."""

from pullbook.reading.survey import Survey

_ALREADY = {
    "baro_kpa": ("air.pressure_kpa", "kPa", "station pressure or reduced to sea level?"),
    "temperature_c": ("air.temperature_c", "°C", "measured where the engine breathes?"),
    "inlet_c": ("air.temperature_c", "°C", "measured where the engine breathes?"),
    "humidity_pct": ("air.humidity_pct", "%", "measured in the cell?"),
}


def claim_questions(found: Survey) -> list[str]:
    """One question for each distinct thing the preambles say that the day's facts do not."""
    air = found.facts.day.air
    known = {
        "baro_kpa": air.pressure_kpa,
        "temperature_c": air.temperature_c,
        "inlet_c": air.temperature_c,
        "humidity_pct": air.humidity_pct,
    }
    said: dict[tuple[str, str], list[str]] = {}
    for log in found.logs:
        for claim in log.claims:
            what, value = str(claim.get("what", "note")), claim.get("value")
            if known.get(what) is None and value is not None:
                said.setdefault((what, str(value)), []).append(f"{found.names[log.file]} line {claim.get('line')}")
    questions = []
    for (what, value), places in said.items():
        where = places[0] + (f" and {len(places) - 1} more" if len(places) > 1 else "")
        if what in _ALREADY:
            key, unit, doubt = _ALREADY[what]
            questions.append(
                f"{where} says {value} {unit}: {doubt} Not used until day.yaml says `{key.replace('.', ': {')}: {value}}}`."
            )
        else:
            questions.append(
                f"{where} says {what.replace('_', ' ')} {value}: kept as a remark and not applied. Does it matter for this day?"
            )
    return questions
