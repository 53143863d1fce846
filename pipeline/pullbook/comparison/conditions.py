"""Parts and conditions of a day as flat plain values, kept in its record so that later days can be compared with it."""

from typing import Any

from pullbook.facts import DayFacts, EngineFacts, Spring

PARTS = ("ignition", "springs", "stops", "compression ratio", "displacement", "fuel", "oil", "plugs")
CONDITIONS = ("air pressure", "air temperature", "vapour pressure", "mixture", "vacuum advance", "light", "listening",
              "used rpm", "rotating inertia")  # fmt: skip
FOOTING = ("dyno", "dyno kind", "correction", "already corrected", "zero mark")
"""Where one of these differs, figures of the two days may not be set side by side as they are."""

UNITS = {"air pressure": "kPa", "air temperature": "°C", "vapour pressure": "kPa", "displacement": "l", "rotating inertia": "kg·m²"}


def conditions(engine: EngineFacts, day: DayFacts) -> dict[str, Any]:
    """Flat values of :data:`PARTS`, :data:`CONDITIONS` and :data:`FOOTING` for ``record["conditions"]``; null where not noted."""
    ignition, mark = engine.ignition, day.zero_mark
    noted_mark = None
    if mark.stop_before_tdc_deg is not None and mark.stop_after_tdc_deg is not None:
        noted_mark = f"{mark.stop_before_tdc_deg:g} before, {mark.stop_after_tdc_deg:g} after"
    return {
        "ignition": ignition.kind,
        "springs": ", ".join(_spring(s) for s in ignition.springs) or None,
        "stops": ", ".join(f"{s:g}" for s in ignition.stops_deg) or None,
        "compression ratio": engine.compression_ratio,
        "displacement": engine.displacement_l,
        "fuel": day.fuel or engine.fuel,
        "oil": day.oil,
        "plugs": day.plugs,
        "mixture": day.mixture,
        "air pressure": day.air.pressure_kpa,
        "air temperature": day.air.temperature_c,
        "vapour pressure": day.air.vapour_pressure_kpa,
        "vacuum advance": day.vacuum_advance,
        "light": day.light,
        "listening": day.listening,
        "used rpm": f"{engine.used_rpm[0]:g}-{engine.used_rpm[1]:g}" if engine.used_rpm else None,
        "rotating inertia": engine.rotating_inertia_kg_m2,
        "dyno": day.dyno.name,
        "dyno kind": day.dyno.kind,
        "correction": day.correction,
        "already corrected": day.logs_already_corrected or None,
        "zero mark": noted_mark,
    }


def _spring(spring: Spring) -> str:
    return f"{spring.name} {spring.start_rpm:g}-{spring.all_in_rpm:g} at {spring.at_stop_deg:g}°"
