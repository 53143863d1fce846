"""Torque and power settled: units by P = T·ω, the side of the sign, the wheels, a tach that reads a multiple."""

import numpy as np

from pullbook.arrays import Array
from pullbook.channels.asking import yaml_line
from pullbook.channels.column import Column, Talk, find
from pullbook.channels.proof import Proof, UnitsFit, prove
from pullbook.units import power_constants
from pullbook.vocabulary.units_text import Unit, named_unit


def settle_power(columns: list[Column], talk: Talk) -> str | None:
    """Prove torque and power units.

    Parameters
    ----------
    columns
        Of one log, channels assigned; units that T·ω = P proves are set.
    talk
        Takes questions and warnings.

    Returns
    -------
    str or None
        Why nothing may be estimated from this log (rpm that reads a multiple of the shaft's), else None.
    """
    rpm = find(columns, "rpm")
    unusable = None
    for column in columns:
        if column.channel in ("torque_nm", "power_kw") and "sign" not in column.hint:
            _face_up(column, rpm, talk)
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
        proof = _proof(rpm, torque, power)
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
            assumed = "N·m" if kind == "torque" else "kW"
            column.unit, column.unit_from = named_unit(assumed), "assumed"
            others = "lbf·ft, kgf·m" if kind == "torque" else "hp, PS"
            talk.ask(
                f"nothing says the unit of {column.header!r}; {assumed} is assumed. "
                f"Settle it {yaml_line(talk.name, column.header, channel=column.channel, unit=assumed)} (or unit: {others})"
            )
    return unusable


def _proof(rpm: Column, torque: Column, power: Column) -> Proof | None:
    """What P = T·ω says of the two columns' units."""
    speed = rpm.kept()
    some = speed[:: _stride(speed)]
    return prove(some, _listed(torque), _listed(power), torque_unit=_said(torque), power_unit=_said(power))


def _wheels_alone(columns: list[Column], rpm: Column | None, talk: Talk) -> None:
    """A roller that gives torque and power at the wheels only: they stand for the engine's, losses and all, and it is said."""
    if rpm is None or any(find(columns, name) for name in ("torque_nm", "power_kw", "torque_corrected_nm")):
        return
    torque, power = find(columns, "torque_wheel_nm"), find(columns, "power_wheel_kw")
    if torque is not None and power is not None:
        proof = _proof(rpm, torque, power)
        if proof is None or proof.state in ("none", "factor"):
            torque = None  # torque at the wheel's own speed; power knows the engine's
    for column, channel in ((torque, "torque_nm"), (power, "power_kw")):
        if column is not None and not column.hint:
            column.channel = channel
            talk.ask(
                f"{column.header!r} is measured at the wheels and the log has no engine "
                f"{'torque' if channel == 'torque_nm' else 'power'}: used as it is, "
                "so settings compare but the level holds the losses. To leave it out: "
                f"{yaml_line(talk.name, column.header, channel=column.meaning.quantity)}"
            )


def _face_up(column: Column, rpm: Column | None, talk: Talk) -> None:
    """A brake may write its torque as negative: an engine that drives it gives positive torque."""
    some = column.some()
    if not len(some):
        return
    throughout = np.quantile(some, 0.9) < 0 and np.median(some) < -5
    if throughout or _drives_below_zero(column, rpm):
        column.factor *= -1.0
        line = yaml_line(talk.name, column.header, channel=column.channel, sign=-1)
        what = f"is negative throughout (about {np.median(some):g})" if throughout else (
            f"is negative (down to {some.min():g}) where the engine pulls and not where it slows"
        )  # fmt: skip
        talk.ask(f"{column.header!r} {what}; read as the engine driving, so positive. Settle it {line}")


def _drives_below_zero(column: Column, rpm: Column | None) -> bool:
    """Whether the strong side of a torque is its negative one, and speed does not fall there: no over-run does that."""
    if column.values is None or rpm is None:
        return False
    values, speed = column.values, rpm.kept()
    low, high = np.nanquantile(values[:: _stride(values)], (0.01, 0.99))
    if not low < -5.0 or -low < 2.5 * high:
        return False
    half = max(2, len(speed) // 500)
    here = np.arange(half, len(speed) - half, max(1, half // 2))
    here = here[values[here] < 0.5 * low]
    gains = speed[here + half] - speed[here - half]
    gains = gains[np.isfinite(gains)]
    return len(gains) >= 5 and float(np.mean(gains > -20.0)) > 0.7


def _said(column: Column) -> str | None:
    return _listed_unit(column.unit).name if column.unit is not None else None


def _listed_unit(unit: Unit) -> Unit:
    return named_unit(unit.name) or unit


def _stride(values: Array) -> int:
    """Rows to step over: some ten thousand rows prove a unit as well as a million."""
    return max(1, len(values) // 20_000)


def _listed(column: Column) -> Array:
    """Logged values in the listed unit of the same name (dekanewton metres to N·m) and columns.yaml's factor applied."""
    assert column.values is not None
    extra = column.unit.factor / _listed_unit(column.unit).factor if column.unit else 1.0
    values = column.values[:: _stride(column.values)]
    return values * extra * column.factor


def _apply(proof: Proof, rpm: Column, torque: Column, power: Column, talk: Talk) -> str | None:
    if proof.state == "proved":
        _take(proof.fit, proof, torque, power, talk)
    elif proof.state == "two":
        _ask_which_of_two(proof, torque, power, talk)
    elif proof.state == "double":
        return _multiple(proof, rpm, torque, power, talk)
    elif proof.state == "factor":
        _tell_factor(proof, torque, power, talk)
    elif torque.unit is None and (tens := _in_tens(proof, power)) is not None:
        torque.unit, torque.unit_from = named_unit("daN·m"), "proved"
        if power.unit is None:
            power.unit, power.unit_from = named_unit(tens), "proved"
        talk.ask(
            f"torque x rpm / power is {proof.ratio:.5g}, a tenth of what N·m and {tens} give: {torque.header!r} is read as daN·m. "
            f"Settle it {yaml_line(talk.name, torque.header, channel=torque.channel, unit='daN·m')}"
        )
    else:
        talk.ask(
            f"torque x rpm / power is {proof.ratio:.5g}, which fits no pair of units: {rpm.header!r}, {torque.header!r} "
            f"and {power.header!r} do not belong "
            f"together. Say what is right {yaml_line(talk.name, torque.header, channel=torque.channel, unit='N·m')}"
        )
    return None


def _ask_which_of_two(proof: Proof, torque: Column, power: Column, talk: Talk) -> None:
    """Two pairs of units fit alike: the likelier is taken and the columns they differ in are asked about."""
    first, second = proof.fits[0], proof.fits[1]
    for column, unit, other in ((torque, first.torque, second.torque), (power, first.power, second.power)):
        if column.unit is None:
            column.unit, column.unit_from = named_unit(unit), "assumed"
        if unit != other and column.unit_from != "columns_yaml":
            talk.ask(
                f"torque x rpm / power is {proof.ratio:.1f}: {first.power} with {first.torque} "
                f"({first.constant:.1f}) and {second.power} with "
                f"{second.torque} ({second.constant:.1f}) both fit within {100 * proof.tolerance:.2g} %; "
                f"{column.header!r} is read as {column.unit.name if column.unit else unit}. "
                f"Settle it {yaml_line(talk.name, column.header, channel=column.channel, unit=unit)}"
            )


def _multiple(proof: Proof, rpm: Column, torque: Column, power: Column, talk: Talk) -> str | None:
    """The rpm column reads twice or half the shaft's speed: why nothing may be estimated, None where columns.yaml scales it."""
    fit = proof.fit
    for column, unit in ((torque, fit.torque), (power, fit.power)):
        if column.unit is None:
            column.unit, column.unit_from = named_unit(unit), "proved"
    ratio, times = f"torque x rpm / power is {proof.ratio:.0f} = {fit.times:g} x {fit.constant:.0f}", f"{fit.times:g}"
    if "scale" in rpm.hint:  # the operator has said how to read it
        talk.warn(f"{ratio}; {rpm.header!r} is scaled as columns.yaml says")
        return None
    twice = "twice the shaft's (a wasted spark counted twice?)"
    what = twice if fit.times == 2 else "half the shaft's (camshaft or distributor speed?)"
    talk.ask(
        f"{ratio} on {proof.rows} rows: {rpm.header!r} reads {times} times, {what}. "
        "It is kept as read and left out of every estimate until confirmed "
        f"{yaml_line(talk.name, rpm.header, channel='rpm', scale=1 / fit.times)}"
    )
    return f"{rpm.header!r} reads {times} times the shaft's speed, not confirmed"


def _tell_factor(proof: Proof, torque: Column, power: Column, talk: Talk) -> None:
    """Torque and power are a few per cent apart: one of them corrected, or a unit that is none."""
    off = (
        f"torque x rpm / power is {proof.factor or 1.0:.4f} times what {torque.unit.name if torque.unit else '?'} and "
        f"{power.unit.name if power.unit else '?'} give: "
    )
    if bool(torque.corrected) != bool(power.corrected):
        talk.warn(f"{off}the correction factor of the one that is corrected")
    else:
        line = yaml_line(talk.name, torque.header, channel=torque.channel, unit="lbf·ft")
        talk.ask(f"{off}one of them is corrected and the other is not, or a unit is not what the heading says. If so: {line}")


def _in_tens(proof: Proof, power: Column) -> str | None:
    """The power unit with which torque in dekanewton metres would fit, where one does."""
    constants = {p: c for (p, t), c in power_constants().items() if t == "N·m" and _said(power) in (None, p)}
    return next((p for p, c in constants.items() if abs(10 * proof.ratio / c - 1) < max(proof.tolerance, 1e-3)), None)


def _take(fit: UnitsFit, proof: Proof, torque: Column, power: Column, talk: Talk) -> None:
    for column, name in ((torque, fit.torque), (power, fit.power)):
        said = _said(column)
        if column.unit_from == "columns_yaml" and said != name:
            talk.warn(
                f"columns.yaml says {said} for {column.header!r} but torque x rpm / power ({proof.ratio:.1f}) says "
                f"{name}; columns.yaml is obeyed"
            )
            continue
        if said is not None and said != name:
            talk.ask(
                f"{column.header!r} says {said}, but torque x rpm / power is {proof.ratio:.1f}: {name} ({fit.power} "
                f"with {fit.torque} give {fit.constant:.1f}). "
                f"Read as {name}. Settle it {yaml_line(talk.name, column.header, channel=column.channel, unit=name)} "
                f"(or unit: {said})"
            )
        if said != name or column.unit is None:
            column.unit = named_unit(name)
        if column.unit_from != "columns_yaml":
            column.unit_from = "proved"
