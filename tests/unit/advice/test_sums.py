"""Trade sums against outside values: F4, F7, K1, K4 and K5 of the project's reference page (the row is in each name)."""

import pytest

from pullbook.advice.sums import (
    bench_sums,
    delay_deg,
    distributor_from_crank,
    enter_deg,
    mm_per_deg,
    plain,
    setting_sum,
)
from pullbook.units import CRANK_PER_DISTRIBUTOR


@pytest.mark.parametrize(("rpm", "us", "degrees"), [
    (6000, 20, 0.72), (6000, 50, 1.8), (6000, 100, 3.6), (6000, 150, 5.4), (3000, 100, 1.8), (7000, 100, 4.2),
])  # fmt: skip
def test_k1_delay_in_microseconds_is_degrees(rpm: float, us: float, degrees: float) -> None:
    assert delay_deg(us, rpm) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(("diameter", "mm"), [(160, 1.396263), (180, 1.570796), (200, 1.745329), (203.2, 1.773255)])
def test_k4_millimetres_a_degree_on_the_damper(diameter: float, mm: float) -> None:
    assert mm_per_deg(diameter) == pytest.approx(mm, abs=1e-6)


def test_k4_a_tape_for_180_on_a_200_damper_reads_34_as_37_78() -> None:
    assert 34 * mm_per_deg(200) / mm_per_deg(180) == pytest.approx(37.78, abs=0.005)


def test_k5_distributor_curve_doubles_on_both_axes() -> None:
    distributor = [(400, 0), (700, 4), (1100, 8), (1500, 11)]
    crank = [(CRANK_PER_DISTRIBUTOR * rpm, CRANK_PER_DISTRIBUTOR * deg) for rpm, deg in distributor]
    assert crank == [(800, 0), (1400, 8), (2200, 16), (3000, 22)]
    assert 10 + crank[-1][1] == 32


def test_f4_total_35_less_initial_19_leaves_16_crank_or_8_distributor_degrees() -> None:
    stop = setting_sum(19, 35)
    assert stop == 16
    assert distributor_from_crank(stop) == 8


@pytest.mark.parametrize(("initial", "total", "stop"), [(8, 35, 27), (14, 41, 27), (14, 35, 21)])
def test_f7_initial_and_mechanical_make_the_total(initial: float, total: float, stop: float) -> None:
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
