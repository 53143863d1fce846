"""What was not tested, what was heard, and the line not to pass: facts of the day in words, never a promise."""

import numpy as np
import polars as pl

from pullbook.advice.ground import Ground
from pullbook.columns import LISTENED, NOTED
from pullbook.handover import AlignedDay
from pullbook.wording import plain


def knock_facts(knock: pl.DataFrame, aligned: AlignedDay) -> list[str]:
    """What was heard, where and on which setting, and on how many pulls nobody listened.

    Parameters
    ----------
    knock
        KNOCK of the day.
    aligned
        Its pulls: those left out are not counted among those nobody listened to.

    Returns
    -------
    list of str
        Clauses without a full stop; empty without pulls.
    """
    facts: list[str] = []
    noted = knock.filter(pl.col("word").is_in(NOTED)).unique(maintain_order=True)
    for setting, word in noted.select("setting", "word").unique(maintain_order=True).iter_rows():
        mine = noted.filter((pl.col("setting") == setting) & (pl.col("word") == word))
        spans = sorted({_span(lo, hi) for lo, hi in mine.select("rpm_lo", "rpm_hi").iter_rows()})
        said = {"heard": "heard", "faint": "heard faintly", "counted": "counted by the sensor"}[word]
        facts.append(f"knock {said} {' and '.join(spans)} on {setting}")
    pulls = aligned.pulls.filter(pl.col("status") != "left_out")
    heard_by = set(knock.filter(pl.col("word").is_in(LISTENED))["pull_id"].to_list())
    deaf = pulls.filter(~pl.col("pull_id").is_in(list(heard_by)) & (pl.col("knock").fill_null("not listened") == "not listened"))
    if len(pulls) and len(deaf) == len(pulls):
        facts.append("nobody was listening for knock on any pull")
    elif len(deaf):
        names = deaf["setting"].drop_nulls().unique(maintain_order=True).to_list()
        facts.append(f"nobody was listening on {len(deaf)} of {len(pulls)} pulls ({', '.join(names)})")
    clean = pulls.filter(~pl.col("pull_id").is_in(deaf["pull_id"].to_list()))
    quiet = [
        s for s in clean["setting"].drop_nulls().unique(maintain_order=True).to_list() if s not in set(noted["setting"].to_list())
    ]
    if quiet:
        facts.append(f"listened to, and none heard that day, on {', '.join(quiet)}")
    return facts


def _span(lo: float | None, hi: float | None) -> str:
    if lo is None or hi is None:
        return "somewhere on the whole pull"
    return f"at {lo:.0f}–{hi:.0f} rpm"


def limit_line(
    ground: Ground, knock: pl.DataFrame, fuel: str | None, max_advance_deg: float | None, *, set_deg: float = -np.inf
) -> str:
    """The do-not-exceed line with its fuel.

    Parameters
    ----------
    ground
        Rows in use and the ceiling over them.
    knock
        KNOCK of the day.
    fuel
        As written down, or None.
    max_advance_deg
        The known limit of the engine, ° BTDC, or None.
    set_deg
        The most advance of what is advised, ° BTDC: where it lies between the ceiling and the half degree under it, the line
        gives the ceiling to a tenth, as the advice is given. The same page must not forbid what it tells to set.
    """
    low, high = (float(np.floor(f(ground.ceiling) * 2.0 + 1e-6) / 2.0) for f in (np.min, np.max))
    if high < set_deg:
        high = float(np.floor(np.max(ground.ceiling) * 10.0 + 1e-6) / 10.0)
    span = (
        f"{plain(high)}° true advance" if high - low < 0.75 else f"{plain(low)}° to {plain(high)}° true advance, depending on rpm"
    )
    noted = knock.filter(pl.col("word").is_in(NOTED))
    reason, beyond = "the most that was run", "nothing above it was tried"
    if not noted.is_empty():
        reason, beyond = "the most that was run, less the margin below noted knock", "above it knock was noted or nothing was tried"
    if max_advance_deg is not None and high >= max_advance_deg - 0.5:
        below = low < max_advance_deg - 0.75
        reason = f"{reason}, within the engine's known limit" if below or not noted.is_empty() else "the engine's known limit"
        beyond = "above it knock was noted, or the known limit binds whatever was tried" if not noted.is_empty() else (
            "it binds whatever was tried"
        )  # fmt: skip
    with_fuel = f"on {fuel}" if fuel else "on the day's fuel, which was not written down"
    return f"Do not exceed {span} ({reason}) at full load {with_fuel}; {beyond}."


def not_tested(
    ground: Ground | None,
    *,
    fuel: str | None,
    vacuum: str | None,
    curve_low: float | None,
    max_rpm_wanted: tuple[float, float] | None,
    facts: list[str],
) -> tuple[str, ...]:
    """What the day does not speak of, the nearest first.

    Parameters
    ----------
    ground
        Rows in use, or None where no advance could be compared.
    fuel, vacuum
        As written down.
    curve_low
        Least advance of the curve advised on the rows in use; below the tested span it is reckoned, not run.
    max_rpm_wanted
        used_rpm of the engine, to name what of it was not reached.
    facts
        Knock facts; those about nobody listening are repeated here.
    """
    said: list[str] = []
    if ground is None:
        said.append("advance: none could be compared")
    else:
        lo, hi = float(ground.limit_rpm[0]), float(ground.limit_rpm[-1])
        said.append(f"below {lo:.0f} rpm and above {hi:.0f} rpm")
        if max_rpm_wanted is not None:
            want_lo, want_hi = min(max_rpm_wanted), max(max_rpm_wanted)
            if want_lo < lo - 100:
                said.append(f"{want_lo:.0f}–{lo:.0f} rpm, which the engine is used at")
            if want_hi > hi + 100:
                said.append(f"{hi:.0f}–{want_hi:.0f} rpm, which the engine is used at")
        least, most = float(np.nanmin(ground.tested_lo)), float(np.nanmax(ground.posterior.tested_hi_deg))
        said.append(f"advance above {plain(most)}° and below {plain(least)}°")
        if curve_low is not None and curve_low < least - 0.5:
            said.append(f"the low end of the curve advised ({plain(curve_low)}°): reckoned from the slope of what was run, not run")
    said += [fact for fact in facts if fact.startswith("nobody")]
    said.append("cranking, idle, part throttle and sudden throttle")
    said.append(f"any fuel but {fuel}" if fuel else "any other fuel (the day's fuel was not written down)")
    if vacuum != "off":
        said.append("vacuum advance: left out of the curve" + (" although it was on" if vacuum == "on" else ""))
    said.append("other weather: hotter air, and an engine hotter than on the day")
    return tuple(said)
