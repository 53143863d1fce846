"""A day nobody ran: a believable record and its tables, made from a plain hill, so that the report can be tested alone."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from tests.report.invented_hill import (
    RPM,
    SETTINGS,
    best_rows,
    delivered_rows,
    effect_rows,
    evidence,
    invented_pulls,
    rounded,
    setting_curves,
    shape_of,
    surface,
    wanted,
)


@dataclass
class InventedDay:
    """``record`` as day.json has it, ``tables`` as the stages hand them on."""

    record: dict[str, Any]
    tables: dict[str, pl.DataFrame] = field(default_factory=dict)


def _advice() -> dict[str, Any]:
    strip = [
        {
            "rpm": int(n),
            "cost_pct": rounded(0.1 + 2e-8 * (n - 4200) ** 2),
            "lo_pct": 0.0,
            "hi_pct": rounded(0.4 + 3e-8 * (n - 4200) ** 2),
        }
        for n in RPM
    ]
    return {
        "least_curve": [
            {"rpm": int(n), "advance_deg": rounded(b - 3), "cost_pct": 0.2} for n, b in zip(RPM, wanted(), strict=True)
        ],
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
    pulls, sheet, rows, offsets = invented_pulls(rng)
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
        "delivered": delivered_rows(),
        "shapes": [shape_of(s, t) for s, t in SETTINGS.items()],
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
        "best": best_rows(),
        "effects": effect_rows(),
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
        "evidence": evidence(rng),
        "residuals": rows.select("pull_id", "rpm", "residual_pct").with_columns(used=pl.col("pull_id") != "p07"),
        "offsets": offsets,
        "setting_curves": setting_curves(),
        "ceiling": pl.DataFrame(advice["ceiling"]),
        "surface": surface(),
    }
    return InventedDay(record, tables)
