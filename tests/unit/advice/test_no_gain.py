"""More advance is not advised where all it brings may be nothing; what is known to gain, or lies lower, is."""

import numpy as np
import pytest
from tests.unit.advice.synthetic import RPM, Day, Pull, locked, sprung

from pullbook.facts import EngineFacts, Ignition, Spring
from pullbook.stages.advise import advise

WIDE = (22, 26, 24, 28, 22)


def day(kind: str, best: float, best_sd: float, pulls: list[Pull] | None = None, **more: object) -> Day:
    stops = () if kind == "mapped" else (16.0,)
    engine = EngineFacts(ignition=Ignition(kind=kind, stops_deg=stops))  # type: ignore[arg-type]
    return Day(pulls or locked(*WIDE), best=np.full(len(RPM), best), best_sd=best_sd, engine=engine, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["mechanical", "mapped"])
@pytest.mark.parametrize(("best", "best_sd"), [(25.0, 4.0), (26.0, 6.0), (26.0, 2.0), (24.0, 3.0)])
def test_a_gain_that_may_be_nothing_sends_nobody_up(kind: str, best: float, best_sd: float) -> None:
    told = advise(*day(kind, best, best_sd, state="flat").parts()).advice
    assert "leave it as the baseline is: what more advance would bring cannot be told from nothing (−" in told["sentence"]
    assert told["mechanical"]["total_deg"] <= 22.0
    assert max(r["advance_deg"] for r in told["least_curve"]) <= 22.0
    assert all(r["delivered_deg"] is None or r["delivered_deg"] <= 22.0 for r in told["table"])
    assert max(r["advance_deg"] for r in told["ceiling"]) == 28.0, "what was tested stays the limit"
    assert told["next_pulls"], "the next pulls go and find out"


def test_a_gain_that_is_clear_is_advised() -> None:
    told = advise(*day("mechanical", 27.0, 0.5).parts()).advice
    assert told["mechanical"]["versus_lo_pct"] > 0.0
    assert told["mechanical"]["total_deg"] > 23.0
    assert "more advance would bring" not in told["sentence"]


def test_less_advance_needs_no_proof_of_gain() -> None:
    told = advise(*day("mechanical", 24.0, 2.0, locked(28, 24, 26, 22, 28)).parts()).advice
    assert told["mechanical"]["total_deg"] < 28.0
    assert "more advance would bring" not in told["sentence"]


def test_a_baseline_that_knocked_holds_nothing() -> None:
    pulls = [Pull("24", 24.0, 24.0, baseline=True, knock="heard"), *locked(20, 22, 20, baseline=0.0)]
    told = advise(*day("mechanical", 23.0, 4.0, pulls, state="flat").parts()).advice
    assert "more advance would bring" not in told["sentence"]
    assert told["mechanical"]["total_deg"] <= 22.0


def test_nobody_changes_springs_for_what_cannot_be_told() -> None:
    springs = (Spring("light", 1000.0, 2600.0, 20.0), Spring("heavy", 1400.0, 4200.0, 20.0))
    pulls = [sprung(t, baseline=t == 26) for t in (26, 30, 28, 32, 26)]
    made = Day(pulls, best=np.full(len(RPM), 29.0), best_sd=4.0, state="flat",
               engine=EngineFacts(ignition=Ignition(kind="mechanical", stops_deg=(16.0, 20.0), springs=springs)))  # fmt: skip
    told = advise(*made.parts()).advice
    assert "leave it as the baseline is" in told["sentence"]
    assert told["mechanical"]["total_deg"] == 26.0
    assert told["mechanical"]["springs_note"].startswith("keep the springs and 20° stop of '26'")


def test_where_a_gain_is_open_it_and_the_baseline_are_run_again() -> None:
    told = advise(*day("mechanical", 25.5, 1.5).parts()).advice
    assert "more advance would bring cannot be told from nothing (" in told["sentence"]
    assert not told["enough"]
    assert [p["total_deg"] for p in told["next_pulls"]] == [24.0, 22.0]
    assert "cannot be told from nothing yet" in told["next_pulls"][0]["why"]


def test_where_it_could_not_be_much_the_baseline_is_enough() -> None:
    told = advise(*day("mechanical", 25.0, 1.5).parts()).advice
    assert told["sentence"].startswith("Leave it as the baseline is: what more advance would bring cannot be told from nothing (−")
    assert told["enough"]
    assert told["next_pulls"] == []
