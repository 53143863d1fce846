"""Reading speed against bare parsers: a clean log, a messy one, many small ones. By hand: ``python tests/bench/bench_reading.py``.

Prints seconds, ratios and peak memory (each in a process of its own). Wanted: clean at most 2 x a bare polars.read_csv, messy
at most 1 x a bare pandas.read_csv, memory below 6 x the file, 200 logs of 100 kB below 10 s.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import polars as pl

CLEAN = "t [s],Engine speed [rpm],Torque [N·m],Power [kW],Advance [°BTDC],Coolant [°C],Oil [°C]"


def table(rows: int, rng: np.random.Generator) -> pl.DataFrame:
    """Pulls one after the other at 100 Hz: 8 s up, 4 s down."""
    t = np.arange(rows) * 0.01
    phase = t % 12.0
    rpm = np.where(phase < 8, 2400 + 430 * phase, 5840 - 860 * (phase - 8)) + rng.normal(0, 4, rows)
    torque = np.where(phase < 8, 200 - 6e-6 * (rpm - 4200) ** 2, -15.0) + rng.normal(0, 0.8, rows)
    advance = np.minimum(14 + 0.01 * np.maximum(rpm - 1200, 0), 34) + rng.normal(0, 0.1, rows)
    kw = torque.round(2) * rpm.round(0) / 9549.2966
    return pl.DataFrame(
        {"t": t.round(2), "n": rpm.round(0).astype(int), "m": torque.round(2), "p": kw.round(2), "a": advance.round(1),
         "c": (82 + 0.001 * t).round(1), "o": (88 + 0.002 * t).round(1)}
    )  # fmt: skip


def write_clean(path: Path, rows: int) -> None:
    """Comma, point, a preamble line, names with units."""
    body = table(rows, np.random.default_rng(5)).write_csv(include_header=False)
    path.write_text(f"{CLEAN}\n{body}", encoding="utf-8")


def write_messy(path: Path, rows: int) -> None:
    """Semicolons, decimal commas, CP1252, quotes, sentinels, a header again in the middle, broken rows, blanks on slow channels."""
    frame = table(rows, np.random.default_rng(6))
    slow = pl.int_range(0, rows) % 5 != 0
    text = frame.with_columns(
        pl.when(slow).then(None).otherwise(pl.col("c")).alias("c"),
        pl.when(pl.int_range(0, rows) % 997 == 0).then(-999.0).otherwise(pl.col("o")).alias("o"),
    ).write_csv(include_header=False, separator=";")
    lines = text.replace(".", ",").split("\n")
    head = "Zeit [s];Drehzahl [U/min];Drehmoment [Nm];Leistung [kW];Zündwinkel [°KW v. OT];Kühlwasser [°C];Öl [°C]"
    lines[rows // 2] = head
    lines[rows // 3] = lines[rows // 3][:9]
    lines[100] = '"' + lines[100].replace(";", '";"') + '"'
    path.write_bytes("\r\n".join(["Prüfstand;;;;;;", "", head, *lines]).encode("cp1252"))


WORK = """
import sys, time, json
from pathlib import Path
def peak():
    return int(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
what, path = sys.argv[1:3]
if what == "polars":
    import polars as pl
    do = lambda: pl.read_csv(path)
elif what == "pandas":
    import pandas as pd
    how = dict(sep=sys.argv[3], skiprows=int(sys.argv[4]), encoding=sys.argv[5], on_bad_lines="skip", low_memory=False)
    do = lambda: pd.read_csv(path, **how)
else:
    from pullbook.reading.log import read_log
    do = lambda: read_log(Path(path), shown=Path(path).name)
best = 1e9
before = peak()
for turn in range(4):
    start = time.perf_counter()
    out = do()
    best = min(best, time.perf_counter() - start)
    if turn == 0: first = peak()
    if what == "ours": assert out.error is None, out.error
    del out
print(json.dumps([best, (first - before) / 1024]))
"""


def measure(what: str, path: Path, *more: str) -> tuple[float, float]:
    """(best of four in seconds, growth of peak memory in MB over the first) in a fresh process."""
    done = subprocess.run([sys.executable, "-c", WORK, what, str(path), *more], capture_output=True, text=True, check=True)
    seconds, megabytes = json.loads(done.stdout)
    return seconds, megabytes


def main() -> None:
    """Print the three comparisons."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_250_000)
    rows = parser.parse_args().rows
    with tempfile.TemporaryDirectory() as folder:
        clean, messy = Path(folder, "clean.csv"), Path(folder, "messy.csv")
        write_clean(clean, rows)
        size = clean.stat().st_size / 1e6
        bare, _ = measure("polars", clean)
        ours, memory = measure("ours", clean)
        print(
            f"clean {size:.0f} MB: polars {bare:.3f} s, ours {ours:.3f} s, ratio {ours / bare:.2f} (wanted <= 2); "
            f"memory {memory:.0f} MB = {memory / size:.1f} x file"
        )
        write_messy(messy, rows)
        size = messy.stat().st_size / 1e6
        bare, _ = measure("pandas", messy, ";", "2", "cp1252")
        ours, memory = measure("ours", messy)
        print(
            f"messy {size:.0f} MB: pandas {bare:.3f} s, ours {ours:.3f} s, ratio {ours / bare:.2f} (wanted <= 1); "
            f"memory {memory:.0f} MB = {memory / size:.1f} x file"
        )
        import time

        from pullbook.reading.log import read_log

        logs = [Path(folder, f"log {k}.csv") for k in range(200)]
        for log in logs:
            write_clean(log, 2600)
        start = time.perf_counter()
        for log in logs:
            read_log(log, shown=log.name)
        print(f"200 logs of {logs[0].stat().st_size / 1e3:.0f} kB: {time.perf_counter() - start:.2f} s (wanted < 10)")


if __name__ == "__main__":
    main()
