"""What a run costs: `python -m tests.bench.bench_run [--part nothing|one|many|grow] [--days 5 500 5000]`.

Prints a table with ratios to floors measured in the same run:
nothing new against a bare Snakemake no-op of one target; one new pull against a bare Snakemake job, the imports, a polars parse
of the same logs and a drawing of as many figures; many new days against the same stages in one process. Never asserts a time.
"""

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import textwrap
import time
from collections.abc import Callable
from pathlib import Path

from tests.simulator.designs import WIDE

ROOT = Path(__file__).resolve().parents[2]
_ENV = {
    **os.environ,
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "POLARS_MAX_THREADS": "1",
    "PYTHONPATH": f"{ROOT / 'pipeline'}{os.pathsep}{ROOT}",
}
_ENV.pop("PYTHONDONTWRITEBYTECODE", None)  # modules are compiled once, as on anybody's machine; a first run does it unmeasured


def timed(command: list[str], cwd: Path) -> tuple[float, float, float]:
    """Wall s, CPU s and peak MB (of the largest process) of a command and all it starts."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run(command, cwd=cwd, env=_ENV, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, after.ru_maxrss / 1024


def best_of(times: int, measure: Callable[[], tuple[float, float, float]]) -> tuple[float, float, float]:
    """The run with the least wall time."""
    return min(measure() for _ in range(times))


def run(book: Path) -> tuple[float, float, float]:
    """`pullbook run`, timed."""
    return timed([sys.executable, "-m", "pullbook", "run", "--book", str(book), "--json"], book)


def python(code: str, cwd: Path) -> tuple[float, float, float]:
    """A fresh Python process, timed."""
    return timed([sys.executable, "-c", textwrap.dedent(code)], cwd)


def snakemake_floor(place: Path, *, done: bool) -> tuple[float, float, float]:
    """A bare Snakemake with one target: nothing to do, or one job that only touches its output."""
    (place / "Snakefile").write_text('rule all:\n    output: "x"\n    shell: "touch {output}"\n')
    (place / "x").touch() if done else (place / "x").unlink(missing_ok=True)
    return timed([sys.executable, "-m", "snakemake", "--cores", "2", "--quiet", "all", "--scheduler", "greedy"], place)


def made(book: Path, days: int, pulls: int | None = None) -> None:
    """Write ``days`` simulated days (10 an engine) into a book."""
    from dataclasses import replace

    from tests.simulator.day import simulate

    design = WIDE if pulls is None else replace(WIDE, order=tuple((2, 0, 3, 1)[i % 4] for i in range(pulls)))
    for number in range(days):
        engine, nth = divmod(number, 10)
        day = f"2030-{nth + 1:02d}-{engine % 28 + 1:02d}"
        simulate(design, 70_000 + number).write(book / "logs" / f"engine {engine:03d}" / day)


def cloned(book: Path, source: Path, days: int) -> None:
    """Fill a book with copies of one finished day, ten an engine: logs, archive and reports, as a run leaves them."""
    from pullbook import METHOD
    from pullbook.archive.inputs import InputHashes
    from pullbook.archive.store import Store
    from pullbook.config import open_book
    from pullbook.provenance import Provenance
    from pullbook.report.day_row import summary
    from pullbook.running import drawn

    opened, settings = open_book(book)
    was, old = next((k, v) for k, v in drawn.notes(open_book(source)[0]).items())
    before = Store(source / "archive")
    record, tables = before.read_record(*was), before.read_tables(*was)
    assert record is not None
    hashes, store = InputHashes(opened), Store(opened.archive)
    flush = os.fsync
    os.fsync = lambda fd: None  # a bench need not outlive a power cut
    try:
        for number in range(days):
            engine, day = f"clone {number // 10:04d}", f"2031-{number % 10 + 1:02d}-01"
            shutil.copytree(source.joinpath("logs", *was), opened.logs / engine / day, copy_function=shutil.copy2)
            shutil.copytree(source.joinpath("reports", *was), opened.reports / engine / day, copy_function=shutil.copy2)
            inputs = hashes.of_day(engine, day)
            revision = store.write_day(
                engine, day, tables=tables, record=record, made=Provenance(inputs, "2031-01-01", "bench", METHOD)
            )
            note = opened.reports / engine / day / drawn.NOTE
            note.unlink()
            row = summary({**record, "engine": engine, "day": day})
            drawn.write_note(note.parent, (engine, day), revision=revision, page=settings.page, files=old["files"], summary=row)
        hashes.keep()
        store.update_catalog()
    finally:
        os.fsync = flush


def nothing_new(place: Path, sizes: list[int]) -> None:
    """Nothing new in books of several sizes against a bare Snakemake no-op."""
    source = place / "source"
    made(source, 1)
    run(source)
    floor = best_of(3, lambda: snakemake_floor(place, done=True))
    show("bare Snakemake, one target, nothing to do", floor)
    for days in sizes:
        book = place / f"book{days}"
        cloned(book, source, days)
        run(book)
        time.sleep(2.5)  # dates must be older than the clock's grain before they are trusted
        run(book)
        show(f"nothing new, {days} days", best_of(3, lambda b=book: run(b)), floor)  # type: ignore[misc]


def one_pull(place: Path) -> None:
    """One new pull on a day of 12 against the floor of what it cannot do without."""
    book = place / "one"
    made(book, 1, pulls=12)
    run(book)
    day = next(p for p in (book / "logs").glob("*/*") if p.is_dir())
    logs = sorted(p for p in day.glob("*.csv") if p.name not in ("pulls.csv", "strobe.csv"))
    job = best_of(3, lambda: snakemake_floor(place, done=False))
    bare = f"""
        import matplotlib.backends.backend_pdf, matplotlib.backends.backend_svg, matplotlib.figure
        import io, jinja2, jsonschema, natsort, pandas, polars, pyarrow.parquet, scipy.special, yaml  # what a job loads, no more
        for path in {[str(p) for p in logs]!r}: polars.read_csv(path, ignore_errors=True, truncate_ragged_lines=True)
        for _ in range(9):
            for form in ("svg", "svg", "pdf"):
                figure = matplotlib.figure.Figure(figsize=(7, 4))
                axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
                for line in range(8): axes.plot(range(300), [line + i / 300 for i in range(300)])
                axes.set_title("a title"); axes.set_xlabel("rpm")
                figure.savefig(io.BytesIO(), format=form)
        """
    rest = best_of(3, lambda: python(bare, place))
    floor = (job[0] + rest[0], job[1] + rest[1], 0.0)
    show("floor: one Snakemake job + imports + parse + figures", floor)
    text = logs[-1].read_text(encoding="utf-8", errors="replace")
    new = day / "one more.csv"

    def one_more() -> tuple[float, float, float]:
        new.unlink(missing_ok=True)
        run(book)
        new.write_text(text + "\n", encoding="utf-8")
        return run(book)

    show("one new pull on a day of 12", best_of(3, one_more), floor)


def many(place: Path, sizes: list[int]) -> None:
    """Many new days from nothing: CPU s a day, against the same stages in one process."""
    single = place / "single"
    made(single, 20)
    code = f"""
        import gc
        gc.disable()  # as the jobs have it, which look between two days: the floor shall not be slower than it need be
        from pathlib import Path
        from pullbook.archive.store import Store
        from pullbook.config import open_book
        from pullbook.running import one_day
        from pullbook.running.measured import Measured
        from pullbook.running.planning import make_plan
        book, settings = open_book(Path({str(single)!r}))
        plan = make_plan(book, settings, Store(book.archive)).plan
        plan.write()
        folders = {{ident: plan.work / "measured" / ident for ident in plan.days}}
        for ident, day in plan.days.items(): one_day.measure(plan, day).keep(folders[ident]); gc.collect()
        gc.freeze()
        for ident, day in plan.days.items(): one_day.report(plan, day, Measured.kept(folders[ident]), folders); gc.collect()
        """
    floor = python(code, place)
    per_day = (*(f / 20 for f in floor[:2]), floor[2])
    show("the stages in one process, a day (of 20)", per_day)
    for days in sizes:
        book = place / f"many{days}"
        made(book, days)
        wall, cpu, peak = run(book)
        show(f"{days} new days on {os.cpu_count()} cores, a day", (wall / days, cpu / days, peak), per_day)


def grow(place: Path) -> None:
    """Cost and peak memory as pulls a day and samples a pull grow."""
    from dataclasses import replace

    from tests.simulator.day import simulate

    for pulls in (5, 12, 30, 100):
        book = place / f"pulls{pulls}"
        made(book, 1, pulls=pulls)
        show(f"a day of {pulls} pulls", run(book))
    for rate in (50.0, 500.0, 5000.0):
        book = place / f"rate{rate:.0f}"
        simulate(replace(WIDE, rate_hz=rate), 71_000).write(book / "logs" / "fast" / "2030-01-01")
        show(f"a day of 9 pulls logged at {rate:.0f} Hz", run(book))


def show(what: str, figures: tuple[float, ...], floor: tuple[float, ...] | None = None) -> None:
    """One row of the table."""
    wall, cpu, peak = figures
    row = f"| {what} | {wall:.2f} | {cpu:.2f} | {f'{peak:.0f}' if peak else ''} |"
    row += f" {wall / floor[0]:.2f} | {cpu / floor[1]:.2f} |" if floor else "  |  |"
    print(row, flush=True)


def main(arguments: list[str] | None = None) -> int:
    """Measure the parts asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_run", description=__doc__)
    parser.add_argument("--part", nargs="*", default=["nothing", "one", "many", "grow"])
    parser.add_argument("--days", nargs="*", type=int, default=[5, 500, 5000])
    parser.add_argument("--new", nargs="*", type=int, default=[20, 200])
    given = parser.parse_args(arguments)
    print(json.dumps({"cores": os.cpu_count(), "python": sys.version.split()[0]}))
    print("| what | wall s | CPU s | peak MB | wall ratio | CPU ratio |\n| --- | ---: | ---: | ---: | ---: | ---: |")
    with tempfile.TemporaryDirectory(prefix="pullbook-bench-") as name:
        place = Path(name)
        if "nothing" in given.part:
            nothing_new(place, given.days)
        if "one" in given.part:
            one_pull(place)
        if "many" in given.part:
            many(place, given.new)
        if "grow" in given.part:
            grow(place)
    return 0


if __name__ == "__main__":
    sys.exit(main())
