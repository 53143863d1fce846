"""A believable pull to write in any dialect: 0.1 s a row, about 370 rpm a second."""

from pathlib import Path

import numpy as np

from pullbook.arrays import Array
from pullbook.handover import LogReading
from pullbook.reading.log import read_log


def pull(rows: int = 120, *, start: float = 2800.0, seed: int = 3) -> dict[str, Array]:
    """time_s, rpm (whole), torque_nm, power_kw, advance_deg; shape (rows,) each."""
    rng = np.random.default_rng(seed)
    time = np.arange(rows) * 0.1
    rpm = np.round(start + 25.0 * np.arange(rows) + rng.normal(0, 2, rows))
    torque = 205 - 7e-6 * (rpm - 4300) ** 2 + rng.normal(0, 0.4, rows)
    advance = np.minimum(16 + 0.008 * np.maximum(rpm - 1500, 0), 33) + rng.normal(0, 0.15, rows)
    return {"time_s": time, "rpm": rpm, "torque_nm": torque, "power_kw": torque * rpm / 9549.2966, "advance_deg": advance}


def read(
    folder: Path, text: str | bytes, *, name: str = "a pull.csv", hints: dict[str, dict[str, object]] | None = None
) -> LogReading:
    """Write a log, read it, and see that it was not changed."""
    path = folder / name
    data = text.encode() if isinstance(text, str) else text
    path.write_bytes(data)
    reading = read_log(path, shown=f"logs/engine/2031-05-06/{name}", hints=hints)
    assert path.read_bytes() == data
    return reading


def channels(reading: LogReading) -> dict[str, str | None]:
    """Heading -> channel."""
    return {c.header: c.channel for c in reading.columns}


def column(reading: LogReading, channel: str) -> tuple[str | None, str | None]:
    """(unit, unit_from) of a channel."""
    found = next(c for c in reading.columns if c.channel == channel)
    return found.unit, found.unit_from


def about(reading: LogReading, word: str) -> list[str]:
    """Questions and warnings that hold a word."""
    return [t for t in (*reading.questions, *reading.warnings) if word in t]


HEAD = "Time [s],Engine speed [rpm],Torque [Nm],Advance [°BTDC]"


def rows(count: int = 120, **more: float) -> list[str]:
    """Lines of a plain log of that pull under ``HEAD``; ``more``: start and seed of :func:`pull`."""
    p = pull(count, **more)  # type: ignore[arg-type]
    return [f"{t:.2f},{n:.0f},{m:.1f},{a:.1f}" for t, n, m, _, a in zip(*p.values(), strict=True)]


def log(lines: list[str], head: str = HEAD) -> str:
    """A log of these lines."""
    return "\n".join([head, *lines]) + "\n"


def four(head: str, fourth: object) -> str:
    """A pull with time, rpm, torque and one column more, made from (rpm, torque)."""
    p = pull()
    assert callable(fourth)
    rows = zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    return head + "\n" + "".join(f"{t:.1f};{n:.0f};{m:.1f};{fourth(n, m)}\n" for t, n, m in rows)
