"""Every other channel settled: temperatures and pressures by plausibility, advance by its reference and scale."""

from math import log

import numpy as np

from pullbook.arrays import Array
from pullbook.channels.asking import yaml_line
from pullbook.channels.column import Column, Talk
from pullbook.units import CRANK_PER_DISTRIBUTOR
from pullbook.vocabulary.units_text import Unit, named_unit

_PRESSURES = {name: unit.factor for name in ("hPa", "kPa", "inHg", "psi", "bar") if (unit := named_unit(name)) is not None}
"""kPa for one of each unit a pressure may be logged in."""

THIN_AIR = 79.0
"""kPa of the atmosphere at 2000 m: of two units that a pressure without one may be in, shops lie below that."""


def settle_rest(columns: list[Column], talk: Talk, *, advance_scale: str | None = None) -> None:
    """Every other channel's unit, by heading or by what its values can be.

    Parameters
    ----------
    columns
        Of one log, each with its channel; unit and factor are set.
    talk
        Takes questions and warnings.
    advance_scale
        engine.yaml's ``crank`` or ``distributor``, or None.
    """
    kelvin = any(_in_kelvin(c) for c in columns if c.channel in ("coolant_c", "oil_c", "inlet_c"))
    for column in columns:
        channel = column.channel
        if channel is None or column.values is None or channel.startswith(("torque", "power")):
            continue
        known = column.some()
        if not len(known):
            continue
        level, high = float(np.median(known)), float(np.quantile(known, 0.95))
        if channel.startswith("advance"):
            settle_advance(column, level, talk, scale=advance_scale)
        elif channel.endswith("_c"):
            _temperature(column, high, level, talk, kelvin=kelvin)
        elif channel.endswith("_kpa"):
            _pressure(column, level, high, talk)
        elif channel in ("rpm", "roller_rpm"):
            _speed(column, high, level, talk)
        elif channel == "lambda":
            _mixture(column, level, talk)
        elif channel == "throttle_pct":
            _throttle(column, known, talk)
        elif channel == "humidity_pct" and column.unit is None:
            column.unit, column.unit_from = named_unit("%"), "assumed"


def _mixture(column: Column, level: float, talk: Talk) -> None:
    """Lambda, its inverse, or air over fuel by mass."""
    turned = column.meaning.concepts & {"equivalence", "lambda"} == {"equivalence"} and "channel" not in column.hint
    if turned and (column.unit is None or column.unit.kind != "lambda"):
        _turn_over(column, talk)
    elif (column.unit is None or column.unit.name != "AFR") and 6 < level < 25 and column.unit_from != "columns_yaml":
        column.unit, column.unit_from = named_unit("AFR"), "assumed"
    if column.unit is not None and column.unit.name == "AFR" and not column.hint:
        talk.ask(
            f"{column.header!r} is air/fuel by mass; lambda is taken as it over 14.7 (petrol). Another fuel: "
            f"{yaml_line(talk.name, column.header, channel='lambda', unit='AFR', scale=1.0)}, with 14.7 over that fuel's "
            "own figure as scale"
        )


def _turn_over(column: Column, talk: Talk) -> None:
    """Fuel over air, in shares of what burns, is one over lambda."""
    assert column.values is not None
    with np.errstate(divide="ignore", invalid="ignore"):
        column.values, column.source, column.span = np.where(column.values > 0, 1.0 / column.values, np.nan), None, None
    talk.warn(
        f"{column.header!r} is read as fuel over air, so lambda is one over it; if it is lambda itself: "
        f"{yaml_line(talk.name, column.header, channel='lambda')}"
    )


def _speed(column: Column, high: float, level: float, talk: Talk) -> None:
    if column.unit is not None and column.unit.kind != "none":
        return
    thousands = column.channel == "rpm" and column.factor == 1.0 and level > 0.3 and high < 30
    column.unit, column.unit_from = named_unit("krpm" if thousands else "rpm"), "assumed"
    if thousands:
        line = yaml_line(talk.name, column.header, channel="rpm", unit="krpm")
        talk.ask(f"{column.header!r} is read as thousands of rpm. Settle it {line} (or unit: rpm)")


def settle_advance(column: Column, level: float, talk: Talk, *, scale: str | None = None) -> None:
    """Degrees of what, and on which side of top dead centre.

    Parameters
    ----------
    column
        A column of advance; its unit and factor are set.
    level
        Median of its values as logged, degrees.
    talk
        Takes questions and warnings.
    scale
        engine.yaml's ``crank`` or ``distributor``, or None.
    """
    has, unit = column.meaning.concepts, column.unit
    header, name = column.header, talk.name
    after = "atdc" in has or (unit is not None and unit.factor < 0)
    says_crank = "btdc" in has or after or (unit is not None and unit.kind == "advance")
    if unit is None or unit.kind == "none":
        column.unit, column.unit_from = named_unit("°BTDC"), "header" if has & {"btdc", "atdc"} else "assumed"
    if after and column.unit is not None and column.unit.factor > 0:
        column.unit = named_unit("°ATDC")
    if column.channel == "advance_distributor_deg":
        talk.ask(
            f"{header!r} (about {level:g}) is in distributor degrees on its own zero: half of crank degrees, kept apart "
            "and not used. "
            f"To use it, doubled: {yaml_line(name, header, channel='advance_deg', scale=2)}"
        )
        return
    if "sign" in column.hint or "scale" in column.hint:
        return
    value = level * (column.unit.factor if column.unit else 1.0)
    if value < -5:
        column.factor *= -1.0
        side = "after" if after else "before"
        talk.ask(
            f"{header!r} reads about {level:g}; an engine under load does not spark {abs(value):g}° after top dead "
            f"centre, so it is read as {abs(value):g}° before"
            f"{' although the heading says after' if side == 'after' else ''}. Settle it "
            f"{yaml_line(name, header, channel=column.channel, sign=-1 if not after else 1)}"
        )
    if column.unit_from == "columns_yaml":
        return
    if scale == "distributor":  # the only place that doubles a log: whoever reads samples reads crank degrees
        column.factor *= CRANK_PER_DISTRIBUTOR
        talk.warn(f"{header!r} is in distributor degrees (engine.yaml) and is doubled to crank degrees")
    elif not says_crank and scale is None:
        talk.ask(
            f"{header!r} (about {abs(value):g}) does not say whether its degrees are crank or distributor degrees; read as crank. "
            f"Settle it {yaml_line(name, header, channel=column.channel, scale=1)} (scale: 2 where they are distributor degrees), "
            "or for all logs of the engine in engine.yaml: ignition: {advance_scale: crank}"
        )


def _in_kelvin(column: Column) -> bool:
    """Whether a temperature without a unit can only be in kelvin."""
    known = column.some() if column.values is not None and column.unit is None else np.zeros(0)
    return len(known) > 0 and 255 < float(np.median(known)) < 400


def _temperature(column: Column, high: float, level: float, talk: Talk, *, kelvin: bool) -> None:
    """``kelvin``: another temperature of the log can only be in kelvin, so that of the exhaust is too."""
    limits = {"coolant_c": (130.0, 260.0), "oil_c": (165.0, 320.0), "inlet_c": (75.0, 220.0), "exhaust_c": (1050.0, 2100.0)}
    too_hot, absurd = limits[column.channel or "coolant_c"]
    if column.unit is not None:
        if column.unit.name == "°C" and high > too_hot and column.unit_from != "columns_yaml":
            line = yaml_line(talk.name, column.header, channel=column.channel, unit="°F")
            talk.ask(f"{column.header!r} says °C and reads {high:g}, too hot for that; if it is °F: {line} (else unit: °C)")
        return
    unit = "°C"
    if (column.channel != "exhaust_c" and 255 < level < 400) or (column.channel == "exhaust_c" and kelvin and level > 500):
        unit = "K"
    elif high > too_hot:
        unit = "°F" if high < absurd else "K"
    column.unit, column.unit_from = named_unit(unit), "assumed"
    if unit != "°C" or (column.channel in ("inlet_c", "exhaust_c") and high > 0.66 * too_hot):
        talk.ask(
            f"{column.header!r} (about {level:g}) is taken as {unit}. Settle it "
            f"{yaml_line(talk.name, column.header, channel=column.channel, unit=unit)} (or unit: {'°F' if unit != '°F' else '°C'})"
        )


def _pressure(column: Column, level: float, high: float, talk: Talk) -> None:
    """A pressure without a unit is in the one that brings its upper end, an engine's at full load, nearest to the atmosphere's."""
    if column.unit is not None:
        return
    unit = min(_PRESSURES, key=lambda name: abs(log(max(high, 1e-9) * _PRESSURES[name] / 100.0)))
    if unit == "hPa" and high * _PRESSURES[unit] < THIN_AIR:
        unit = "mmHg"
    column.unit, column.unit_from = named_unit(unit), "assumed"
    talk.ask(
        f"nothing says the unit of {column.header!r} (about {level:g}); taken as {unit}. Settle it "
        f"{yaml_line(talk.name, column.header, channel=column.channel, unit=unit)}"
    )


def _throttle(column: Column, known: Array, talk: Talk) -> None:
    if column.kind == "switch":
        column.unit, column.unit_from = Unit("%", "share", 100.0), "assumed"
    elif column.unit is None or column.unit.kind == "none":
        column.unit, column.unit_from = named_unit("%"), "assumed"
        if known.max() <= 1.001 and known.min() >= -0.01 and known.max() > 0.2:
            column.unit = Unit("%", "share", 100.0)
            talk.ask(
                f"{column.header!r} runs from 0 to 1 and is read as a share of full throttle. Settle it "
                f"{yaml_line(talk.name, column.header, channel='throttle_pct', unit='%', scale=100)} (scale: 1 where it is percent)"
            )
    elif column.unit.kind == "angle":
        talk.warn(f"{column.header!r} is a throttle angle; it is kept as if 90 were 100 %")
        column.unit, column.unit_from = Unit("%", "share", 100 / 90), "assumed"
