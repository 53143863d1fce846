"""A day nobody ran: a believable record and its tables, made from a plain hill, so that the report can be tested alone."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

RPM = np.arange(2500, 5801, 100)
SETTINGS = {"base 32": 32.0, "stop 18": 28.0, "stop 24": 34.0, "long 37": 37.0}
ORDER = ["base 32", "long 37", "stop 18", "stop 24", "base 32", "stop 18", "base 32", "stop 24", "long 37", "base 32"]
K = 2.4e-4


@dataclass
class InventedDay:
    """``record`` as day.json has it, ``tables`` as the stages hand them on."""

    record: dict[str, Any]
    tables: dict[str, pl.DataFrame] = field(default_factory=dict)


def curve(total: float) -> np.ndarray:
    """Mechanical advance: 14° below 1100 rpm, straight to ``total`` at 3200."""
    return 14 + (total - 14) * np.clip((RPM - 1100) / 2100, 0, 1)


def wanted() -> np.ndarray:
    """Best advance of the invented engine: less where it breathes best."""
    return 31.5 + 2.2 * (RPM - 4000) / 1000 - 2.5 * np.exp(-(((RPM - 3900) / 600) ** 2))


def torque(advance: np.ndarray) -> np.ndarray:
    """Torque, N·m, at an advance per row."""
    top = 520 - 55 * ((RPM - 3900) / 1700) ** 2 + 4 * np.sin(RPM / 260)
    return top * (1 - K * (advance - wanted()) ** 2)


def _r(x: float, n: int = 2) -> float:
    return round(float(x), n)


def _pulls(rng: np.random.Generator) -> tuple[list[dict[str, Any]], pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    pulls, sheet, rows, offsets = [], [], [], []
    for i, setting in enumerate(ORDER, 1):
        pull_id = f"p{i:02d}"
        status = {3: "part", 7: "left_out"}.get(i, "used")
        reasons = {3: ["cut short at 4,900 rpm"], 7: ["sheet: plug lead came off"]}.get(i, [])
        level = rng.normal(0, 0.35) - 0.04 * i
        t = torque(curve(SETTINGS[setting])) * (1 + level / 100) * (0.93 if i == 7 else 1.0)
        keep = (4900 if i == 3 else 5800) >= RPM
        pulls.append(
            {
                "pull_id": pull_id,
                "file": f"run_{i:02d}.csv",
                "logger_file": None,
                "clock": None,
                "segment": 1,
                "order": i,
                "setting": setting,
                "baseline": setting == "base 32",
                "status": status,
                "reasons": reasons,
                "rpm_min": 2380.0,
                "rpm_max": float(RPM[keep][-1] + 40),
                "seconds": 9.1,
                "rpm_per_s": 371.0,
                "air_factor": _r(1.021 + 0.0007 * i, 4),
                "mean_torque_nm": _r(t[keep].mean()),
            }
        )
        sheet.append(
            {
                "pull_id": pull_id,
                "order": i,
                "temperature_c": 24.0 + 0.5 * i,
                "oil_c": None if i == 4 else 84.0 + 1.1 * i,
                "coolant_c": 78.0,
                "notes": "new plugs" if i == 6 else None,
                "time": f"10:{4 * i:02d}",
                "initial_deg": 14.0,
                "total_deg": SETTINGS[setting],
                "knock": "not listened",
                "setting": setting,
                "status": status,
            }
        )
        noise = np.cumsum(rng.normal(0, 0.05, RPM.size))
        logged = curve(SETTINGS[setting]) + 1.2
        rows += [
            (pull_id, int(RPM[j]), float(t[j]), 0.4, 12, float(logged[j]), None, 371.0, float(noise[j]))
            for j in np.flatnonzero(keep)
        ]
        if i != 7:
            offsets.append((pull_id, i, level, level - 0.3, level + 0.3))
    row_table = pl.DataFrame(
        rows,
        schema=[
            "pull_id",
            "rpm",
            "torque_nm",
            "se_nm",
            "n",
            "advance_log_deg",
            "advance_commanded_deg",
            "rpm_per_s",
            "residual_pct",
        ],
        orient="row",
    )
    return (
        pulls,
        pl.DataFrame(sheet),
        row_table,
        pl.DataFrame(offsets, schema=["pull_id", "order", "level_pct", "lo_pct", "hi_pct"], orient="row"),
    )


def _best() -> list[dict[str, Any]]:
    found = []
    for n, b in zip(RPM.tolist(), wanted(), strict=True):
        half = np.sqrt(0.005 / K)
        row = {
            "rpm": n,
            "best_deg": _r(b),
            "lo_deg": _r(b - 1.3),
            "hi_deg": _r(b + 1.4),
            "state": "inside",
            "tested_lo_deg": 27.0,
            "tested_hi_deg": 36.2,
            "band_lo_deg": _r(b - half),
            "band_hi_deg": _r(b + half),
            "best_torque_nm": _r(torque(wanted())[RPM.tolist().index(n)]),
            "least_deg": _r(b - half + 0.6),
            "knock_cap_deg": None,
        }
        if 3300 <= n <= 3600:
            row["knock_cap_deg"] = 34.0
        if n >= 5500:
            row |= {"state": "above_tested", "best_deg": None, "hi_deg": None, "band_hi_deg": None}
        if n < 2700:
            row |= {
                "state": "flat",
                "best_deg": None,
                "lo_deg": None,
                "hi_deg": None,
                "band_lo_deg": None,
                "band_hi_deg": None,
                "least_deg": None,
            }
        found.append(row)
    return found


def _delivered() -> list[dict[str, Any]]:
    return [
        {
            "setting": s,
            "direction": d,
            "rpm": int(n),
            "advance_deg": _r(a + lift),
            "lo_deg": _r(a + lift - 0.5),
            "hi_deg": _r(a + lift + 0.5),
            "evidence": ["log", "strobe"],
        }
        for s, total in SETTINGS.items()
        for d, lift in (("up", 0.0), ("down", 0.6))
        for n, a in zip(RPM, curve(total), strict=True)
    ]


def _effects() -> list[dict[str, Any]]:
    rows = []
    base = torque(curve(32.0))
    for s, total in SETTINGS.items():
        if s == "base 32":
            continue
        change = 100 * (torque(curve(total)) / base - 1)
        whole = float(change.mean())
        rows.append((s, 2500, 5800, whole, 0.35))
        rows.extend((s, int(n), int(n), float(c), 0.5) for n, c in zip(RPM, change, strict=True))
    return [
        {
            "setting": s,
            "versus": "base 32",
            "rpm_lo": a,
            "rpm_hi": b,
            "change_pct": _r(c),
            "lo_pct": _r(c - w),
            "hi_pct": _r(c + w),
            "verdict": "gain" if c - w > 0 else "loss" if c + w < 0 else "same" if abs(c) + w < 0.5 else "cannot_tell",
        }
        for s, a, b, c, w in rows
    ]


def _advice() -> dict[str, Any]:
    strip = [
        {"rpm": int(n), "cost_pct": _r(0.1 + 2e-8 * (n - 4200) ** 2), "lo_pct": 0.0, "hi_pct": _r(0.4 + 3e-8 * (n - 4200) ** 2)}
        for n in RPM
    ]
    return {
        "least_curve": [{"rpm": int(n), "advance_deg": _r(b - 3), "cost_pct": 0.2} for n, b in zip(RPM, wanted(), strict=True)],
        "table": [
            {"rpm": n, "delivered_deg": a, "enter_deg": a + 1.3}
            for n, a in ((1000, 14.0), (2000, 24.0), (3000, 31.0), (5000, 32.5))
        ],
        "ceiling": [
            {
                "rpm": int(n),
                "advance_deg": 34.0 if 3300 <= n <= 3600 else 37.0,
                "because": "knock heard at 37°" if 3300 <= n <= 3600 else "most advance tested",
            }
            for n in RPM
        ],
        "mechanical": {
            "initial_deg": 14.0,
            "total_deg": 34.0,
            "stop_deg": 20.0,
            "start_rpm": 1200.0,
            "knee_rpm": None,
            "knee_deg": None,
            "all_in_rpm": 3100.0,
            "springs_note": "light and heavy spring: starts at 1,200, all in by 3,100 rpm",
            "cost_pct": 0.24,
            "cost_lo_pct": 0.05,
            "cost_hi_pct": 0.5,
            "versus_baseline_pct": 0.62,
            "versus_lo_pct": 0.2,
            "versus_hi_pct": 1.05,
            "strip": strip,
        },
        "hand_over_pull": "p04",
        "next_pulls": [
            {
                "setting": "stop 20",
                "initial_deg": 14.0,
                "total_deg": 34.0,
                "why": "proves the setting advised",
                "expected_saving_pct": 0.12,
            },
            {
                "setting": "base 32",
                "initial_deg": 14.0,
                "total_deg": 32.0,
                "why": "repeat the baseline: drift and timing look alike without it",
                "expected_saving_pct": 0.05,
            },
        ],
        "enough": False,
        "sentence": "Set 34° total (14° initial, 20° stop): 0.5 % more torque than the baseline; two more pulls settle the top.",
    }


def invented_day() -> InventedDay:
    """One day of a mechanical V8 with a left-out pull, a part pull, a knock note, an untested corner and open questions."""
    rng = np.random.default_rng(20)
    pulls, sheet, rows, offsets = _pulls(rng)
    advice = _advice()
    record: dict[str, Any] = {
        "schema": 1,
        "engine": "Blue pump barge V8",
        "day": "2031-04-05",
        "tool_version": "0.1.0",
        "made_at": "2031-04-05T17:20:00Z",
        "correction": {
            "standard": "SAE J1349",
            "factor_min": 1.0217,
            "factor_max": 1.028,
            "inside_window": True,
            "already_corrected": False,
        },
        "pulls": pulls,
        "delivered": _delivered(),
        "shapes": [_shape(s, t) for s, t in SETTINGS.items()],
        "timing_scale": {
            "log_minus_true_deg": 1.2,
            "lo_deg": 0.5,
            "hi_deg": 1.9,
            "delay_us": 32.0,
            "delay_lo_us": 8.0,
            "delay_hi_us": 57.0,
            "zero_mark_error_deg": None,
            "mark_uncertainty_deg": 3.0,
            "verified": False,
        },
        "best": _best(),
        "effects": _effects(),
        "repeatability": {
            "pull_sd_pct": 0.37,
            "source": "day",
            "pulls": 9,
            "drift_pct_per_pull": -0.04,
            "drift_lo": -0.12,
            "drift_hi": 0.05,
        },
        "knock": [
            {"pull_id": "p02", "setting": "long 37", "rpm_lo": 3300.0, "rpm_hi": 3600.0, "word": "heard", "source": "sheet"},
            {"pull_id": "p01", "setting": "base 32", "rpm_lo": 2380.0, "rpm_hi": 5840.0, "word": "not listened", "source": "sheet"},
        ],
        "advice": advice,
        "card": {
            "readings": [
                {"rpm": n, "up_deg": u, "down_deg": d}
                for n, u, d in (
                    (900, 14.0, None),
                    (1500, 17.2, 17.9),
                    (2000, 22.4, 23.1),
                    (2500, 27.7, 28.2),
                    (3100, 34.0, 34.0),
                    (5000, 34.0, 34.0),
                )
            ],
            "mm_per_deg": 1.57,
        },
        "pictures": [],
        "changes": ["stop 18° to 24°", "jets one size up"],
        "not_tested": ["part throttle", "cold start", "above 5,800 rpm"],
        "questions": ["run_04.csv: is the oil column in °C? Write oil: {unit: °F} in columns.yaml if not."],
        "warnings": ["run_03.csv ends at 4,900 rpm: used in part."],
        "cautions": [
            "Knock can break an engine in seconds: listen on every pull, stop at the first rattle.",
            "Too much advance at cranking can kick back: keep hands clear.",
            "Run the cell with the extraction on: exhaust gas kills.",
        ],
        "not_established": ["Advance below 2,500 rpm: no pull starts there."],
        "sums": [
            {"what": "initial + stop = total", "text": "14 + 20 = 34"},
            {"what": "distributor degrees", "text": "20 crank = 10 distributor"},
        ],
        "tested_limit": "Do not exceed 34° at 3,300–3,600 rpm or 37° elsewhere on this fuel: nothing beyond was tested.",
        "facts": {
            "engine": {
                "name": "Blue pump barge V8",
                "cylinders": 8,
                "displacement_l": 5.9,
                "fuel": "95 pump petrol",
                "used_rpm": [2500, 5800],
            },
            "day": {
                "fuel": "95 pump petrol",
                "oil": "20W-50",
                "plugs": "cold range, 0.9 mm",
                "dyno": {"name": "north cell", "kind": "engine"},
                "notes": "warm, dry",
                "correction": "SAE J1349",
            },
        },
        "method": 1,
        "errors": [
            {
                "file": "run_11.csv",
                "line": 3,
                "column": None,
                "found": "no rpm",
                "expected": "a column of engine speed",
                "remedy": "name it in columns.yaml",
            },
        ],
        "inputs": [
            {"file": f"logs/Blue pump barge V8/2031-04-05/run_{i:02d}.csv", "sha256": f"{i:02d}" * 32} for i in range(1, 11)
        ],
        "prior": {
            "source": "archive",
            "frozen_from": ["2031-02-11", "2031-03-02"],
            "sd_median": 0.0045,
            "sd_log_sd": 0.25,
            "k_median": 2.6e-4,
            "k_log_sd": 0.3,
        },
        "lag": {"lag_s": [0.12, 0.05, 0.2], "bound_s": 0.3},
    }
    tables = {
        "pulls": sheet,
        "rows": rows.drop("residual_pct"),
        "delivered": pl.DataFrame(record["delivered"]),
        "shapes": pl.DataFrame(record["shapes"]),
        "best": pl.DataFrame(record["best"], infer_schema_length=None),
        "effects": pl.DataFrame(record["effects"]),
        "knock": pl.DataFrame(record["knock"]),
        "evidence": _evidence(rng),
        "residuals": rows.select("pull_id", "rpm", "residual_pct").with_columns(used=pl.col("pull_id") != "p07"),
        "offsets": offsets,
        "setting_curves": _setting_curves(),
        "ceiling": pl.DataFrame(advice["ceiling"]),
        "surface": _surface(),
    }
    return InventedDay(record, tables)


def _shape(setting: str, total: float) -> dict[str, Any]:
    shape: dict[str, Any] = {"setting": setting, "family": "mechanical", "hysteresis_deg": 0.6}
    for name, value, half in (
        ("initial_deg", 14.0, 0.8),
        ("total_deg", total, 0.4),
        ("start_rpm", 1100.0, 90.0),
        ("all_in_rpm", 3200.0, 60.0),
    ):
        shape |= {name: value, f"lo_{name}": value - half, f"hi_{name}": value + half}
    for name in ("knee_rpm", "knee_deg"):
        shape |= {name: None, f"lo_{name}": None, f"hi_{name}": None}
    return shape


def _evidence(rng: np.random.Generator) -> pl.DataFrame:
    rows = [
        (s, float(n), "log", "up", float(a + 1.2 + 0.0002 * n + rng.normal(0, 0.15)), float(a + 1.2 + 0.0002 * n), True)
        for s, total in SETTINGS.items()
        for n, a in zip(RPM[::3], curve(total)[::3], strict=True)
    ]
    rows += [
        (s, float(n), "light", "up", round(2 * (total + 0.4 + rng.normal(0, 0.5))) / 2, total, n != 4500)
        for s, total in SETTINGS.items()
        for n in (3500, 4500)
    ]
    rows += [(s, 900.0, "sheet", "up", 14.0, 14.1, True) for s in SETTINGS]
    return pl.DataFrame(rows, schema=["setting", "rpm", "source", "direction", "advance_deg", "fitted_deg", "used"], orient="row")


def _setting_curves() -> pl.DataFrame:
    rows = [
        (s, int(n), float(t), float(t) * 0.996, float(t) * 1.004)
        for s, a in SETTINGS.items()
        for n, t in zip(RPM, torque(curve(a)), strict=True)
    ]
    return pl.DataFrame(rows, schema=["setting", "rpm", "torque_nm", "lo_nm", "hi_nm"], orient="row")


def _surface() -> pl.DataFrame:
    rows = []
    for n, b in zip(RPM, wanted(), strict=True):
        lo, hi = curve(28.0)[n == RPM][0], curve(37.0)[n == RPM][0]
        for a in np.arange(20.0, 38.01, 0.5):
            if lo - 0.5 <= a <= hi + 0.5:
                loss = 100 * K * (a - b) ** 2
                rows.append((int(n), float(a), loss, loss * 0.7, loss * 1.3))
    return pl.DataFrame(rows, schema=["rpm", "advance_deg", "loss_pct", "lo_pct", "hi_pct"], orient="row")
