"""Where a day supports no advice: nothing but nulls, and the pull that would say most."""

from dataclasses import replace

import polars as pl
import pytest
from tests.unit.advice.synthetic import Day, Pull, locked

from pullbook.columns import PULL_ADVANCE, conform
from pullbook.facts import EngineFacts
from pullbook.handover import Advice
from pullbook.stages.advise import advise

KNOWN = conform(pl.DataFrame({"pull_id": ["p1"], "rpm": [3000], "advance_deg": [32.0]}), PULL_ADVANCE)


def without_posterior(pulls: list[Pull], *, advance_known: bool = True, none_used: bool = False) -> Advice:
    """Advice of a day whose pulls place nothing (or where there are none); damper of 180 mm."""
    reading, aligned, delivered, best = Day(pulls, engine=EngineFacts(damper_diameter_mm=180.0)).parts(with_posterior=False)
    if none_used:
        aligned = replace(aligned, pulls=aligned.pulls.clear(), rows=aligned.rows.clear())
    return advise(reading, aligned, replace(delivered, pull_advance=KNOWN) if advance_known else delivered, best)


def test_one_setting_with_its_advance_known_asks_for_width_first() -> None:
    answer = without_posterior([Pull("base", 32.0, 12.0, baseline=True), Pull("base", 32.0, 12.0, baseline=True)]).advice
    back, again = answer["next_pulls"]
    assert (back["setting"], back["initial_deg"], back["total_deg"]) == ("24° total", 4.0, 24.0)
    assert back["why"].startswith("8° back from the baseline")
    assert (again["setting"], again["initial_deg"], again["total_deg"]) == ("base", 12.0, 32.0)
    assert again["why"].startswith("repeat the baseline: shows how well pulls repeat")
    assert (answer["enough"], answer["least_curve"], answer["table"], answer["hand_over_pull"]) == (False, [], [], "p1")


@pytest.mark.parametrize(("initial", "total", "steps"), [(None, 32.0, [(None, 24.0), (None, 32.0)]), (None, None, [(None, None)])])
def test_no_step_is_made_up_from_degrees_nobody_wrote(
    initial: float | None, total: float | None, steps: list[tuple[float | None, float | None]]
) -> None:
    found = without_posterior([Pull("base", total, initial, baseline=True)]).advice["next_pulls"]
    assert [(pull["initial_deg"], pull["total_deg"]) for pull in found] == steps
    assert {pull["expected_saving_pct"] for pull in found} == {None}


def test_without_any_advance_it_is_to_be_written_down() -> None:
    (only,) = without_posterior(locked(28, 26, 28), advance_known=False).advice["next_pulls"]
    assert only["why"] == "repeat the baseline with its advance written down"


def test_a_day_without_pulls_names_the_baseline_alone() -> None:
    answer = without_posterior(locked(28), advance_known=False, none_used=True)
    assert [pull["setting"] for pull in answer.advice["next_pulls"]] == ["baseline"]
    assert answer.advice["hand_over_pull"] is None
    assert answer.card == {"readings": [], "mm_per_deg": pytest.approx(1.571, abs=5e-4), "scale": ""}
    assert (answer.sums, answer.tested_limit, answer.questions) == ((), None, ())
    assert answer.cautions
