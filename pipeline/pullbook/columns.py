"""The names, units and types that every room of the house uses: channels of a log and tables between stages, as data.

Units inside are SI plus the trade's own; advance is always crank degrees before top dead centre, positive = before.
"""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True, slots=True)
class Channel:
    """One quantity a log may hold: the ``unit`` it is kept in and the span engines keep to, ``lo`` to ``hi`` (None: no limit)."""

    name: str
    unit: str | None
    lo: float | None
    hi: float | None
    means: str


CHANNELS: dict[str, Channel] = {
    c.name: c
    for c in (
        Channel("time_s", "s", None, None, "time from the log's own first row"),
        Channel("rpm", "rpm", 0.0, 25_000.0, "crankshaft speed"),
        Channel("torque_nm", "N·m", -10_000.0, 10_000.0, "torque as measured (corrected only where it is the only one)"),
        Channel("torque_corrected_nm", "N·m", -10_000.0, 10_000.0, "torque the log says is corrected; not used"),
        Channel("torque_wheel_nm", "N·m", -100_000.0, 100_000.0, "torque at the wheels; not used"),
        Channel("power_kw", "kW", -5_000.0, 5_000.0, "power as measured (corrected only where it is the only one)"),
        Channel("power_corrected_kw", "kW", -5_000.0, 5_000.0, "power the log says is corrected; not used"),
        Channel("power_wheel_kw", "kW", -5_000.0, 5_000.0, "power at the wheels; not used"),
        Channel("advance_deg", "°BTDC", -30.0, 90.0, "advance as logged, crank degrees"),
        Channel("advance_commanded_deg", "°BTDC", -30.0, 90.0, "advance the controller asked for, crank degrees"),
        Channel("advance_distributor_deg", "°", -30.0, 90.0, "distributor degrees on their own zero; not used"),
        Channel("lambda", None, 0.3, 3.0, "air/fuel ratio over stoichiometric"),
        Channel("coolant_c", "°C", -40.0, 160.0, "coolant temperature"),
        Channel("oil_c", "°C", -40.0, 200.0, "oil temperature"),
        Channel("inlet_c", "°C", -40.0, 150.0, "inlet air temperature"),
        Channel("exhaust_c", "°C", -40.0, 1_300.0, "exhaust gas temperature"),
        Channel("map_kpa", "kPa", 0.0, 500.0, "inlet manifold pressure, absolute"),
        Channel("throttle_pct", "%", -5.0, 110.0, "throttle opening"),
        Channel("knock", None, None, None, "knock sensor or counter, as logged"),
        Channel("roller_rpm", "rpm", 0.0, 25_000.0, "roller or dyno shaft speed"),
        Channel("baro_kpa", "kPa", 50.0, 115.0, "barometer"),
        Channel("humidity_pct", "%", 0.0, 100.0, "relative humidity"),
    )
}

ADVANCES = ("advance_deg", "advance_commanded_deg")
"""Channels of the advance in crank degrees; where a log has both, the first is what the spark got."""

ROW_RPM = 100
"""Rows of every result stand at multiples of this, each for ± half of it."""

Schema = dict[str, pl.DataType]
_F: pl.DataType = pl.Float64()
_I: pl.DataType = pl.Int64()
_T: pl.DataType = pl.String()
_B: pl.DataType = pl.Boolean()

#: One row a logged row, all logs of a day; further channels of CHANNELS follow where a log has them (null elsewhere).
SAMPLES: Schema = {"pull_id": _T, "file": _T, "segment": _I, "kind": _T, "time_s": _F, "rpm": _F, "torque_nm": _F,
                   "power_kw": _F, "advance_deg": _F}  # fmt: skip

#: One row a pull, aborted pull or hold, in the order run, as the reader hands it on (sheet and log together).
#: ``knock`` is one of heard, faint, not heard, not listened. ``exclude`` and ``notes`` are the sheet's words or null.
#: ``clock_…``: how the second recorder's clock lies on the first (time = offset + rate·time there), with the rpm residual.
#: ``started``: when the pull began. ``corrected``: null = no, else the standard's name or "unknown".
#: ``usable`` false: kept, shown, never estimated from.
FOUND_PULLS: Schema = {
    "pull_id": _T, "file": _T, "logger_file": _T, "clock_offset_s": _F, "clock_rate": _F,
    "clock_residual_rpm": _F, "started": _T, "segment": _I, "kind": _T, "order": _I,
    "setting": _T, "initial_deg": _F, "total_deg": _F, "baseline": _B, "time": _T,
    "pressure_kpa": _F, "temperature_c": _F, "humidity_pct": _F, "vapour_pressure_kpa": _F, "oil_c": _F, "coolant_c": _F,
    "knock": _T, "knock_lo_rpm": _F, "knock_hi_rpm": _F, "exclude": _T, "notes": _T, "corrected": _T, "usable": _B,
    "why_not": _T,
}  # fmt: skip

#: What alignment adds to FOUND_PULLS, one row a pull. ``status``: used, part, left_out.
ALIGNED_PULLS: Schema = FOUND_PULLS | {
    "status": _T, "reasons": pl.List(pl.String()), "rpm_min": _F, "rpm_max": _F, "seconds": _F, "rpm_per_s": _F,
    "air_factor": _F, "mean_torque_nm": _F,
}  # fmt: skip

#: One row a pull and rpm row: engine torque (inertia added, air factor applied) moved to the row's centre.
#: ``se_nm`` is white sample noise alone (null where it cannot be known); pulls repeat far worse than that.
ROWS: Schema = {"pull_id": _T, "rpm": _I, "torque_nm": _F, "se_nm": _F, "n": _I, "advance_log_deg": _F,
                "advance_commanded_deg": _F, "rpm_per_s": _F}  # fmt: skip

STROBE: Schema = {"setting": _T, "rpm": _F, "advance_deg": _F, "direction": _T, "source": _T, "scale": _T,
                  "vacuum": _T}  # fmt: skip

#: Delivered advance of a setting; ``evidence`` lists log, strobe, sheet.
DELIVERED: Schema = {"setting": _T, "direction": _T, "rpm": _I, "advance_deg": _F, "lo_deg": _F, "hi_deg": _F,
                     "evidence": pl.List(pl.String())}  # fmt: skip

SHAPES: Schema = {"setting": _T, "family": _T} | {
    f"{p}{q}": _F
    for q in ("initial_deg", "total_deg", "start_rpm", "knee_rpm", "knee_deg", "all_in_rpm")
    for p in ("", "lo_", "hi_")
} | {"hysteresis_deg": _F}  # fmt: skip

#: Advance each used pull ran at each of its rows, best estimate in true crank degrees (null: nothing is known).
PULL_ADVANCE: Schema = {"pull_id": _T, "rpm": _I, "advance_deg": _F}

BEST: Schema = {"rpm": _I, "best_deg": _F, "lo_deg": _F, "hi_deg": _F, "state": _T, "tested_lo_deg": _F,
                "tested_hi_deg": _F, "band_lo_deg": _F, "band_hi_deg": _F, "best_torque_nm": _F, "least_deg": _F,
                "knock_cap_deg": _F}  # fmt: skip

#: ``rpm_lo`` = ``rpm_hi`` on per-rpm rows; the whole span otherwise.
EFFECTS: Schema = {"setting": _T, "versus": _T, "rpm_lo": _I, "rpm_hi": _I, "change_pct": _F, "lo_pct": _F,
                   "hi_pct": _F, "verdict": _T}  # fmt: skip

KNOCK: Schema = {"pull_id": _T, "setting": _T, "rpm_lo": _F, "rpm_hi": _F, "word": _T, "source": _T}

#: One row a witness's reading; ``fitted_deg``: what it should have read; ``why_not``: why it was not used.
EVIDENCE: Schema = {"setting": _T, "rpm": _F, "source": _T, "direction": _T, "advance_deg": _F, "fitted_deg": _F, "used": _B,
                    "why_not": _T}  # fmt: skip

#: What the model leaves of each pull and row, and each pull's level against it, % of torque.
RESIDUALS: Schema = {"pull_id": _T, "rpm": _I, "residual_pct": _F, "used": _B}
OFFSETS: Schema = {"pull_id": _T, "order": _I, "level_pct": _F, "lo_pct": _F, "hi_pct": _F}

#: Torque each setting would repeat to.
SETTING_CURVES: Schema = {"setting": _T, "rpm": _I, "torque_nm": _F, "lo_nm": _F, "hi_nm": _F}

#: The ceiling of every advice, with its reason.
CEILING: Schema = {"rpm": _I, "advance_deg": _F, "because": _T}

#: Loss against the best advance on a grid of what was tested.
SURFACE: Schema = {"rpm": _I, "advance_deg": _F, "loss_pct": _F, "lo_pct": _F, "hi_pct": _F}

NOTED = ("heard", "faint", "counted")
"""Words of KNOCK that mean it knocked."""

LISTENED = (*NOTED, "not heard")
"""Words of KNOCK that mean somebody, or a counter, was listening."""


def holds(table: pl.DataFrame, name: str) -> bool:
    """Whether a table has a column ``name`` with a value in it; NaN counts as one, null does not."""
    return name in table.columns and table[name].null_count() < table.height


def conform(table: pl.DataFrame, schema: Schema) -> pl.DataFrame:
    """Give ``table`` the columns of ``schema`` in order and type (absent ones null), extra columns after them.

    Raises
    ------
    polars.exceptions.InvalidOperationError
        A column cannot take the type: a fault of ours, never of the input.
    """
    if not table.columns:  # literals alone would make one row of nulls
        return pl.DataFrame(schema=schema)
    wanted = [(pl.col(name) if name in table.columns else pl.lit(None)).cast(dtype).alias(name) for name, dtype in schema.items()]
    extra = [pl.col(name) for name in table.columns if name not in schema]
    return table.select(*wanted, *extra)
