"""Which column is which channel: headings first, then plausibility; one column a channel, the others named and left out."""

from typing import Literal

import numpy as np

from pullbook.arrays import Array, thinned
from pullbook.channels.asking import yaml_line
from pullbook.channels.column import Column, Talk, find
from pullbook.channels.proof import belong_together
from pullbook.columns import CHANNELS
from pullbook.handover import Fault
from pullbook.vocabulary.claims import named_standard
from pullbook.vocabulary.naming import says_corrected
from pullbook.wording import counted, few, listed

_SWITCHED = frozenset(("throttle_pct", "knock"))
"""Channels that words for on and off may stand for."""
ADVANCE_WORDS = frozenset(("advance", "btdc", "atdc", "distributor"))
"""Concepts that name the advance, beside its unit."""
MOST_PAIRS = 200
"""Pairs of torque and power that are held against each other; of more nothing but a line in columns.yaml can choose."""
MOST_OTHERS = 6
"""Other columns of a channel that are spoken of one by one."""


def assign(columns: list[Column], talk: Talk) -> None:
    """Give each channel at most one column.

    The operator's word wins; then a heading that says it in words, with an engine's values; the rest are named in a warning.

    Parameters
    ----------
    columns
        Of one log, hints obeyed; their channel, unit and correction are set.
    talk
        Takes questions about two columns of one channel.
    """
    wanted: dict[str, list[Column]] = {}
    for column in columns:
        channel = column.hint.get("channel") or column.meaning.quantity
        if column.unit is None:
            column.unit, column.unit_from = column.meaning.unit, column.meaning.unit_from  # type: ignore[assignment]
        if channel not in CHANNELS or channel == "time_s" or column.values is None or column.kind in ("empty", "text", "clock"):
            continue
        if column.kind == "switch" and channel not in _SWITCHED and not column.hint:
            continue  # "Ignition: ON" is no advance
        wanted.setdefault(channel, []).append(column)
    _speeds(wanted, talk)
    fitting = _fitting(wanted)
    for channel, claimants in wanted.items():
        best = max(claimants, key=lambda c: _claim(c, channel) + any(c is f for f in fitting))
        best.channel = channel
        others = [c for c in claimants if c is not best]
        if others and not best.hint and channel not in ("exhaust_c", "lambda", "knock"):
            _contest(best, others, channel, talk)
    for column in columns:
        if column.channel and column.channel.startswith(("torque", "power")):
            column.corrected = _correction_named(column)
        if column.channel and column.meaning.slips and not column.hint:
            read = listed(f"{written!r} as {meant!r}" for written, meant in column.meaning.slips)
            talk.warn(f"{column.header!r} is taken for {column.channel}: {read} with a slip of the pen")
    for plain, corrected in (("torque_nm", "torque_corrected_nm"), ("power_kw", "power_corrected_kw")):
        if plain not in wanted and corrected in wanted:
            only = next(c for c in columns if c.channel == corrected)
            only.channel = plain


def _fitting(wanted: dict[str, list[Column]]) -> tuple[Column, ...]:
    """Of several torques or powers the one pair that obeys P = T·ω; none where not one alone does."""
    torques, powers = wanted.get("torque_nm", []), wanted.get("power_kw", [])
    if not wanted.get("rpm") or not 2 <= len(torques) * len(powers) <= MOST_PAIRS:
        return ()
    rpm = max(wanted["rpm"], key=lambda c: _claim(c, "rpm"))
    pairs = [(t, p) for t in torques for p in powers if belong_together(rpm.kept(), t.values, p.values)]
    return pairs[0] if len(pairs) == 1 else ()


def no_speed(columns: list[Column], shown: str, line: int | None, name: str) -> Fault:
    """The fault of a log in which nothing says what is engine speed.

    Parameters
    ----------
    columns
        All there are.
    shown, name
        The log in outputs, and its bare name in columns.yaml.
    line
        Of the header; None where there is none.
    """
    headers = [c.header for c in columns]
    likely = [c for c in columns if c.values is not None and _share_of_speeds(c.values) > 0.8]
    pick = likely[0] if likely else columns[min(1, len(columns) - 1)]
    if line is None:
        found = f"numbers without a line of names above them ({len(headers)} columns)"
        return Fault(
            shown, None, headers[0], found, "a column of engine speed", yaml_line(name, pick.header, channel="rpm", unit="rpm")
        )
    if (roller := find(columns, "roller_rpm")) is not None:
        found, remedy = f"only the roller's speed ({roller.header})", yaml_line(name, roller.header, channel="rpm", scale=1)
        return Fault(
            shown, line, roller.header, found, "a column of engine speed",
            f"{remedy}, with turns of the engine for one of the roller as scale",
        )  # fmt: skip
    shortened = ", ".join(headers[:12]) + (", …" if len(headers) > 12 else "")
    return Fault(
        shown, line, headers[0], shortened, "a column of engine speed", yaml_line(name, pick.header, channel="rpm", unit="rpm")
    )


def _share_of_speeds(values: Array) -> float:
    known = thinned(values, 20_000)
    known = known[np.isfinite(known)]
    return float(np.mean((known >= 300) & (known <= 25_000))) if len(known) else 0.0


def _claim(column: Column, channel: str) -> float:
    has = column.meaning.concepts
    score = 100.0 * bool(column.hint) + 2.0 * column.meaning.strong + 1.0 * (column.unit is not None)
    if channel.startswith("advance"):  # a correction is none; words and degrees of the crank say more than degrees
        of_the_crank = column.unit is not None and column.unit.kind == "advance"
        score += 0.5 * of_the_crank + 1.5 * bool(has & ADVANCE_WORDS) - 2.0 * ("corrected" in has)
    if channel == "rpm" and column.values is not None:
        score += 4.0 * _share_of_speeds(column.kept()) + 1.5 * ("engine" in has)
    if column.values is not None:
        score += 3.0 * float(np.mean(np.isfinite(thinned(column.values, 20_000)))) + 0.5 * (column.kind == "number")
    score -= 0.01 * len(column.header.split())  # of two that say as much, the one that adds nothing
    return score + 1.0 * ("uncorrected" in has) + 1.5 * ("total" in has) - 1.5 * ("partial" in has)


def _contest(best: Column, others: list[Column], channel: str, talk: Talk) -> None:
    for other in others[:MOST_OTHERS]:
        assert best.values is not None
        assert other.values is not None
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = thinned(other.kept() / best.kept(), 20_000)
        ratio = ratio[np.isfinite(ratio)]
        steady = len(ratio) > 0 and np.quantile(ratio, 0.9) - np.quantile(ratio, 0.1) < 0.02
        middle = float(np.median(ratio)) if len(ratio) else np.nan
        if steady and abs(middle - 1.0) < 1e-3 and best.unit is not None and other.unit is not None:
            talk.warn(f"{best.header!r} and {other.header!r} say the same; the first is used")
            continue
        known = f", {middle:.4g} times the first" if steady else ""
        used = f"two columns say {channel}: {best.header!r} is used, {other.header!r}{known} is not."
        if other.header == best.header:
            talk.ask(f"{used} Which one is it? Give one of them another name in the recorder or the file")
            continue
        line = yaml_line(talk.name, best.header, channel=channel)
        talk.ask(f"{used} Settle it {line} (or {other.header!r} in its place)")
    if more := [other.header for other in others[MOST_OTHERS:]]:
        line = yaml_line(talk.name, more[0], channel=channel)
        talk.ask(
            f"{counted(len(more), 'more column')} {'says' if len(more) == 1 else 'say'} {channel} ({few(more, 3)}): not used. "
            f"To use one: {line}"
        )


def _correction_named(column: Column) -> str | Literal[False]:
    if column.channel in ("torque_corrected_nm", "power_corrected_kw") or says_corrected(column.meaning.concepts):
        return named_standard(column.header) or "unknown"
    return False


def _speeds(wanted: dict[str, list[Column]], talk: Talk) -> None:
    """A weak heading ("crank") is speed only with an engine's values; a brake's alone stands for the engine's, and is asked."""
    if "rpm" in wanted:
        strong = [c for c in wanted["rpm"] if c.hint or c.meaning.strong or _share_of_speeds(c.kept()) > 0.8]
        wanted["rpm"] = strong
        if not strong:
            del wanted["rpm"]
    rollers = wanted.get("roller_rpm", [])
    if (
        "rpm" not in wanted
        and len(rollers) == 1
        and "dyno" in rollers[0].meaning.concepts
        and _share_of_speeds(rollers[0].kept()) > 0.8
    ):
        only = rollers[0]
        if not only.hint:
            wanted["rpm"] = wanted.pop("roller_rpm")
            talk.ask(
                f"the only speed is {only.header!r}, taken as engine speed; if it is the roller's: "
                f"{yaml_line(talk.name, only.header, channel='roller_rpm')}"
            )
