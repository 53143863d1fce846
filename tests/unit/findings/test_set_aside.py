"""Pulls kept out of the fit are not called used."""

import polars as pl
from tests.unit.alignment.made import Sweep, day

from pullbook.findings.set_aside import mark_abnormal
from pullbook.hill.abnormal import ABNORMAL
from pullbook.stages.align import align_day


def test_what_was_kept_out_of_the_fit_stands_in_status_and_reasons() -> None:
    aligned = align_day(day([Sweep("a"), Sweep("b"), Sweep("c")]))
    first, second, _ = aligned.pulls["pull_id"].to_list()
    rpm = aligned.rows.filter(pl.col("pull_id") == first)["rpm"]
    lo, hi = int(rpm.min()), int(rpm.max())  # type: ignore[arg-type]
    table = pl.DataFrame([(first, lo, hi, "a misfire?"), (second, lo, lo + 500, "a slip?")], schema=ABNORMAL, orient="row")
    marked = mark_abnormal(aligned, table)
    assert marked.pulls["status"].to_list() == ["left_out", "part", "used"]
    assert marked.pulls["reasons"].to_list()[0][-1] == f"{lo} to {hi} rpm left out: a misfire?"
    assert "a slip?" in marked.pulls["reasons"].to_list()[1][-1]
    assert marked.pulls.drop("status", "reasons").equals(aligned.pulls.drop("status", "reasons"))
    assert mark_abnormal(aligned, table.clear()) is aligned
