"""How many pulls it takes to find the setting: a shop that follows the advice's next pull against the habit of +2, +2, +2.

    python -m tests.study.next_pulls --days 60 --jobs 2

Both shops start the same engine on the same dyno from the same baseline and can turn the distributor, nothing else. After every
pull each shop has a setting it would leave the engine at. It has arrived when that setting truly makes torque within 0.3 % of
the best the distributor could give, and stays there with every further pull.
"""

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

from pullbook.advice.curve_shapes import Shapes
from pullbook.advice.day_view import look_at
from pullbook.advice.ground import Ground
from pullbook.arrays import Array
from pullbook.handover import AlignedDay
from pullbook.hill.prior import default
from pullbook.stages.advise import advise
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance
from tests.simulator.chance import stream
from tests.simulator.day import Bench
from tests.simulator.design import Design
from tests.simulator.ignition import Curve, Setting

WITHIN = 0.003
MOST_PULLS = 14
DESIGN = Design(
    "next_pulls", ignition="locked", offsets_deg=(0.0,), order=(0,), baseline=0, centre_sd_deg=0.0, drift_pct=(-0.06, 0.06),
    light_readings=12, stop_check=True, knock_from_deg=None, mark_error_deg=(-0.5, 0.5),
)  # fmt: skip
START_DEG = (-10.0, 6.0)
"""Baseline against the engine's best, drawn evenly: shops start retarded more often than advanced."""


@dataclass(frozen=True, slots=True)
class Road:
    """One shop's day: loss (fraction) of the setting it would leave, after each pull; ``stopped``: pulls run when it stopped."""

    losses: list[float]
    stopped: int

    @property
    def arrived(self) -> int | None:
        """Pulls after which the setting is within 0.3 % of the best for good; None: never."""
        away = [i for i, loss in enumerate(self.losses) if loss > WITHIN]
        first = away[-1] + 2 if away else 1
        return first if first <= len(self.losses) else None

    def after(self, pulls: int) -> float:
        """Loss of the setting after so many pulls; a shop that stopped keeps its setting."""
        return self.losses[min(pulls, len(self.losses)) - 1]


@dataclass(frozen=True, slots=True)
class Pair:
    """The same day walked by both shops."""

    number: int
    advice: Road
    habit: Road


def start(number: int) -> tuple[Bench, Setting]:
    """A bench with its baseline set some degrees off the engine's best."""
    bench = Bench(DESIGN, number)
    e = bench.map.engine
    rows = np.arange(np.ceil(e.rpm_lo / 100) * 100, e.rpm_hi + 1, 100.0)
    grid = np.arange(0.0, 60.0, 0.25)
    loss = np.array([np.mean(bench.map.loss(np.full(rows.shape, a), rows)) for a in grid])
    off = float(stream(number, "next_pulls", "start").uniform(*START_DEG))
    total = float(np.round(grid[np.argmin(loss)] + off))
    home = locked(total)
    return Bench(DESIGN, number, settings=[home]), home


def locked(total: float) -> Setting:
    """A locked setting called by its degrees."""
    return Setting(f"{total:g}", Curve("locked", total, total))


def true_losses(bench: Bench) -> tuple[Array, Array]:
    """Loss of every locked advance against the best locked advance, in the standard air: (grid, fraction)."""
    e = bench.map.engine
    rows = np.arange(np.ceil(e.rpm_lo / 100) * 100, e.rpm_hi + 1, 100.0)
    grid = np.arange(0.0, 60.0, 0.1)
    torque = np.array([np.mean(np.log(bench.map.torque_nm(rows, np.full(rows.shape, a)))) for a in grid])
    return grid, 1.0 - np.exp(torque - torque.max())


def follow_advice(number: int, *, most: int = MOST_PULLS) -> Road:
    """Run what the advice asks for first, until it says enough."""
    bench, home = start(number)
    grid, loss = true_losses(bench)
    setting, road = home, list[float]()
    while len(bench.traces) < most:
        bench.pull(setting)
        reading = bench.day().reading
        aligned = align_day(reading)
        delivered = delivered_advance(reading, aligned)
        best = best_advance(reading, aligned, delivered, default(reading.facts))
        answer = advise(reading, aligned, delivered, best).advice
        ground = look_at(reading, aligned, delivered, best).ground
        advised = _most_torque(ground, float(np.mean(bench.curve(home).advance_deg(np.array([4000.0])))))
        road.append(float(np.interp(advised, grid, loss)))
        totals = [p["total_deg"] for p in answer["next_pulls"] if p["total_deg"] is not None]
        if answer["enough"] or not totals:
            break
        setting = locked(float(totals[0]))
    return Road(road, len(bench.traces))


def _most_torque(ground: Ground | None, otherwise: float) -> float:
    """Locked advance of least expected loss under the ceiling; the baseline's own while nothing is known."""
    return otherwise if ground is None else float(cheapest_locked(ground).total[0])


def cheapest_locked(ground: Ground) -> Shapes:
    """The locked advance of least expected loss."""
    totals = np.arange(max(ground.grid[0], float(np.min(ground.tested_lo))), float(np.min(ground.limit_deg)) + 1e-9, 0.1)
    prices = ground.price(np.broadcast_to(totals[:, None], (len(totals), len(ground.rpm))))
    best = totals[int(np.argmin(prices))]
    return Shapes(*(np.array([v]) for v in (best, 0.0, 0.0, 1.0, 0.5, 0.5)))


def follow_habit(number: int, *, most: int = MOST_PULLS) -> Road:
    """+2, +2, +2 from the baseline while torque rises; if the first step loses, −2, −2, −2; then keep the best pull's setting.

    The shop compares mean corrected torque, turns round after two pulls below the best one, and repeats the three best settings
    in turn once both ways are done: kinder than the habit as practised, which stops there.
    """
    bench, home = start(number)
    grid, loss = true_losses(bench)
    total = float(home.curve.total_deg)
    readings: dict[float, list[float]] = {}
    way, below = 2.0, 0
    place = total
    road: list[float] = []
    turned = done = False
    while len(bench.traces) < most:
        bench.pull(locked(place))
        readings.setdefault(place, []).append(_mean_torque(align_day(bench.day().reading)))
        means = {t: float(np.mean(v)) for t, v in readings.items()}
        best = max(means, key=lambda t: means[t])
        curve = bench.curve(locked(best)).advance_deg(np.array([4000.0]))
        road.append(float(np.interp(float(curve[0]), grid, loss)))
        below = 0 if place == best else below + 1
        knocked = bench.sheet[-1].knock[0] in ("heard", "faint")
        if not done and (below >= 2 or knocked):
            done = turned or best != total
            turned, way, below = True, -2.0, 0
            place = total
        if done:
            near = sorted(means, key=lambda t: -means[t])[:3]
            place = min(near, key=lambda t: (len(readings[t]), -means[t]))
        else:
            place += way
    return Road(road, len(bench.traces))


def _mean_torque(aligned: AlignedDay) -> float:
    """Corrected mean torque of the last pull, as a dyno sheet prints it."""
    last = aligned.pulls.sort("order").tail(1)["pull_id"][0]
    return float(aligned.rows.filter(pl.col("pull_id") == last)["torque_nm"].mean() or 0.0)  # type: ignore[arg-type]


def both(number: int, *, most: int = MOST_PULLS) -> Pair:
    """One day, both shops."""
    return Pair(number, follow_advice(number, most=most), follow_habit(number, most=most))


def table(pairs: list[Pair], *, most: int = MOST_PULLS) -> str:
    """The study's result as Markdown."""
    roads = _roads(pairs)
    lines = ["| after pulls | within 0.3 %: next pulls | within 0.3 %: habit | given away: next pulls | given away: habit |"]
    lines.append("|---|---|---|---|---|")
    for n in range(1, most + 1):
        share = [100.0 * np.mean([road.after(n) <= WITHIN for road in shop]) for shop in roads]
        given = [100.0 * np.mean([road.after(n) for road in shop]) for shop in roads]
        lines.append(f"| {n} | {share[0]:.0f} % | {share[1]:.0f} % | {given[0]:.2f} % | {given[1]:.2f} % |")
    lines += ["", f"Pulls until the setting is within 0.3 % for good (never counts as {most + 1}):", ""]
    lines += ["| days | next pulls | habit |", "|---|---|---|"]
    far = [p for p in pairs if p.habit.losses[0] > WITHIN]
    for name, some in ((f"all {len(pairs)}: mean", pairs), (f"the {len(far)} that start further off: mean", far)):
        needed = [np.array([r.arrived or most + 1 for r in shop], float) for shop in _roads(some)]
        lines.append(f"| {name} | {needed[0].mean():.1f} | {needed[1].mean():.1f} |")
        lines.append(f"| … median | {np.median(needed[0]):.0f} | {np.median(needed[1]):.0f} |")
        lines.append(f"| … 90th percentile | {np.quantile(needed[0], 0.9):.0f} | {np.quantile(needed[1], 0.9):.0f} |")
    never = [100.0 * np.mean([r.arrived is None for r in shop]) for shop in roads]
    lines.append(f"| never within {most} pulls | {never[0]:.0f} % | {never[1]:.0f} % |")
    for goal in (0.8, 0.9):
        first = [_first_with(shop, goal, most) for shop in roads]
        lines.append(f"| pulls until {goal:.0%} of all shops are there | {first[0]} | {first[1]} |")
    lines.append(f"| pulls run until the advice said enough: mean | {np.mean([p.advice.stopped for p in pairs]):.1f} | – |")
    told = [p.advice.losses[-1] <= WITHIN for p in pairs if p.advice.stopped < most]
    lines.append(f"| of those told enough, truly within 0.3 % | {100.0 * np.mean(told):.0f} % | – |")
    return "\n".join(lines)


def _first_with(shop: list[Road], goal: float, most: int) -> str:
    """Fewest pulls after which this share of a shop's days is within 0.3 %."""
    found = next((n for n in range(1, most + 1) if np.mean([road.after(n) <= WITHIN for road in shop]) >= goal), None)
    return f"over {most}" if found is None else str(found)


def _roads(pairs: list[Pair]) -> tuple[list[Road], list[Road]]:
    return [p.advice for p in pairs], [p.habit for p in pairs]


def main() -> None:
    """Run the study and print (or write) its table."""
    parser = argparse.ArgumentParser(prog="python -m tests.study.next_pulls", description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--first", type=int, default=1, help="number of the first simulated day")
    parser.add_argument("--write", type=Path, help="put the table into this Markdown page, between its marks")
    options = parser.parse_args()
    began = time.monotonic()
    numbers = range(options.first, options.first + options.days)
    with ProcessPoolExecutor(options.jobs) as pool:
        pairs = list(pool.map(partial(both, most=MOST_PULLS), numbers))
    text = f"{options.days} days from number {options.first}:\n\n{table(pairs)}\n"
    print(text)
    print(f"took {time.monotonic() - began:.0f} s")
    if options.write:
        page = options.write.read_text(encoding="utf-8")
        head, _, rest = page.partition("<!-- table -->\n")
        _, _, tail = rest.partition("<!-- end -->")
        options.write.write_text(f"{head}<!-- table -->\n{text}<!-- end -->{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
