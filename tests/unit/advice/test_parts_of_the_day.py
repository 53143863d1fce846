"""The smaller parts of the advice: settings run, drift, hand-over pull, ceiling's ends, fitted parts, limits in words."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from tests.unit.advice.synthetic import RPM, Day, Pull, ground_of, locked, sprung

from pullbook.advice.ceiling_ends import without_thin_ends
from pullbook.advice.day_view import look_at
from pullbook.advice.drift_watch import watch
from pullbook.advice.hand_over import hand_over_pull
from pullbook.advice.limits_words import knock_facts
from pullbook.advice.parts import parts_for
from pullbook.advice.pull_worth import weigh
from pullbook.advice.sentence import change_words
from pullbook.advice.settings_run import delivered_curve, held_past_ends, settings_run
from pullbook.columns import ALIGNED_PULLS, DELIVERED, ROWS, SHAPES, conform
from pullbook.facts import EngineFacts, Ignition, Spring
from pullbook.handover import AlignedDay
from pullbook.stages.advise import advise


def delivered_rows(curves: dict[str, dict[int, float]]) -> pl.DataFrame:
    rows = [{"setting": s, "direction": "up", "rpm": n, "advance_deg": a} for s, c in curves.items() for n, a in c.items()]
    return conform(pl.DataFrame(rows), DELIVERED)


def test_a_setting_is_carried_two_rows_past_where_its_pulls_were_trimmed() -> None:
    curve = np.array([np.nan, np.nan, np.nan, 20.0, 21.0, 22.0, np.nan, np.nan, np.nan])
    assert held_past_ends(curve).tolist()[1:8] == [18.0, 19.0, 20.0, 21.0, 22.0, 22.0, 22.0]
    assert np.isnan(held_past_ends(curve)[[0, 8]]).all()


def test_a_row_reached_only_by_a_pull_that_started_earlier_holds_nothing_down() -> None:
    rows = list(range(2000, 3001, 100))
    table = pl.DataFrame({"rpm": rows, "advance_deg": [24.0, *[30.0] * 10], "because": ["the most advanced setting tested"] * 11})
    curves = {"24": dict.fromkeys(rows, 24.0), "30": dict.fromkeys(rows[1:], 30.0)}
    assert without_thin_ends(table, delivered_rows(curves), ["24", "30"])["rpm"].to_list() == rows[1:]
    last = table.reverse().with_columns(rpm=pl.Series(rows))
    curves_last = {"24": dict.fromkeys(rows, 24.0), "30": dict.fromkeys(rows[:-1], 30.0)}
    assert without_thin_ends(last, delivered_rows(curves_last), ["24", "30"])["rpm"].to_list() == rows[:-1]
    noted = table.with_columns(because=pl.lit("knock heard at 26.0° with 26"))
    assert without_thin_ends(noted, delivered_rows(curves), ["24", "30"]).height == 11


def test_a_gap_in_the_pulls_has_ends_too() -> None:
    """A roller slipped at 2500 to 3000: one setting's cut reaches a row further than the others'."""
    rows = [*range(2000, 2500, 100), *range(3100, 3700, 100)]
    deg = [24.0 if n in (2400, 3100) else 30.0 for n in rows]
    table = pl.DataFrame({"rpm": rows, "advance_deg": deg, "because": ["the most advanced setting tested"] * 11})
    curves = {"24": dict.fromkeys(rows, 24.0), "30": dict.fromkeys([n for n in rows if n not in (2400, 3100)], 30.0)}
    left = without_thin_ends(table, delivered_rows(curves), ["24", "30"])["rpm"].to_list()
    assert left == [n for n in rows if n not in (2400, 3100)]


def test_a_setting_that_knocked_is_not_carried_past_where_it_was_run() -> None:
    """Cut short for knock at 5400 rpm: that it was not heard at 5500 is because nobody ran it there."""
    day = Day([Pull("34", 34, baseline=True), Pull("36", 36, knock="heard", knock_rpm=(5000, 5400)), Pull("34", 34)])
    reading, aligned, delivered, best = day.parts()
    cut = delivered.delivered.filter((pl.col("setting") != "36") | (pl.col("rpm") <= 5400))
    strict = best.ceiling.with_columns(
        advance_deg=pl.when(pl.col("rpm") > 5400).then(34.0).otherwise("advance_deg"),
        because=pl.when(pl.col("rpm") > 5400).then(pl.lit("most advanced setting tested")).otherwise("because"),
    )
    seen = look_at(reading, aligned, replace(delivered, delivered=cut), replace(best, ceiling=strict))
    assert seen.ceiling.filter(pl.col("rpm") > 5400)["advance_deg"].to_list() == [34.0, 34.0]


def test_a_falling_curve_is_left_out_of_what_was_delivered_going_up() -> None:
    table = delivered_rows({"a": {2000: 20.0, 2100: 21.0}})
    down = table.with_columns(direction=pl.lit("down"), advance_deg=pl.col("advance_deg") + 5.0)
    assert delivered_curve(pl.concat([table, down]), "a", np.array([2000.0, 2050.0, 2200.0]))[:2].tolist() == [20.0, 20.5]


def test_the_baseline_is_the_marked_one_else_the_one_most_often_run() -> None:
    day = Day([Pull("28", 28), Pull("30", 30), Pull("28", 28), Pull("26", 26, status="left_out")])
    _, aligned, delivered, best = day.parts()
    run = settings_run(aligned, delivered, best.knock, RPM * 1.0)
    assert [(s.name, s.baseline) for s in run] == [("28", True), ("30", False)]
    day.pulls[1].baseline = True
    _, aligned, delivered, best = day.parts()
    assert next(s for s in settings_run(aligned, delivered, best.knock, RPM * 1.0) if s.baseline).name == "30"


def test_hand_over_is_the_pull_nearest_to_its_settings_mean() -> None:
    pulls = pl.DataFrame([{"pull_id": f"p{i}", "order": i, "setting": "30", "status": "used"} for i in (1, 2, 3)])
    rows = [{"pull_id": f"p{i}", "rpm": n, "torque_nm": t} for i, t in ((1, 300.0), (2, 306.0), (3, 302.5)) for n in (3000, 3100)]
    aligned = AlignedDay(conform(pulls, ALIGNED_PULLS), conform(pl.DataFrame(rows), ROWS), None, 0.1, {})
    assert hand_over_pull(aligned, "30") == "p3"
    assert hand_over_pull(aligned, "31") is None


@pytest.mark.parametrize(("order", "no_return"), [
    ([26, 28, 30, 32], True), ([26, 28, 30, 26], False), ([30, 26, 32, 28], False), ([32, 30, 28], True), ([26, 26, 28, 30], True),
    ([26, 26, 26, 28, 28, 28, 30], True), ([26, 26, 26, 28, 30, 28], False),
])  # fmt: skip
def test_a_one_way_order_without_a_return_is_seen(order: list[int], no_return: bool) -> None:
    day = Day([Pull(f"{t}", t, baseline=t == order[0]) for t in order])
    _, aligned, delivered, best = day.parts()
    seen = watch(aligned, settings_run(aligned, delivered, best.knock, RPM * 1.0), best.repeatability)
    assert seen.no_return is no_return


def test_fitted_springs_are_read_from_the_delivered_curve() -> None:
    day = Day([sprung(32, start=1500.0, all_in=3500.0, baseline=True)])
    _, aligned, delivered, best = day.parts()
    run = settings_run(aligned, delivered, best.knock, RPM * 1.0)
    parts = parts_for("mechanical", Ignition("mechanical"), run, pl.DataFrame(schema=SHAPES), RPM * 1.0)
    assert parts.stops == (20.0,)
    assert parts.fitted[0].shape.start[0] == pytest.approx(1500.0, abs=1.0)
    assert parts.fitted[0].shape.all_in[0] == pytest.approx(3500.0, abs=1.0)
    other = parts_for("mechanical", Ignition("mechanical", stops_deg=(12.0,)), run, pl.DataFrame(schema=SHAPES), RPM * 1.0)
    assert other.fitted == ()


def test_a_rise_below_the_tested_rpm_is_known_to_be_there_and_not_where() -> None:
    day = Day([sprung(32, start=900.0, all_in=1700.0, baseline=True)])
    _, aligned, delivered, best = day.parts()
    run = settings_run(aligned, delivered, best.knock, RPM * 1.0)
    owned = Ignition("mechanical", stops_deg=(20.0,), springs=(Spring("light", 900.0, 1700.0, 20.0),))
    part = parts_for("mechanical", owned, run, pl.DataFrame(schema=SHAPES), RPM * 1.0).fitted[0]
    assert not part.rise_seen


def test_a_repeat_far_out_is_worth_more_than_one_in_the_middle_when_the_place_is_open() -> None:
    ground = ground_of(Day(locked(32, 28, 36), best_sd=3.0))
    actions = np.arange(24.0, 38.01, 0.5)[:, None] + np.zeros(len(RPM))
    worth = weigh(ground, actions, np.all(actions <= 36.0, axis=1), 3.0)
    savings = {t: worth.saving([np.full(len(RPM), float(t))], [worth.allowed]) for t in (24, 32, 36)}
    assert savings[24] > savings[32]
    assert all(s >= 0.0 for s in savings.values())
    both = worth.saving([np.full(len(RPM), 24.0), np.full(len(RPM), 36.0)], [worth.allowed, worth.allowed])
    assert both > max(savings.values()) - 1e-9
    assert worth.now > both


def test_a_certain_day_has_nothing_left_to_save() -> None:
    ground = ground_of(Day(locked(32, 28, 36), best_sd=0.05))
    actions = np.arange(28.0, 36.01, 0.5)[:, None] + np.zeros(len(RPM))
    worth = weigh(ground, actions, np.ones(len(actions), bool), 3.0)
    assert worth.saving([np.full(len(RPM), 28.0)], [worth.allowed]) < 2e-5


def test_knock_facts_say_where_on_what_and_who_listened() -> None:
    pulls = [*locked(32, 28), Pull("34", 34, knock="heard", knock_rpm=(3300, 3600)), Pull("30", 30, knock="not listened")]
    _, aligned, _, best = Day(pulls).parts()
    assert knock_facts(best.knock, aligned) == [
        "knock heard at 3300–3600 rpm on 34", "nobody was listening on 1 of 4 pulls (30)",
        "listened to, and none heard that day, on 32, 28",
    ]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), [
    ((1.2, 0.6, 1.8), "gains 1.2 % over the baseline (0.6 to 1.8 %)"),
    ((0.5, 0.012, 0.9), "gains 0.5 % over the baseline (0.01 to 0.9 %)"),
    ((0.5, 0.002, 0.9), "gains 0.5 % over the baseline (a trace to 0.9 %)"),
    ((-1.2, -1.8, -0.6), "costs 1.2 % against the baseline (0.6 to 1.8 %)"),
    ((0.3, -0.4, 1.0), "cannot be told from the baseline (−0.4 to +1 %)"),
    ((0.1, -0.2, 0.4), "makes the same torque as the baseline (−0.2 to +0.4 %)"),
    ((0.2, 0.1, 0.4), "gains 0.4 % over the baseline at most"),
    ((-0.25, -0.4, -0.1), "costs 0.4 % against the baseline at most"),
    ((-0.04, -0.06, -0.01), "costs 0.1 % against the baseline at most"),
    ((4.0, -9.0, 17.0), "cannot be told from the baseline (−9 to +17 %)"),
    (None, "cannot be compared with a baseline"),
])  # fmt: skip
def test_a_change_is_said_by_the_verdicts_of_the_contract(change: tuple[float, float, float] | None, words: str) -> None:
    assert change_words(change, 0.5) == words


def test_a_rise_that_was_seen_is_kept_where_no_stop_is_known() -> None:
    curve = np.interp(RPM, [1000.0, 3000.0], [8.0, 28.0])
    day = Day([Pull("a", None, curve=curve, baseline=True), Pull("b", None, curve=curve + 6.0), Pull("a", None, curve=curve)])
    reading, aligned, delivered, best = day.parts()
    found = parts_for(
        "mechanical", Ignition("mechanical"), look_at(reading, aligned, delivered, best).settings, pl.DataFrame(), RPM
    )
    assert not found.stop_known
    assert [p.words for p in found.fitted] == ["the springs and stop of 'a'"]
    assert float(found.fitted[0].shape.all_in[0]) == pytest.approx(3000.0, abs=10.0)
    mechanical = advise(reading, aligned, delivered, best).advice["mechanical"]
    assert mechanical["springs_note"].startswith("keep the springs and stop of 'a': all in at")
    assert mechanical["start_rpm"] is None
    assert mechanical["initial_deg"] is None


def test_springs_changed_during_the_day_are_named_not_kept() -> None:
    light, heavy = (np.interp(RPM, [1000.0, all_in], [14.0, 34.0]) for all_in in (2600.0, 4600.0))
    pulls = [
        Pull("light", 34, 14, curve=light),
        Pull("heavy", 34, 14, curve=heavy, baseline=True),
        Pull("light 30", 30, 10, curve=light - 4),
    ]
    day = Day([*pulls, *pulls])
    reading, aligned, delivered, best = day.parts()
    settings = look_at(reading, aligned, delivered, best).settings
    found = parts_for("mechanical", Ignition("mechanical"), settings, delivered.shapes, RPM)
    assert [p.words for p in found.fitted] == ["the springs and 20° stop of 'heavy'", "the springs and 20° stop of 'light'"]
    assert all(p.one_of_several for p in found.fitted)
    advice = advise(reading, aligned, delivered, best).advice
    assert advice["mechanical"]["springs_note"].startswith(("use the springs", "springs that"))
    assert "as they are" not in advice["sentence"]


def test_a_map_is_read_with_a_light_as_it_is_entered() -> None:
    engine = EngineFacts(ignition=Ignition("mapped", breakpoints_rpm=(2000.0, 4000.0, 6000.0)))
    best = 30.0 + 4.0 * np.sin((RPM - 2000.0) / 600.0)
    answer = advise(*Day(locked(32, 22, 27, 37, 32), best=best, best_sd=0.3, engine=engine).parts())
    known = [(r["rpm"], r["delivered_deg"]) for r in answer.advice["table"] if r["delivered_deg"] is not None]
    for reading in answer.card["readings"]:
        wanted = float(np.interp(reading["rpm"], *zip(*known, strict=True)))
        assert abs(reading["up_deg"] - wanted) <= 0.25 + 1e-9


def test_of_a_sheet_alone_only_the_total_is_checked_with_a_light() -> None:
    day = Day(
        [Pull("a", 34, 14), Pull("b", 30, 10), Pull("a", 34, 14), Pull("b", 30, 10)],
        engine=EngineFacts(ignition=Ignition("mechanical")),
    )
    reading, aligned, delivered, best = day.parts()
    alone = delivered.delivered.with_columns(evidence=pl.lit(["sheet"], dtype=pl.List(pl.String)))
    readings = advise(reading, aligned, replace(delivered, delivered=alone), best).card["readings"]
    assert [r["rpm"] for r in readings] == [5500]


def test_a_day_that_only_looks_locked_leaves_the_initial_open_and_asks() -> None:
    """Weights all in below the rpm tested look the same: nobody is told to crank at full advance on the strength of that."""
    flat = [Pull(f"{t:g}", t, None, baseline=t == 32, curve=np.full(len(RPM), t)) for t in (28.0, 32.0, 36.0, 31.0)]
    shapes: list[dict[str, object]] = [{"setting": p.setting, "family": "locked"} for p in flat]
    best = np.full(len(RPM), 30.0)
    looked = advise(*Day(flat, best=best, shapes=shapes).parts())
    told = advise(*Day(flat, best=best, shapes=shapes, engine=EngineFacts(ignition=Ignition(kind="locked"))).parts())
    assert looked.advice["mechanical"]["initial_deg"] is None
    assert looked.advice["mechanical"]["stop_deg"] is None
    assert looked.advice["mechanical"]["springs_note"].startswith("the same advance at every rpm tested")
    assert "ock it" not in looked.advice["sentence"]
    assert any("kind: locked" in q for q in looked.questions)
    assert told.advice["mechanical"]["stop_deg"] == 0.0
    assert told.advice["mechanical"]["initial_deg"] == told.advice["mechanical"]["total_deg"]
    assert not told.questions


def test_weights_all_in_below_the_rpm_tested_keep_their_springs_though_the_log_is_tilted() -> None:
    """A delay of 50 µs tilts a flat log by 0.3° per 1000 rpm: no reason to buy springs."""
    tilt = 0.3 * (RPM - RPM[0]) / 1000.0
    pulls = [Pull(f"{t:g}", t, t - 18.0, baseline=t == 32, curve=t - tilt) for t in (32.0, 28.0, 36.0)]
    reading, aligned, delivered, best = Day([*pulls, pulls[0]]).parts()
    day = look_at(reading, aligned, delivered, best)
    found = parts_for("mechanical", Ignition(), day.settings, pl.DataFrame(), RPM)
    assert [p.words for p in found.fitted] == ["the springs and 18° stop of '32'"]
    assert not found.fitted[0].rise_seen


def test_springs_are_known_again_though_a_delay_tilts_the_flat_of_their_curve() -> None:
    """A delay of 40 µs tilts 26 flat rows by 0.6°: what rises is what lies below the all-in that the whole curve showed."""
    tilt = 0.36 * (RPM - RPM[0]) / 1000.0
    pulls = [sprung(t, 20.0, 1200.0, 3200.0, baseline=t == 32.0) for t in (32.0, 28.0)]
    pulls = [replace(p, curve=p.curve - tilt) for p in pulls]
    reading, aligned, delivered, best = Day([*pulls, pulls[0]]).parts()
    day = look_at(reading, aligned, delivered, best)
    shapes = conform(pl.DataFrame({"setting": ["32", "28"], "all_in_rpm": [3200.0, 3200.0]}), SHAPES)
    found = parts_for("mechanical", Ignition(), day.settings, shapes, RPM)
    assert found.fitted[0].words == "the springs and 20° stop of '32'"
    assert float(found.fitted[0].shape.all_in[0]) == pytest.approx(3200.0, abs=300.0)
    assert parts_for("mechanical", Ignition(), day.settings, pl.DataFrame(schema=SHAPES), RPM).fitted == ()


def test_an_initial_after_top_dead_centre_is_said() -> None:
    late = Day(
        [sprung(t, 30.0, 1200.0, 3200.0, baseline=t == 26.0) for t in (26.0, 20.0, 32.0, 26.0)], best=np.full(len(RPM), 26.0)
    )
    usual = Day(
        [sprung(t, 20.0, 1200.0, 3200.0, baseline=t == 26.0) for t in (26.0, 22.0, 30.0, 26.0)], best=np.full(len(RPM), 26.0)
    )
    assert any("after top dead centre" in w for w in advise(*late.parts()).warnings)
    assert not any("after top dead centre" in w for w in advise(*usual.parts()).warnings)
