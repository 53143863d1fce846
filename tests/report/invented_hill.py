"""A plain hill nobody ran, its settings and pulls, as rows of the record and tables of the stages."""

from typing import Any

import numpy as np
import polars as pl

RPM = np.arange(2500, 5801, 100)


SETTINGS = {"base 32": 32.0, "stop 18": 28.0, "stop 24": 34.0, "long 37": 37.0}


ORDER = ["base 32", "long 37", "stop 18", "stop 24", "base 32", "stop 18", "base 32", "stop 24", "long 37", "base 32"]


K = 2.4e-4


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


def rounded(x: float, n: int = 2) -> float:
    """A number as the record keeps it."""
    return round(float(x), n)


def invented_pulls(rng: np.random.Generator) -> tuple[list[dict[str, Any]], pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Pulls of the record (list), sheet, rows of torque and offsets with their ranges (tables), in the order run."""
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
                "air_factor": rounded(1.021 + 0.0007 * i, 4),
                "mean_torque_nm": rounded(t[keep].mean()),
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


def best_rows() -> list[dict[str, Any]]:
    """Best advance a row: flat below 2700 rpm, above what was tested from 5500, capped by knock at 3300 to 3600."""
    found = []
    for n, b in zip(RPM.tolist(), wanted(), strict=True):
        half = np.sqrt(0.005 / K)
        row = {
            "rpm": n,
            "best_deg": rounded(b),
            "lo_deg": rounded(b - 1.3),
            "hi_deg": rounded(b + 1.4),
            "state": "inside",
            "tested_lo_deg": 27.0,
            "tested_hi_deg": 36.2,
            "band_lo_deg": rounded(b - half),
            "band_hi_deg": rounded(b + half),
            "best_torque_nm": rounded(torque(wanted())[RPM.tolist().index(n)]),
            "least_deg": rounded(b - half + 0.6),
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


def delivered_rows() -> list[dict[str, Any]]:
    """Delivered advance of every setting, up and 0.6° more down."""
    return [
        {
            "setting": s,
            "direction": d,
            "rpm": int(n),
            "advance_deg": rounded(a + lift),
            "lo_deg": rounded(a + lift - 0.5),
            "hi_deg": rounded(a + lift + 0.5),
            "evidence": ["log", "strobe"],
        }
        for s, total in SETTINGS.items()
        for d, lift in (("up", 0.0), ("down", 0.6))
        for n, a in zip(RPM, curve(total), strict=True)
    ]


def effect_rows() -> list[dict[str, Any]]:
    """Change of torque against the baseline, %: the whole span, then each row."""
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
            "change_pct": rounded(c),
            "lo_pct": rounded(c - w),
            "hi_pct": rounded(c + w),
            "verdict": "gain" if c - w > 0 else "loss" if c + w < 0 else "same" if abs(c) + w < 0.5 else "cannot_tell",
        }
        for s, a, b, c, w in rows
    ]


def shape_of(setting: str, total: float) -> dict[str, Any]:
    """Corners of one setting's curve with ranges."""
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


def evidence(rng: np.random.Generator) -> pl.DataFrame:
    """Log, light and sheet of every setting; the light at 4500 rpm not used."""
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


def setting_curves() -> pl.DataFrame:
    """Torque of each setting with its range, N·m."""
    rows = [
        (s, int(n), float(t), float(t) * 0.996, float(t) * 1.004)
        for s, a in SETTINGS.items()
        for n, t in zip(RPM, torque(curve(a)), strict=True)
    ]
    return pl.DataFrame(rows, schema=["setting", "rpm", "torque_nm", "lo_nm", "hi_nm"], orient="row")


def surface() -> pl.DataFrame:
    """Loss over rpm and advance where it was tested, %."""
    rows = []
    for n, b in zip(RPM, wanted(), strict=True):
        lo, hi = curve(28.0)[n == RPM][0], curve(37.0)[n == RPM][0]
        for a in np.arange(20.0, 38.01, 0.5):
            if lo - 0.5 <= a <= hi + 0.5:
                loss = 100 * K * (a - b) ** 2
                rows.append((int(n), float(a), loss, loss * 0.7, loss * 1.3))
    return pl.DataFrame(rows, schema=["rpm", "advance_deg", "loss_pct", "lo_pct", "hi_pct"], orient="row")
