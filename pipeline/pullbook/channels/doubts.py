"""What the log as a whole says of itself: corrected already, smoothed, which of its advances, units that no engine has."""

from typing import Any

import numpy as np

from pullbook.arrays import thinned
from pullbook.channels.asking import yaml_line
from pullbook.channels.assign import ADVANCE_WORDS
from pullbook.channels.column import Column, Talk, find
from pullbook.handover import Fault
from pullbook.questions import ADVANCE, STANDARD
from pullbook.text.raw import RawLog
from pullbook.wording import listed


def obey_preamble(columns: list[Column], said: tuple[dict[str, Any], ...], talk: Talk) -> None:
    """A preamble that says the values are corrected holds for torque and power whose headings say nothing.

    Parameters
    ----------
    columns
        Of one log; ``corrected`` is set on torque and power.
    said
        Claims of the preamble (:func:`pullbook.vocabulary.claims.claims`).
    talk
        Takes questions and warnings.
    """
    claim = next((c for c in said if c["what"] == "correction"), None)
    for name in ("torque_nm", "power_kw"):
        column = find(columns, name)
        if (
            column is None
            or column.corrected
            or claim is None
            or claim["value"] == "none"
            or "uncorrected" in column.meaning.concepts
        ):
            continue
        column.corrected = claim["value"]
    torque = find(columns, "torque_nm")
    used = [torque, find(columns, "power_kw")] if torque is None or torque.corrected else []  # beside measured torque, power is not
    corrected = [c for c in used if c is not None and c.corrected]
    if corrected:
        standard, named = corrected[0].corrected, listed(repr(c.header) for c in corrected)
        are = "is" if len(corrected) == 1 else "are"
        if standard == "unknown":
            talk.ask(
                f"{named} {are} already corrected and not corrected again: to which standard? "
                "Say it in day.yaml: logs_already_corrected: SAE J1349 (or SAE J607, ISO 1585, DIN 70020)",
                STANDARD,
            )
        else:
            talk.warn(f"{named} {are} already corrected ({standard}), as the log says, and not corrected again")
    smooth = next((c for c in said if c["what"] == "smoothed"), None)
    if smooth:
        talk.warn(f"line {smooth['line']} says {smooth['text']!r}: the values are smoothed; no noise can be estimated from them")


def impossible(columns: list[Column], shown: str, raw: RawLog) -> Fault | None:
    """Speeds that are no engine's (negative, or all below any idle) stop the log: its units are not physical.

    Parameters
    ----------
    columns
        Of one log; one of them is engine speed.
    shown
        The log's name in the fault.
    raw
        Says which line the header stands on.
    """
    rpm = find(columns, "rpm")
    assert rpm is not None
    kept = rpm.kept()
    known = thinned(kept, 40_000)
    known = known[np.isfinite(known)]
    expected, name = "engine speed in rpm", shown.rsplit("/", 1)[-1]
    if not len(known):
        return Fault(
            shown, raw.header_line, rpm.header, "no value", expected, yaml_line(name, rpm.header, channel="rpm", unit="rpm")
        )
    if known.max() < 60 or np.mean(known < -50) > 0.05 or (np.mean(known < 0) > 0.2 and known.max() < 1000):
        found = f"speeds from {known.min():.4g} to {known.max():.4g}: no physical units"
        line = yaml_line(name, rpm.header, channel="rpm", unit="rpm", scale=1000)
        remedy = f"export it in rpm; where only a factor is lacking, {line}"
        return Fault(shown, raw.header_line, rpm.header, found, expected, remedy)
    return None


def say_advance(columns: list[Column], said: tuple[dict[str, Any], ...], talk: Talk) -> None:
    """All witnesses of advance side by side; none at all is asked for.

    Parameters
    ----------
    columns
        Of one log, channels assigned.
    said
        What the preamble says, as read by :mod:`pullbook.vocabulary.claims`.
    talk
        Takes questions and warnings.
    """
    shown = [c for c in columns if c.channel and c.channel.startswith("advance")]
    if not shown:
        if find(columns, "torque_nm") is not None or find(columns, "power_kw") is not None:
            spare = next(
                (
                    c.header
                    for c in columns
                    if c.channel is None and c.kind == "number" and c.meaning.quantity is None and c.meaning.unit is None
                ),
                "its heading",
            )
            talk.ask(
                "no column of advance; which advance was set? Say it in pulls.csv (initial_deg, total_deg), or, where "
                "a column holds it, "
                f"{yaml_line(talk.name, spare, channel='advance_deg')}",
                ADVANCE,
            )
        return
    for column in shown:
        if column.channel == "advance_deg" and not column.hint and not column.meaning.concepts & ADVANCE_WORDS:
            talk.ask(
                f"{column.header!r} is taken for the advance by its unit alone: is it? If not, "
                f"{yaml_line(talk.name, column.header, channel='ignore')}"
            )
    if len(shown) > 1:
        sides = "; ".join(f"{c.header!r} {np.nanmedian(c.kept()):.1f} ({c.channel})" for c in shown)
        talk.ask(
            f"{len(shown)} columns speak of advance, medians side by side: {sides}. advance_deg is used; is that the "
            "advance the engine got?"
        )
    for claim in said:
        if claim["what"] == "mark":
            talk.ask(
                f"line {claim['line']} says {claim['text']!r}; it is kept as a claim and not applied: say it in "
                "day.yaml zero_mark or columns.yaml"
            )
