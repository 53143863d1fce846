"""A day that repeats far worse than its bench is asked about."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.hill.made_table import table

from pullbook.belief import Prior
from pullbook.findings.rough_day import rough_day
from pullbook.hill.fit import HillFit, fit_hill
from pullbook.hill.own_effects import find_own_effects

PRIOR = Prior(0.006, 0.69, 3e-4, 0.37)
CALLED = {f"p{i}": f"pull {i + 1} ({i}.csv)" for i in range(9)}
ORDER = [30.0, 22.0, 36.0, 26.0, 30.0, 22.0, 36.0, 26.0, 30.0]


def fitted(low: dict[int, float]) -> HillFit:
    day = table(ORDER, sd=0.003)
    ln_torque = day.ln_torque.copy()
    for pull, share in low.items():
        ln_torque[pull] += share
    day = replace(day, ln_torque=ln_torque)
    return fit_hill(day, PRIOR, np.random.default_rng(1), find_own_effects(day, "30"))


def test_pulls_that_repeat_three_times_worse_are_asked_about_and_named() -> None:
    said = rough_day(fitted({1: -0.04, 6: 0.035}), PRIOR, CALLED)
    assert said is not None
    assert "where 0.6 % was to be expected" in said
    assert "pull 2 (1.csv) (-" in said or "pull 7 (6.csv) (+" in said


def test_nothing_repeats_on_a_day_without_repeats() -> None:
    found = fitted({1: -0.04, 6: 0.035})
    each_its_own = replace(found, table=replace(found.table, setting=tuple(f"s{i}" for i in range(9))))
    said = rough_day(each_its_own, PRIOR, CALLED)
    assert said is not None
    assert "repeat" not in said.split("where")[0]


@pytest.mark.parametrize("prior", [PRIOR, replace(PRIOR, sd_median=0.015)])
def test_a_sound_day_and_a_bench_known_to_be_rough_are_not(prior: Prior) -> None:
    assert rough_day(fitted({}), prior, CALLED) is None
    assert rough_day(None, prior, CALLED) is None
