"""The study's designs: ways a shop spends a day, and three that ask too much of it."""

from dataclasses import replace

from tests.simulator.design import Design

_WIDE = (-10.0, -5.0, 0.0, 5.0)
_BACK = (2, 0, 3, 1, 2, 0, 3, 1, 2)  # wide steps in mixed order, the baseline first, last and between

WIDE = Design("wide", offsets_deg=_WIDE, order=_BACK)
"""Four settings over 15°, mixed order with returns: a day well spent."""

_DESIGNS = (
    WIDE,
    # five settings 2° apart: much work, little leverage
    Design("narrow", offsets_deg=(-4.0, -2.0, 0.0, 2.0, 4.0), order=(2, 0, 4, 1, 3, 2, 4, 0, 3, 1, 2, 2)),
    # distributor locked out, one advance all the way
    Design("locked", ignition="locked", offsets_deg=(-9.0, -5.0, -1.0, 3.0, 6.0), order=(2, 0, 4, 1, 3, 2, 0, 4, 1, 3, 2)),
    # springs and stops change between settings, so that curves cross inside the span
    Design("springs", spring_changes=True, offsets_deg=(-8.0, -4.0, 0.0, 0.0, 4.0), order=(2, 0, 3, 1, 4, 2, 0, 3, 1, 4, 2)),
    # the best lies beyond what was tested, on a side drawn by the day
    Design("unbracketed", offsets_deg=(-14.0, -11.0, -8.0, -5.0), mirrored=True, order=(3, 0, 2, 1, 3, 0, 2, 1)),
    # +, +, + with the oil warming; one return at the end
    Design("drift_ascending", offsets_deg=_WIDE, order=(0, 0, 1, 1, 2, 2, 3, 3, 0), baseline=0, drift_pct=(-0.3, 0.3)),
    # rollers: slow load cell, slow recorder, no advance in the log
    Design(
        "noisy_roller", dyno_kind="roller", chambers=("two_valve", "mid", "air_cooled"), offsets_deg=_WIDE,
        order=(2, 0, 3, 1, 2, 0, 3, 1, 2, 0), pull_sd_pct=(0.45, 0.6), noise_pct=(1.5, 3.0), wander_pct=(0.25, 0.4), rate_hz=10.0,
        lag_s=(0.15, 0.35), rpm_noise=10.0,
        sweep_rpm_s=(300.0, 500.0), log_has_advance=False, light_readings=12,
    ),
    # air warms by about 10 °C and the glass falls
    Design("hot_day", offsets_deg=_WIDE, order=(2, 0, 3, 1, 2, 0, 3, 1, 2, 0, 3, 1, 2, 2),
           temperature_c=(22.0, 30.0), warms_c=(8.0, 12.0), humidity_pct=(40.0, 75.0), falls_kpa=(-0.9, -0.3)),
    # the recorder's advance is off by a constant and a delay, the mark by a degree or two
    Design("delay_offset", offsets_deg=_WIDE, order=(*_BACK, 2), log_offset_deg=(-4.0, 4.0), log_delay_us=(0.0, 80.0),
           mark_error_deg=(-2.5, 2.5), light_readings=12),
    # fuel that knocks before the best is reached; some pulls nobody listened to
    Design("knock_limited", offsets_deg=(-12.0, -8.0, -5.0, -2.0), order=(2, 0, 1, 2, 3, 0, 1, 2, 3), knock_from_deg=(-5.0, 0.0),
           knock_channel=True, not_listened=0.15),
    replace(WIDE, name="burn_slow", chambers=("two_valve", "air_cooled"), shuffle=True),
    replace(WIDE, name="burn_mid", chambers=("mid",), shuffle=True),
    replace(WIDE, name="burn_fast", chambers=("four_valve",), shuffle=True),
    # three settings, each twice, six light readings, nobody checked the mark
    Design("few_pulls", offsets_deg=(-7.0, 0.0, 6.0), order=(1, 0, 2, 1, 0, 2), baseline=1,
           light_readings=6, stop_check=False, mark_error_deg=(0.0, 0.0)),
)  # fmt: skip

STUDY: dict[str, Design] = {d.name: d for d in _DESIGNS}
"""The designs whose figures count, in the order of the report."""

STRESS: dict[str, Design] = {
    d.name: d
    for d in (
        replace(WIDE, name="one_percent", pull_sd_pct=(1.0, 1.0)),
        replace(WIDE, name="two_settings", offsets_deg=(-6.0, 0.0), baseline=1, order=(1, 0, 1, 0, 1, 0, 1, 0)),
        replace(WIDE, name="strong_drift_no_return", order=(0, 0, 1, 1, 2, 2, 3, 3), baseline=0, drift_pct=(-0.8, -0.4)),
    )
}
"""Days that ask too much; printed apart."""

MAPPED = Design(
    "mapped", chambers=("mid", "four_valve"), ignition="mapped", offsets_deg=_WIDE, order=_BACK, log_offset_deg=(-0.5, 0.5),
    log_delay_us=(0.0, 30.0), mark_error_deg=(-0.5, 0.5),
)  # fmt: skip
"""A table shifted as a whole; outside the study, for trying the mapped family."""
