"""The contents of the three pages in reading order, as words and tables without layout: page and paper both take them from here."""

from dataclasses import dataclass
from types import ModuleType
from typing import Any

from pullbook.report import model
from pullbook.report.canvas import Picture, Table
from pullbook.report.figures import advance, contours, cost, difference, order, repeatability, residuals, timing, torque
from pullbook.report.model import Said
from pullbook.report.tables import enter_table, facts_table, inputs_table, pulls_table, shapes_table
from pullbook.report.to_set import what_it_is_worth, what_to_set
from pullbook.report.view import DayView
from pullbook.report.words import between, known, number, setting_degrees
from pullbook.wording import counted, few, noted

Figures = tuple[ModuleType, ...]
"""Modules of :mod:`pullbook.report.figures`, in the order their pictures stand."""
PAGE_ONE = (advance, torque, difference)
PAGE_TWO = (contours, cost, order)
PAGE_THREE = (residuals, timing, repeatability)

FIRST_WARNINGS = 3
RANGES = "A range marked “likely” holds the true value nine times in ten. All degrees are crank degrees before top dead centre."


@dataclass(frozen=True, slots=True)
class Content:
    """Everything a day's report says. Lists may be empty: the page then says so. ``span``: least and most rpm of its pictures."""

    title: str
    engine: str
    day: str
    sentence: str
    enough: bool
    standing: list[Said]
    doubts: list[str]
    to_set: list[Said]
    worth: list[str]
    limit: str
    knock: str
    table: Table | None
    next_pulls: list[Said]
    cautions: list[str]
    pictures: dict[str, Picture]
    pulls: Table
    air: list[Said]
    changes: list[str]
    not_established: list[str]
    not_tested: list[str]
    questions: list[str]
    warnings: list[str]
    shapes: Table | None
    sums: list[Said]
    facts: Table | None
    assumptions: list[Said]
    inputs: Table | None
    made: str
    span: tuple[float, float]

    def drawn(self, modules: Figures) -> list[Picture]:
        """Those of the pictures that the day has something for."""
        names = [m.__name__.rsplit(".", 1)[-1] for m in modules]
        return [self.pictures[name] for name in names if name in self.pictures]

    @property
    def doubts_first(self) -> list[str]:
        """Every input refused and pull left out, and the first warnings: what page one has room for."""
        return [*self.doubts, *self._warnings_of_their_own[:FIRST_WARNINGS]]

    @property
    def _warnings_of_their_own(self) -> list[str]:
        """Warnings that no pull's own line says already: the same pull, the same reason."""
        said = [d.lower() for d in self.doubts]
        parts = [(w, w.lower().partition(",")[0], w.lower().partition(": ")[2]) for w in self.warnings]
        return [w for w, pull, why in parts if not (why and any(d.startswith(pull) and d.endswith(why) for d in said))]

    @property
    def warnings_more(self) -> int:
        """Warnings that stand on the second page only."""
        return max(len(self._warnings_of_their_own) - FIRST_WARNINGS, 0)


def content(shown: DayView) -> Content:
    """Decide what is said and in which order."""
    record = shown.record
    found = {p.name: p for m in (*PAGE_ONE, *PAGE_TWO, *PAGE_THREE) if (p := m.picture(shown)) is not None}
    limit = str(record.get("tested_limit") or "")
    return Content(
        title=shown.title,
        engine=shown.engine,
        day=shown.day,
        sentence=model.sentence(record),
        enough=bool(shown.advice.get("enough")),
        standing=model.standing(shown),
        doubts=[*model.refused_inputs(record), *model.left_out(shown)],
        to_set=what_to_set(shown),
        worth=what_it_is_worth(shown),
        limit=limit,
        knock=f"Knock: {model.knock(record)}.",
        table=enter_table(shown),
        next_pulls=_next(shown),
        cautions=shown.texts("cautions"),
        pictures=found,
        pulls=pulls_table(shown),
        air=_air(shown),
        changes=shown.texts("changes"),
        not_established=shown.texts("not_established"),
        not_tested=shown.texts("not_tested"),
        questions=shown.texts("questions"),
        warnings=shown.texts("warnings"),
        shapes=shapes_table(shown),
        sums=[Said(noted(s.get("what")), noted(s.get("text"))) for s in record.get("sums") or []],
        facts=facts_table(record),
        assumptions=_assumptions(shown),
        inputs=inputs_table(record),
        made=_made(record),
        span=shown.span,
    )


def _made(record: dict[str, Any]) -> str:
    at = str(record.get("made_at") or "an unknown time")[:16].replace("T", " ")
    return f"Made by pullbook {record.get('tool_version') or ''} at {at} UTC."


def _earlier(days: list[str], engine: str) -> str:
    """Earlier days behind what was expected: the engine's own, and those of other engines, which speak of the dyno alone."""
    own = [d for d in days if d.startswith(f"{engine}/")]
    others = [d for d in days if d not in own]
    told = [f"{counted(len(own), 'earlier day')} of this engine: {few([d.split('/', 1)[1] for d in own])}"] if own else []
    told += [f"{counted(len(others), 'day')} of other engines on this dyno: {few(others)}"] if others else []
    return f"from {'; and from '.join(told)}"


def _next(shown: DayView) -> list[Said]:
    said = []
    for pull in shown.advice.get("next_pulls") or []:
        parts = []
        if pull.get("initial_deg") is not None:
            parts.append(f"{setting_degrees(pull['initial_deg'])} initial")
        if pull.get("total_deg") is not None:
            parts.append(f"{setting_degrees(pull['total_deg'])} total")
        saving = pull.get("expected_saving_pct")
        gain = f" Worth about {number(saving, 1)} % of torque." if known(saving) and saving >= 0.05 else ""
        why = str(pull.get("why") or "").rstrip(". ")
        said.append(Said(str(pull.get("setting") or "Next"), ", ".join(parts), (why + "." if why else "") + gain))
    return said


def _air(shown: DayView) -> list[Said]:
    found = shown.record.get("correction") or {}
    inside = found.get("inside_window")
    window = (
        "not said by this standard"
        if inside is None
        else "inside"
        if inside
        else "OUTSIDE: the standard does not vouch for this factor"
    )
    facts = ((shown.record.get("facts") or {}).get("day") or {}).get("air") or {}
    said = [Said("Correction", model.air(shown.record)), Said("Window of the standard", window)]
    for name, unit, label in (
        ("pressure_kpa", "kPa", "Station pressure"),
        ("temperature_c", "°C", "Air"),
        ("humidity_pct", "%", "Humidity"),
        ("dew_point_c", "°C", "Dew point"),
        ("vapour_pressure_kpa", "kPa", "Vapour pressure"),
    ):
        if isinstance(facts, dict) and known(facts.get(name)):
            said.append(Said(label, f"{number(facts[name], 2 if unit == 'kPa' else 1)} {unit}"))
    return said


def _assumptions(shown: DayView) -> list[Said]:
    record = shown.record
    method = record.get("method")
    said = [Said("Method", "not recorded" if method is None else f"version {method}")]
    prior = record.get("prior") or {}
    if prior:
        days = prior.get("frozen_from") or []
        said.append(
            Said(
                "Expected beforehand",
                _earlier(days, shown.engine) if days else "a stated default, no earlier day",
                "repeatability and how sharply torque falls off the best; frozen when this day was made",
            )
        )
        expected = prior.get("k_expected") or prior.get("k_median")
        if expected is not None and known(expected):
            said.append(
                Said(
                    "Sharpness of the hill",
                    f"{number(100 * 25 * expected, 2)} % of torque lost 5° off the best, before this day was seen",
                )
            )
    lag = record.get("lag") or {}
    found = lag.get("lag_s")
    if found:
        said.append(Said("Torque reading lags by", f"{number(found[0], 2)} s ({between(found[1], found[2], ' s', 2)})"))
    elif known(lag.get("bound_s")):
        said.append(Said("Torque reading lags by", f"not found; at most {number(lag['bound_s'], 2)} s"))
    said += [
        Said("Timing mark", model.mark(record)),
        Said("Timing scale", timing.finding(shown), timing.worked(shown)),
        Said("One pull is one witness", "samples of the same pull share its level; they are never counted as independent"),
        Said("Vacuum advance", "left out: everything here is mechanical or mapped advance at full throttle"),
    ]
    return said
