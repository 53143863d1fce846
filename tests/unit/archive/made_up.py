"""Small invented days for tests of the archive: tables of plausible shape, a record, inputs."""

from pathlib import Path
from typing import Any

import polars as pl

from pullbook.book import Book
from pullbook.provenance import Provenance

SETTINGS = ("14+20 grey", "14+22 grey")


def tables(torque: float = 400.0) -> dict[str, pl.DataFrame]:
    """Tables of a day of two pulls; ``torque`` (N·m) marks them, so that a mixed day shows."""
    pulls = ["p1", "p2"]
    return {
        "samples": pl.DataFrame(
            {"pull_id": [p for p in pulls for _ in range(5)], "file": "pull 01.csv", "segment": 1, "kind": "pull",
             "time_s": [0.1 * i for i in range(10)], "rpm": [3000.0 + 40 * i for i in range(10)], "torque_nm": torque,
             "lambda": [0.87, None] * 5}
        ),
        "pulls": pl.DataFrame({"pull_id": pulls, "file": "pull 01.csv", "order": [1, 2], "setting": SETTINGS, "status": "used",
                               "reasons": [["a blip was cut"], []], "mean_torque_nm": torque}),
        "best": pl.DataFrame({"rpm": [3000, 3100], "best_deg": [33.0, float("nan")], "lo_deg": [31.0, None],
                              "state": ["inside", "flat"], "best_torque_nm": torque}),
        "delivered": pl.DataFrame({"setting": SETTINGS, "direction": "up", "rpm": [3000, 3000], "advance_deg": [34.0, 36.0],
                                   "evidence": [["log", "strobe"], ["sheet"]]}),
        "shapes": pl.DataFrame({"setting": SETTINGS, "family": "mechanical", "total_deg": [34.0, 36.0]}),
        "effects": pl.DataFrame({"setting": SETTINGS[1:], "versus": SETTINGS[0], "change_pct": 0.8, "verdict": "gain"}),
        "settings": pl.DataFrame({"file": "day.yaml", "kind": "day.yaml", "sha256": "0" * 64, "key": ["fuel"], "value": ["98"]}),
        "setting_curves": pl.DataFrame({"setting": SETTINGS, "rpm": [3000, 3000], "torque_nm": torque}),
    }  # fmt: skip


def record(engine: str = "blue coupé", day: str = "2031-04-05", torque: float = 400.0, **more: Any) -> dict[str, Any]:
    """A record like day.json, small."""
    return {
        "schema": 1, "engine": engine, "day": day, "tool_version": "0.1.0", "made_at": "2031-04-05T18:00:00Z",
        "correction": {"standard": "SAE J1349", "factor_min": 1.01, "factor_max": 1.02, "inside_window": True,
                       "already_corrected": False},
        "pulls": [{"pull_id": f"p{i + 1}", "setting": s, "status": "used", "baseline": i == 0, "rpm_min": 2500.0,
                   "rpm_max": 6000.0, "mean_torque_nm": torque} for i, s in enumerate(SETTINGS)],
        "shapes": [{"setting": s, "family": "mechanical", "initial_deg": 14.0, "lo_initial_deg": 13.0, "hi_initial_deg": 15.0,
                    "total_deg": t, "lo_total_deg": t - 1, "hi_total_deg": t + 1, "start_rpm": 1000.0, "all_in_rpm": 3000.0}
                   for s, t in zip(SETTINGS, (34.0, 36.0), strict=True)],
        "timing_scale": {"log_minus_true_deg": 1.0, "verified": True, "zero_mark_error_deg": 0.0},
        "best": [{"rpm": 3000, "best_deg": 33.0, "lo_deg": 31.0, "hi_deg": 35.0, "state": "inside", "least_deg": 31.5},
                 {"rpm": 3500, "best_deg": None, "lo_deg": None, "hi_deg": None, "state": "flat", "least_deg": None}],
        "effects": [{"setting": SETTINGS[1], "versus": SETTINGS[0], "rpm_lo": 2500, "rpm_hi": 6000, "change_pct": 0.8,
                     "lo_pct": 0.2, "hi_pct": 1.4, "verdict": "gain"}],
        "repeatability": {"pull_sd_pct": 0.5, "source": "day", "pulls": 2},
        "knock": [{"pull_id": "p1", "setting": SETTINGS[0], "word": "not listened", "source": "sheet"}],
        "advice": {"mechanical": {"initial_deg": 14.0, "total_deg": 34.0, "all_in_rpm": 3000.0, "cost_pct": 0.2},
                   "enough": False, "sentence": "Set 14 initial, 34 total."},
        "conditions": {"dyno": "cell 2", "dyno kind": "engine", "fuel": "98", "plugs": "heat 7", "air pressure": 98.0,
                       "correction": "SAE J1349", "zero mark": "20 before, 20 after"},
        "changes": [], "questions": [], "warnings": [],
        **more,
    }  # fmt: skip


def inputs(mark: str = "a") -> list[dict[str, Any]]:
    """Inputs of a day; another ``mark`` is another content."""
    return [
        {"file": "logs/blue coupé/2031-04-05/pull 01.csv", "kind": "log", "sha256": mark * 64, "bytes": 1234},
        {"file": "logs/blue coupé/2031-04-05/pulls.csv", "kind": "pulls.csv", "sha256": "0" * 64, "bytes": 99},
    ]


def made(listed: list[dict[str, Any]], method: int = 1) -> Provenance:
    """From these inputs, by such a version of the method."""
    return Provenance(listed, "2031-04-05T18:00:00Z", "0.1.0", method)


def writing(mark: str = "a", torque: float = 400.0, engine: str = "blue coupé", day: str = "2031-04-05") -> dict[str, Any]:
    """Keyword arguments of ``Store.write_day``."""
    return {
        "tables": tables(torque), "record": record(engine, day, torque), "made": made(inputs(mark)),
        "own": {"sd": 0.005, "k": 3e-4},
    }  # fmt: skip


def day_folder(book: Book, engine: str = "blue coupé", day: str = "2031-04-05") -> Path:
    """A day of one log and its sheet, as a shop leaves it."""
    folder = book.day_folder(engine, day)
    folder.mkdir(parents=True)
    (folder / "pull 01.csv").write_text("rpm,torque\n3000,400\n")
    (folder / "pulls.csv").write_text("file;setting;note\npull 01.csv;14+20 grey;\n")
    return folder
