"""What the logs' preambles say of the day against what day.yaml says: settled, contradicted, or still to be asked."""

from pullbook.questions import AIR, STANDARD
from pullbook.reading.survey import Survey

#: what a preamble may claim -> (key of day.yaml's air, unit, how far apart two instruments of one cell may be)
_AIR = {
    "baro_kpa": ("pressure_kpa", "kPa", 0.3),
    "temperature_c": ("temperature_c", "°C", 4.0),
    "humidity_pct": ("humidity_pct", "%", 12.0),
}


def contradictions(found: Survey) -> list[str]:
    """A question for each thing the preambles say otherwise than day.yaml, which is used."""
    air = found.facts.day.air
    said: dict[str, list[str]] = {}
    for log in found.logs:
        for claim in log.claims:
            key, unit, apart = _AIR.get(str(claim.get("what")), ("", "", 0.0))
            known, value = getattr(air, key, None) if key else None, claim.get("value")
            if known is not None and isinstance(value, int | float) and abs(value - known) > apart:
                text = f"says {value:g} {unit} where day.yaml says {known:g} ({key}): day.yaml is used. Which one is right?"
                said.setdefault(text, []).append(f"{found.names[log.file]} line {claim.get('line')}")
    return [f"{places[0]}{f' and {len(places) - 1} more' if len(places) > 1 else ''} {text}" for text, places in said.items()]


def settled(found: Survey) -> set[str]:
    """Facts that day.yaml has told, whatever the logs ask: the weather, and what their torque is corrected to already."""
    day, told = found.facts.day, set()
    if day.air.pressure_kpa is not None and day.air.temperature_c is not None:
        told.add(AIR)
    if day.logs_already_corrected not in (False, "unknown"):
        told.add(STANDARD)
    return told
