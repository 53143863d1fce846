"""Two days side by side: what is refused, what is qualified, what would be needed, and that the numbers are the days' own."""

import copy
import json
import re
from pathlib import Path
from typing import Any

import html5lib
import numpy as np
import pytest

from pullbook.comparison.changes import not_like_for_like
from pullbook.comparison.comparable import comparable
from pullbook.comparison.may_compare import limits
from pullbook.report.compare import compare_days, render_compare
from pullbook.report.figures import two_days as two_days_figures
from tests.report.fixture import invented_day


def two_days(**changes: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """The invented day twice, with a checked mark and noted conditions; B a later day with ``changes`` in its conditions."""
    a = invented_day().record
    a["conditions"] = {"dyno": "north cell", "dyno kind": "engine", "fuel": "95 pump petrol", "plugs": "cold"}
    a["timing_scale"] |= {"verified": True, "zero_mark_error_deg": 0.5}
    b = copy.deepcopy(a)
    b["day"] = "2031-09-01"
    b["conditions"] |= changes
    return a, b


def told(a: dict[str, Any], b: dict[str, Any]) -> dict[str, tuple[str, str]]:
    return {limit.what: (limit.level, limit.of) for limit in limits(a, b)}


def test_two_settings_of_one_day_compare_freely() -> None:
    a, _ = two_days()
    curves = invented_day().tables["setting_curves"]
    c = compare_days(a, a, "stop 18", "stop 24", curves_a=curves, curves_b=curves)
    assert (c["torque"], c["advance"], c["limits"]) == ("allowed", "allowed", [])
    one, other = (curves.filter(curves["setting"] == s).sort("rpm")["torque_nm"].to_numpy() for s in ("stop 18", "stop 24"))
    assert [r["change_pct"] for r in c["torque_rows"]] == pytest.approx(100 * (other / one - 1), abs=6e-4)
    assert c["change_pct"] == pytest.approx(float(np.mean(100 * (other / one - 1))), abs=2e-3)
    half = 100 * np.hypot(0.004, 0.004)  # two means of ±0.4 % each
    assert c["torque_rows"][0]["hi_pct"] - c["torque_rows"][0]["change_pct"] == pytest.approx(half, rel=0.02)
    assert c["hi_pct"] - c["change_pct"] == pytest.approx(half, rel=0.02), "a mean over rpm of one pull is no surer than its rows"
    assert c["advance_rows"][-1]["change_deg"] == pytest.approx(6.0)


def test_against_the_days_baseline_the_days_own_effect_is_told() -> None:
    """Page two and the comparison say the same of the same two settings; an uncorrected day compares with itself."""
    a, _ = two_days()
    a["correction"] = {**a["correction"], "factor_min": None, "factor_max": None}
    curves = invented_day().tables["setting_curves"]
    effect = next(e for e in a["effects"] if e["setting"] == "stop 24" and e["rpm_lo"] != e["rpm_hi"])
    c = compare_days(a, a, "base 32", "stop 24", curves_a=curves, curves_b=curves)
    assert c["torque"] == "allowed"
    assert [c[k] for k in ("change_pct", "lo_pct", "hi_pct")] == [effect[k] for k in ("change_pct", "lo_pct", "hi_pct")]
    back = compare_days(a, a, "stop 24", "base 32", curves_a=curves, curves_b=curves)
    assert (1 + c["change_pct"] / 100) * (1 + back["change_pct"] / 100) == pytest.approx(1.0, abs=2e-5)
    assert back["lo_pct"] <= back["change_pct"] <= back["hi_pct"]


def test_another_day_of_the_same_engine_is_qualified() -> None:
    assert told(*two_days()) == {"day": ("qualified", "torque")}


@pytest.mark.parametrize(
    ("change", "what", "level", "of"),
    [
        ({"dyno": "south cell"}, "dyno", "refused", "torque"),
        ({"dyno": None, "dyno kind": None}, "dyno", "qualified", "torque"),
        ({"fuel": "E85"}, "fuel", "qualified", "both"),
        ({"fuel": None}, "fuel", "qualified", "both"),
        ({"plugs": "hot"}, "plugs", "qualified", "torque"),
    ],
)
def test_conditions(change: dict[str, Any], what: str, level: str, of: str) -> None:
    assert told(*two_days(**change))[what] == (level, of)


@pytest.mark.parametrize(("change", "what"), [({"dyno": "south cell"}, "dyno"), ({"dyno": None, "dyno kind": None}, "dyno")])
def test_the_history_says_what_the_comparison_says(change: dict[str, Any], what: str) -> None:
    """One judge for both: the same words, from the whole records and from the extracts kept of them."""
    a, b = two_days(**change)
    why = next(limit.why for limit in limits(a, b) if limit.what == what)
    assert limits(comparable(a), comparable(b)) == limits(a, b)
    assert any(text.startswith(what) and text.endswith(f": {why}") for text in not_like_for_like(comparable(b), comparable(a)))


def test_unknown_or_other_correction_is_refused() -> None:
    a, b = two_days()
    b["correction"] = {**b["correction"], "already_corrected": "unknown"}
    assert told(a, b)["correction"] == ("refused", "torque")
    b["correction"] = {**a["correction"], "factor_min": None, "factor_max": None}
    assert told(a, b)["correction"] == ("refused", "torque")
    b["correction"] = {**a["correction"], "standard": "DIN 70020"}
    assert told(a, b)["correction"] == ("refused", "torque")
    b["correction"] = {**a["correction"], "inside_window": False}
    assert told(a, b)["air"] == ("qualified", "torque")


def test_mark() -> None:
    a, b = two_days()
    b["timing_scale"] = {**b["timing_scale"], "zero_mark_error_deg": 2.0}
    assert [x.why for x in limits(a, b) if x.what == "timing mark"] == [
        "the mark moved: true degrees compare, light readings do not"
    ]
    b["timing_scale"] = {**b["timing_scale"], "verified": False}
    found = next(x for x in limits(a, b) if x.what == "timing mark")
    assert (found.level, found.of, found.needed) == ("qualified", "advance", "a piston-stop check on both days")


def test_log_scale_moved() -> None:
    a, b = two_days()
    b["timing_scale"] = {**b["timing_scale"], "log_minus_true_deg": 4.0, "lo_deg": 3.5, "hi_deg": 4.5}
    assert told(a, b)["log of advance"] == ("qualified", "advance")


def test_another_engine_refuses_torque_and_no_number_leaks() -> None:
    a, b = two_days()
    b["engine"] = "Other"
    c = compare_days(a, b)
    assert (c["torque"], c["advance"]) == ("refused", "qualified")
    assert c["torque_rows"] == []
    assert c["change_pct"] is None
    assert c["sentence"].startswith("Torque of the two may not be compared: two engines")
    assert c["sentence"].endswith("Needed: two days of one engine.")


def test_best_torque_of_two_days_carries_the_spread_of_both() -> None:
    a, b = two_days()
    c = compare_days(a, b)
    assert c["change_pct"] == pytest.approx(0.0)
    level = 1.6449 * 0.37 / np.sqrt(9)  # nine pulls stand behind either day
    assert c["hi_pct"] == pytest.approx(level * np.sqrt(2), rel=0.01)
    assert c["lo_pct"] == pytest.approx(-c["hi_pct"])


def test_settings_compared_leave_out_what_is_said_of_whole_days(tmp_path: Path) -> None:
    a, b = two_days(plugs="hot")
    b["pulls"] = [p | {"setting": "two stage"} if p["setting"] == "stop 24" else p for p in b["pulls"]]
    curves = invented_day().tables["setting_curves"]
    days = compare_days(a, b)
    assert any(line.startswith("Settings: new ‘two stage’") for line in days["changed"])
    c = compare_days(a, b, "base 32", "stop 18", curves_a=curves, curves_b=curves)
    assert c["changed"] == ["1 thing changed since 2031-04-05: 1 part.", "Parts: plugs cold → hot."]
    render_compare(a, b, c, tmp_path)
    text = (tmp_path / "compare.html").read_text("utf-8")
    assert "the day in a sentence" not in text
    assert "best band" not in text
    one = compare_days(a, b, "base 32", None, curves_a=curves)
    assert one["changed"] == c["changed"]
    render_compare(a, b, one, tmp_path)
    assert re.search(r"the day in a sentence</th><td>–</td><td>Set 34° total", (tmp_path / "compare.html").read_text("utf-8"))


@pytest.mark.parametrize(
    ("shift", "half", "title"),
    [
        (0.3, 1.6, "Best advance of A and B cannot be told apart: B less A is likely −2 to 3°"),
        (-3.0, 1.0, "Best advance of B is 3° less than of A on average (likely 2 to 4°)"),
        (1.0, 0.3, "Best advance of B is 1.0° more than of A on average (likely 0.6 to 1.4°)"),
    ],
)
def test_a_difference_of_advance_is_told_with_its_range(shift: float, half: float, title: str) -> None:
    a, b = two_days()
    for record, by in ((a, 0.0), (b, shift)):
        record["best"] = [{"rpm": n, "best_deg": 30.0 + by, "lo_deg": 30.0 + by - half, "hi_deg": 30.0 + by + half}
                          for n in (3000, 3500)]  # fmt: skip
    picture = two_days_figures.advance(compare_days(a, b))
    assert picture is not None
    assert picture.title == title


def test_a_setting_that_was_not_run_is_named() -> None:
    a, b = two_days()
    with pytest.raises(KeyError, match="was not run on 2031-09-01; run were: base 32"):
        compare_days(a, b, "base 32", "nowhere")


def test_written_files(tmp_path: Path) -> None:
    a, b = two_days(fuel="<script>alert(1)</script>")
    curves = invented_day().tables["setting_curves"]
    c = compare_days(a, b, "base 32", "stop 24", curves_a=curves, curves_b=curves)
    render_compare(a, b, c, tmp_path / "a--b")
    assert json.loads((tmp_path / "a--b" / "compare.json").read_text("utf-8")) == c
    text = (tmp_path / "a--b" / "compare.html").read_text("utf-8")
    html5lib.HTMLParser(strict=True).parse(text)
    assert "<script" not in text
    assert "a dyno reads a little differently from day to day" in text
    heads = re.findall(r'<th scope="col">(.*?)</th>', text[text.index("What limits") :])[1:6]
    assert re.findall(r'data-of="(.*?)"', text)[:5] == heads, "on a phone each cell names its own heading"
    assert re.findall(r'href="(\.\.[^"]*report.html)"', text) == [
        "../../Blue%20pump%20barge%20V8/2031-04-05/report.html",
        "../../Blue%20pump%20barge%20V8/2031-09-01/report.html",
    ]


def test_nothing_in_common_is_said(tmp_path: Path) -> None:
    a, b = two_days()
    a["best"], b["best"], a["delivered"] = [], [], []
    c = compare_days(a, b)
    assert c["change_pct"] is None
    render_compare(a, b, c, tmp_path)
    assert "no number that both sides have" in (tmp_path / "compare.html").read_text("utf-8")
