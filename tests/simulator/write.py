"""A simulated day as a shop's folder: logs, pull sheet, light readings, day.yaml, and engine.yaml beside it."""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from pullbook.arrays import Array
from tests.simulator.as_reading import day_facts, engine_facts
from tests.simulator.chance import stream
from tests.simulator.channels import channels_of
from tests.simulator.day import SimulatedDay
from tests.simulator.dialects import DIALECTS, Dialect


@dataclass(frozen=True, slots=True)
class SecondRecorder:
    """Another recorder on the same pulls: its clock starts elsewhere and runs at its own rate, its samples fall between."""

    dialect: str = "recorder"
    rate: float = 1.003
    early_s: tuple[float, float] = (0.4, 1.2)  # it was started this much before


def write_day(
    day: SimulatedDay, folder: Path, dialect: str = "comma", *, names: Callable[[int], str] | None = None,
    sessions: tuple[tuple[int, ...], ...] | None = None, recorder: SecondRecorder | None = None,
    engine_more: dict[str, Any] | None = None, day_more: dict[str, Any] | None = None,
) -> Path:  # fmt: skip
    """Write ``day`` into ``folder``; engine.yaml goes into the folder above.

    Parameters
    ----------
    day
        The day.
    folder
        The day folder, made where absent.
    dialect
        Key of :data:`tests.simulator.dialects.DIALECTS`.
    names
        File stem of a pull from its number (from 0); else ``pull_01``, ``pull_02``, …
    sessions
        Pulls (from 0) that went into one file each, in order; the recorder was restarted between them. Else one file a pull.
    recorder
        A second recorder, where there was one: its files carry advance and knock.
    engine_more, day_more
        What else engine.yaml and day.yaml say, over what follows from the day.
    """
    form = DIALECTS[dialect]
    stem = names or (lambda i: f"pull_{i + 1:02d}")
    folder.mkdir(parents=True, exist_ok=True)
    files, loggers, numbers = [""] * len(day.traces), [], [1] * len(day.traces)
    for group in sessions or tuple((i,) for i in range(len(day.traces))):
        lines: list[str] = []
        for place, i in enumerate(group):
            lines += log_lines(day, i, form, preamble=place == 0)
            files[i], numbers[i] = stem(group[0]) + form.ending, place + 1
        (folder / files[group[0]]).write_bytes(form.encode(lines))
    if recorder:
        other = DIALECTS[recorder.dialect]
        loggers = [f"{stem(i)}_rec{other.ending}" for i in range(len(day.traces))]
        for i, name in enumerate(loggers):
            (folder / name).write_bytes(other.encode(_second(day, i, other, recorder)))
    _sheet(folder / "pulls.csv", pull_rows(day, files, loggers, numbers if sessions else None), form)
    if day.light:
        light = [
            {"setting": x.setting, "rpm": _short(x.rpm), "advance_deg": x.advance_deg, "direction": x.direction} for x in day.light
        ]
        _sheet(folder / "strobe.csv", light, form)
    write_yaml(folder / "day.yaml", day_words(day) | (day_more or {}))
    write_yaml(folder.parent / "engine.yaml", engine_words(day) | (engine_more or {}))
    return folder


def log_lines(day: SimulatedDay, pull: int, form: Dialect, *, preamble: bool = True) -> list[str]:
    """Lines of one pull's log."""
    row, started = day.sheet[pull], _started(day, pull)
    top = [
        p.format(
            order=pull + 1, kpa=row.pressure_kpa, celsius=row.temperature_c, rh=row.humidity_pct, date=started.strftime("%d.%m.%Y")
        )
        for p in form.preamble
    ]
    channels = channels_of(day, pull)
    form = _with_known(form, day)
    return [*(top if preamble else []), *form.header(), *form.rows(channels, started)]


def pull_rows(
    day: SimulatedDay, files: list[str], loggers: list[str] | None = None, numbers: list[int] | None = None
) -> list[dict[str, Any]]:
    """Rows of the pull sheet as the shop writes them."""
    rows = []
    for i, (row, file) in enumerate(zip(day.sheet, files, strict=True)):
        curve, (word, lo, hi) = row.setting.curve, row.knock
        out: dict[str, Any] = {"file": file} | ({"pull": numbers[i]} if numbers else {}) | {"setting": row.setting.label}
        if curve.kind != "mapped":
            out |= {"initial_deg": _short(curve.initial_deg), "total_deg": _short(curve.total_deg)}
        out |= {"baseline": "yes" if row.baseline else "", "time": row.time}
        if day.design.air_each_pull:
            out |= {"pressure_kpa": row.pressure_kpa, "temperature_c": row.temperature_c, "humidity_pct": _short(row.humidity_pct)}
        out |= {
            "oil_c": _short(row.oil_c),
            "knock": word,
            "knock_rpm": f"{lo:.0f}-{hi:.0f}" if lo is not None and hi is not None else "",
        }
        if loggers:
            out["logger_file"] = loggers[i]
        rows.append(out | {"exclude": row.exclude or "", "notes": row.notes or ""})
    return rows


def engine_words(day: SimulatedDay) -> dict[str, Any]:
    """engine.yaml as plain words and numbers."""
    f = engine_facts(day)
    ignition: dict[str, Any] = {"kind": f.ignition.kind, "advance_scale": "crank", "spark": "single"}
    if f.ignition.stops_deg:
        ignition["stops_deg"] = [_short(x) for x in f.ignition.stops_deg]
        ignition["springs"] = [
            {
                "name": s.name,
                "start_rpm": _short(s.start_rpm),
                "all_in_rpm": _short(s.all_in_rpm),
                "at_stop_deg": _short(s.at_stop_deg),
            }
            for s in f.ignition.springs
        ]
    if f.ignition.breakpoints_rpm:
        ignition["breakpoints_rpm"] = [_short(x) for x in f.ignition.breakpoints_rpm]
    out = {
        "name": f.name, "cylinders": f.cylinders, "displacement_l": f.displacement_l, "compression_ratio": f.compression_ratio,
        "used_rpm": [_short(x) for x in f.used_rpm or ()], "rotating_inertia_kg_m2": f.rotating_inertia_kg_m2, "ignition": ignition,
    }  # fmt: skip
    return {k: v for k, v in out.items() if v is not None}


def day_words(day: SimulatedDay) -> dict[str, Any]:
    """day.yaml as plain words and numbers."""
    f = day_facts(day)
    kpa, celsius, rh = day.day_air
    out: dict[str, Any] = {
        "air": {"pressure_kpa": kpa, "temperature_c": celsius, "humidity_pct": rh},
        "dyno": {"name": f.dyno.name, "kind": f.dyno.kind}, "vacuum_advance": "off",
        "light": {"kind": "plain"}, "listening": f.listening,
    }  # fmt: skip
    if day.stop:
        out["zero_mark"] = {"stop_before_tdc_deg": day.stop[0], "stop_after_tdc_deg": day.stop[1], "checked": day.day}
    return out


def write_yaml(path: Path, words: dict[str, Any]) -> None:
    """Write ``words`` in their order."""
    path.write_text(yaml.safe_dump(words, sort_keys=False, allow_unicode=True, width=120), encoding="utf-8", newline="\n")


def _sheet(path: Path, rows: list[dict[str, Any]], form: Dialect) -> None:
    """A hand-kept sheet, as a spreadsheet of the shop's country saves it."""

    def cell(value: Any) -> str:
        return f"{value:g}".replace(".", form.sheet_decimal) if isinstance(value, float) else str(value)

    text = io.StringIO()
    out = csv.writer(text, delimiter=form.sheet_delimiter, lineterminator="\n")
    out.writerow(rows[0])
    out.writerows([cell(v) for v in row.values()] for row in rows)
    path.write_text(text.getvalue(), encoding="utf-8-sig" if form.sheet_delimiter == ";" else "utf-8", newline="")


def _with_known(form: Dialect, day: SimulatedDay) -> Dialect:
    """The dialect without columns this day's recorder does not have."""

    design = day.design
    absent = {"advance_deg"} if not design.log_has_advance else set()
    absent |= {"roller_rpm"} if design.dyno_kind != "roller" else set()
    absent |= {"knock"} if not design.knock_channel else set()
    return replace(form, columns=tuple(c for c in form.columns if c.channel not in absent))


def _second(day: SimulatedDay, pull: int, form: Dialect, recorder: SecondRecorder) -> list[str]:
    """Lines of the second recorder: resampled on its own clock, advance and speed with its own noise."""
    rng = stream(day.number, day.design.name, day.day, "second", pull)
    channels, trace = channels_of(day, pull), day.traces[pull]
    early = float(rng.uniform(*recorder.early_s))
    own = np.arange(0.0, (float(trace.time_s[-1]) + early) * recorder.rate, 0.05)
    at = own / recorder.rate - early

    def seen(values: Array) -> Array:
        return np.asarray(np.interp(at, trace.time_s, values))

    table = {name: seen(values) for name, values in channels.items()}
    table["time_s"] = own
    table["knock"] = np.floor(table["knock"])
    table["lambda"] = table["lambda"] + rng.normal(0, 0.003, own.size)
    table["map_kpa"] = table["map_kpa"] + rng.normal(0, 0.2, own.size)
    table["rpm"] = table["rpm"] + rng.normal(0, day.design.rpm_noise, own.size)
    form = _with_known(form, day)
    return [*form.header(), *form.rows(table, _started(day, pull))]


def _started(day: SimulatedDay, pull: int) -> datetime:
    return datetime.fromisoformat(day.day[:10]) + timedelta(minutes=day.sheet[pull].minutes, seconds=7 * pull % 50)


def _short(value: float) -> float | int:
    """Whole numbers without a point."""
    return int(value) if float(value).is_integer() else float(value)
