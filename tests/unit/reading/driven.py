"""Logs of an engine driven by a plan, for tests: (seconds, speed reached, load from 0 to 1) one after the other."""

from pathlib import Path

import numpy as np
import polars as pl

Plan = list[tuple[float, float, float]]

SWEEP: Plan = [(3, 1800, 0.3), (1, 1800, 1), (10, 5800, 1), (7, 1500, 0)]
"""Up to speed, a second of full load, 400 rpm a second to 5800, down again: the sweep lasts from 4 to 14 s."""


def drive(
    plan: Plan, hz: float = 10.0, *, number: int = 0, noise: float = 4.0, torque: bool = True, throttle: bool = False
) -> pl.DataFrame:
    """Samples as a log's reader hands them on; starts at 900 rpm. Torque lags by 0.15 s."""
    rng = np.random.default_rng(number)
    rpm, load, at = [], [], 900.0
    for seconds, end, pedal in plan:
        n = round(seconds * hz)
        rpm.append(at + (end - at) * np.arange(n) / max(n, 1))
        load.append(np.full(n, pedal))
        at = end
    speed, pedal_all = np.concatenate(rpm), np.concatenate(load)
    n = len(speed)
    columns = {"line": np.arange(n) + 2, "recording": np.zeros(n, np.int64), "time_s": np.arange(n) / hz,
               "rpm": speed + rng.normal(0, noise, n)}  # fmt: skip
    if torque:
        wanted = np.where(
            pedal_all > 0.5, 300 - ((speed - 3500) / 300) ** 2, np.where(pedal_all > 0.1, 60 * pedal_all / 0.3, -15.0)
        )
        keep, value, read = np.exp(-1 / hz / 0.15), wanted[0], np.empty(n)
        for i, target in enumerate(wanted):
            value = keep * value + (1 - keep) * target
            read[i] = value
        columns["torque_nm"] = read + rng.normal(0, 2, n)
    if throttle:
        columns["throttle_pct"] = 100 * pedal_all
    return pl.DataFrame(columns)


def write_log(path: Path, samples: pl.DataFrame, advance: float | None = None) -> Path:
    """A plain log of ``samples``: one header line with units, a comma between cells."""
    named = {"time_s": "Time [s]", "rpm": "Engine speed [rpm]", "torque_nm": "Torque [Nm]", "throttle_pct": "Throttle [%]",
             "advance_deg": "Ignition advance [deg BTDC crank]"}  # fmt: skip
    if advance is not None:
        samples = samples.with_columns(advance_deg=pl.lit(advance))
    table = samples.select(pl.col(c).round(3).alias(named[c]) for c in named if c in samples.columns)
    path.write_text(table.write_csv(), encoding="utf-8")
    return path
