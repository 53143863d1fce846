"""engine.yaml, day.yaml and columns.yaml: read with guards, checked against the closed schema, the day over the engine."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from pullbook.air import saturation_kpa, vapour_pressure_kpa
from pullbook.columns import CHANNELS
from pullbook.facts import Air, DayFacts, Dyno, EngineFacts, Ignition, Limits, Spring, ZeroMark
from pullbook.handover import Fault
from pullbook.sheets.fact_values import FactReader
from pullbook.sheets.facts_schema import COLUMN_KEYS, DAY_KEYS, ENGINE_KEYS, Group
from pullbook.sheets.yaml_file import Entry, load_yaml

_COLUMN = Group(COLUMN_KEYS)


@dataclass(frozen=True, slots=True)
class FactsRead:
    """Both fact files as values, with what could not be used and what is to be asked."""

    engine: EngineFacts = field(default_factory=EngineFacts)
    day: DayFacts = field(default_factory=DayFacts)
    faults: tuple[Fault, ...] = ()
    questions: tuple[str, ...] = ()


def read_facts(engine_yaml: tuple[Path, str] | None, day_yaml: tuple[Path, str] | None) -> FactsRead:
    """What the shop wrote about the engine and the day.

    Parameters
    ----------
    engine_yaml, day_yaml
        (path, name shown) of each file, or None where there is none. Any key may stand in either file; the day wins.

    Returns
    -------
    FactsRead
        Defaults where nothing usable is written. Vapour pressure is filled from the one humidity given.
    """
    known = {**ENGINE_KEYS, **DAY_KEYS}
    faults: list[Fault] = []
    questions: list[str] = []
    merged: dict[str, Any] = {}
    for source in (engine_yaml, day_yaml):
        if source is None:
            continue
        loaded = load_yaml(source[0], shown=source[1])
        if isinstance(loaded, Fault):
            faults.append(loaded)
            continue
        nested: dict[str, list[str]] = {}
        for name, kind in known.items():
            for below in getattr(kind, "keys", ()):
                nested.setdefault(below, []).append(name)
        reader = FactReader(source[1])
        values = reader.group(loaded, known, elsewhere=nested)
        faults += reader.faults
        if source is engine_yaml and "air" in values:
            questions.append(
                f"{source[1]} gives `air`: used for every day without its own. Is that meant, or does it belong in a day.yaml?"
            )
        for key, value in values.items():
            keep = isinstance(value, dict) and key != "air" and isinstance(merged.get(key), dict)
            merged[key] = {**merged[key], **value} if keep else value
    air, asked = _air(merged.get("air", {}))
    shown = day_yaml[1] if day_yaml else engine_yaml[1] if engine_yaml else "day.yaml"
    questions += [f"{shown}: {q}" for q in asked]
    return FactsRead(_engine(merged), _day(merged, air), tuple(faults), tuple(questions))


def _engine(m: Mapping[str, Any]) -> EngineFacts:
    ignition = m.get("ignition", {})
    springs = tuple(
        Spring(s.get("name", f"spring {i}"), s["start_rpm"], s["all_in_rpm"], s["at_stop_deg"])
        for i, s in enumerate(ignition.get("springs", ()), start=1)
    )
    plain = ("name", "cylinders", "displacement_l", "altitude_m", "compression_ratio", "fuel", "used_rpm", "damper_diameter_mm",
             "rotating_inertia_kg_m2")  # fmt: skip
    return EngineFacts(
        **{key: m.get(key) for key in plain},
        ignition=Ignition(**{**ignition, "springs": springs}),
        max_advance_deg=m.get("known_limits", {}).get("max_advance_deg"),
        max_advance_note=m.get("known_limits", {}).get("note"),
    )


def _day(m: Mapping[str, Any], air: Air) -> DayFacts:
    corrected = m.get("logs_already_corrected", "false")
    plain = ("fuel", "oil", "plugs", "mixture", "notes", "vacuum_advance", "listening")
    return DayFacts(
        **{key: m.get(key) for key in plain},
        air=air,
        correction=m.get("correction", "SAE J1349"),
        logs_already_corrected=False if corrected == "false" else corrected,
        zero_mark=ZeroMark(**m.get("zero_mark", {})),
        dyno=Dyno(**m.get("dyno", {})),
        light=m.get("light", {}).get("kind"),
        limits=Limits(**m.get("limits", {})),
    )


def _air(given: Mapping[str, float]) -> tuple[Air, list[str]]:
    """Air with its vapour pressure; two humidities that disagree are asked about, the more direct one is used."""
    air = Air(**given)
    humidities = [k for k in ("vapour_pressure_kpa", "dew_point_c", "humidity_pct") if k in given]
    asked: list[str] = []
    if len(humidities) > 1:
        each = [vapour_pressure_kpa(Air(temperature_c=air.temperature_c, **{k: given[k]})) for k in humidities]
        known = [e for e in each if e is not None]
        if known and max(known) - min(known) > 0.1:
            asked.append(f"air gives {' and '.join(humidities)}, which disagree; {humidities[0]} is used. Which is right?")
    vapour = vapour_pressure_kpa(air)
    if vapour is None and air.humidity_pct is not None:
        asked.append("air gives a humidity without a temperature: at what temperature? Until then no vapour pressure is known")
    if vapour is not None and air.temperature_c is not None and vapour > 1.02 * saturation_kpa(air.temperature_c):
        asked.append(f"air holds more water than it can at {air.temperature_c:g} °C: is the humidity or the temperature right?")
    return Air(air.pressure_kpa, air.temperature_c, air.humidity_pct, air.dew_point_c, vapour), asked


@dataclass(frozen=True, slots=True)
class ColumnsRead:
    """columns.yaml: per file pattern, per header as written, what the column means."""

    patterns: Mapping[str, Mapping[str, dict[str, Any]]] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def hints_for(self, name: str) -> dict[str, dict[str, Any]]:
        """What is said of the log ``name``: ``header -> {channel, unit, sign, scale}``, a file named outright over a pattern."""
        matching = [p for p in self.patterns if fnmatchcase(name.casefold(), p.casefold())]
        if (exact := next((p for p in self.patterns if p.casefold() == name.casefold()), None)) is not None:
            matching = [*(p for p in matching if p != exact), exact]
        return {header: dict(about) for p in matching for header, about in self.patterns[p].items()}

    def unmatched(self, names: list[str]) -> list[str]:
        """Patterns that fit none of ``names``."""
        return [
            p
            for p in self.patterns
            if not any(n.casefold() == p.casefold() or fnmatchcase(n.casefold(), p.casefold()) for n in names)
        ]


def read_columns(path: Path, *, shown: str) -> ColumnsRead:
    """columns.yaml as hints for reading logs; what cannot be used becomes a fault and is left out.

    Parameters
    ----------
    path, shown
        The file, opened for reading only, and its name in messages.
    """
    loaded = load_yaml(path, shown=shown)
    if isinstance(loaded, Fault):
        return ColumnsRead({}, (loaded,))
    reader = FactReader(shown)
    patterns: dict[str, dict[str, dict[str, Any]]] = {}
    for pattern, entry in loaded.items():
        if not isinstance(entry.value, dict):
            reader.fault(
                entry.line,
                pattern,
                entry.plain(),
                "headers of that log",
                f"write `'{pattern}': {{<header>: {{channel: rpm, unit: rpm}}}}`",
            )
            continue
        hints = {header: about for header, value in entry.value.items() if (about := _hint(reader, value, f"{pattern}: {header}"))}
        patterns[pattern] = hints
    return ColumnsRead(patterns, tuple(reader.faults))


def _hint(reader: FactReader, entry: Entry, path: str) -> dict[str, Any] | None:
    about = reader.value(entry, _COLUMN, path) if not isinstance(entry.value, str) else {"channel": entry.value}
    if not about:
        return None
    channel = about.get("channel")
    if channel is not None and channel not in CHANNELS and channel not in ("ignore", "none"):
        near = get_close_matches(channel.casefold(), list(CHANNELS), n=1, cutoff=0.4)
        hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join(CHANNELS)}"
        reader.fault(entry.line, path, f"the channel {channel[:60]!r}", "a channel of the contract", hint)
        return None
    if about.get("sign") not in (None, 1.0, -1.0):
        reader.fault(
            entry.line,
            path,
            f"sign {about['sign']:g}",
            "+1 or -1",
            "write `sign: -1` where the column counts after top dead centre",
        )
        return None
    if about.get("scale") == 0.0:
        reader.fault(entry.line, path, "scale 0", "a factor other than zero", "write `scale: 2` for distributor degrees, say")
        return None
    return dict(about)
