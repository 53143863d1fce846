"""Sums of the bench as the report words them; the numbers themselves are in tests/outside (rows F4, F7, K1, K4, K5)."""

import pytest

from pullbook.advice.sums import (
    bench_sums,
    enter_deg,
    mm_per_deg,
    plain,
    setting_sum,
)


@pytest.mark.parametrize(("initial", "total", "stop"), [(8, 35, 27), (14, 41, 27), (14, 35, 21)])
def test_initial_and_mechanical_make_the_total(initial: float, total: float, stop: float) -> None:
    assert setting_sum(initial, total) == stop
    shown = bench_sums(
        initial_deg=initial, stop_deg=stop, total_deg=total, mark_error_deg=None, mark_uncertainty_deg=None,
        damper_diameter_mm=None, delay_us=None, at_rpm=None,
    )  # fmt: skip
    assert shown[0]["text"] == f"{initial}° + {stop}° = {total}°"


def test_what_to_enter_adds_offset_and_delay_to_what_is_wanted() -> None:
    assert enter_deg(32.0, -1.5, 6000.0, 50.0) == pytest.approx(32.0 - 1.5 + 1.8)


def test_a_true_mark_error_is_added_on_the_light_and_an_unchecked_one_is_a_range() -> None:
    known = bench_sums(
        initial_deg=None, stop_deg=None, total_deg=34.0, mark_error_deg=-1.5, mark_uncertainty_deg=1.0,
        damper_diameter_mm=180.0, delay_us=60.0, at_rpm=5000.0,
    )  # fmt: skip
    assert [row["text"] for row in known] == [
        "34° − 1.5° = 32.5°", "1° = 1.57 mm on the rim of a 180 mm damper; 34° = 53.4 mm", "60 µs at 5000 rpm = 1.8° late",
    ]  # fmt: skip
    unknown = bench_sums(
        initial_deg=None, stop_deg=None, total_deg=34.0, mark_error_deg=None, mark_uncertainty_deg=3.0,
        damper_diameter_mm=None, delay_us=None, at_rpm=None,
    )  # fmt: skip
    assert unknown[0]["text"] == "34° true may read 31° to 37° on the light: the mark is not checked"


def test_a_damper_without_a_diameter_is_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        mm_per_deg(0.0)


def test_plain_numbers_keep_no_needless_zero_and_no_minus_zero() -> None:
    assert [plain(v) for v in (34.0, 12.34, -0.01, -2.5, 100.0)] == ["34", "12.3", "0", "−2.5", "100"]
