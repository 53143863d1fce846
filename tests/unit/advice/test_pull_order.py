"""Plans made before anything is known: wide, with returns, and never a big step above what ran clean."""

import itertools

import numpy as np
import pytest

from pullbook.advice.pull_order import propose


@pytest.mark.parametrize("n", range(1, 25))
@pytest.mark.parametrize("shuffle", [0, 1, 7])
def test_no_pull_goes_more_than_a_step_above_the_highest_before_it(n: int, shuffle: int) -> None:
    plan = propose(n, 32.0, shuffle=shuffle)
    assert [p.order for p in plan] == list(range(1, n + 1))
    highest = 32.0
    for pull in plan:
        assert pull.total_deg is not None
        assert pull.total_deg <= highest + 2.0 + 1e-9
        highest = max(highest, pull.total_deg)


def test_a_plan_starts_and_ends_on_the_baseline_and_returns_between() -> None:
    plan = propose(9, 32.0)
    assert plan[0].baseline
    assert plan[-1].baseline
    assert sum(p.baseline for p in plan) >= 3


def test_a_plan_is_wide_and_heavy_on_the_retarded_side() -> None:
    offsets = [p.offset_deg for p in propose(8, 32.0, width=8.0)]
    assert min(offsets) == -8.0
    assert sum(o < 0 for o in offsets) > sum(o > 0 for o in offsets)
    assert offsets.count(-8.0) >= 2


def test_a_known_limit_is_never_passed() -> None:
    assert max(p.total_deg or 0.0 for p in propose(12, 34.0, max_advance=35.0)) <= 35.0
    assert max(p.total_deg or 0.0 for p in propose(12, 34.0, max_advance=34.0)) <= 34.0


def test_without_a_total_the_plan_speaks_in_offsets() -> None:
    plan = propose(4, None)
    assert [p.total_deg for p in plan] == [None] * 4
    assert plan[0].setting == "base"
    assert any(p.setting == "base-8" for p in plan)


def test_the_same_number_gives_the_same_order_and_others_give_others() -> None:
    assert propose(12, 30.0, shuffle=3) == propose(12, 30.0, shuffle=3)
    assert len({tuple(p.offset_deg for p in propose(12, 30.0, shuffle=s)) for s in range(6)}) > 1


@pytest.mark.parametrize(("n", "step"), [(0, 2.0), (3, 0.0)])
def test_an_impossible_plan_is_refused(n: int, step: float) -> None:
    with pytest.raises(ValueError, match="at least one pull"):
        propose(n, 30.0, max_step=step)


@pytest.mark.parametrize("n", [5, 8, 12])
def test_a_plan_is_not_like_drift_and_runs_nothing_twice_on_end(n: int) -> None:
    offsets = [p.offset_deg for p in propose(n, 32.0)]
    assert all(a != b for a, b in itertools.pairwise(offsets))
    assert abs(np.corrcoef(np.arange(n), offsets)[0, 1]) < 0.35


def test_wanted_pulls_come_in_and_leave_room_for_the_rest() -> None:
    plan = propose(9, 32.0, max_advance=34.0, wanted=(-3.0, 3.0, 0.0, 1.0))
    offsets = [p.offset_deg for p in plan]
    assert {-3.0, 1.0} <= set(offsets)
    assert 3.0 not in offsets, "above the known limit"
    assert -8.0 in offsets
    few = [p.offset_deg for p in propose(6, 32.0, wanted=(-1.0, -2.0, -3.0))]
    assert {-1.0, -2.0} <= set(few)
    assert -3.0 not in few, "half of the places that are no baseline"
    assert propose(9, 32.0, wanted=()) == propose(9, 32.0)


@pytest.mark.parametrize("wanted", [(6.0,), (4.0, 2.0), (9.0, -9.0)])
def test_a_wanted_pull_is_reached_in_steps_too(wanted: tuple[float, ...]) -> None:
    highest = 0.0
    for pull in propose(12, 32.0, wanted=wanted):
        assert pull.offset_deg <= highest + 2.0 + 1e-9
        highest = max(highest, pull.offset_deg)
