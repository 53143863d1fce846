"""A table of pull values written in a drawn dialect, and what a reader must give back."""

import random
from dataclasses import dataclass, field

import numpy as np
from hypothesis import strategies as st

from pullbook.arrays import Array
from pullbook.units import HP, KGF_M, LBF_FT, PS

HEADINGS = {
    "en": ("Time", "Engine speed", "Torque", "Power", "Ignition advance", "Coolant", "Lambda"),
    "de": ("Zeit", "Motordrehzahl", "Drehmoment", "Leistung", "Zündwinkel", "Kühlwasser", "Lambda"),
    "fr": ("Temps", "Régime moteur", "Couple", "Puissance", "Avance allumage", "Température d'eau", "Lambda"),
    "it": ("Tempo", "Giri motore", "Coppia", "Potenza", "Anticipo accensione", "Temperatura acqua", "Lambda"),
    "es": ("Tiempo", "Régimen motor", "Par motor", "Potencia", "Avance de encendido", "Temperatura del agua", "Lambda"),
}
RPM = {"en": "rpm", "de": "U/min", "fr": "tr/min", "it": "giri/min", "es": "rpm"}
CRANK = {"en": "° BTDC", "de": "°KW v. OT", "fr": "° avant PMH", "it": "° prima PMS", "es": "° antes PMS"}
TORQUE = {"Nm": ("N·m", 1.0), "lb-ft": ("lbf·ft", LBF_FT), "kgf·m": ("kgf·m", KGF_M), "N·m": ("N·m", 1.0), "mkg": ("kgf·m", KGF_M)}
POWER = {"kW": ("kW", 1.0), "hp": ("hp", HP), "PS": ("PS", PS), "CV": ("PS", PS), "bhp": ("hp", HP)}
TIMES = ("s", "ms", "mm:ss", "hh:mm:ss", "12h", "iso", "day.month", "day fraction", "none")


@dataclass(frozen=True)
class Dialect:
    """One way to write a log."""

    language: str
    delimiter: str
    decimal: str
    thousands: str
    encoding: str
    line_end: str
    units: str  # [], (), suffix, row, none
    torque: str
    power: str
    time: str
    quoted: bool
    preamble: tuple[str, ...]
    trailing: bool
    blank_every: int
    slow: bool
    sentinel: str
    start_s: float
    last_end: bool = True


@dataclass(frozen=True)
class Written:
    """``data``: the file; ``want``: channel -> values in kept units as printed; ``units``: channel -> unit."""

    data: bytes = field(repr=False)
    want: dict[str, Array] = field(repr=False)
    units: dict[str, str]
    rows: int
    header_line: int
    text: str = field(repr=False, default="")


@st.composite
def dialects(draw: st.DrawFn) -> Dialect:
    """Any combination that a person could read without a doubt."""
    language = draw(st.sampled_from(sorted(HEADINGS)))
    decimal = draw(st.sampled_from(".,"))
    quoted = draw(st.booleans())
    delimiter = draw(st.sampled_from([";", "\t", "|"] + ([","] if decimal == "." or quoted else []) + ["  "]))
    thousands = draw(st.sampled_from(["", "", "'", "," if decimal == "." else "."]))
    if thousands == delimiter and not quoted:
        thousands = ""
    if delimiter == "  ":
        quoted = False
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    time = draw(st.sampled_from(TIMES))
    return Dialect(
        language, delimiter, decimal, thousands, encoding, draw(st.sampled_from(["\n", "\r\n", "\r"])),
        draw(st.sampled_from(["[]", "()", "suffix", "row", "none"])), draw(st.sampled_from(sorted(TORQUE))),
        draw(st.sampled_from(sorted(POWER))), time, quoted,
        draw(st.sampled_from([(), ("Bench run",), ("Evening session, bench two", ""), ("Pull 3", "Operator: none", "")])),
        draw(st.booleans()) and delimiter in ";,\t|", draw(st.sampled_from([0, 0, 7])), draw(st.booleans()) and delimiter != "  ",
        draw(st.sampled_from(["", "---", "-999", "NaN", "9999"])), draw(st.sampled_from([0.0, 0.0, 12.5, 43_190.0, 86_390.0])),
        draw(st.booleans()),
    )  # fmt: skip


def number(value: float, digits: int, d: Dialect) -> str:
    """A number as the dialect spells it."""
    text = f"{value:,.{digits}f}".replace(",", "\x00").replace(".", d.decimal).replace("\x00", d.thousands)
    return text


def stamp(t: float, d: Dialect) -> str:
    """A time as the dialect spells it, to a hundredth of a second."""
    c = round((t + d.start_s) * 100) % 8_640_000
    day = round((t + d.start_s) * 100) // 8_640_000
    h, m, s = c // 360_000, c // 6_000 % 60, c // 100 % 60
    fraction = f"{d.decimal}{c % 100:02d}"
    match d.time:
        case "ms":
            return f"{round((t + d.start_s) * 1000)}"
        case "mm:ss":
            return f"{c // 6_000 % 60:02d}:{s:02d}{fraction}"
        case "hh:mm:ss":
            return f"{h:02d}:{m:02d}:{s:02d}{fraction}"
        case "12h":
            return f"{(h - 1) % 12 + 1}:{m:02d}:{s:02d}{fraction} {'AM' if h < 12 else 'PM'}"
        case "iso":
            return f"2031-05-{6 + day:02d} {h:02d}:{m:02d}:{s:02d}{fraction}"
        case "day.month":
            return f"{16 + day}/05/2031 {h:02d}:{m:02d}:{s:02d}{fraction}"
        case "day fraction":
            return f"{(t + d.start_s) / 86_400 + 48_000:.9f}".replace(".", d.decimal)
        case _:
            return f"{t + d.start_s:.2f}".replace(".", d.decimal)


def write(d: Dialect, rpm: Array, torque: Array, advance: Array, step: float) -> Written:
    """Write a pull of ``len(rpm)`` rows, a row every ``step`` s."""
    n = len(rpm)
    t = np.arange(n) * step
    torque_unit, torque_factor = TORQUE[d.torque]
    power_unit, power_factor = POWER[d.power]
    shown_torque = np.round(torque / torque_factor, 2)
    shown_power = np.round(torque * rpm / 9549.2966 / power_factor, 2)
    coolant = np.round(80 + 0.01 * np.arange(n), 1)
    lam = np.round(0.86 + 0.0003 * np.arange(n), 3)
    has = np.ones(n, bool) if not d.slow else np.arange(n) % 3 == 0
    hole = n // 2 if d.sentinel else -1
    title = HEADINGS[d.language]
    unit = ["s" if d.time not in ("ms",) else "ms", RPM[d.language], d.torque, d.power, CRANK[d.language], "°C", "-"]
    if d.time not in ("s", "ms", "none"):
        unit[0] = ""
    columns = [
        [stamp(v, d) for v in t],
        [number(v, 0, d) for v in rpm],
        [d.sentinel if k == hole else number(v, 2, d) for k, v in enumerate(shown_torque)],
        [number(v, 2, d) for v in shown_power],
        [number(v, 1, d) for v in advance],
        [number(v, 1, d) if ok else "" for v, ok in zip(coolant, has, strict=True)],
        [number(v, 3, d) if ok else "" for v, ok in zip(lam, has, strict=True)],
    ]
    first = 1 if d.time == "none" else 0
    names, units = list(title[first:]), unit[first:]
    rows = list(zip(*columns[first:], strict=True))
    match d.units:
        case "[]":
            names = [f"{a} [{u}]" if u else a for a, u in zip(names, units, strict=True)]
        case "()":
            names = [f"{a} ({u})" if u else a for a, u in zip(names, units, strict=True)]
        case "suffix":
            names = [f"{a} {u}" if u and u != "-" else a for a, u in zip(names, units, strict=True)]
    table = [names, *([units] if d.units == "row" else []), *map(list, rows)]
    if d.delimiter == "  ":
        table = [[c or "-" for c in row] for row in table]
        width = [max(len(row[k]) for row in table) + 2 for k in range(len(names))]
        lines = ["".join(c.rjust(w) for c, w in zip(row, width, strict=True)) for row in table]
    else:
        q = '"' if d.quoted else ""
        lines = [d.delimiter.join(f"{q}{c}{q}" if c else c for c in row) + (d.delimiter if d.trailing else "") for row in table]
    head = 2 if d.units == "row" else 1
    if d.blank_every:
        body: list[str] = []
        for k, line in enumerate(lines[head:]):
            body += [""] if k and k % d.blank_every == 0 else []
            body.append(line)
        lines = lines[:head] + body
    text = d.line_end.join([*d.preamble, *lines]) + (d.line_end if d.last_end else "")
    want = {"rpm": rpm, "torque_nm": shown_torque * torque_factor, "power_kw": shown_power * power_factor, "advance_deg": advance,
            "coolant_c": np.where(has, coolant, np.nan), "lambda": np.where(has, lam, np.nan)}  # fmt: skip
    if hole >= 0:
        want["torque_nm"] = want["torque_nm"].copy()
        want["torque_nm"][hole] = np.nan
    if d.time != "none":
        want["time_s"] = t
    return Written(
        text.encode(d.encoding),
        want,
        {"torque_nm": torque_unit, "power_kw": power_unit, "rpm": "rpm", "coolant_c": "°C"},
        n,
        len(d.preamble) + 1,
        text,
    )


FAULTS = ("repeat", "broken", "header", "blank", "remark", "long", "nul", "cut")


def damaged(d: Dialect, w: Written, faults: set[str], chance: random.Random) -> tuple[bytes, int]:
    """The log with faults strewn in at random; the bytes and how many rows a reader must drop. Every whole row stays."""
    lines = w.text.split(d.line_end)
    while not lines[-1]:
        lines.pop()
    at = len(d.preamble)
    names = lines[at : at + (2 if d.units == "row" else 1)]
    rows = [line for line in lines[at + len(names) :] if line]
    spaced = d.delimiter == "  "
    out: list[str] = []
    dropped = 0
    for k, row in enumerate(rows):
        cells = row.split() if spaced else row.split(d.delimiter)
        luck = chance.random()
        if "header" in faults and k and luck < 0.04:
            out += names if chance.random() < 0.5 else names[:1]
        if "blank" in faults and 0.04 < luck < 0.12:
            out.append("")
        if "remark" in faults and 0.12 < luck < 0.15:
            out.append("# remark by the operator")
        if "nul" in faults and 0.15 < luck < 0.17 and d.encoding in ("utf-8", "cp1252"):
            out.append(row.strip()[:6] + "\0" * 50)
            dropped += 1
        if "broken" in faults and 0.2 < luck < 0.25 and k:
            out.append(d.delimiter.join(cells[: max(2, len(cells) // 2)]))
            dropped += 1
        if "long" in faults and 0.25 < luck < 0.29 and k and not spaced:
            out.append(row + ("" if d.trailing else d.delimiter) + d.delimiter.join(("17", "3")))
            dropped += 1
        out.append(row)
        if "repeat" in faults and 0.3 < luck < 0.36:
            out.append(row)
            dropped += 1
    text = d.line_end.join([*d.preamble, *names, *out]) + d.line_end
    if "cut" in faults:
        text += d.delimiter.join((rows[-1].split() if spaced else rows[-1].split(d.delimiter))[:3])
        dropped += 1
    return text.encode(d.encoding), dropped
