"""What is known of each setting's advance, side by side: log, light or bench, sheet. Crank degrees; nothing judged yet."""

from dataclasses import dataclass, replace

import polars as pl

from pullbook.handover import AlignedDay, DayReading
from pullbook.timing.logged import LoggedDay, logged_day
from pullbook.timing.sheet_entries import SheetEntry, sheet_entry
from pullbook.units import CRANK_PER_DISTRIBUTOR
from pullbook.wording import counted, plain

LIGHT_SD_DEG = 0.61
"""A light reading is good to ±1° (90 %), rounding to half degrees included."""

SHEET_SD_DEG = 0.7
"""How well a setting is set to what the sheet says, each setting for itself."""

_ALIKE_DEG, _ALIKE_LEAST = 0.5, 2  # rises of the other settings that are one stop; and how many of them tell it

SHEET_COMMON_SD_DEG = 0.5
"""… and what all settings of a day share: the eye, the light, the mark as it was read."""


@dataclass(frozen=True, slots=True)
class Witnesses:
    """``settings`` in the order first run; ``light``: ``setting, rpm, advance_deg, direction, source, scale, used, why_not``
    in crank degrees on the damper's own scale; ``sheet`` by setting.
    """

    settings: tuple[str, ...]
    logged: LoggedDay
    light: pl.DataFrame
    sheet: dict[str, SheetEntry]
    warnings: tuple[str, ...]
    questions: tuple[str, ...] = ()

    def falling(self, setting: str) -> pl.DataFrame:
        """Rows of ``light`` that are in use and were read with a light while the speed of a setting fell."""
        mine = (pl.col("setting") == setting) & (pl.col("direction") == "down") & (pl.col("source") == "light")
        return self.light.filter(pl.col("used") & mine)

    def parts(self, setting: str, told: str | None) -> str | None:
        """What a setting's parts can do: ``locked`` where the sheet says initial and total are one, else what the shop says."""
        return "locked" if setting in self.sheet and self.sheet[setting].locked else told


def gather(reading: DayReading, aligned: AlignedDay) -> Witnesses:
    """Collect the witnesses of every setting that was pulled or lit.

    Parameters
    ----------
    reading, aligned
        The day as read and as aligned.
    """
    warnings: list[str] = []
    light = _light(reading, warnings)
    pulled = aligned.pulls.sort("order").filter(pl.col("setting").is_not_null())
    settings = tuple(dict.fromkeys([*pulled["setting"].to_list(), *light["setting"].drop_nulls().to_list()]))
    logged = logged_day(reading, aligned)
    entries = {s: sheet_entry(pulled.filter(pl.col("setting") == s), s, logged.curves.get(s)) for s in settings}
    sheet = {s: entry for s, (entry, _, _) in entries.items()}
    sheet = _with_rise(sheet, logged, warnings)
    questions = tuple(q for _, asked, _ in entries.values() for q in asked)
    warnings += [w for _, _, warned in entries.values() for w in warned]
    return Witnesses(settings, logged, light, sheet, tuple(warnings), questions)


def _with_rise(sheet: dict[str, SheetEntry], logged: LoggedDay, warnings: list[str]) -> dict[str, SheetEntry]:
    """The sheet with the one end that is missing of a setting no log shows, where all other settings of the day rise alike."""
    rises = [e.rise_deg for e in sheet.values() if e.rise_deg is not None]
    if len(rises) < _ALIKE_LEAST or max(rises) - min(rises) > _ALIKE_DEG:
        return sheet
    rise, out, filled = sum(rises) / len(rises), dict(sheet), []
    for setting, entry in sheet.items():
        if setting in logged.curves or (entry.initial_deg is None) == (entry.total_deg is None):
            continue
        if entry.total_deg is not None:
            out[setting] = replace(entry, initial_deg=entry.total_deg - rise)
        elif entry.initial_deg is not None:
            out[setting] = replace(entry, total_deg=entry.initial_deg + rise)
        filled.append(setting)
    if filled:
        warnings.append(
            f"{', '.join(filled)}: one end is blank on the sheet; initial to total is taken as {plain(rise)}°, as in every other "
            "setting of the day (pulls.csv: initial_deg and total_deg)"
        )
    return out


def _light(reading: DayReading, warnings: list[str]) -> pl.DataFrame:
    """Light and bench readings in crank degrees and crank rpm, each with whether it may speak for the curve.

    On a distributor both degrees and rpm are half of the crank's.
    """
    double = pl.when(pl.col("scale") == "distributor").then(CRANK_PER_DISTRIBUTOR).otherwise(1.0)
    vacuum = pl.col("vacuum").fill_null(reading.facts.vacuum_advance or "off") == "on"
    table = reading.strobe.filter(pl.col("rpm").is_not_null() & pl.col("advance_deg").is_not_null()).with_columns(
        rpm=pl.col("rpm") * double,
        advance_deg=pl.col("advance_deg") * double,
        source=pl.col("source").fill_null("light"),
        used=~vacuum,
        why_not=pl.when(vacuum).then(pl.lit("vacuum advance was on")).otherwise(None),
    )
    if hose_on := int((~table["used"]).sum()):
        warnings.append(
            f"{counted(hose_on, 'light reading')} with the vacuum advance on: shown and not used; take the hose off and plug it"
        )
    nameless = int(table["setting"].null_count())
    labels = reading.pulls["setting"].drop_nulls().unique().to_list()
    if nameless and len(labels) == 1:
        table = table.with_columns(pl.col("setting").fill_null(labels[0]))
    elif nameless:
        warnings.append(f"{counted(nameless, 'light reading')} without a setting: shown and not used")
        table = table.with_columns(
            used=pl.col("used") & pl.col("setting").is_not_null(),
            why_not=pl.when(pl.col("setting").is_null()).then(pl.lit("no setting named")).otherwise(pl.col("why_not")),
        )
    return table


def set_aside(light: pl.DataFrame, which: list[int], why: str) -> pl.DataFrame:
    """The same readings with those at positions ``which`` marked as not used, and why."""
    at = pl.int_range(pl.len()).is_in(which)
    return light.with_columns(
        used=pl.col("used") & ~at, why_not=pl.when(at & pl.col("used")).then(pl.lit(why)).otherwise(pl.col("why_not"))
    )
