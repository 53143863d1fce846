"""``python -m tests.study --days 100 --out DIR [--jobs 2] [--design NAME…]``: the proof, resumable; ``--table`` prints it."""

import argparse
import json
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

FIRST = 140_000
"""Numbers of the published days start here; the model was set up on days below."""
MARKS = ("<!-- results -->", "<!-- end of results -->")
SEASONS = ("wide", "burn_slow", "few_pulls")


def main(words: list[str] | None = None) -> int:
    """Run what is missing, or print the table of what is there."""
    parser = argparse.ArgumentParser(prog="python -m tests.study", description=__doc__)
    parser.add_argument("--days", type=int, default=100, help="simulated days a design")
    parser.add_argument("--out", type=Path, default=Path("study"), help="folder of results: one JSON line a day")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument(
        "--design",
        nargs="*",
        default=None,
        help="only these designs; 'season', 'regression' and 'other' (other truths) count as designs",
    )
    parser.add_argument("--first", type=int, default=FIRST, help="number of the first day")
    parser.add_argument("--table", action="store_true", help="print the results as markdown")
    parser.add_argument("--write", type=Path, default=None, help="with --table: put them between the marks of this page instead")
    chosen = parser.parse_args(words)
    if chosen.table:
        from tests.study.table import markdown

        results = markdown(chosen.out)
        if chosen.write is None:
            print(results)
        else:
            before, rest = chosen.write.read_text(encoding="utf-8").split(MARKS[0])
            page = before + MARKS[0] + "\n" + results + "\n" + MARKS[1] + rest.split(MARKS[1])[1]
            chosen.write.write_text(page, encoding="utf-8")
        return 0
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    chosen.out.mkdir(parents=True, exist_ok=True)
    todo = list(_todo(chosen.out, chosen.design, chosen.first, chosen.days))
    print(f"{len(todo)} days to do", file=sys.stderr)
    with ProcessPoolExecutor(chosen.jobs) as pool:
        for done, (name, line) in enumerate(pool.map(_one, todo, chunksize=4), 1):
            with (chosen.out / f"{name}.jsonl").open("a", encoding="utf-8") as file:
                file.write(json.dumps(line, default=_plain_number) + "\n")
            if done % 50 == 0:
                print(f"{done} of {len(todo)}", file=sys.stderr, flush=True)
    return 0


def _plain_number(value: Any) -> Any:
    """Library numbers as Python's own."""
    return value.item()


def _todo(out: Path, only: list[str] | None, first: int, days: int) -> Iterator[tuple[str, int]]:
    """What has no line yet, day by day through all designs, so that a study cut short is still even."""
    from tests.simulator.designs import STRESS, STUDY
    from tests.study import other_truths

    other = (f"other-{k}" for k in other_truths.KINDS | other_truths.STRESS)
    names = [n for n in (*STUDY, *STRESS, *(f"season-{s}" for s in SEASONS), "regression", *other) if _wanted(n, only)]
    there: dict[str, set[int]] = {}
    for name in names:
        path = out / f"{name}.jsonl"
        lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        there[name] = {json.loads(line)["number"] for line in lines if line.endswith("}")}
    for number in range(first, first + days):
        yield from ((name, number) for name in names if number not in there[name])
    if "regression" in names and days >= 100:
        yield from (("regression", n) for n in range(first + days, first + 400) if n not in there["regression"])


def _wanted(name: str, only: list[str] | None) -> bool:
    return not only or name in only or name.split("-")[0] in only


def _one(what: tuple[str, int]) -> tuple[str, dict[str, Any]]:
    """One day; a day that breaks is a line too, and counted."""
    from tests.simulator.day import simulate
    from tests.simulator.designs import STRESS, STUDY

    name, number = what
    designs = STUDY | STRESS
    try:
        if name == "regression":
            from tests.study.regression import covers

            result: dict[str, Any] = {"covered": covers(number)}
        elif name.startswith("other-"):
            from tests.study import other_truths

            result = other_truths.run_other((other_truths.KINDS | other_truths.STRESS)[name.removeprefix("other-")], number)
        elif name.startswith("season-"):
            from tests.study.season import run_season

            result = run_season(designs[name.removeprefix("season-")], number)
        else:
            from tests.study.score import run_day

            result = run_day(simulate(designs[name], number))
    except Exception as fault:
        result = {"broke": f"{type(fault).__name__}: {fault}"}
    return name, {"number": number} | result


if __name__ == "__main__":
    sys.exit(main())
