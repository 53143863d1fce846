"""One thing is said one way on a page: digits as in the sentence, titles that leave nothing out."""

import copy
import re

import pytest

from pullbook.report import html
from pullbook.report.content import content
from pullbook.report.day_row import summary
from pullbook.report.figures import history
from pullbook.report.to_set import what_it_is_worth, what_to_set
from pullbook.report.view import view
from tests.report.fixture import InventedDay, invented_day


@pytest.fixture(scope="module")
def day() -> InventedDay:
    return invented_day()


def test_what_is_given_away_and_gained_is_said_as_the_sentence_says_it(day: InventedDay) -> None:
    record = copy.deepcopy(day.record)
    record["advice"]["mechanical"] |= {
        "cost_pct": 0.2, "cost_lo_pct": -0.31, "cost_hi_pct": 0.62,
        "versus_baseline_pct": 3.83, "versus_lo_pct": 3.2, "versus_hi_pct": 4.3,
    }  # fmt: skip
    told = " ".join(what_it_is_worth(view(record, day.tables)))
    assert "Given away against the best under the limit at every rpm: 0.2 % (likely 0.0 to 0.6 %)." in told
    assert "torque +3.8 % (likely 3.2 to 4.3 %)." in told


@pytest.mark.parametrize(
    ("above", "half", "title"),
    [(0, 1.0, "Best advance is about 28° at every rpm that shows one"), (0, 9.0, "Best advance is about 28°, give or take 9°"),
     (6, 1.0, "Best advance is about 28°; above what was run at 6 of 10 speeds")],
)  # fmt: skip
def test_a_title_says_where_else_the_best_lies_and_how_vaguely_it_is_known(
    day: InventedDay, above: int, half: float, title: str
) -> None:
    record = copy.deepcopy(day.record)
    best = record["best"][:10]
    for i, row in enumerate(best):
        placed = {"state": "inside", "best_deg": 28.0, "lo_deg": 28.0 - half, "hi_deg": 28.0 + half}
        row |= {"state": "above_tested", "best_deg": None, "lo_deg": 28.0, "hi_deg": None} if i < above else placed
    record["best"] = best
    assert any(p.title.startswith(title) for p in content(view(record, day.tables)).pictures.values())


@pytest.mark.parametrize(
    ("error", "read"),
    [(1.4, {"Total on the light": "35.5°", "Initial on the light": "15.5°"}),
     (-2.0, {"Total on the light": "32°", "Initial on the light": "12°"}), (0.4, {}), (None, {})],
)  # fmt: skip
def test_who_sets_by_a_light_is_told_what_it_shows(day: InventedDay, error: float | None, read: dict[str, str]) -> None:
    record = copy.deepcopy(day.record)
    record["timing_scale"] |= {"zero_mark_error_deg": error, "verified": error is not None}
    said = {s.label: s.text for s in what_to_set(view(record, day.tables))}
    assert (said["Total"], said["Initial"]) == ("34°", "14°")
    assert {k: v for k, v in said.items() if "light" in k} == read


def test_earlier_days_of_other_engines_are_not_counted_as_this_ones(day: InventedDay) -> None:
    record = copy.deepcopy(day.record)
    here = record["engine"]
    record["prior"] = {"frozen_from": [f"{here}/2030-01-02", f"{here}/2030-02-03", "Red twin/2030-03-04"]}
    said = {s.label: s.text for s in content(view(record, day.tables)).assumptions}
    own, others = said["Expected beforehand"].split("; and ")
    assert own == "from 2 earlier days of this engine: 2030-01-02, 2030-02-03"
    assert others == "from 1 day of other engines on this dyno: Red twin/2030-03-04"


def test_no_caption_names_a_colour(day: InventedDay) -> None:
    """Paper may be grey: what a picture means is said by place, pattern or thickness."""
    pictures = content(view(day.record, day.tables)).pictures.values()
    one = summary(day.record)
    lists = [history.picture([one, {**one, "day": "2031-06-01"}])]
    words = {w for p in (*pictures, *lists) if p is not None for w in re.findall(r"[a-z]+", p.note.lower())}
    assert len(words) > 20
    assert not words & {"blue", "brown", "red", "green", "orange", "purple", "violet", "coloured"}


@pytest.mark.parametrize(("lo", "told"), [(0.4, True), (-0.2, False)])
def test_the_last_of_the_torque_is_named_only_where_it_is_some(day: InventedDay, lo: float, told: bool) -> None:
    record = copy.deepcopy(day.record)
    record["advice"]["mechanical"] |= {
        "versus_baseline_pct": 0.0, "versus_lo_pct": -0.1, "versus_hi_pct": 0.1,
        "most_torque": {"total_deg": 36.0, "versus_baseline_pct": 0.8, "versus_lo_pct": lo, "versus_hi_pct": 1.6},
    }  # fmt: skip
    assert any("36° total" in line for line in what_it_is_worth(view(record, day.tables))) == told


def test_settings_told_apart_by_one_digit_keep_it_at_their_lanes(day: InventedDay) -> None:
    record, names = copy.deepcopy(day.record), {"stop 18": "two stage, 2 more", "stop 24": "two stage, 4 more"}
    for pull in record["pulls"]:
        pull["setting"] = names.get(pull["setting"], pull["setting"])
    shown = view(record, day.tables)
    drawn = str(html.figure(content(shown).pictures["residuals"], shown.span))
    assert all(name in drawn for name in names.values())
