"""How the archive bears ten thousand engine-days: `python -m tests.bench.bench_archive [--days 10000] [--keep DIR]`.

Builds an archive of simulated records (100 engines, no flushing to disk, which is the only thing left out), then measures in a
fresh process what a shop would wait for. Prints a table with ratios to floors measured in the same run: the bare reading or writing
of the same bytes. Exits 1 where a figure misses its target.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

ENGINES = 100
TARGETS = {"open_list_query_s": 1.0, "history_s": 0.5, "own_history_s": 0.5, "peak_mb": 500.0}


def simulated(number: int) -> dict[str, Any]:
    """What ``write_day`` takes for simulated day ``number``: 8 pulls of 300 samples, 36 rows of best advance."""
    from pullbook.provenance import Provenance

    engine, nth = number % ENGINES, number // ENGINES
    name = f"engine {engine:03d}"
    day = f"{2000 + nth // 240:04d}-{nth // 20 % 12 + 1:02d}-{nth % 20 + 1:02d}"
    rpm = list(range(2500, 6100, 100))
    pulls = [f"p{i}" for i in range(8)]
    settings = [f"14+{18 + 2 * (i % 4)}" for i in range(8)]
    best = pl.DataFrame({"rpm": rpm, "best_deg": [30.0 + 0.001 * r + engine % 5 for r in rpm], "lo_deg": 29.0, "hi_deg": 39.0,
                         "state": "inside", "least_deg": 31.0, "best_torque_nm": 400.0 + nth % 7})  # fmt: skip
    tables = {
        "samples": pl.DataFrame({"pull_id": [p for p in pulls for _ in range(300)], "file": "pull.csv", "segment": 1,
                                 "kind": "pull", "time_s": [0.02 * i for i in range(2400)],
                                 "rpm": [2500.0 + 12 * (i % 300) for i in range(2400)],
                                 "torque_nm": [400.0 + (i * 7919 % 97) / 50 for i in range(2400)]}),
        "pulls": pl.DataFrame({"pull_id": pulls, "file": "pull.csv", "order": range(8), "setting": settings, "status": "used"}),
        "best": best,
    }  # fmt: skip
    record = {
        "schema": 1, "engine": name, "day": day, "tool_version": "0.1.0", "made_at": f"{day}T18:00:00+00:00",
        "correction": {"standard": "SAE J1349"}, "best": best.to_dicts(), "timing_scale": {"verified": True},
        "pulls": [{"pull_id": p, "setting": s, "status": "used", "rpm_min": 2500.0, "rpm_max": 6000.0, "baseline": s == "14+18"}
                  for p, s in zip(pulls, settings, strict=True)],
        "shapes": [{"setting": s, "family": "mechanical", "initial_deg": 14.0, "total_deg": 32.0 + 2 * i, "all_in_rpm": 3000.0}
                   for i, s in enumerate(settings[:4])],
        "effects": [{"setting": s, "versus": "14+18", "rpm_lo": 2500, "rpm_hi": 6000, "change_pct": 0.3, "lo_pct": -0.2,
                     "hi_pct": 0.8, "verdict": "cannot_tell"} for s in settings[1:4]],
        "advice": {"mechanical": {"initial_deg": 14.0, "total_deg": 34.0}, "enough": False, "sentence": "14 initial, 34 total."},
        "conditions": {"dyno": f"cell {engine % 3}", "fuel": "98", "air pressure": 98.0 + nth % 5},
        "repeatability": {"pull_sd_pct": 0.5}, "knock": [],
    }  # fmt: skip
    inputs = [
        {"file": f"logs/{name}/{day}/pull {i}.csv", "kind": "log", "sha256": f"{number:060d}{i:04d}", "bytes": 30_000}
        for i in range(9)
    ]
    hill = {
        "rpm": [3000.0],
        "k_rpm": 4200.0,
        "weight": np.diag([4.0, 9.0, 70.0, 2e4]).tolist(),
        "towards": [120.0, -73.0, 0.0, 0.0],
    }
    own = {"ln_pull_sd": -5.2, "ln_pull_sd_sd": 0.3, "hill": hill, "pulls": 8}
    call = {
        "tables": tables,
        "record": record,
        "made": Provenance(inputs, record["made_at"], "0.1.0", 1),
    }
    return {"engine": name, "day": day, **call, "own": own}


def build(root: Path, days: int, start: int = 0) -> float:
    """Write days ``start`` … ``days``; returns seconds a day."""
    from pullbook.archive.store import Store

    store, began = Store(root), time.perf_counter()
    for number in range(start, days):
        call = simulated(number)
        store.write_day(call.pop("engine"), call.pop("day"), **call)
    store.update_catalog()
    return (time.perf_counter() - began) / max(days - start, 1)


def adding(root: Path, days: int = 9) -> tuple[float, float]:
    """Seconds to add one day with flushing, and to fold the catalogue, median of ``days``."""
    from statistics import median

    from pullbook.archive.store import Store

    store, taken, folded = Store(root), [], []
    number = store.catalog().select(pl.len()).collect().item()
    for n in range(number, number + days):
        call = simulated(n)
        began = time.perf_counter()
        store.write_day(call.pop("engine"), call.pop("day"), **call)
        written = time.perf_counter()
        store.update_catalog()
        taken.append(written - began)
        folded.append(time.perf_counter() - written)
    return median(taken), median(folded)


def writing_floor(root: Path, scratch: Path) -> float:
    """Seconds to write and flush the same files as one day's, bare."""
    files = [p.read_bytes() for p in root.glob("[a-z]*/engine=engine 042/day=*/*.parquet") if p.parent.name == "day=2000-01-01"]
    scratch.mkdir()
    began = time.perf_counter()
    for number, data in enumerate(files):
        with (scratch / f"{number}").open("wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
    return time.perf_counter() - began


def use(root: Path) -> dict[str, float]:
    """What a person waits for, imports apart; names that end in ``_floor`` are the bare reading of the same bytes."""
    import pullbook.archive.history
    from pullbook.archive.query import scan
    from pullbook.archive.store import Store

    figures: dict[str, float] = {}

    def clock(name: str, work: Callable[[], Any]) -> Any:
        began = time.perf_counter()
        done = work()
        figures[name] = time.perf_counter() - began
        return done

    def open_list_query() -> tuple[Store, pl.DataFrame, pl.DataFrame, pl.DataFrame]:
        store = Store(root)
        listed = store.catalog().select("engine", "day", "sentence").sort("day", descending=True).collect()
        fuel = store.catalog().filter(pl.col("fuel") == "98", pl.col("pull_sd_pct") < 1).group_by("engine").agg(pl.len()).collect()
        best = (
            scan(root, "best", engine="engine 042").filter(pl.col("rpm") == 4000).group_by("day").agg(pl.max("best_deg")).collect()
        )
        return store, listed, fuel, best

    store, listed, fuel, best = clock("open_list_query_s", open_list_query)
    clock("open_list_query_floor", lambda: pl.read_parquet(root / "catalog.parquet"))
    told = clock("history_s", lambda: pullbook.archive.history.history(store, "engine 042"))
    clock("history_floor", lambda: [json.loads(p.read_bytes()) for p in (root / "_days" / "engine=engine 042").rglob("*.json")])
    own = clock("own_history_s", lambda: store.own_history("engine 042", "cell 0", "2999-01-01"))
    figures["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    standing = clock("every_day_stands_s", store.current_all)
    clock("every_day_stands_floor", lambda: [json.loads(p.read_bytes()) for p in (root / "_days").rglob("*.json")])
    clock("nothing_to_complete_s", store.complete_unfinished)
    whole = clock("scan_every_day_s", lambda: scan(root, "best").filter(pl.col("rpm") == 4000).select(pl.len()).collect())
    clock("scan_every_day_floor", lambda: [p.read_bytes() for p in (root / "best").rglob("*.parquet")])
    figures |= {"days": listed.height, "engines": fuel.height, "days_of_one_engine": best.height, "own_figures_found": len(own),
                "days_in_history": len(told["days"]), "days_standing": len(standing), "rows_found": whole.item()}  # fmt: skip
    return figures


def main() -> int:
    """Build, measure, print."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--days", type=int, default=10_000)
    given.add_argument("--keep", type=Path, help="build here (or use what is built here) and leave it")
    given.add_argument("--use", type=Path, help=argparse.SUPPRESS)
    asked, _ = given.parse_known_args()
    if asked.use:
        print(json.dumps(use(asked.use)))
        return 0
    with tempfile.TemporaryDirectory() as scratch:
        root = asked.keep or Path(scratch) / "archive"
        figures: dict[str, float] = {}
        small = Path(scratch) / "small"
        build(small, 10)
        figures["add_a_day_at_10_s"], figures["fold_at_10_s"] = adding(small)
        if not root.exists():
            flush, os.fsync = os.fsync, lambda _number: None
            figures["build_a_day_s"] = build(root, asked.days)
            os.fsync = flush
        figures["add_a_day_at_full_s"], figures["fold_at_full_s"] = adding(root)
        figures["add_a_day_at_10_floor"] = figures["add_a_day_at_full_floor"] = writing_floor(root, Path(scratch) / "floor")
        ran = subprocess.run([sys.executable, "-m", __spec__.name, "--use", root], capture_output=True, text=True, check=True)
        figures |= json.loads(ran.stdout)
    print("| figure | value | floor | ratio | target |\n| --- | ---: | ---: | ---: | ---: |")
    missed = 0
    for name, value in figures.items():
        if name.endswith("_floor"):
            continue
        floor, target = figures.get(name.removesuffix("_s") + "_floor"), TARGETS.get(name)
        missed += target is not None and value > target
        bare = f"{floor:.3f} | {value / floor:.1f}" if floor else " | "
        print(f"| {name} | {value:.3f} | {bare} | {'' if target is None else f'{target:g}'} |")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
