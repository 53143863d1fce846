"""The air of every pull and the factor it gets: once, pull by pull, never on torque that is corrected already."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from pullbook import air
from pullbook.facts import Air
from pullbook.handover import DayReading
from pullbook.questions import STANDARD, Question, Remarks

PRESSURE_SPAN_KPA = (50.0, 110.0)
TEMPERATURE_SPAN_C = (-40.0, 60.0)
_CLAIMED_BY = {"station pressure": "baro_kpa", "air temperature": "temperature_c"}
"""What a factor needs -> what a log's preamble calls it among its claims."""
_BOOST_KPA = 8.0  # manifold above the barometer at full throttle by this much: no atmospheric engine


@dataclass(frozen=True, slots=True)
class Corrected:
    """``factor`` by pull, without unit (None: not corrected); ``unlike`` by pull: why it cannot be compared with the rest of the
    day; ``correction``: the contract's object.
    """

    factor: dict[str, float | None]
    unlike: dict[str, str]
    correction: dict[str, Any]
    remarks: Remarks


def correct_day(reading: DayReading) -> Corrected:
    """Each pull's factor by the day's standard, and the contract's ``correction`` object.

    Parameters
    ----------
    reading
        The day as read. A pull's own air overrides the day's; a pull without one between pulls that have it takes what lies
        between them; temperature without humidity keeps the vapour pressure.

    Notes
    -----
    Without humidity the vapour pressure of the standards' reference air (1 kPa) is taken and asked about: wrong by at most
    about 2 % in the factor, and common to the day.
    """
    said = Remarks()
    standard = reading.facts.correction
    pulls = reading.pulls.sort("order")
    ids: list[str] = pulls["pull_id"].to_list()
    claimed = _already(reading, pulls)
    plain = [pull for pull in ids if claimed[pull] is None]
    factor: dict[str, float | None] = dict.fromkeys(ids, None)
    refusal = _refusal(reading)
    if refusal:
        said.warnings.append(refusal)
        said.not_established.append("air correction: " + refusal)
    elif standard != "none" and plain:
        conditions = _conditions(reading, pulls, said)
        if conditions is not None:
            for pull in plain:
                pressure, temperature, vapour = conditions[pull]
                factor[pull] = air.factor(standard, pressure, temperature, vapour)
    unlike = _unlike(pulls, claimed, factor, standard, said)
    known = [f for f in factor.values() if f is not None]
    inside: bool | None = None
    if known and standard in ("SAE J1349", "ISO 1585"):
        inside = all(air.WINDOW[0] <= f <= air.WINDOW[1] for f in known)
        if not inside:
            span = " to ".join(dict.fromkeys(f"{f:.4f}" for f in (min(known), max(known))))
            said.warnings.append(f"air factor {span} leaves the window 0.93 to 1.07 in which {standard} calls itself valid")
    spoken = {c for c in claimed.values() if c is not None}
    already: str | bool = False if not spoken else (next(iter(spoken)) if len(spoken) == 1 else "unknown")
    if reading.facts.logs_already_corrected == "unknown" and "unknown" in spoken:
        said.questions.append(
            Question(
                "The logs' torque is corrected by a standard nobody named: which one (day.yaml, logs_already_corrected)? "
                "It is not corrected again.",
                STANDARD,
            )
        )
    correction = {
        "standard": standard,
        "factor_min": min(known) if known else None,
        "factor_max": max(known) if known else None,
        "inside_window": inside,
        "already_corrected": already,
    }
    return Corrected(factor, unlike, correction, said)


def _already(reading: DayReading, pulls: pl.DataFrame) -> dict[str, str | None]:
    """Which standard each pull's torque is corrected by already: the log's own word, else the day's; None: not corrected."""
    day = reading.facts.logs_already_corrected or None
    return {p: c if c is not None else day for p, c in pulls.select("pull_id", "corrected").iter_rows()}


def _refusal(reading: DayReading) -> str | None:
    """Why no factor of these standards fits the engine: compression ignition or boost; else None."""
    words = " ".join(str(w).lower() for w in (reading.facts.fuel, reading.engine_facts.fuel) if w)
    if any(w in words for w in ("diesel", "gazole", "gasoil", "gasolio", "gasóleo")):
        return "a compression-ignition engine takes other factors than these standards' spark-ignition ones: none is applied"
    samples = reading.samples
    if "map_kpa" in samples.columns and "rpm" in samples.columns:
        high = samples.filter(pl.col("kind") == "pull")["map_kpa"].drop_nulls()
        ambient = reading.facts.air.pressure_kpa or 101.3
        if len(high) > 10 and float(np.median(high.to_numpy())) > ambient + _BOOST_KPA:
            return "manifold pressure above the barometer: a boosted engine takes no atmospheric factor, none is applied"
    return None


def _conditions(reading: DayReading, pulls: pl.DataFrame, said: Remarks) -> dict[str, tuple[float, float, float]] | None:
    """Station pressure, temperature and vapour pressure of every pull; None (and a question) where they cannot be had."""
    day = reading.facts.air
    day_vapour = air.vapour_pressure_kpa(day)
    ids = pulls["pull_id"].to_list()
    pressure, temperature, vapour = (np.full(len(ids), np.nan) for _ in range(3))
    for i, row in enumerate(pulls.iter_rows(named=True)):
        own = replace(
            day,
            pressure_kpa=_first(row["pressure_kpa"], day.pressure_kpa),
            temperature_c=_first(row["temperature_c"], day.temperature_c),
        )
        pressure[i], temperature[i] = _number(own.pressure_kpa), _number(own.temperature_c)
        vapour[i] = _number(_pull_vapour(row, own, day_vapour))
    if np.isnan(pressure).all():
        logged = _logged(reading, "baro_kpa")
        if logged is not None:
            pressure[:] = logged
            said.questions.append(
                f"The log's own barometer ({logged:.1f} kPa) is taken as station pressure, "
                "since neither day.yaml nor pulls.csv has one: is it?"
            )
    absent = [w for w, v in zip(_CLAIMED_BY, (pressure, temperature), strict=True) if np.isnan(v).all()]
    if absent:
        _ask_for(absent, reading, said)
        said.not_established.append(f"air correction: no {' and '.join(absent)}")
        return None
    for name, values in (("pressure", pressure), ("temperature", temperature), ("humidity", vapour)):
        if np.isnan(values).any() and not np.isnan(values).all():
            _fill_between(values)
            said.warnings.append(f"pulls without a {name} of their own take what lies between the pulls that have one")
    if np.isnan(vapour).all():
        vapour[:] = air.REFERENCE_VAPOUR_KPA
        said.questions.append(
            "What was the humidity? The reference air's vapour pressure (1.0 kPa) is taken: "
            "up to about 2 % off on a humid day, the same for every pull."
        )
    return _believable(reading, ids, pressure, temperature, vapour, said)


def _ask_for(absent: list[str], reading: DayReading, said: Remarks) -> None:
    """What no preamble offers: where one does, its own question asks whether that holds for the day."""
    offered = {claim["what"] for log in reading.logs for claim in log.claims}
    asked = [what for what in absent if _CLAIMED_BY[what] not in offered]
    if asked:
        said.questions.append(
            f"What was the {' and '.join(asked)} (day.yaml, air)? Without it torque is not corrected to standard air."
        )


def _pull_vapour(row: dict[str, Any], own: Air, day_vapour: float | None) -> float | None:
    if row["vapour_pressure_kpa"] is not None:
        return float(row["vapour_pressure_kpa"])
    if row["humidity_pct"] is not None:
        return air.vapour_pressure_kpa(Air(temperature_c=own.temperature_c, humidity_pct=row["humidity_pct"]))
    return day_vapour


def _believable(
    reading: DayReading, ids: list[str], pressure: np.ndarray, temperature: np.ndarray, vapour: np.ndarray, said: Remarks
) -> dict[str, tuple[float, float, float]] | None:
    """Refuse what no cell has; ask about a barometer that looks reduced to sea level."""
    odd = []
    if pressure.min() < PRESSURE_SPAN_KPA[0] or pressure.max() > PRESSURE_SPAN_KPA[1]:
        odd.append(f"pressure {pressure.min():g} to {pressure.max():g} kPa (hPa or inHg written as kPa?)")
    if temperature.min() < TEMPERATURE_SPAN_C[0] or temperature.max() > TEMPERATURE_SPAN_C[1]:
        odd.append(f"air temperature {temperature.min():g} to {temperature.max():g} °C (°F written as °C?)")
    if vapour.min() < 0.0 or bool(
        np.any(vapour > 1.05 * np.array([air.saturation_kpa(t) for t in np.clip(temperature, -100, 90)]))
    ):
        odd.append("more moisture than the air can hold at its temperature")
    if odd:
        said.questions.append("The air of the day cannot be right: " + "; ".join(odd) + ". No air factor is applied.")
        said.not_established.append("air correction: " + "; ".join(odd))
        return None
    altitude = reading.engine_facts.altitude_m
    if altitude is not None and -500.0 <= altitude <= 11_000.0:
        standard, middle = air.atmosphere_kpa(altitude), float(np.median(pressure))
        if abs(middle - standard) > 2.5 and abs(middle - 101.325) < abs(middle - standard):
            said.questions.append(
                f"Pressure {middle:.1f} kPa at {altitude:.0f} m, where the standard atmosphere has {standard:.1f} kPa: "
                f"is the barometer reduced to sea level? If so the station pressure is about "
                f"{air.station_kpa(middle, altitude):.1f} kPa; it is used as written."
            )
    return {p: (float(a), float(b), float(c)) for p, a, b, c in zip(ids, pressure, temperature, vapour, strict=True)}


def _unlike(
    pulls: pl.DataFrame, claimed: dict[str, str | None], factor: dict[str, float | None], standard: str, said: Remarks
) -> dict[str, str]:
    """Pulls on another footing than the baseline's: corrected among uncorrected. The larger camp stays; on a tie the baseline's."""
    camp: dict[str, str] = {p: claimed[p] or (standard if f is not None else "as measured") for p, f in factor.items()}
    if len(set(camp.values())) < 2:
        return {}
    reference = pulls.filter(pl.col("baseline"))["pull_id"].to_list()
    counts = {c: (sum(v == c for v in camp.values()), any(camp[p] == c for p in reference)) for c in set(camp.values())}
    home = max(sorted(counts), key=lambda c: counts[c])
    said.questions.append(
        "Some logs hold torque corrected by "
        + ", ".join(sorted(set(camp.values()) - {home}))
        + f", the others {home}: not compared with one another."
    )
    return {p: f"its torque is {c}, the rest of the day is {home}" for p, c in camp.items() if c != home}


def _fill_between(values: np.ndarray) -> None:
    known = np.flatnonzero(~np.isnan(values))
    values[:] = np.interp(np.arange(len(values)), known, values[known])


def _logged(reading: DayReading, channel: str) -> float | None:
    if channel not in reading.samples.columns:
        return None
    values = reading.samples[channel].drop_nulls()
    return float(np.median(values.to_numpy())) if len(values) else None


def _first(own: float | None, day: float | None) -> float | None:
    return own if own is not None else day


def _number(value: float | None) -> float:
    return float("nan") if value is None else float(value)
