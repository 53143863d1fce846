"""How recorders write: delimiters, decimal marks, units, clocks and preambles, as data, with one writer for all."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from pullbook.arrays import Array

LBF_FT, HP, PS = 1.3558179, 0.7456999, 0.7354988


@dataclass(frozen=True, slots=True)
class Column:
    """One column: header, unit as written, ``written = value * factor + offset``, and how often it has a value."""

    channel: str
    header: str
    unit: str = ""
    factor: float = 1.0
    offset: float = 0.0
    digits: int = 1
    every: int = 1  # 5: a value on each fifth row, blanks between


@dataclass(frozen=True, slots=True)
class Dialect:
    """A recorder's way of writing."""

    columns: tuple[Column, ...]
    ending: str = ".csv"
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    encoding: str = "utf-8"
    newline: str = "\n"
    trailing: bool = False
    units_row: bool = False
    clock: str = "s"  # s, ms, clock (hh:mm:ss.ff), date (dd/mm/yyyy hh:mm:ss,ff)
    preamble: tuple[str, ...] = field(default=())
    missing: str = ""
    sheet_delimiter: str = ","

    @property
    def sheet_decimal(self) -> str:
        """Decimal mark of the hand-kept sheets of the same shop."""
        return "," if self.sheet_delimiter == ";" else "."

    def number(self, value: float, digits: int) -> str:
        """One number as this recorder writes it."""
        if not np.isfinite(value):
            return self.missing
        text = f"{value:,.{digits}f}" if self.thousands else f"{value:.{digits}f}"
        return text.replace(",", "\0").replace(".", self.decimal).replace("\0", self.thousands)

    def header(self) -> list[str]:
        """Header line, and the units row where there is one."""
        if self.units_row:
            return [self.delimiter.join(c.header for c in self.columns), self.delimiter.join(c.unit for c in self.columns)]
        tail = self.delimiter if self.trailing else ""
        return [self.delimiter.join(f"{c.header} {c.unit}".strip() for c in self.columns) + tail]

    def rows(self, channels: dict[str, Array], started: datetime) -> list[str]:
        """Data lines of one recording."""
        written = []
        for c in self.columns:
            if c.channel == "time_s" and self.clock in ("clock", "date"):
                form = "%H:%M:%S" if self.clock == "clock" else "%d/%m/%Y %H:%M:%S"
                stamps = [started + timedelta(seconds=float(t)) for t in channels["time_s"]]
                written.append([s.strftime(form) + self.decimal + f"{s.microsecond // 10_000:02d}" for s in stamps])
                continue
            values = channels[c.channel] * c.factor + c.offset
            written.append([self.number(v, c.digits) if i % c.every == 0 else "" for i, v in enumerate(values)])
        tail = self.delimiter if self.trailing else ""
        return [self.delimiter.join(cells) + tail for cells in zip(*written, strict=True)]

    def encode(self, lines: list[str]) -> bytes:
        """Lines as bytes."""
        return (self.newline.join(lines) + self.newline).encode(self.encoding)


DIALECTS: dict[str, Dialect] = {
    "comma": Dialect(
        columns=(
            Column("time_s", "Time", "[s]", digits=2), Column("rpm", "Engine speed", "[rpm]", digits=0),
            Column("torque_nm", "Brake torque", "[N.m]"), Column("power_kw", "Brake power", "[kW]", digits=2),
            Column("advance_deg", "Spark advance", "[deg BTDC]"), Column("throttle_pct", "Throttle", "[%]", digits=0),
            Column("roller_rpm", "Roller speed", "[rpm]"), Column("knock", "Knock count", digits=0),
        ),
    ),
    "cell": Dialect(
        columns=(
            Column("time_s", "Run time", "(s)", digits=2), Column("rpm", "Crank speed", "(rpm)", digits=0),
            Column("torque_nm", "Torque", "(lbf.ft)", 1 / LBF_FT, 0.0, 2), Column("power_kw", "Power", "(hp)", 1 / HP),
            Column("advance_deg", "Timing", "(deg BTDC)"), Column("throttle_pct", "Throttle", "(%)", digits=0),
            Column("lambda", "Lambda", digits=3, every=2), Column("oil_c", "Oil", "(F)", 1.8, 32.0, every=5),
        ),
        preamble=("Cell 2, water brake, sheet {order}",
                  "Baro {kpa:.1f} kPa, air {celsius:.1f} C, {rh:.0f} % RH", "Gear: direct", ""),
    ),
    "tab_units": Dialect(
        columns=(
            Column("time_s", "Clock", "ms", 1000.0, 0.0, 0), Column("rpm", "Engine rpm", "r/min", digits=0),
            Column("torque_nm", "Load cell torque", "lb-ft", 1 / LBF_FT, 0.0, 2), Column("power_kw", "Horsepower", "hp", 1 / HP),
            Column("advance_deg", "Spark lead", "deg BTDC"), Column("throttle_pct", "Throttle", "%", digits=0),
            Column("oil_c", "Oil temp", "F", 1.8, 32.0, every=4), Column("exhaust_c", "Exhaust", "F", 1.8, 32.0, 0),
        ),
        ending=".txt", delimiter="\t", newline="\r\n", units_row=True, clock="ms",
    ),
    "semicolon": Dialect(
        columns=(
            Column("time_s", "Messzeit", "[s]", digits=2), Column("rpm", "Motordrehzahl", "[U/min]"),
            Column("torque_nm", "Drehmoment", "[Nm]"), Column("power_kw", "Leistung", "[PS]", 1 / PS),
            Column("roller_rpm", "Rollendrehzahl", "[U/min]"), Column("inlet_c", "Ansaugluft", "[°C]", every=5),
        ),
        delimiter=";", decimal=",", thousands=".", encoding="cp1252", newline="\r\n", trailing=True, sheet_delimiter=";",
        preamble=("Rollenprüfstand;Messung {order};;;;;", "Datum;{date};;;;;"),
    ),
    "date": Dialect(
        columns=(
            Column("time_s", "Horodatage"), Column("rpm", "Régime moteur", "[tr/min]", digits=0),
            Column("torque_nm", "Couple", "[N.m]"), Column("power_kw", "Puissance", "[kW]", digits=2),
            Column("coolant_c", "Eau", "[°C]", every=4), Column("inlet_c", "Air admission", "[°C]", every=4),
        ),
        delimiter=";", decimal=",", clock="date", preamble=("Banc B, essai {order}", ""), sheet_delimiter=";",
    ),
    "recorder": Dialect(
        columns=(
            Column("time_s", "t", "ms", 1000.0, 0.0, 0), Column("rpm", "rpm", digits=0),
            Column("advance_deg", "ignition advance", "deg BTDC"),
            Column("lambda", "lambda", digits=3), Column("map_kpa", "map", "kPa"), Column("knock", "knock count", digits=0),
        ),
        ending=".log", clock="ms",
    ),
}  # fmt: skip
"""Ways of writing, by name. ``recorder`` is a second recorder's file without torque."""
