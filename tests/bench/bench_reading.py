"""Reading speed against bare parsers: a clean log, a messy one, many small ones. By hand: ``python tests/bench/bench_reading.py``.

Prints seconds of wall and of both cores' work, ratios and peak memory above the imports (each in a process of its own). Wanted:
clean at most 2 x a bare polars.read_csv, messy at most 1 x a bare pandas.read_csv, memory below 6 x the file in every dialect,
200 logs of 100 kB below 10 s.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl

SIZES = (1, 5, 10, 20, 50)
"""MB."""
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


def spaced(frame: pl.DataFrame, width: int = 9) -> str:
    """Rows aligned by spaces."""
    return "\n".join(frame.select(pl.concat_str(pl.all().cast(pl.String).str.pad_start(width), separator=" ")).to_series()) + "\n"


def dialects(rows: int) -> Iterator[tuple[str, bytes]]:
    """One log a dialect: its name and bytes, so that each way through the reader is measured."""
    frame = table(rows, np.random.default_rng(7))
    body = frame.write_csv(include_header=False)
    plain = f"{CLEAN}\n{body}"
    names = "  ".join(CLEAN.replace(" ", "_").split(",")) + "\n"
    yield "carriage return and line feed, CP1252", plain.replace("\n", "\r\n").replace("·", "").encode("cp1252")
    yield "UTF-16", plain.encode("utf-16")
    quoted = ",".join(f'"{name}"' for name in CLEAN.split(","))
    yield "every cell in quotes", f"{quoted}\n{frame.write_csv(include_header=False, quote_style='always')}".encode()
    yield "aligned by spaces", (names + spaced(frame)).encode()
    gone = pl.when(pl.int_range(0, rows) % 5 != 0).then(pl.lit("")).otherwise(pl.col("c").cast(pl.String))
    yield "aligned by spaces, a slow column left blank", (names + spaced(frame.with_columns(gone.alias("c")))).encode()
    grouped = frame.with_columns(pl.col("n").cast(pl.String).str.replace(r"(\d{3})$", " ${1}"))
    semicolons = grouped.write_csv(include_header=False, separator=";").replace(".", ",")
    yield "decimal commas, thousands by spaces", f"{CLEAN.replace(',', ';')}\n{semicolons}".encode()
    moment = pl.lit(datetime(2031, 5, 1, 8, tzinfo=UTC)) + pl.duration(milliseconds=(pl.col("t") * 1000).round().cast(pl.Int64))
    for name, style in (("a clock", "%H:%M:%S%.3f"), ("date and time", "%d.%m.%Y %H:%M:%S%.3f")):
        clocked = frame.with_columns(moment.dt.strftime(style).alias("t"))
        yield name, f"{CLEAN.replace('t [s]', 'Clock')}\n{clocked.write_csv(include_header=False)}".encode()
    words = clocked.with_columns(
        fan=pl.when(pl.int_range(0, rows) % 3 == 0).then(pl.lit("off")).otherwise(pl.lit("on")),
        boost=pl.when(pl.int_range(0, rows) % 90 == 0).then(pl.lit("5.5")).otherwise(pl.lit("---")),
    )
    head = f"{CLEAN.replace('t [s]', 'Clock')},Fan,Boost [kPa]"
    yield "words for missing values and switches", f"{head}\n{words.write_csv(include_header=False)}".encode()
    short = [line if k % 5 == 0 else line.rsplit(",", 2)[0] for k, line in enumerate(body.split("\n"))]
    yield "trailing blanks left away", "\n".join([CLEAN, *short]).encode()
    lines = body.split("\n")[:-1]
    odd = [line[: len(line) // 2] if k % 10 == 3 else line for k, line in enumerate(lines)]
    yield "one row in ten broken (the general way)", "\n".join([CLEAN, *odd, ""]).encode()
    odd = [f"{line}\nmarker set by hand" if k % 16 == 5 else line for k, line in enumerate(lines)]
    yield "a remark after every sixteenth row (the general way)", "\n".join([CLEAN, *odd, ""]).encode()
    odd = [f"{line} °C\nmarker set by hand" if k % 16 == 5 else f"{line} °C" for k, line in enumerate(lines)]
    yield "a unit behind a column's values among remarks (the general way)", "\n".join([CLEAN, *odd, ""]).encode()
    yield "several faults at once (the general way)", "\n".join(several_faults(clocked)).encode()
    units = frame.select(pl.format("{} s,{} rpm,{} Nm,{} kW", "t", "n", "m", "p")).to_series()
    yield "units behind every value", "\n".join(["Time,Engine speed,Torque,Power", *units, ""]).encode()


def all_dialects(rows: int) -> Iterator[tuple[str, bytes]]:
    """The clean log too."""
    yield "a clean log", f"{CLEAN}\n{table(rows, np.random.default_rng(5)).write_csv(include_header=False)}".encode()
    yield from dialects(rows)


def several_faults(frame: pl.DataFrame) -> Iterator[str]:
    """Lines with a clock, decimal commas, grouped speeds, a slow channel, words for missing values, blank lines, headers again."""
    head = CLEAN.replace("t [s]", "Clock").replace(",", ";")
    every = pl.int_range(pl.len())
    speed = pl.col("n").cast(pl.String).str.replace(r"(\d{3})$", ".${1}")
    others = [pl.col(c).cast(pl.String).str.replace(".", ",", literal=True) for c in "mpa"]
    coolant = pl.when(every % 5 == 0).then(pl.col("c").cast(pl.String).str.replace(".", ",", literal=True)).otherwise(pl.lit(""))
    oil = pl.when(every % 400 == 0).then(pl.lit("---")).otherwise(pl.col("o").cast(pl.String).str.replace(".", ",", literal=True))
    rows = frame.select(pl.concat_str("t", speed, *others, coolant, oil, separator=";")).to_series()
    yield head
    for k, row in enumerate(rows):
        yield f"{row};"
        if k % 18 == 3:
            yield ""
        if k % 50_000 == 49_999:
            yield head


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
    from pullbook.pulls.segments import find_segments
    from pullbook.reading.log import read_log
    def do():
        log = read_log(Path(path), shown=Path(path).name)
        if what == "cut": find_segments(log.samples)
        return log
best, work = 1e9, 1e9
if what in ("ours", "cut") and len(sys.argv) > 4:  # a short log of the same dialect first: what a log itself costs is left
    whole, path = path, sys.argv[3]
    do()
    path = whole
before = peak()
for turn in range(int(sys.argv[-1])):
    start, used = time.perf_counter(), time.process_time()
    out = do()
    best, work = min(best, time.perf_counter() - start), min(work, time.process_time() - used)
    if turn == 0: first = peak()
    if what in ("ours", "cut"): assert out.error is None, out.error
    del out
print(json.dumps([best, work, (first - before) / 1024]))
"""


def measure(what: str, path: Path, *more: str, turns: int = 4) -> tuple[float, float, float]:
    """(best wall in seconds, least work of all cores in seconds, growth of peak memory in MB over the first) in a fresh process."""
    done = subprocess.run(
        [sys.executable, "-c", WORK, what, str(path), *more, str(turns)], capture_output=True, text=True, check=True
    )
    wall, work, mebibytes = json.loads(done.stdout)
    return wall, work, mebibytes * 1.048576


def write_dialect(path: Path, name: str, rows: int) -> float:
    """Write one log of a dialect; its size in MB."""
    data = next(data for known, data in all_dialects(rows) if known == name)
    path.write_bytes(data)
    return len(data) / 1e6


def by_size(folder: Path, only: str = "") -> None:
    """Print what logs of 1 to 50 MB cost above a process that has read a short one of the same dialect, read and read and cut.

    ``only``: part of the names of the dialects meant."""
    rows = 3_000  # so many that it goes the same way through the reader
    short, path = folder / "short.csv", folder / "long.csv"
    for name in [name for name, _ in all_dialects(10) if only in name]:
        row = write_dialect(short, name, rows) / rows
        cells = []
        for size in SIZES:
            mb = write_dialect(path, name, round(size / row))
            cells.append(" / ".join(f"{measure(what, path, str(short), turns=1)[2] / mb:.1f}" for what in ("ours", "cut")))
        print(f"{name}: {', '.join(f'{size} MB {cell}' for size, cell in zip(SIZES, cells, strict=True))} x file", flush=True)


def compare(name: str, path: Path, floor: str, wanted: int, *how: str) -> None:
    """Print ours against a bare parser."""
    size = path.stat().st_size / 1e6
    wall, work, _ = measure(floor, path, *how)
    ours, mine, memory = measure("ours", path)
    print(
        f"{name} {size:.0f} MB: {floor} {wall:.3f} s ({work:.3f} of work), ours {ours:.3f} s ({mine:.3f}), ratio {ours / wall:.2f} "
        f"(wanted <= {wanted}; of work {mine / work:.2f}); memory {memory:.0f} MB = {memory / size:.1f} x file",
        flush=True,
    )


def main() -> None:
    """Print the comparisons and the memory of every dialect."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_250_000)
    parser.add_argument(
        "--memory", metavar="DIALECT", help="only what logs of each size cost in memory, of dialects named so ('': all)"
    )
    given = parser.parse_args()
    rows = given.rows
    with tempfile.TemporaryDirectory() as folder:
        if given.memory is not None:
            by_size(Path(folder), given.memory)
            return
        clean, messy = Path(folder, "clean.csv"), Path(folder, "messy.csv")
        write_clean(clean, rows)
        compare("clean", clean, "polars", 2)
        write_messy(messy, rows)
        compare("messy", messy, "pandas", 1, ";", "2", "cp1252")
        size = clean.stat().st_size / 1e6
        wall, work, memory = measure("cut", clean, turns=1)
        print(f"clean, read and cut into segments: {work:.2f} s of work, {memory:.0f} MB = {memory / size:.1f} x file", flush=True)
        tiny = Path(folder, "tiny.csv")
        write_clean(tiny, 100)
        print(f"a log of 100 rows: {measure('ours', tiny, turns=1)[2]:.0f} MB, which every log's memory holds", flush=True)
        for name, data in dialects(rows):
            path = Path(folder, "dialect.csv")
            path.write_bytes(data)
            size = len(data) / 1e6
            wall, work, memory = measure("ours", path, turns=1)
            cut = measure("cut", path, turns=1)[2]
            print(
                f"{name}, {size:.0f} MB: {wall:.2f} s ({work:.2f} s of work), {memory:.0f} MB = {memory / size:.1f} x file; "
                f"cut into segments too: {cut / size:.1f} x file",
                flush=True,
            )
        by_size(Path(folder))
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
