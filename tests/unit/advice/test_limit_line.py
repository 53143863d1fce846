"""The line not to pass: what binds it, its fuel, and how finely it is given."""

import numpy as np
from tests.unit.advice.synthetic import Day, Pull, ground_of, locked

from pullbook.advice.limits_words import limit_line


def test_the_do_not_exceed_line_names_fuel_and_reason() -> None:
    day = Day(locked(32, 28, 36))
    line = limit_line(ground_of(day), day.noted(), "98 RON", None)
    assert line == ("Do not exceed 36° true advance (the most that was run) at full load on 98 RON; nothing above it was tried.")


def test_the_do_not_exceed_line_does_not_forbid_what_is_set() -> None:
    day = Day(locked(32, 28, 36.4))
    top = float(np.max(ground_of(day).ceiling))
    half, tenth = np.floor(top * 2) / 2, np.floor(top * 10 + 1e-6) / 10
    assert half < tenth, "a ceiling between half degrees is what this test is about"
    assert f"exceed {half:g}°" in limit_line(ground_of(day), day.noted(), "98 RON", None, set_deg=half)
    assert f"exceed {tenth:g}°" in limit_line(ground_of(day), day.noted(), "98 RON", None, set_deg=tenth)


def test_the_do_not_exceed_line_says_all_that_binds() -> None:
    """Knock that caps lower than the engine's known limit is not passed over for the limit, nor is what was merely run."""
    noted = Day([*locked(32, 28), Pull("36", 36, knock="heard", knock_rpm=(3300, 3600))])
    line = limit_line(ground_of(noted), noted.noted(), "98 RON", 36.0)
    assert "less the margin below noted knock, within the engine's known limit" in line
    assert "above it knock was noted, or the known limit binds" in line
    quiet = Day(locked(32, 28, 36))
    assert "(the engine's known limit)" in limit_line(ground_of(quiet), quiet.noted(), "98 RON", 36.0)
