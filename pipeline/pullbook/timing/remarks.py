"""What is to be asked, warned of, and admitted about a day's advance."""

from collections.abc import Sequence

import numpy as np

from pullbook.columns import ADVANCES, holds
from pullbook.handover import DayReading
from pullbook.measure.normal import Z90
from pullbook.questions import ADVANCE, Question, Remarks
from pullbook.timing.against_log import AgainstLog
from pullbook.timing.courses import Course
from pullbook.timing.logged import COMMANDED_ONLY
from pullbook.timing.scale import TimingScale, mark_error, mark_uncertainty
from pullbook.timing.witnesses import Witnesses
from pullbook.wording import counted

_SHEET_APART_DEG = 2.0  # a sheet this far from log and light is another scale, not a careless eye
_SEVERAL = 3  # misread light readings: no slip of the eye any more
_LATE_DEG = 2.0  # crank degrees held back on the way down: twice what a healthy distributor does
_FALLING_DEG = -0.5  # weights do not hold less advance on the way down


def remarks(
    reading: DayReading,
    witnesses: Witnesses,
    courses: list[Course],
    scale: TimingScale,
    factor: tuple[float, bool] | None,
    alone: Sequence[AgainstLog] = (),
) -> Remarks:
    """Questions, warnings and gaps of the day's advance.

    Parameters
    ----------
    reading, witnesses, courses, scale
        The day, its witnesses, and what was made of them.
    factor
        A factor the logged degrees seem to need, from :func:`pullbook.timing.scale_factor.wrong_factor`.
    alone
        Settings whose log sheet and light speak against.
    """
    light = witnesses.light["used"].any() if len(witnesses.light) else False
    questions = [*witnesses.questions, *(q for q in witnesses.logged.questions if not (light and q == COMMANDED_ONLY))]
    warnings = [*witnesses.warnings]
    missing: list[str] = []
    blank = [c.setting for c in courses if len(c.advance) and bool(np.isnan(c.advance).all())]
    if blank:
        missing.append(f"delivered advance of {', '.join(blank)}: no log, no light, and the sheet does not give both ends")
        text = f"What advance did {', '.join(blank)} run? (pulls.csv: initial_deg and total_deg; strobe.csv: light readings; "
        questions.append(Question(text + "columns.yaml, where a column of the log holds it)", ADVANCE))
    elif not witnesses.logged.curves and not _logged_at_all(reading):
        lit = bool(courses) and all("strobe" in c.evidence for c in courses)
        more = "" if lit else ", or can a light be read at a few speeds for each setting"
        questions.append(Question(f"No log holds the advance: is there a channel for it{more}?", ADVANCE))
    if witnesses.logged.curves and factor is not None:
        declared = reading.engine_facts.ignition.advance_scale == "distributor"
        questions.append(_whose_degrees(*factor, declared))
        missing.append("delivered advance: whose degrees the log and the light hold is not settled")
    elif witnesses.logged.curves and not light:
        missing.append("offset and delay of the log's advance: no light readings in use")
        if scale.light_against is None:
            questions.append("The log's advance was not checked with a light: a dozen readings would tell its offset and delay.")
    questions += [one.question for one in alone]
    warnings += [
        f"{c.setting}: less advance falling than rising ({c.down[0]:+.1f}°), which weights and springs do not do"
        for c in courses
        if c.down is not None and c.down[0] < _FALLING_DEG and c.down[0] + Z90 * c.down[1] < 0.0
    ]
    if late := _late(courses):
        questions.append(late)
    unseen = [c for c in courses if c.evidence == ["sheet"]]
    for locked in (True, False):
        if names := [c.setting for c in unseen if (c.family == "locked") is locked]:
            doubt = "" if locked else (
                ": given as the total, all in; it may be as little as the initial, for nothing shows the shape between them"
            )  # fmt: skip
            warnings.append(f"advance of {', '.join(names)} is known from the sheet alone{doubt}")
    if light:
        warnings += _sheet_apart(witnesses, courses, {one.setting for one in alone} | _mixed(witnesses))
    if scale.light_against is None and scale.misread:
        warnings.append(f"{counted(len(scale.misread), 'light reading')} too far from everything else: shown but not used")
    questions += _readings_apart(scale, mixed=witnesses.logged.mixed, settled=factor is None)
    if light:
        _mark(reading, questions)
    if len(witnesses.light) and reading.facts.light == "dial_back" and reading.engine_facts.ignition.spark in ("wasted", "multi"):
        questions.append(
            f"A dial-back light on a {reading.engine_facts.ignition.spark} spark may read double or at random: "
            "was it used with the dial at zero?"
        )
    return Remarks(list(dict.fromkeys(questions)), list(dict.fromkeys(warnings)), missing)


def _logged_at_all(reading: DayReading) -> bool:
    """Whether any log of the day holds advance, its pull left out or not."""
    return any(holds(reading.samples, c) for c in ADVANCES)


def _whose_degrees(factor: float, own_zero: bool, declared: bool) -> str:
    if factor == 2.0:
        where = " on the distributor's own zero, without the initial advance" if own_zero else ""
        return (
            f"The light and the sheet fit twice the logged advance far better than the logged advance: does the log "
            f"hold distributor degrees{where}? "
            "It is not doubled and not used until engine.yaml says so (ignition: advance_scale: distributor)."
        )
    if not declared:
        return (
            "The light fits the log only when it is doubled: are its readings distributor degrees "
            "(strobe.csv, scale: distributor)? They are shown and not used until that is settled."
        )
    return (
        "The light and the sheet fit the logged advance as it stands in the log, not doubled: is advance_scale: distributor right? "
        "The log's advance is not used until that is settled."
    )


def _late(courses: list[Course]) -> str | None:
    """What to ask where the logs hold far more advance falling than rising: weights do not, a recorder that lags does."""
    held = [c.down[0] for c in courses if c.on_log and c.down is not None]
    middle = float(np.median(held)) if held else 0.0
    if middle <= _LATE_DEG:
        return None
    return (
        f"The logs hold {middle:.1f}° more advance falling than rising, and weights and springs seldom hold more than one: does "
        f"the recorder lag behind the engine, so that the rise is logged up to {middle / 2:.0f}° too low, or do the weights stick? "
        "Light readings on the rise, speed held, would tell"
    )


def _readings_apart(scale: TimingScale, *, mixed: bool, settled: bool) -> list[str]:
    """What to ask where light readings stand apart from log and sheet, or from one another.

    ``mixed``: labels stand on the wrong pulls; ``settled``: whose degrees log and light hold is no question.
    """
    questions = []
    if scale.light_against is not None:
        questions.append(
            f"Log and sheet agree; the light stands {-scale.light_against:+.0f}° off both and is not used: another mark or another "
            "cylinder, a dial-back light off its zero, the vacuum hose on?"
        )
    elif len(scale.misread) >= _SEVERAL and not mixed:
        questions.append(
            f"{len(scale.misread)} light readings stand well apart from the others: vacuum hose on, or another mark, for these?"
        )
    if scale.light_split and settled and not mixed:
        questions.append(
            "The light readings fall into groups well apart, and nothing says which are right, so all are used: was the vacuum "
            "hose on, or another mark or setting lit, for some of them? Take the wrong ones out of strobe.csv"
        )
    if scale.light_apart is not None and settled:
        questions.append(
            f"Light and log stand {abs(scale.light_apart):.0f}° apart, and the light is taken at its word: was it read on the "
            "right mark and cylinder, vacuum hose off, the dial at zero? All advance hangs on it."
        )
    return questions


def _mixed(witnesses: Witnesses) -> set[str]:
    """Settings some of whose pulls ran another curve: their label is asked about, and their sheet says nothing of the scale."""
    return {curve.setting for curve in witnesses.logged.strays.values()}


def _sheet_apart(witnesses: Witnesses, courses: list[Course], asked: set[str]) -> list[str]:
    """Where the sheet's totals stand far from what log and light say: whoever sets by the sheet's scale would set wrong.

    Settings that are ``asked`` about already say nothing of the scale.
    """
    gaps = {}
    for course in courses:
        told, total = witnesses.sheet[course.setting].total_deg, course.shape.get("total_deg")
        if course.on_log and told is not None and total is not None and total != told and course.setting not in asked:
            gaps[course.setting] = told - float(total)
    out = []
    for high in (True, False):
        apart = [s for s, gap in gaps.items() if abs(gap) > _SHEET_APART_DEG and (gap > 0) is high]
        if apart:
            middle = float(np.median([gaps[s] for s in apart]))
            out.append(
                f"the sheet's total stands {middle:+.1f}° against log and light ({', '.join(apart)}): what is said here is in true "
                "degrees, so set it by the light, not by the sheet's numbers"
            )
    return out


def _mark(reading: DayReading, questions: list[str]) -> None:
    mark = reading.facts.zero_mark
    if mark_error(mark) is None:
        questions.append(
            "Was the damper's zero mark checked with a piston stop (day.yaml, zero_mark)? Unchecked, all advance may be off by ±3°."
        )
    elif mark_uncertainty(mark, reading.day) > 1.0:
        questions.append(
            f"The zero mark was last checked {mark.checked}: has the damper been touched since? "
            "±3° is carried until it is checked again."
        )
