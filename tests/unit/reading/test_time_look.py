"""How a column looks that may hold time."""

import numpy as np

from pullbook.channels.time_look import climbs, climbs_evenly, counts_rows, is_whole, runs_on

EVEN = np.arange(0.0, 5.0, 0.02)


def test_a_clock_climbs_evenly_and_a_sweep_does_not() -> None:
    sweep = np.concatenate([np.full(100, 1500.0), 1500.0 + np.linspace(0, 60, 150) ** 2])
    assert climbs(EVEN)
    assert climbs_evenly(EVEN)
    assert climbs(sweep)
    assert not climbs_evenly(sweep)
    assert not climbs(EVEN[::-1])
    assert not climbs(np.full(50, 3.0))
    assert not climbs(None)
    assert not climbs_evenly(None)


def test_counters_are_whole_and_go_one_by_one() -> None:
    assert counts_rows(np.arange(1.0, 90.0))
    assert not counts_rows(np.arange(0.0, 900.0, 10.0))
    assert not counts_rows(None)
    assert is_whole(np.array([1.0, np.nan, 3.0]))
    assert not is_whole(EVEN)


def test_one_step_back_in_fifty_is_a_restart_and_more_is_no_clock() -> None:
    assert runs_on(np.concatenate([EVEN, EVEN]))
    assert not runs_on(np.tile([1.0, 2.0, 1.5], 30))
    assert not runs_on(np.array([1.0]))
