"""What the shop wrote down about the engine and the day: engine.yaml and day.yaml as typed values with defaults.

Only values live here; reading and checking the files is :mod:`pullbook.sheets.facts_files`.
"""

from dataclasses import dataclass, field
from typing import Literal, get_args

Standard = Literal["SAE J1349", "SAE J607", "ISO 1585", "DIN 70020", "none"]

STANDARDS: tuple[str, ...] = tuple(s for s in get_args(Standard) if s != "none")
"""Standards of air correction, as outputs spell them."""

CRANKING_RPM = 700.0
"""No distributor's weights are all in at this speed: what is constant from here up is locked."""


@dataclass(frozen=True, slots=True)
class Spring:
    """A spring or spring pair the shop owns; rpm is crank rpm, ``all_in_rpm`` is reached at a stop of ``at_stop_deg``."""

    name: str
    start_rpm: float
    all_in_rpm: float
    at_stop_deg: float


@dataclass(frozen=True, slots=True)
class Ignition:
    """How the engine makes its advance and what parts are owned; stops in crank degrees, breakpoints in crank rpm."""

    kind: Literal["mechanical", "locked", "mapped"] | None = None
    advance_scale: Literal["crank", "distributor"] | None = None
    spark: Literal["single", "wasted", "multi"] | None = None
    stops_deg: tuple[float, ...] = ()
    springs: tuple[Spring, ...] = ()
    breakpoints_rpm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class EngineFacts:
    """engine.yaml; None where it says nothing. ``used_rpm``: the crank rpm that count, lowest first; ``max_advance_deg``: crank
    degrees BTDC that nothing may pass; ``rotating_inertia_kg_m2``: kg·m² at crank speed of what lies between crank and
    torque sensor; ``cylinders`` a count, ``compression_ratio`` a ratio to one."""

    name: str | None = None
    cylinders: int | None = None
    displacement_l: float | None = None
    altitude_m: float | None = None
    compression_ratio: float | None = None
    fuel: str | None = None
    used_rpm: tuple[float, float] | None = None
    damper_diameter_mm: float | None = None
    rotating_inertia_kg_m2: float | None = None
    ignition: Ignition = field(default_factory=Ignition)
    max_advance_deg: float | None = None
    max_advance_note: str | None = None


@dataclass(frozen=True, slots=True)
class Air:
    """Station pressure, temperature and one humidity; vapour pressure is filled from whichever humidity was given."""

    pressure_kpa: float | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    dew_point_c: float | None = None
    vapour_pressure_kpa: float | None = None


@dataclass(frozen=True, slots=True)
class ZeroMark:
    """Positive-stop readings on the damper, crank degrees; the mark reads high by (before − after)/2. ``checked``: the date."""

    stop_before_tdc_deg: float | None = None
    stop_after_tdc_deg: float | None = None
    checked: str | None = None


@dataclass(frozen=True, slots=True)
class Dyno:
    """The bench; ``repeatability_pct``: SD of one pull that the shop states, % of torque."""

    name: str | None = None
    kind: Literal["engine", "roller", "hub"] | None = None
    repeatability_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Limits:
    """The operator's margins, crank degrees and % of torque; the defaults are the contract's."""

    margin_below_knock_deg: float = 2.0
    tolerance_pct: float = 0.5
    max_step_deg: float = 2.0


@dataclass(frozen=True, slots=True)
class DayFacts:
    """day.yaml, with engine.yaml under it (the day wins)."""

    air: Air = field(default_factory=Air)
    correction: Standard = "SAE J1349"
    logs_already_corrected: str | Literal[False] = False
    zero_mark: ZeroMark = field(default_factory=ZeroMark)
    dyno: Dyno = field(default_factory=Dyno)
    fuel: str | None = None
    oil: str | None = None
    plugs: str | None = None
    mixture: str | None = None
    notes: str | None = None
    vacuum_advance: Literal["off", "on"] | None = None
    light: Literal["plain", "dial_back"] | None = None
    listening: Literal["none", "ear", "stethoscope", "sensor"] | None = None
    limits: Limits = field(default_factory=Limits)
