"""Whatever a log holds it is tiled by segments; what does not matter to an operator does not change them."""

import numpy as np
import polars as pl
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pullbook.pulls.segments import find_segments
from tests.unit.reading.driven import Plan, drive

FEW = settings(max_examples=25, deadline=None)

# speeds far enough apart that no span lies on the edge of what is a pull
stretch = st.tuples(st.sampled_from([1.0, 3.0, 7.0, 12.0]), st.sampled_from([700.0, 1500.0, 2700.0, 4300.0, 6500.0]),
                    st.sampled_from([0.0, 0.1, 0.3, 1.0]))  # fmt: skip
plans = st.lists(stretch, min_size=1, max_size=8)
rates = st.sampled_from([1.0, 4.0, 10.0, 25.0])


def told(samples: pl.DataFrame) -> list[tuple[str, int, int]]:
    return [(s.kind, s.first, s.stop) for s in find_segments(samples)]


@FEW
@example(  # at one row a second a rise can take the whole fall after it
    plan=[(1.0, 700.0, 0.0), (7.0, 2700.0, 0.0), (1.0, 700.0, 0.0), (1.0, 2700.0, 0.0), (1.0, 700.0, 0.3)], hz=1.0, offset=0.0
)
@given(plan=plans, hz=rates, offset=st.floats(-1e4, 1e4))
def test_a_time_offset_changes_nothing_else(plan: Plan, hz: float, offset: float) -> None:
    samples = drive(plan, hz)
    moved = find_segments(samples.with_columns(pl.col("time_s") + round(offset, 1)))
    here = find_segments(samples)
    assert [(s.kind, s.rows) for s in moved] == [(s.kind, s.rows) for s in here]


@FEW
@given(plan=plans, hz=rates, factor=st.sampled_from([0.7376, 0.10197, 1.3558]))
def test_the_unit_of_torque_changes_nothing(plan: Plan, hz: float, factor: float) -> None:
    samples = drive(plan, hz)
    assert told(samples.with_columns(pl.col("torque_nm") * factor)) == told(samples)


@FEW
@given(first=plans, second=plans, hz=rates)
def test_recordings_are_cut_each_for_itself(first: Plan, second: Plan, hz: float) -> None:
    a, b = drive(first, hz, torque=False), drive(second, hz, torque=False, number=2)
    both = pl.concat([a, b.with_columns(recording=pl.lit(1, dtype=pl.Int64))])
    apart = [(s.kind.replace("aborted", "pull"), s.rows) for x in (a, b) for s in find_segments(x)]
    assert [(s.kind.replace("aborted", "pull"), s.rows) for s in find_segments(both)] == apart


noise = st.lists(
    st.one_of(st.none(), st.floats(allow_nan=True, allow_infinity=False, width=32), st.just(0.0)), min_size=0, max_size=120
)


@settings(max_examples=60, deadline=None)
@given(rpm=noise, torque=noise, data=st.data())
def test_any_numbers_are_tiled(rpm: list[float | None], torque: list[float | None], data: st.DataObject) -> None:
    n = len(rpm)
    columns: dict[str, pl.Series] = {"rpm": pl.Series(rpm, dtype=pl.Float64, strict=False)}
    if data.draw(st.booleans()):
        steps = data.draw(st.lists(st.sampled_from([0.0, 0.001, 0.1, 1.0, 100.0, -5.0]), min_size=n, max_size=n))
        columns["time_s"] = pl.Series(np.cumsum(steps), dtype=pl.Float64)
    if data.draw(st.booleans()):
        columns["torque_nm"] = pl.Series((torque + [None] * n)[:n], dtype=pl.Float64, strict=False)
    if data.draw(st.booleans()):
        columns["throttle_pct"] = pl.Series((torque + [None] * n)[:n], dtype=pl.Float64, strict=False)
    samples = pl.DataFrame(columns)
    found = find_segments(samples)
    if found:
        assert [s.segment for s in found] == list(range(1, len(found) + 1))
        edges = [found[0].first, *(s.stop for s in found)]
        assert edges == [s.first for s in found] + [n]
        assert edges[0] == 0
    else:
        assert all(v is None or v != v for v in rpm)
