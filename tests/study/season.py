"""What the archive is worth: a second day of one engine on one dyno, alone and with the first day's own figures."""

from typing import Any

import numpy as np

from pullbook.hill.prior import default, pool
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance
from tests.simulator.day import SimulatedDay, simulate_season
from tests.simulator.design import Design
from tests.study.score import score_best


def run_season(design: Design, number: int, days: int = 2) -> dict[str, Any]:
    """Estimate ``days`` days; the last one twice: on its own, and with what the earlier ones left in the archive."""
    history: list[dict[str, Any]] = []
    season = simulate_season(design, number, days=days)
    out: dict[str, Any] = {}
    for i, day in enumerate(season):
        reading = day.reading
        aligned = align_day(reading)
        delivered = delivered_advance(reading, aligned)
        alone = best_advance(reading, aligned, delivered, default(reading.facts))
        if i < days - 1:
            history.append(alone.own | {"engine": reading.engine, "day": f"day-{i}", "dyno": reading.facts.dyno.name})
            continue
        prior = pool(reading.facts, history[0]["engine"], history)
        informed = best_advance(reading, aligned, delivered, prior)
        out = {"alone": _rows(day, alone.best), "informed": _rows(day, informed.best), "source": prior.source}
        out["width_alone"], out["width_informed"] = _common_width(alone.best, informed.best)
    return out


def _rows(day: SimulatedDay, best: Any) -> dict[str, Any]:
    scored = score_best(day, best)
    return {key: scored[key] for key in ("error", "covered", "width", "away", "one_sided")}


def _common_width(a: Any, b: Any) -> tuple[list[float], list[float]]:
    """Widths on the rows that both call inside."""
    both = a.join(b, on="rpm", suffix="_b")
    both = both.filter((both["state"] == "inside") & (both["state_b"] == "inside"))
    first, second = both["hi_deg"] - both["lo_deg"], both["hi_deg_b"] - both["lo_deg_b"]
    return np.round(first.to_numpy(), 3).tolist(), np.round(second.to_numpy(), 3).tolist()
