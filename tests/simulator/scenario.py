"""The sample logs' story: three invented engines, what their shops set and wrote down. Run by make_samples."""

from dataclasses import replace

from tests.simulator.day import Bench, SimulatedDay
from tests.simulator.design import Design
from tests.simulator.ignition import Curve, Setting

V8 = Design(
    "v8_two_valve", chambers=("two_valve",), spring_changes=True, order=(), baseline=0, pull_sd_pct=(0.3, 0.45),
    drift_pct=(-0.06, -0.03),
    log_offset_deg=(1.5, 2.5), log_delay_us=(30.0, 50.0), mark_error_deg=(1.0, 1.8), light_readings=14, knock_from_deg=(5.0, 6.0),
    hysteresis_deg=(0.8, 0.8), inertia_kg_m2=(0.12, 0.2), temperature_c=(13.0, 15.0), warms_c=(3.0, 4.0),
)  # fmt: skip
FOUR = Design(
    "four_locked_out", chambers=("four_valve",), ignition="locked", order=(), baseline=1, pull_sd_pct=(0.3, 0.4),
    drift_pct=(-0.02, 0.02),
    log_offset_deg=(0.0, 0.6), log_delay_us=(10.0, 25.0), mark_error_deg=(-0.5, 0.5), light_readings=9, knock_from_deg=(0.5, 1.0),
    knock_channel=True, listening="sensor", temperature_c=(24.0, 26.0), warms_c=(3.0, 5.0),
    inertia_kg_m2=(0.05, 0.08),
)  # fmt: skip
TWIN = Design(
    "air_cooled_twin", chambers=("air_cooled",), order=(),
    baseline=0, dyno_kind="roller", pull_sd_pct=(0.55, 0.6), noise_pct=(1.8, 2.4),
    drift_pct=(-0.15, -0.1), wander_pct=(0.3, 0.35), rate_hz=10.0, lag_s=(0.2, 0.3), rpm_noise=8.0, sweep_rpm_s=(330.0, 380.0),
    log_has_advance=False, stop_check=False, mark_error_deg=(0.5, 1.0), light_readings=4, listening="none", air_each_pull=False,
    temperature_c=(26.0, 28.0), warms_c=(2.0, 4.0), hysteresis_deg=(0.5, 0.5),
)  # fmt: skip


def sprung(
    label: str, initial: float, total: float, start: float, all_in: float, knee: tuple[float, float] | None = None
) -> Setting:
    """A setting of weights and springs."""
    return Setting(label, Curve("mechanical", initial, total, start, all_in, knee, 0.8))


def locked(label: str, degrees: float) -> Setting:
    """A locked-out setting."""
    return Setting(label, Curve("locked", degrees, degrees))


def _run(bench: Bench, order: str, notes: dict[int, str], day: str, name: str) -> SimulatedDay:
    """Pull the settings whose places in the list ``order`` names (a = first), with notes by pull number from 1."""
    labels = list(bench.nominal)
    bench.planned = len(order) - 1
    for letter in order:
        bench.pull(labels["abcdefgh".index(letter)])
    bench.sheet = [replace(row, notes=notes.get(i)) for i, row in enumerate(bench.sheet, start=1)]
    return replace(bench.day(), day=day, engine_name=name)


def v8_spring() -> SimulatedDay:
    """Two-valve V8, first visit: as it came, softer springs, a shorter stop."""
    settings = [
        sprung("as it came", 14, 34, 1400, 3900),
        sprung("soft springs", 14, 34, 1100, 2900),
        sprung("soft, short stop", 18, 34, 1100, 2600),
        sprung("soft, 2 more", 16, 36, 1100, 2900),
        sprung("soft, 4 less", 10, 30, 1100, 2900),
    ]
    notes = {
        1: "warm-up done, all-in looks late on the light", 2: "springs changed, distributor not moved",
        4: "stop bush 16 fitted, initial up to keep 34", 5: "idle a bit quick", 8: "best so far by ear, crisp below 3500",
        10: "back to how it came, to see the day's drift",
    }  # fmt: skip
    bench = Bench(V8, 9, settings=settings)
    return _run(bench, "abecdbcdba", notes, "2026-04-18", "Bracken V8")


def v8_autumn() -> SimulatedDay:
    """The same engine half a year on: another recorder, a knee in the curve, one pull lifted early."""
    settings = [
        sprung("spring curve", 14, 34, 1100, 2900),
        sprung("two stage", 16, 36, 1100, 4400, (2500, 31.0)),
        sprung("two stage, 2 more", 18, 38, 1100, 4400, (2500, 33.0)),
        sprung("soft, 16 stop, 30", 14, 30, 1100, 2600),
        sprung("two stage, 4 more", 20, 40, 1100, 4400, (2500, 35.0)),
    ]
    notes = {
        1: "carb cleaned since spring, jets unchanged", 3: "fuel tap half shut, lifted", 4: "repeat of the lifted one",
        6: "as far as we go, listened hard at the bottom", 10: "last one, oil is hot",
    }  # fmt: skip
    design = replace(
        V8, temperature_c=(7.0, 8.0), warms_c=(2.0, 3.0), humidity_pct=(70.0, 80.0), pressure_kpa=(100.5, 101.5), aborted=(2,),
        log_offset_deg=(-0.8, -0.6), log_delay_us=(55.0, 60.0), drift_pct=(-0.08, -0.06), light_readings=10,
    )  # fmt: skip
    bench = Bench(design, 9, day_number=1, settings=settings)
    return _run(bench, "adbbceadcb", notes, "2026-10-10", "Bracken V8")


def four_day() -> SimulatedDay:
    """Four-valve four, its table overridden with one number at a time, until the sensor counts."""
    settings = [locked(f"{x} all through", x) for x in (17, 20, 23, 26, 14)]
    notes = {
        1: "table overridden, one number over the whole span", 4: "first counts at the bottom end", 5: "went back down after that",
        7: "headset off for this one", 9: "back on 20 to close the day",
    }  # fmt: skip
    bench = Bench(FOUR, 31, settings=settings)
    day = _run(bench, "baecdaecb", notes, "2026-06-27", "Teasel four")
    day.sheet[6] = replace(day.sheet[6], knock=("not listened", None, None))
    return day


def twin_day() -> SimulatedDay:
    """Air-cooled twin on rollers: six pulls, each with a little more, and then it rained."""
    settings = [sprung(f"{x}°", x - 16, x, 1200, 2900) for x in (22, 24, 26, 28)]
    notes = {1: "erste Messung, noch nicht ganz warm", 3: "besser", 4: "wieder besser", 6: "Regen, Schluss"}
    bench = Bench(TWIN, 18, settings=settings)
    return _run(bench, "aabbcd", notes, "2026-08-29", "Sallow twin")
