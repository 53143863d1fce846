"""What must not change delivered advance, and what must move it by just so much."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullbook.facts import EngineFacts, Ignition
from pullbook.measure import mixture
from pullbook.measure.broken_line import fit
from pullbook.measure.isotonic import increasing
from tests.unit.alignment.made import Sweep
from tests.unit.timing.made_days import lights, solve

LOCKED = EngineFacts(ignition=Ignition(kind="locked"))
FEW = settings(max_examples=15, deadline=None)


def measured(level: dict[str, float], log_off: float = 0.0) -> list[float]:
    """Delivered advance of locked settings at 4000 rpm, in the order given."""
    got = solve([Sweep(s, lambda n, a=a: a + log_off + 0.0 * n) for s, a in level.items()], engine=LOCKED, strobe=lights(level))
    table = {r["setting"]: r["advance_deg"] for r in got.delivered.filter(rpm=4000).iter_rows(named=True)}
    return [table[s] for s in level]


@FEW
@given(shift=st.floats(-10.0, 20.0))
def test_turning_everything_turns_the_answer(shift: float) -> None:
    """Log and light that both stand higher by some degrees mean a spark earlier by just that."""
    base, moved = measured({"a": 20.0, "b": 24.0}), measured({"a": 20.0 + shift, "b": 24.0 + shift})
    assert np.array(moved) - np.array(base) == pytest.approx(shift, abs=1e-6)


@FEW
@given(off=st.floats(-4.0, 4.0))
def test_an_offset_of_the_log_alone_hardly_moves_the_answer(off: float) -> None:
    """Eight light readings hold the answer to 0.6°, wherever the log stands: less than that they cannot tell from none."""
    assert measured({"a": 28.0, "b": 32.0}, log_off=off) == pytest.approx([28.0, 32.0], abs=0.65)


@FEW
@given(st.permutations(["a", "b", "c"]))
def test_order_of_settings_does_not_matter(order: list[str]) -> None:
    """Settings may be run in any order."""
    level = {"a": 28.0, "b": 31.0, "c": 34.0}
    got = dict(zip(order, measured({s: level[s] for s in order}), strict=True))
    assert [got[s] for s in level] == pytest.approx(list(level.values()), abs=0.02)


@FEW
@given(start=st.floats(2300.0, 3200.0), width=st.floats(700.0, 2200.0), rise=st.floats(6.0, 24.0), level=st.floats(4.0, 20.0))
def test_corners_without_noise_are_found(start: float, width: float, rise: float, level: float) -> None:
    """Flat, rise, flat: whatever the corners, they come back."""
    x = np.arange(1500.0, 6501.0, 100.0)
    y = np.interp(x, [start, start + width], [level, level + rise])
    line = fit(x, y, np.ones_like(x), 2, flat_left=True, flat_right=True)
    assert line is not None
    assert line.breaks == pytest.approx([start, start + width], abs=0.5)
    assert line.level == pytest.approx(level, abs=0.01)


@FEW
@given(st.lists(st.floats(-50.0, 50.0), min_size=1, max_size=40))
def test_increasing_never_falls_and_keeps_the_mean(values: list[float]) -> None:
    """The nearest rising curve has the same mean, and is itself where it rises already."""
    y = np.array(values)
    got = increasing(y)
    assert np.all(np.diff(got) >= -1e-9)
    assert got.mean() == pytest.approx(y.mean(), abs=1e-9)
    assert increasing(got) == pytest.approx(got, abs=1e-9)


@FEW
@given(mean=st.floats(-30.0, 30.0), sd=st.floats(0.01, 10.0), share=st.floats(0.02, 0.98))
def test_a_mixture_of_one_is_a_normal(mean: float, sd: float, share: float) -> None:
    """Quantiles of a single component are the normal's."""
    from scipy.special import ndtri

    got = mixture.quantile(np.ones(1), np.array([[mean]]), np.array([[sd]]), share)
    assert got[0] == pytest.approx(mean + sd * ndtri(share), abs=1e-6 * max(1.0, sd))
