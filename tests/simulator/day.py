"""A simulated day: draw engine, dyno, weather and settings; run the pulls; keep the truth beside what the shop sees."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tests.simulator.air import Air, saturation_kpa
from tests.simulator.chance import stream, within
from tests.simulator.design import Design
from tests.simulator.dyno import Dyno, Trace, run_pull
from tests.simulator.engine import draw_engine
from tests.simulator.ignition import Curve, Setting
from tests.simulator.settings import delivered, settings_of
from tests.simulator.sheet import LightReading, SheetRow, knock_note, light_readings, stop_readings
from tests.simulator.torque_map import TorqueMap, torque_map
from tests.simulator.truth import Truth

if TYPE_CHECKING:
    from pullbook.handover import DayReading


@dataclass(slots=True)
class SimulatedDay:
    """A day's pulls as traces and sheet rows, with its truth. ``reading`` is what a perfect reader hands on."""

    design: Design
    engine_name: str
    day: str
    truth: Truth
    settings: dict[str, Setting]
    traces: list[Trace]
    sheet: list[SheetRow]
    light: list[LightReading]
    stop: tuple[float, float] | None  # before and after TDC, as read
    day_air: tuple[float, float, float]  # kPa, °C, % as written in day.yaml
    number: int

    @property
    def reading(self) -> "DayReading":
        """The day as :func:`pullbook.reading.day.read_day` would hand it on, without files."""
        from tests.simulator.as_reading import as_reading

        return as_reading(self)

    def write(self, folder: Path, dialect: str = "comma") -> Path:
        """Write logs, pulls.csv, strobe.csv and day.yaml into ``folder`` and engine.yaml beside it; returns ``folder``."""
        from tests.simulator.write import write_day

        return write_day(self, folder, dialect)


class Bench:
    """A day in progress: each :meth:`pull` adds one, :meth:`day` shows all so far."""

    def __init__(self, design: Design, number: int, *, day_number: int = 0, settings: list[Setting] | None = None) -> None:
        self.design, self.number, self.day_number = design, number, day_number
        own = stream(number, design.name, "engine")
        self.map: TorqueMap = _draw_map(own, design)
        e = self.map.engine
        rows = np.arange(e.rpm_lo, e.rpm_hi + 1, 100.0)
        self.map = self.map.with_knock_from(25.0 if design.knock_from_deg is None else within(own, design.knock_from_deg), rows)
        self.mark_error = within(own, design.mark_error_deg)
        bench = stream(number, design.name, "dyno")
        self.dyno = Dyno(
            pull_sd=within(bench, design.pull_sd_pct) / 100, wander_sd=within(bench, design.wander_pct) / 100,
            inertia_kg_m2=within(bench, design.inertia_kg_m2), lag_s=within(bench, design.lag_s),
            noise_sd=within(bench, design.noise_pct) / 100, sweep_rpm_s=within(bench, design.sweep_rpm_s),
            log_offset_deg=within(bench, design.log_offset_deg), log_delay_us=within(bench, design.log_delay_us),
        )  # fmt: skip
        today = stream(number, design.name, "day", day_number)
        self.nominal = settings_of(design, self.map, today)
        if settings is not None:
            self.nominal = {s.label: s for s in settings}
        self._curves: dict[str, Curve] = {}
        self.weather = (within(today, design.pressure_kpa), within(today, design.temperature_c), within(today, design.humidity_pct))
        self.change = (within(today, design.falls_kpa), within(today, design.warms_c))
        self.gauge = tuple(float(today.normal(0, s)) for s in design.gauge_error)
        self.drift = within(today, design.drift_pct) / 100
        self.stop = stop_readings(today, design, self.mark_error) if design.stop_check else None
        self.traces: list[Trace] = []
        self.sheet: list[SheetRow] = []
        self.offsets: list[float] = []
        self.airs: list[Air] = []
        self.planned = len(design.order) - 1 if len(design.order) > 1 else 9  # pulls over which the weather changes

    def air(self, pull: int) -> Air:
        """True air of a pull: the day's trend and a little restlessness."""
        rng = stream(self.number, self.design.name, "air", self.day_number, pull)
        share = pull / self.planned
        kpa = self.weather[0] + self.change[0] * share + rng.normal(0, 0.01)
        c = self.weather[1] + self.change[1] * share + rng.normal(0, 0.25)
        vapour = self.weather[2] / 100 * float(saturation_kpa(self.weather[1] + 273.15)) + rng.normal(0, 0.01)
        return Air(kpa, c + 273.15, max(vapour, 0.05))

    def pull(self, setting: Setting | str) -> Trace:
        """Run the next pull of the day at a setting (a :class:`Setting`, or the label of one known)."""
        if isinstance(setting, str):
            setting = self.nominal[setting]
        self.nominal.setdefault(setting.label, setting)
        i = len(self.traces)
        design, e = self.design, self.map.engine
        rng = stream(self.number, design.name, "pull", self.day_number, i)
        air = self.air(i)
        offset = float(rng.normal(0, self.dyno.pull_sd))
        short = e.rpm_lo + (e.rpm_hi - e.rpm_lo) * rng.uniform(0.5, 0.65) if i in design.aborted else None
        middle = rng.uniform(e.rpm_lo + 600, e.rpm_hi - 600)
        spoiled = (middle - 350, middle + 350) if i in design.spoiled else None
        curve = self.curve(setting)
        trace = run_pull(rng, design, self.dyno, self.map, curve, air, offset + self.drift * i, rpm_to=short, spoiled_rpm=spoiled)
        listened = design.listening != "none" and rng.random() >= design.not_listened
        knock = knock_note(rng, self.map, curve, air) if listened else ("not listened", None, None)
        self.sheet.append(SheetRow(
            file=f"pull_{i + 1:02d}.csv", setting=setting, baseline=setting.label == self.baseline, minutes=9 * 60 + 12 + 11 * i,
            pressure_kpa=round(float(air.pressure_kpa) + self.gauge[0], 2),
            temperature_c=round(float(air.inlet_k) - 273.15 + self.gauge[1], 1),
            humidity_pct=float(round(air.humidity_pct)), oil_c=float(round(82 + 9 * (1 - np.exp(-i / 4)) + rng.normal(0, 1.5))),
            knock=knock, exclude="misfire heard" if i in design.excluded else None,
        ))  # fmt: skip
        self.traces.append(trace)
        self.offsets.append(offset)
        self.airs.append(air)
        return trace

    @property
    def baseline(self) -> str:
        """Label of the reference setting."""
        return list(self.nominal)[self.design.baseline]

    def turned_to(self, total_deg: float, label: str | None = None) -> Setting:
        """The baseline's parts turned until they give ``total_deg``: what a policy asks for next."""
        base = self.nominal[self.baseline].curve
        return Setting(label or f"{total_deg:g} total", base.moved(total_deg - base.total_deg))

    def curve(self, setting: Setting) -> Curve:
        """What a setting delivers: as the parts make it, shifted by the mark and by how well it was set."""
        if setting.label not in self._curves:
            rng = stream(self.number, self.design.name, "set", self.day_number, setting.label)
            self._curves[setting.label] = delivered(rng, self.design, setting, self.mark_error)
        return self._curves[setting.label]

    def day(self) -> SimulatedDay:
        """The day so far."""
        e = self.map.engine
        airs = self.airs or [self.air(0)]
        mean = Air(*(float(np.mean([getattr(a, n) for a in airs])) for n in ("pressure_kpa", "inlet_k", "vapour_kpa")))
        used = {label: s for label, s in self.nominal.items() if label in {r.setting.label for r in self.sheet}}
        curves = {label: self.curve(s) for label, s in used.items()}
        rng = stream(self.number, self.design.name, "light", self.day_number)
        truth = Truth(
            self.map, mean, (e.rpm_lo, e.rpm_hi), curves, self.dyno, self.mark_error, self.baseline,
            list(self.offsets), [r.setting.label for r in self.sheet], list(self.airs),
        )  # fmt: skip
        first = self.sheet[0] if self.sheet else None
        day_air = (first.pressure_kpa, first.temperature_c, first.humidity_pct) if first else self.weather
        return SimulatedDay(
            self.design, f"{self.design.name}-{self.number}", f"2026-{3 + self.day_number % 9:02d}-14", truth, used,
            list(self.traces), list(self.sheet), light_readings(rng, self.design, self.map, curves, self.mark_error),
            self.stop, day_air, self.number,
        )  # fmt: skip


def _draw_map(rng: np.random.Generator, design: Design) -> TorqueMap:
    """Draw engines of the design's families until one's hill is as curved as the design wants."""
    while True:
        engine = torque_map(draw_engine(rng, design.chambers[int(rng.integers(len(design.chambers)))]))
        middle = np.array([(engine.engine.rpm_lo + engine.engine.rpm_hi) / 2])
        if design.curvature[0] <= float(engine.curvature(middle)[0]) <= design.curvature[1]:
            return engine


def simulate(design: Design, number: int, *, day_number: int = 0) -> SimulatedDay:
    """Run a whole day of a design.

    Parameters
    ----------
    design
        How the day is run.
    number
        Number of the day; engine, dyno, weather and every pull follow from it and the design's name.
    day_number
        Which day of that engine on that dyno.
    """
    bench = Bench(design, number, day_number=day_number)
    labels = list(bench.nominal)
    order = list(design.order)
    if design.shuffle:
        middle = order[1:-1]
        stream(number, design.name, "order", day_number).shuffle(middle)
        order = [order[0], *middle, order[-1]]
    for i in order:
        bench.pull(labels[i])
    return bench.day()


def simulate_season(design: Design, number: int, days: int = 2) -> list[SimulatedDay]:
    """Days of the same engine on the same dyno, each with its own weather, settings and pulls."""
    first = simulate(design, number)
    return [first, *(replace(simulate(design, number, day_number=i), engine_name=first.engine_name) for i in range(1, days))]
