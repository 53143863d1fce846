"""Units and signs settled: torque and power by P = T·ω, temperatures and pressures by plausibility, advance by its reference."""

import numpy as np
import numpy.typing as npt

from pullbook.reading.asking import yaml_line
from pullbook.reading.channels import Column, Talk, find
from pullbook.reading.proof import Fit, Proof, prove
from pullbook.reading.units_text import Unit, named_unit

Array = npt.NDArray[np.float64]


def settle_power(columns: list[Column], talk: Talk) -> str | None:
    """Prove torque and power units.

    Returns
    -------
    str or None
        Why nothing may be estimated from this log (rpm that reads a multiple of the shaft's), else None.
    """
    rpm = find(columns, "rpm")
    unusable = None
    for column in columns:
        if column.channel in ("torque_nm", "power_kw") and "sign" not in column.hint:
            _face_up(column, talk)
    proved: dict[str, Unit] = {}
    _wheels_alone(columns, rpm, talk)
    for torque_name, power_name in (
        ("torque_nm", "power_kw"),
        ("torque_corrected_nm", "power_corrected_kw"),
        ("torque_wheel_nm", "power_wheel_kw"),
    ):
        torque, power = find(columns, torque_name), find(columns, power_name)
        if rpm is None or torque is None or power is None:
            continue
        assert torque.values is not None
        assert power.values is not None
        proof = prove(rpm.kept(), _listed(torque), _listed(power), torque_unit=_said(torque), power_unit=_said(power))
        if proof is None:
            continue
        unusable = _apply(proof, rpm, torque, power, talk) or unusable
        if proof.state == "proved":
            proved |= {"torque": torque.unit, "power": power.unit}  # type: ignore[dict-item]
    for column in columns:
        if column.channel and column.unit is None and column.channel.startswith(("torque", "power")):
            kind = "torque" if column.channel.startswith("torque") else "power"
            if kind in proved:  # the same instrument, corrected or at the wheels
                column.unit, column.unit_from = proved[kind], "proved"
                continue
            assumed = named_unit("N·m" if kind == "torque" else "kW")
            column.unit, column.unit_from = assumed, "assumed"
            other = "lbf·ft" if kind == "torque" else "hp"
            talk.ask(
                f"nothing says the unit of {column.header!r}; {assumed.name if assumed else ''} is assumed. "
                f"Otherwise {yaml_line(talk.name, column.header, channel=column.channel, unit=other)}"
            )
    return unusable


def _wheels_alone(columns: list[Column], rpm: Column | None, talk: Talk) -> None:
    """A roller that gives torque and power at the wheels only: they stand for the engine's, losses and all, and it is said."""
    if rpm is None or any(find(columns, name) for name in ("torque_nm", "power_kw", "torque_corrected_nm")):
        return
    torque, power = find(columns, "torque_wheel_nm"), find(columns, "power_wheel_kw")
    if torque is not None and power is not None:
        proof = prove(rpm.kept(), _listed(torque), _listed(power), torque_unit=_said(torque), power_unit=_said(power))
        if proof is None or proof.state in ("none", "factor"):
            torque = None  # torque at the wheel's own speed; power knows the engine's
    for column, channel in ((torque, "torque_nm"), (power, "power_kw")):
        if column is not None and not column.hint:
            column.channel = channel
            talk.ask(
                f"{column.header!r} is measured at the wheels and the log has no engine {'torque' if channel == 'torque_nm' else 'power'}: used as it is, "
                f"so settings compare but the level holds the losses. To leave it out: {yaml_line(talk.name, column.header, channel=column.meaning.quantity)}"
            )


def _face_up(column: Column, talk: Talk) -> None:
    """A brake may write its torque as negative: an engine that drives it all the time gives positive torque."""
    some = column.some()
    if len(some) and np.quantile(some, 0.9) < 0 and np.median(some) < -5:
        column.factor *= -1.0
        line = yaml_line(talk.name, column.header, channel=column.channel, sign=-1)
        talk.ask(
            f"{column.header!r} is negative throughout (about {np.median(some):g}); read as the engine driving, so positive. Settle it {line}"
        )


def _said(column: Column) -> str | None:
    return _listed_unit(column.unit).name if column.unit is not None else None


def _listed_unit(unit: Unit) -> Unit:
    return named_unit(unit.name) or unit


def _listed(column: Column) -> Array:
    """Logged values in the listed unit of the same name (dekanewton metres to N·m) and columns.yaml's factor applied."""
    assert column.values is not None
    extra = column.unit.factor / _listed_unit(column.unit).factor if column.unit else 1.0
    return column.values * extra * column.factor


def _apply(proof: Proof, rpm: Column, torque: Column, power: Column, talk: Talk) -> str | None:
    if proof.state == "proved":
        _take(proof.fit, proof, torque, power, talk)
    elif proof.state == "two":
        first, second = proof.fits[0], proof.fits[1]
        for column, unit, other in ((torque, first.torque, second.torque), (power, first.power, second.power)):
            if column.unit is None:
                column.unit, column.unit_from = named_unit(unit), "assumed"
            if unit != other:
                talk.ask(
                    f"torque x rpm / power is {proof.ratio:.1f}: {first.power} with {first.torque} ({first.constant:.1f}) and {second.power} with "
                    f"{second.torque} ({second.constant:.1f}) both fit within {100 * proof.tolerance:.2g} %; {column.header!r} is read as {column.unit.name if column.unit else unit}. "
                    f"Settle it {yaml_line(talk.name, column.header, channel=column.channel, unit=unit)}"
                )
    elif proof.state == "double":
        fit = proof.fit
        for column, unit in ((torque, fit.torque), (power, fit.power)):
            if column.unit is None:
                column.unit, column.unit_from = named_unit(unit), "proved"
        times = f"{fit.times:g}"
        what = (
            "twice the shaft's (a wasted spark counted twice?)"
            if fit.times == 2
            else "half the shaft's (camshaft or distributor speed?)"
        )
        talk.ask(
            f"torque x rpm / power is {proof.ratio:.0f} = {times} x {fit.constant:.0f} on {proof.rows} rows: {rpm.header!r} reads {times} times, {what}. "
            f"It is kept as read and left out of every estimate until confirmed {yaml_line(talk.name, rpm.header, channel='rpm', scale=1 / fit.times)}"
        )
        return f"{rpm.header!r} reads {times} times the shaft's speed, not confirmed"
    elif proof.state == "factor":
        factor = proof.factor or 1.0
        one = bool(torque.corrected) != bool(power.corrected)
        saying = (
            "one of them is corrected and the other is not, or a unit is not what the heading says"
            if not one
            else "the correction factor of the one that is corrected"
        )
        talk.ask(
            f"torque x rpm / power is {factor:.4f} times what {torque.unit.name if torque.unit else '?'} and {power.unit.name if power.unit else '?'} give: "
            f"{saying}. If a unit is wrong: {yaml_line(talk.name, torque.header, channel=torque.channel, unit='lbf·ft')}"
        )
    else:
        talk.ask(
            f"torque x rpm / power is {proof.ratio:.5g}, which fits no pair of units: {rpm.header!r}, {torque.header!r} and {power.header!r} do not belong "
            f"together. Say what is right {yaml_line(talk.name, torque.header, channel=torque.channel, unit='N·m')}"
        )
    return None


def _take(fit: Fit, proof: Proof, torque: Column, power: Column, talk: Talk) -> None:
    for column, name in ((torque, fit.torque), (power, fit.power)):
        said = _said(column)
        if column.unit_from == "columns_yaml" and said != name:
            talk.warn(
                f"columns.yaml says {said} for {column.header!r} but torque x rpm / power ({proof.ratio:.1f}) says {name}; columns.yaml is obeyed"
            )
            continue
        if said is not None and said != name:
            talk.ask(
                f"{column.header!r} says {said}, but torque x rpm / power is {proof.ratio:.1f}: {name} ({fit.power} with {fit.torque} give {fit.constant:.1f}). "
                f"Read as {name}; otherwise {yaml_line(talk.name, column.header, channel=column.channel, unit=said)}"
            )
        if said != name or column.unit is None:
            column.unit = named_unit(name)
        if column.unit_from != "columns_yaml":
            column.unit_from = "proved"


def settle_rest(columns: list[Column], talk: Talk, *, advance_scale: str | None = None) -> None:
    """Every other channel's unit, by heading or by what its values can be; ``advance_scale`` is engine.yaml's word."""
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
            _temperature(column, high, level, talk)
        elif channel.endswith("_kpa"):
            _pressure(column, level, talk)
        elif channel in ("rpm", "roller_rpm"):
            if column.unit is None:
                column.unit = named_unit("rpm")
                column.unit_from = "assumed"
            if (
                channel == "rpm"
                and column.unit.factor == 1.0
                and column.factor == 1.0
                and high < 30
                and level > 0.3
                and column.unit_from == "assumed"
            ):  # type: ignore[union-attr]
                column.unit = named_unit("krpm")
                talk.ask(
                    f"{column.header!r} is read as thousands of rpm; otherwise {yaml_line(talk.name, column.header, channel='rpm', unit='rpm')}"
                )
        elif channel == "lambda":
            if (column.unit is None or column.unit.name != "AFR") and 6 < level < 25 and column.unit_from != "columns_yaml":
                column.unit, column.unit_from = named_unit("AFR"), "assumed"
            if column.unit is not None and column.unit.name == "AFR" and not column.hint:
                talk.ask(
                    f"{column.header!r} is air/fuel by mass; lambda is taken as it over 14.7 (petrol). "
                    f"Another fuel: {yaml_line(talk.name, column.header, channel='lambda', unit='AFR', scale=1.0)}"
                )
        elif channel == "throttle_pct":
            _throttle(column, known, talk)
        elif channel == "humidity_pct" and column.unit is None:
            column.unit, column.unit_from = named_unit("%"), "assumed"


def settle_advance(column: Column, level: float, talk: Talk, *, scale: str | None = None) -> None:
    """Degrees of what, and on which side of top dead centre."""
    has, unit = column.meaning.concepts, column.unit
    header, name = column.header, talk.name
    after = "atdc" in has or (unit is not None and unit.factor < 0)
    says_crank = "btdc" in has or after or (unit is not None and unit.kind == "advance")
    if unit is None or unit.kind == "none":
        column.unit, column.unit_from = named_unit("°BTDC"), "assumed"
    if after and column.unit is not None and column.unit.factor > 0:
        column.unit = named_unit("°ATDC")
    if column.channel == "advance_distributor_deg":
        talk.ask(
            f"{header!r} (about {level:g}) is in distributor degrees on its own zero: half of crank degrees, kept apart and not used. "
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
            f"{header!r} reads about {level:g}; an engine under load does not spark {abs(value):g}° after top dead centre, so it is read as {abs(value):g}° before"
            f"{' although the heading says after' if side == 'after' else ''}. Settle it {yaml_line(name, header, channel=column.channel, sign=-1 if not after else 1)}"
        )
    if column.unit_from == "columns_yaml":
        return
    if not says_crank and scale == "distributor":
        column.factor *= 2.0
        talk.warn(f"{header!r} is in distributor degrees (engine.yaml) and is doubled to crank degrees")
    elif not says_crank and scale is None:
        talk.ask(
            f"{header!r} (about {abs(value):g}) does not say whether its degrees are crank or distributor degrees; read as crank. "
            f"Settle it {yaml_line(name, header, channel=column.channel, scale=1)} (scale: 2 where they are distributor degrees)"
        )


def _temperature(column: Column, high: float, level: float, talk: Talk) -> None:
    limits = {"coolant_c": (130.0, 260.0), "oil_c": (165.0, 320.0), "inlet_c": (75.0, 220.0), "exhaust_c": (1050.0, 2100.0)}
    too_hot, absurd = limits[column.channel or "coolant_c"]
    if column.unit is not None:
        if column.unit.name == "°C" and high > too_hot and column.unit_from != "columns_yaml":
            line = yaml_line(talk.name, column.header, channel=column.channel, unit="°F")
            talk.ask(f"{column.header!r} says °C and reads {high:g}, too hot for that; if it is °F: {line}")
        return
    unit = "°C"
    if column.channel != "exhaust_c" and 255 < level < 400:
        unit = "K"
    elif high > too_hot:
        unit = "°F" if high < absurd else "K"
    column.unit, column.unit_from = named_unit(unit), "assumed"
    if unit != "°C" or (column.channel in ("inlet_c", "exhaust_c") and high > 0.66 * too_hot):
        talk.ask(
            f"{column.header!r} (about {level:g}) is taken as {unit}; otherwise {yaml_line(talk.name, column.header, channel=column.channel, unit='°F' if unit != '°F' else '°C')}"
        )


def _pressure(column: Column, level: float, talk: Talk) -> None:
    if column.unit is not None:
        return
    unit = "hPa" if level > 300 else "kPa" if level > 40 else "inHg" if level > 17 else "psi" if level > 4 else "bar"
    column.unit, column.unit_from = named_unit(unit), "assumed"
    talk.ask(
        f"nothing says the unit of {column.header!r} (about {level:g}); taken as {unit}. Settle it {yaml_line(talk.name, column.header, channel=column.channel, unit=unit)}"
    )


def _throttle(column: Column, known: Array, talk: Talk) -> None:
    if column.kind == "switch":
        column.unit, column.unit_from = Unit("%", "share", 100.0), "assumed"
    elif column.unit is None or column.unit.kind == "none":
        column.unit, column.unit_from = named_unit("%"), "assumed"
        if known.max() <= 1.001 and known.min() >= -0.01 and known.max() > 0.2:
            column.unit = Unit("%", "share", 100.0)
            talk.ask(
                f"{column.header!r} runs from 0 to 1 and is read as a share of full throttle; otherwise {yaml_line(talk.name, column.header, channel='throttle_pct', unit='%')}"
            )
    elif column.unit.kind == "angle":
        talk.warn(f"{column.header!r} is a throttle angle; it is kept as if 90 were 100 %")
        column.unit, column.unit_from = Unit("%", "share", 100 / 90), "assumed"
