"""What a number of a hand-kept sheet can mean, by column of the contract."""

from dataclasses import replace

from pullbook.sheets.facts_schema import DEGREES, HUMIDITY, PRESSURE, RPM, TEMPERATURE, Number

_BTDC = replace(DEGREES, unit="degrees BTDC")
SPANS = {
    "pull": Number("", 1, 999), "initial_deg": _BTDC, "total_deg": _BTDC, "advance_deg": _BTDC, "rpm": RPM,
    "pressure_kpa": PRESSURE, "temperature_c": TEMPERATURE, "humidity_pct": HUMIDITY,
    "oil_c": Number("°C", -40, 160), "coolant_c": Number("°C", -40, 130),
}  # fmt: skip
