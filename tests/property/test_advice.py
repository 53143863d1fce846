"""Whatever the day, advice is monotone where weights make it, stays under every ceiling, and its sums close."""

from dataclasses import dataclass

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pullbook.advice.pull_order import propose
from pullbook.facts import DayFacts, EngineFacts, Ignition, Limits, Spring
from pullbook.stages.advise import advise
from tests.unit.advice.synthetic import Day, Pull, locked

ROWS = np.arange(2000, 5601, 300)
SPRINGS = (Spring("light", 1000.0, 2600.0, 20.0), Spring("heavy", 1400.0, 4200.0, 18.0))


@dataclass
class Drawn:
    """A day of any kind."""

    day: Day
    limit: float | None


@st.composite
def days(draw: st.DrawFn) -> Drawn:
    base = draw(st.integers(20, 36))
    totals = [base, *(base + draw(st.integers(-9, 6)) for _ in range(draw(st.integers(1, 5))))]
    pulls = locked(*[float(t) for t in totals])
    for pull in pulls:
        pull.knock = draw(st.sampled_from(["heard", "faint", "not heard", "not heard", "not listened"]))
        if pull.knock in ("heard", "faint"):
            lo = draw(st.integers(20, 50)) * 100.0
            pull.knock_rpm = draw(st.sampled_from([None, (lo, lo + 400.0)]))
        if draw(st.booleans()):
            pull.initial = None if draw(st.booleans()) else (pull.total or 0.0) - 16.0
    best = np.linspace(draw(st.floats(18, 40)), draw(st.floats(18, 40)), len(ROWS))
    best = best - draw(st.floats(0, 8)) * np.exp(-(((ROWS - 4000.0) / 400.0) ** 2))
    limit = draw(st.sampled_from([None, float(base), base + 1.3]))
    ignition = Ignition(
        kind=draw(st.sampled_from(["mechanical", "locked", "mapped", None])),
        stops_deg=draw(st.sampled_from([(), (16.0,), (12.0, 20.0)])),
        springs=draw(st.sampled_from([(), SPRINGS])),
        breakpoints_rpm=draw(st.sampled_from([(), (500.0, 2000.0, 2900.0, 4100.0, 7000.0)])),
    )
    facts = DayFacts(limits=Limits(margin_below_knock_deg=draw(st.sampled_from([0.0, 2.0, 4.0]))))
    day = Day(
        pulls, best=best, best_sd=draw(st.sampled_from([0.3, 1.0, 5.0])), k=draw(st.sampled_from([1e-4, 3e-4, 6e-4])), draws=120,
        engine=EngineFacts(ignition=ignition, max_advance_deg=limit), facts=facts, rpm=ROWS,
        state=draw(st.sampled_from(["inside", "flat", "above_tested"])),
    )  # fmt: skip
    return Drawn(day, limit)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(days())
def test_no_advice_of_any_kind_passes_the_ceiling(drawn: Drawn) -> None:
    answer = advise(*drawn.day.parts())
    ceiling = {row["rpm"]: row["advance_deg"] for row in answer.advice["ceiling"]}
    rows = np.array(sorted(ceiling), float)
    caps = np.array([ceiling[int(n)] for n in rows])
    for row in answer.advice["least_curve"]:
        assert row["advance_deg"] <= ceiling[row["rpm"]] + 1e-9
    table = [r for r in answer.advice["table"] if r["delivered_deg"] is not None]
    if table:
        within = (rows >= table[0]["rpm"]) & (rows <= table[-1]["rpm"])
        between = np.interp(rows, [r["rpm"] for r in table], [r["delivered_deg"] for r in table])
        assert np.all(between[within] <= caps[within] + 1e-9)
    m = answer.advice["mechanical"]
    drawn_curve = np.array([row["advance_deg"] for row in m["curve"]])
    assert np.all(drawn_curve <= caps + 0.0051)
    assert np.all(np.diff(drawn_curve) >= -1e-9)
    if m["stop_deg"] is not None:
        made = mechanical_curve(m, rows)
        assert np.all(made <= caps + 0.0051)
        if m["start_rpm"] is not None:
            assert np.max(np.abs(made - drawn_curve)) < 0.06


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(days())
def test_sums_close_and_next_pulls_keep_their_limits(drawn: Drawn) -> None:
    answer = advise(*drawn.day.parts()).advice
    m = answer["mechanical"]
    assert (m["initial_deg"] is None) == (m["stop_deg"] is None)
    if m["initial_deg"] is not None:
        assert abs(m["initial_deg"] + m["stop_deg"] - m["total_deg"]) < 1e-6
    assert m["cost_lo_pct"] <= m["cost_hi_pct"]
    assert len(answer["next_pulls"]) <= 3
    assert not (answer["enough"] and answer["next_pulls"])
    knocked = {p.setting for p in drawn.day.pulls if p.knock in ("heard", "faint")}
    clean = [p.total for p in drawn.day.pulls if p.setting not in knocked and p.total is not None]
    for pull in answer["next_pulls"]:
        if pull["total_deg"] is None:
            continue
        assert pull["setting"] not in knocked
        if clean:
            assert pull["total_deg"] <= max(clean) + drawn.day.facts.limits.max_step_deg + 0.26
        if drawn.limit is not None:
            assert pull["total_deg"] <= drawn.limit + 0.26


def mechanical_curve(m: dict, rpm: np.ndarray) -> np.ndarray:
    """The curve the advice describes, as somebody who reads it would draw it."""
    if m["start_rpm"] is None or m["all_in_rpm"] is None:
        return np.full(len(rpm), m["total_deg"])
    points = [(m["start_rpm"], m["total_deg"] - m["stop_deg"]), (m["all_in_rpm"], m["total_deg"])]
    if m["knee_rpm"] is not None:
        points.insert(1, (m["knee_rpm"], m["knee_deg"]))
    return np.interp(rpm, [p[0] for p in points], [p[1] for p in points])


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 40), st.floats(5, 45), st.sampled_from([0.5, 1.0, 2.0, 3.0]), st.floats(0, 15), st.integers(0, 999))
def test_a_plan_never_steps_up_by_more_than_one_step(n: int, total: float, step: float, width: float, shuffle: int) -> None:
    highest = total
    plan = propose(n, total, max_step=step, width=width, max_advance=total + 3.0, shuffle=shuffle)
    assert len(plan) == n
    for pull in plan:
        assert pull.total_deg is not None
        assert pull.total_deg <= min(highest + step, total + 3.0) + 1e-9
        highest = max(highest, pull.total_deg)


def test_an_untouched_knocking_pull_is_no_clean_one() -> None:
    """From 34 run clean the next step would go up to 36; from a 34 that knocked nothing does."""
    highest = {}
    for knock in ("not heard", "heard"):
        day = Day(
            [*locked(30.0, 26.0, 30.0), Pull("34", 34.0, 34.0, knock=knock)], best=np.full(len(ROWS), 30.0), best_sd=5.0, rpm=ROWS,
            engine=EngineFacts(ignition=Ignition(kind="locked")),
        )  # fmt: skip
        highest[knock] = max(p["total_deg"] for p in advise(*day.parts()).advice["next_pulls"])
    assert highest == {"not heard": 36.0, "heard": 30.0}
