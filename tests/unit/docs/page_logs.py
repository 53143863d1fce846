"""The logs that docs/reading-logs.md shows the first lines of: a sweep from 2000 to 5600 rpm with what each example has wrong."""

import numpy as np

from pullbook.arrays import Array

_HZ = 10.0
RPM = np.concatenate([np.full(10, 2000.0), np.linspace(2000.0, 5600.0, 120), np.linspace(5600.0, 2000.0, 30)])
TIME = np.arange(len(RPM)) / _HZ
_PULLING = np.arange(len(RPM)) < 130
_LOAD = 300.0 - ((RPM - 3800.0) / 250.0) ** 2 + 1.5 * np.sin(7.0 * TIME)
TORQUE = np.where(_PULLING, _LOAD, -20.0 - RPM / 1000.0)
POWER = TORQUE * RPM / 9549.2966
ADVANCE = np.interp(RPM, [1000.0, 3400.0], [14.0, 34.0])


def table(header: str, *columns: tuple[Array, str], sign: str = ",", decimal: str = ".", preamble: str = "") -> str:
    """A log: ``preamble``, ``header``, and columns each with its format, such as ``(RPM, ".0f")``."""
    rows = (
        sign.join(f"{value:{form}}".replace(".", decimal) for value, form in zip(row, [f for _, f in columns], strict=True))
        for row in zip(*(c for c, _ in columns), strict=True)
    )
    return preamble + header + "\n" + "\n".join(rows) + "\n"


_T, _N, _Q, _P, _A = (TIME, ".1f"), (RPM, ".0f"), (TORQUE, ".1f"), (POWER, ".1f"), (ADVANCE, ".1f")
_PLAIN = "Time [s],Engine speed [rpm],Torque [Nm],Ignition advance [deg BTDC]"
_SWEEP = table(_PLAIN, _T, _N, _Q, _A)


def _of(advance: Array) -> str:
    return table(_PLAIN, _T, _N, _Q, (advance, ".1f"))


def _again(text: str, gap_s: float = 40.0) -> str:
    """The same log twice over, the second time ``gap_s`` later: two pulls in one file."""
    first, *rows = text.strip().split("\n")
    later = (f"{float(r.split(',')[0]) + gap_s:.1f},{r.split(',', 1)[1]}" for r in rows)
    return "\n".join([first, *rows, *later]) + "\n"


LOGS: dict[str, str] = {
    "no unit.csv": table("Time [s],RPM,Torque,Advance [deg BTDC]", _T, _N, (TORQUE / 1.3558, ".1f"), _A),
    "coarse.csv": table("Time [s],RPM,Torque,Power", _T, _N, (np.round(TORQUE / 10) * 10, ".0f"), (POWER * 1.3596, ".0f")),
    "cam.csv": table("Time [s],RPM,Torque [Nm],Phase [°CA]", _T, _N, _Q, (12.0 + RPM / 500, ".1f")),
    "heading.csv": table("Time [s],RPM,Torque [lb-ft],Power [kW]", _T, _N, _Q, _P),
    "twice.csv": table("Time [s],RPM,Torque [Nm],Power [kW]", _T, (2.0 * RPM, ".0f"), _Q, _P),
    "degrees.csv": table("Time [s],RPM,Torque [Nm],Timing", _T, _N, _Q, (ADVANCE / 2.0, ".1f")),
    "sign.csv": table("Time [s],RPM,Torque [Nm],Spark angle [deg crank]", _T, _N, _Q, (-ADVANCE, ".1f")),
    "two.csv": table("Time [s],RPM,Crank speed [rpm],Torque [Nm],Advance [deg BTDC]", _T, _N, (0.98 * RPM, ".0f"), _Q, _A),
    "hot.csv": table(
        "Time [s],RPM,Torque [Nm],Advance [deg BTDC],Coolant,Oil",
        _T,
        _N,
        _Q,
        _A,
        (180.0 + 0 * RPM + TIME / 3, ".0f"),
        (95.0 + TIME / 3, ".0f"),
    ),
    "vacuum.csv": table("Time [s],RPM,Torque [Nm],Advance [deg BTDC],MAP", _T, _N, _Q, _A, (29.0 + RPM / 1e4, ".1f")),
    "mixture.csv": table("Time [s],RPM,Torque [Nm],Advance [deg BTDC],AFR", _T, _N, _Q, _A, (12.6 + RPM / 1e5, ".2f")),
    "pedal.csv": table(
        "Time [s],RPM,Torque [Nm],Advance [deg BTDC],Throttle", _T, _N, _Q, _A, (np.where(_PULLING, 1.0, 0.02), ".2f")
    ),
    "days.csv": table("Time [s],RPM,Torque [Nm],Advance [deg BTDC]", (0.4 + TIME / 86_400, ".9f"), _N, _Q, _A),
    "thousandths.csv": table("Time [s],RPM,Torque [Nm],Advance [deg BTDC]", (1000 * TIME, ".0f"), _N, _Q, _A),
    "ticks.csv": table("Time,RPM,Torque [Nm],Advance [deg BTDC]", (1000.0 * TIME, ".0f"), _N, _Q, _A),
    "counter.csv": table("Sample,RPM,Torque [Nm],Advance [deg BTDC]", (np.arange(len(RPM)), ".0f"), _N, _Q, _A),
    "nameless.csv": table("Time [s],K1,Torque [Nm],K3", _T, _N, _Q, _A),
    "drum.csv": table("Time [s],Roller speed [rpm],Torque [Nm],Advance [deg BTDC]", _T, _N, _Q, _A),
    "no advance.csv": table("Time [s],RPM,Torque [Nm]", _T, _N, _Q),
    "corrected.csv": table("Time [s],RPM,Corrected torque [Nm],Advance [deg BTDC]", _T, _N, _Q, _A),
    "weather.csv": table(
        "Time [s],RPM,Torque [Nm],Advance [deg BTDC]", _T, _N, _Q, _A, preamble="Cell 2, Baro 97.2 kPa, air 18 C, 52 % RH\n"
    ),
    "asked.csv": table("Time [s],RPM,Torque [Nm],Commanded advance [deg BTDC]", _T, _N, _Q, _A),
    "half.csv": table("Time [s],RPM,Torque [Nm],Advance [deg BTDC]", _T, _N, _Q, (ADVANCE / 2.0, ".1f")),
    "listens.csv": table(
        "Time [s],RPM,Torque [Nm],Advance [deg BTDC],Knock [V]",
        _T,
        _N,
        _Q,
        _A,
        (0.3 + RPM / 1e4 + 0.01 * np.sin(9.0 * TIME), ".3f"),
    ),
    "run 1.csv": _SWEEP,
    "run 2.csv": _of(ADVANCE + 2.0),
    "run 10.csv": _of(ADVANCE - 2.0),
    "session.csv": _again(_SWEEP),
    "logger.csv": table("Time [s],RPM,Advance [deg BTDC]", (TIME + 3.0, ".1f"), _N, _A),
    "bench.csv": table("Time [s],RPM,Torque [Nm]", _T, _N, _Q),
}
