"""The search of curves a distributor can make, against an exhaustive search and against what a knock cap does."""

import itertools

import numpy as np
import pytest
from tests.unit.advice.synthetic import RPM, Day, ground_of, locked

from pullbook.advice.curve_shapes import all_in_rpm, highest_total, straight
from pullbook.advice.ground import Ground
from pullbook.advice.mechanical import search
from pullbook.advice.parts import Parts, combinations
from pullbook.facts import Spring

SPRINGS = (Spring("light", 1000.0, 2600.0, 20.0), Spring("heavy", 1400.0, 4200.0, 20.0))


def rising(lo: float = 26.0, hi: float = 36.0) -> np.ndarray:
    return np.linspace(lo, hi, len(RPM))


@pytest.fixture(scope="module")
def ground() -> Ground:
    return ground_of(Day(locked(32, 22, 40), best=rising()))


def test_a_springs_all_in_moves_with_the_stop() -> None:
    assert all_in_rpm(SPRINGS[1], 10.0) == 1400 + 2800 * 0.5


def test_owned_parts_give_the_same_as_trying_every_one(ground: Ground) -> None:
    found = search(ground, Parts(owned=combinations(SPRINGS, (16.0, 20.0))))
    costs = {}
    for spring, stop in itertools.product(SPRINGS, (16.0, 20.0)):
        for total in np.arange(25.0, 40.01, 0.1):
            one = straight(total, stop, spring.start_rpm, all_in_rpm(spring, stop))
            if total <= highest_total(one, ground.limit_rpm, ground.limit_deg)[0] + 1e-9 and total >= stop:
                costs[spring.name, stop, round(total, 1)] = ground.losses(one.curves(ground.rpm))[0]
    cheapest = min(costs, key=lambda k: float(np.mean(costs[k])))
    got = found.cheapest
    assert np.mean(ground.losses(got.curves(ground.rpm))) == pytest.approx(np.mean(costs[cheapest]), abs=2e-5)
    within = [k for k, c in costs.items() if np.mean(c - costs[cheapest] > ground.tolerance) < 0.10]
    means = {k: np.mean(straight(k[2], k[1], *_span(k)).curves(ground.rpm)) for k in within}
    assert np.mean(found.chosen.curves(ground.rpm)) == pytest.approx(min(means.values()), abs=0.11)


def _span(key: tuple[str, float, float]) -> tuple[float, float]:
    spring = next(s for s in SPRINGS if s.name == key[0])
    return spring.start_rpm, all_in_rpm(spring, key[1])


def test_the_chosen_curve_seldom_costs_more_than_the_tolerance_over_the_cheapest(ground: Ground) -> None:
    found = search(ground, Parts(stops=(10.0, 20.0)))
    extra = ground.losses(found.chosen.curves(ground.rpm))[0] - ground.losses(found.cheapest.curves(ground.rpm))[0]
    assert np.mean(extra > ground.tolerance) < 0.10
    assert np.mean(found.chosen.curves(ground.rpm)) < np.mean(found.cheapest.curves(ground.rpm))


def test_free_springs_find_a_curve_that_springs_made() -> None:
    made = 34.0 - 12.0 + 12.0 * np.clip((RPM - 2300.0) / (4100.0 - 2300.0), 0.0, 1.0)
    ground = ground_of(Day(locked(32, 20, 40), best=made, best_sd=0.3))
    found = search(ground, Parts(stops=(12.0,)))
    assert np.max(np.abs(found.cheapest.curves(ground.rpm)[0] - ground.posterior.best_deg.mean(axis=0))) < 0.5


def test_a_knock_cap_makes_valleys_and_the_search_still_finds_the_deepest() -> None:
    cap = np.where((RPM >= 3300) & (RPM <= 3600), 27.0, 38.0)
    ground = ground_of(Day(locked(32, 22, 38), best=rising(30.0, 36.0), best_sd=0.4), cap)
    found = search(ground, Parts(stops=(18.0,)))
    curve = found.cheapest.curves(ground.limit_rpm)[0]
    assert np.all(curve <= cap + 1e-9)
    best = np.inf
    for start, all_in in itertools.product(np.arange(1000, 5401, 200.0), np.arange(1800, 5601, 200.0)):
        if all_in - start >= 18.0 * 40.0:
            one = straight(0.0, 18.0, start, all_in)
            top = float(highest_total(one, ground.limit_rpm, ground.limit_deg)[0])
            totals = np.arange(top, top - 8.0, -0.25)
            best = min(best, float(np.min(ground.price(one.take([0] * len(totals)).with_total(totals).curves(ground.rpm)))))
    assert ground.price(found.cheapest.curves(ground.rpm))[0] <= best + 1e-4


def test_where_the_best_is_out_of_reach_no_tolerance_is_spent() -> None:
    ground = ground_of(Day(locked(26, 24, 28), best=np.full(len(RPM), 38.0)))
    found = search(ground, Parts(owned=combinations(SPRINGS, (20.0,))))
    assert found.chosen.total[0] == found.cheapest.total[0]


def test_the_same_day_gives_the_same_curve_to_the_last_digit(ground: Ground) -> None:
    one, two = search(ground, Parts(stops=(20.0,))), search(ground, Parts(stops=(20.0,)))
    assert one.chosen.curves(RPM * 1.0).tobytes() == two.chosen.curves(RPM * 1.0).tobytes()
