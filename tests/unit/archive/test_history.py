"""What changed between days, counted, in five lines at most; what may not be compared; the history as one object and as text."""

import json
from pathlib import Path
from typing import Any

import pytest

from pullbook.archive.history import as_text, history
from pullbook.archive.store import Store
from pullbook.comparison.changes import changes
from pullbook.comparison.conditions import CONDITIONS, FOOTING, PARTS, conditions
from pullbook.facts import Air, DayFacts, Dyno, EngineFacts, Ignition, Spring, ZeroMark

from .made_up import SETTINGS, inputs, made, record, writing


def later(**conditions: Any) -> dict[str, Any]:
    """The record of a later day in other conditions."""
    made = record(day="2031-05-02")
    made["conditions"] = {**made["conditions"], **conditions}
    return made


def test_the_first_day_has_nothing_to_be_compared_with() -> None:
    assert changes(record(), None) == []


def test_the_same_day_again_changed_nothing() -> None:
    assert changes(later(), record()) == ["Nothing noted changed since 2031-04-05: settings, parts and conditions are the same."]


def test_everything_at_once_is_five_lines_and_counted() -> None:
    now = later(**{"plugs": "heat 8", "fuel": "100", "air pressure": 99.5, "dyno": "cell 3", "zero mark": "19 before, 21 after"})
    now["shapes"][0] |= {"total_deg": 36.4, "lo_total_deg": 35.5, "hi_total_deg": 37.0}
    now["pulls"][1]["setting"] = "16+20 blue"
    now["correction"] |= {"standard": "DIN 70020"}
    now["timing_scale"] |= {"zero_mark_error_deg": -1.0}
    lines = changes(now, record())
    assert len(lines) == 5
    assert lines[0] == "9 things changed since 2031-04-05: 3 settings, 2 parts, 1 condition, 3 of dyno, correction and mark."
    assert lines[1] == f"Settings: {SETTINGS[0]} total 34.0 → 36.4°; new ‘16+20 blue’; not run again ‘{SETTINGS[1]}’."
    assert lines[2] == "Parts: fuel 98 → 100; plugs heat 7 → heat 8."
    assert lines[3] == "Conditions: air pressure 98.0 → 99.5 kPa."
    for word in (
        "dyno cell 2, engine → cell 3, engine: two dynos do not read the same torque",
        "correction SAE J1349 → DIN 70020: two standards give different torque",
        "timing mark checked, 0° → checked, −1°: the mark moved",
    ):
        assert word in lines[4]


def test_a_mark_read_a_little_differently_is_counted_and_told() -> None:
    lines = changes(later(**{"zero mark": "20.5 before, 20 after"}), record())
    assert lines[0].endswith("1 of dyno, correction and mark.")
    assert lines[1].startswith("Dyno, correction and mark: zero mark ")


def test_a_change_inside_the_intervals_is_none() -> None:
    now = later()
    now["shapes"][0] |= {"total_deg": 35.2, "lo_total_deg": 34.0, "hi_total_deg": 36.4}
    assert changes(now, record())[0].startswith("Nothing noted changed")


def test_what_was_noted_on_one_day_only_is_no_change() -> None:
    assert changes(later(plugs=None, oil="20W50"), record())[0].startswith("Nothing noted changed")


def test_small_changes_of_air_are_the_same_air() -> None:
    assert changes(later(**{"air pressure": 98.1}), record())[0].startswith("Nothing noted changed")


def test_air_noted_pull_by_pull_counts_too() -> None:
    before, now = record(), later()
    for noted, kelvin in ((before, 20.0), (now, 28.0)):
        for pull in noted["pulls"]:
            pull["temperature_c"] = kelvin
    assert "Conditions: air temperature 20 → 28 °C." in changes(now, before)


@pytest.mark.parametrize("verified", [None, False])
def test_an_unchecked_mark_is_said(verified: bool | None) -> None:
    now = later(**{"zero mark": None})
    now["timing_scale"] = {"log_minus_true_deg": 1.0, "verified": verified}
    assert "timing mark checked, 0° → not checked: an unchecked mark may be 3° off" in changes(now, record())[-1]


def test_a_moved_log_scale_is_said() -> None:
    before, now = record(), later()
    before["timing_scale"] |= {"lo_deg": 0.5, "hi_deg": 1.5}
    now["timing_scale"] |= {"log_minus_true_deg": 5.0, "lo_deg": 4.5, "hi_deg": 5.5}
    assert "log of advance +1° → +5°: the log’s scale moved" in changes(now, before)[-1]


def test_more_than_fits_is_counted() -> None:
    now = later()
    now["pulls"] = [{"pull_id": str(i), "setting": f"s{i}", "status": "used"} for i in range(9)]
    lines = changes(now, record())
    assert len(lines) == 2
    assert lines[0].startswith("11 things changed")
    assert lines[1] == "Settings: new ‘s0’, ‘s1’, ‘s2’ and 6 more; not run again ‘14+20 grey’, ‘14+22 grey’."


def test_conditions_are_flat_and_every_name_is_in_one_group() -> None:
    engine = EngineFacts(ignition=Ignition(kind="mechanical", stops_deg=(18.0, 20.0), springs=(Spring("grey", 900, 3000, 20),)))
    day = DayFacts(air=Air(98.0, 20.0), zero_mark=ZeroMark(20, 20), dyno=Dyno("cell 2", "engine"))
    flat = conditions(engine, day)
    assert set(flat) == {*PARTS, *CONDITIONS, *FOOTING}
    assert (flat["springs"], flat["stops"], flat["zero mark"]) == ("grey 900-3000 at 20°", "18, 20", "20 before, 20 after")
    json.dumps(flat)


def test_pulls_used_in_part_are_told_apart(tmp_path: Path) -> None:
    store = Store(tmp_path / "archive")
    store.write_day("blue coupé", "2031-04-05", **writing())
    call = writing(day="2031-05-02")
    call["record"]["pulls"][1]["status"] = "part"
    store.write_day("blue coupé", "2031-05-02", **call)
    told = history(store, "blue coupé")
    assert [(d["pulls_used"], d["pulls_part"]) for d in told["days"]] == [(2, 0), (2, 1)]
    shown = as_text(told)
    assert "2 of 2 pulls used\n" in shown
    assert "2 of 2 pulls used, 1 of them in part\n" in shown


def test_the_history_of_an_engine(tmp_path: Path) -> None:
    store = Store(tmp_path / "archive")
    for day, dyno in (("2031-04-05-10", "cell 2"), ("2031-04-05-2", "cell 2"), ("2031-05-02", "cell 3")):
        call = writing(day=day)
        call["record"]["conditions"]["dyno"] = dyno
        store.write_day("blue coupé", day, **call)
    store.write_day("red", "2031-04-05", **writing(engine="red"))
    told = history(store, "blue coupé")
    assert [d["day"] for d in told["days"]] == ["2031-04-05-2", "2031-04-05-10", "2031-05-02"]
    assert told["dynos"] == ["cell 2", "cell 3"]
    assert told["days"][0]["changes"] == []
    assert told["days"][1]["changes"][0].startswith("Nothing noted changed since 2031-04-05-2")
    assert "two dynos" in told["days"][2]["not_like_for_like"][0]
    assert told["days"][2]["settings"][0]["total_deg"] == 34.0
    text = as_text(told)
    for part in ("blue coupé: 3 days, on cell 2, cell 3", "14+20 grey: 1 pull, baseline; delivered initial 14°, total 34°",
                 "14+22 grey against 14+20 grey: +0.8 % (+0.2 to +1.4), gain", "3000: 33° (31 to 35), 3500: not placed",
                 "knock    not listened on ‘14+20 grey’\n", "changed  1 thing changed since 2031-04-05-10"):  # fmt: skip
        assert part in text
    json.dumps(told, allow_nan=False)
    assert history(store, "none such")["days"] == []


def in_text(tmp_path: Path, **changes: Any) -> str:
    """The history of one day, as text, with some of its record changed."""
    call = writing()
    call["record"] |= changes
    store = Store(tmp_path / "archive")
    store.write_day("blue coupé", "2031-04-05", **call)
    return as_text(history(store, "blue coupé"))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ((0.46, 0.31, 0.6), "+0.5 % (+0.3 to +0.6), gain"),
        ((0.9, 0.62, 1.0), "+0.9 % (+0.6 to +1.0), gain"),
        ((0.13, 0.012, 0.25), "+0.13 % (+0.01 to +0.25), gain"),
        ((-1.03, -1.27, -0.02), "−1.03 % (−1.27 to −0.02), gain"),
        ((0.0, -0.2, 0.2), "0.0 % (−0.2 to +0.2), gain"),
        ((4.2, -1.3, 9.8), "+4 % (−1 to +10), gain"),
    ],
)
def test_a_change_and_its_ends_have_the_same_decimals(tmp_path: Path, change: tuple[float, ...], said: str) -> None:
    effect = record()["effects"][0] | dict(zip(("change_pct", "lo_pct", "hi_pct"), change, strict=True)) | {"verdict": "gain"}
    assert f": {said}\n" in in_text(tmp_path, effects=[effect])


def test_the_history_has_no_more_digits_than_the_ranges_earn(tmp_path: Path) -> None:
    shape = record()["shapes"][0]
    fine = {"total_deg": 34.2, "lo_total_deg": 33.8, "hi_total_deg": 34.6, "all_in_rpm": 3904.3}
    best = [{"rpm": 3000, "state": "inside", "best_deg": 33.0, "lo_deg": 32.6, "hi_deg": 33.5},
            {"rpm": 3500, "state": "above_tested", "best_deg": None, "lo_deg": 34.6, "hi_deg": None},
            {"rpm": 4000, "state": "below_tested", "best_deg": None, "lo_deg": None, "hi_deg": 30.2}]  # fmt: skip
    shown = in_text(tmp_path, shapes=[shape | fine], best=best)
    assert "delivered initial 14°, total 34.2°, all in by 3900 rpm" in shown
    assert "3000: 33.0° (32.6 to 33.5), 3500: above 34°, 4000: below 31°" in shown


@pytest.mark.parametrize(("word", "said"), [("not heard", "not heard on any setting"), ("faint", "faint on every setting")])
def test_one_word_for_all_settings_is_said_once(tmp_path: Path, word: str, said: str) -> None:
    knock = [{"pull_id": "p1", "setting": s, "word": word, "source": "sheet"} for s in SETTINGS]
    assert f"knock    {said}\n" in in_text(tmp_path, knock=knock)


def test_values_of_a_condition_have_the_same_decimals() -> None:
    before = record()
    before["conditions"] = {**before["conditions"], "air pressure": 99.18, "vapour pressure": 1.061, "air temperature": 13.0}
    now = later(**{"air pressure": 101.41, "vapour pressure": 0.7978, "air temperature": -7.25})
    assert "Conditions: air pressure 99.2 → 101.4 kPa; air temperature 13.0 → −7.2 °C; vapour pressure 1.06 → 0.80 kPa." in changes(
        now, before
    )


def test_knock_names_its_settings_the_noted_first(tmp_path: Path) -> None:
    facts = [("14+20 grey", "not heard"), ("14+22 grey", "not heard"), ("14+22 grey", "faint"), ("14+20 grey", "not listened")]
    knock = [{"pull_id": "p1", "setting": s, "word": w, "source": "sheet"} for s, w in facts]
    assert "knock    faint on ‘14+22 grey’; not heard on ‘14+20 grey’, ‘14+22 grey’; not listened on ‘14+20 grey’\n" in in_text(
        tmp_path, knock=knock
    )


def test_a_standard_without_the_air_to_use_it_is_no_correction(tmp_path: Path) -> None:
    store = Store(tmp_path / "archive")
    bare = writing(day="2031-04-05")
    bare["record"]["correction"] |= {"factor_min": None, "factor_max": None}
    store.write_day("blue coupé", "2031-04-05", **bare)
    store.write_day("blue coupé", "2031-05-02", **writing(day="2031-05-02"))
    first, second = (line for line in as_text(history(store, "blue coupé")).splitlines() if line.startswith("2031"))
    assert "not corrected" in first
    assert "SAE" not in first
    assert "SAE J1349" in second


def test_a_hostile_name_does_not_reach_the_terminal(tmp_path: Path) -> None:
    store = Store(tmp_path / "archive")
    engine = "x\x1b[2Jy"
    store.write_day(engine, "2031-04-05", **writing(engine=engine))
    assert "\x1b" not in as_text(history(store, engine))


def test_the_previous_record(tmp_path: Path) -> None:
    store = Store(tmp_path / "archive")
    for day in ("2031-04-05", "2031-04-05-2", "2031-04-05-10", "2031-06-01"):
        store.write_day("blue coupé", day, **writing(day=day))
    assert store.previous_record("blue coupé", "2031-05-01")["day"] == "2031-04-05-10"  # type: ignore[index]
    assert store.previous_record("blue coupé", "2031-04-05-10")["day"] == "2031-04-05-2"  # type: ignore[index]
    assert store.previous_record("blue coupé", "2031-04-05") is None


def test_the_history_says_what_is_revised_unread_or_not_placed(tmp_path: Path) -> None:
    store = Store(tmp_path / "archive")
    call = writing()
    call["record"]["best"] = [
        {"rpm": 3000, "state": "above_tested", "best_deg": None, "lo_deg": 36.2, "hi_deg": None},
        {"rpm": 3500, "state": "below_tested", "best_deg": None, "lo_deg": None, "hi_deg": 28.0},
        {"rpm": 4000, "state": "untested", "best_deg": None, "lo_deg": None, "hi_deg": None},
    ]
    call["record"]["effects"] = [{"setting": "a", "versus": "b", "rpm_lo": 1, "rpm_hi": 2, "change_pct": None}]
    call["record"]["shapes"], call["record"]["advice"] = [], {}
    store.write_day("blue coupé", "2031-04-05", **call)
    store.write_day("blue coupé", "2031-04-05", **{**call, "made": made(inputs(), method=2)})
    store.write_day("blue coupé", "2031-04-06", **writing(day="2031-04-06"))
    store.note_missing_logs([("blue coupé", "2031-04-06")])
    next((store.root / "_days").rglob("day=2031-04-06/seal.json")).write_text("{}")
    told = history(store, "blue coupé")
    assert told["unread"] == ["2031-04-06"]
    text = as_text(told)
    for part in ("1 day, on cell 2", "revision 2, logs not here", "3000: above 36°, 3500: below 28°",
                 "a against b: cannot tell", "delivered not known", "2031-04-06: its seal is damaged"):  # fmt: skip
        assert part in text
