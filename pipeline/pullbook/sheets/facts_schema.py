"""Every key engine.yaml and day.yaml may hold, with what it may be: the closed schema of the hand-kept facts, as data."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pullbook.facts import STANDARDS


@dataclass(frozen=True, slots=True)
class Text:
    """Any words on the subject."""

    says: str = "a few words"


@dataclass(frozen=True, slots=True)
class Number:
    """A number in ``unit`` between ``lo`` and ``hi``; ``whole``: no fraction."""

    unit: str
    lo: float
    hi: float
    whole: bool = False

    @property
    def says(self) -> str:
        """What is expected, in words."""
        what = "a whole number" if self.whole else f"a number in {self.unit}" if self.unit else "a number"
        return f"{what} from {self.lo:g} to {self.hi:g}"


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words; case, spaces, dashes and underscores do not matter."""

    words: tuple[str, ...]

    @property
    def says(self) -> str:
        """What is expected, in words."""
        return "one of: " + ", ".join(self.words)


@dataclass(frozen=True, slots=True)
class Numbers:
    """A list of numbers, each as ``of``; ``count``: exactly so many; ``rising``: each above the one before."""

    of: Number
    count: int | None = None
    rising: bool = False

    @property
    def says(self) -> str:
        """What is expected, in words."""
        how = "two numbers" if self.count == 2 else "a list of numbers"
        return f"{how} in brackets, each {self.of.says}" + (", rising" if self.rising else "")


@dataclass(frozen=True, slots=True)
class Group:
    """Keys below a key. ``many``: a list of such groups. ``needed``: keys that must be there."""

    keys: "Mapping[str, Kind]"
    many: bool = False
    needed: tuple[str, ...] = ()

    @property
    def says(self) -> str:
        """What is expected, in words."""
        return ("a list, each with the keys " if self.many else "the keys ") + ", ".join(self.keys)


Kind = Text | Number | Choice | Numbers | Group

RPM = Number("rpm", 0, 25_000)
DEGREES = Number("degrees", -30, 90)
PRESSURE, TEMPERATURE, HUMIDITY = Number("kPa", 50, 115), Number("°C", -40, 60), Number("%", 0, 100)

SPRING = Group(
    {"name": Text(), "start_rpm": RPM, "all_in_rpm": RPM, "at_stop_deg": Number("crank degrees", 0.5, 70)},
    many=True,
    needed=("start_rpm", "all_in_rpm", "at_stop_deg"),
)

ENGINE_KEYS: Mapping[str, Kind] = MappingProxyType({
    "name": Text(), "cylinders": Number("", 1, 48, whole=True), "displacement_l": Number("litres", 0.02, 200),
    "altitude_m": Number("m", -450, 6000), "compression_ratio": Number("", 3, 30), "fuel": Text(),
    "used_rpm": Numbers(Number("rpm", 100, 25_000), count=2, rising=True), "damper_diameter_mm": Number("mm", 20, 1500),
    "rotating_inertia_kg_m2": Number("kg·m²", 0, 50),
    "ignition": Group({
        "kind": Choice(("mechanical", "locked", "mapped")), "advance_scale": Choice(("crank", "distributor")),
        "spark": Choice(("single", "wasted", "multi")), "stops_deg": Numbers(Number("crank degrees", 0, 70)),
        "springs": SPRING, "breakpoints_rpm": Numbers(RPM, rising=True),
    }),
    "known_limits": Group({"max_advance_deg": DEGREES, "note": Text()}),
})  # fmt: skip

DAY_KEYS: Mapping[str, Kind] = MappingProxyType({
    "air": Group({
        "pressure_kpa": PRESSURE, "temperature_c": TEMPERATURE, "humidity_pct": HUMIDITY,
        "dew_point_c": Number("°C", -60, 40), "vapour_pressure_kpa": Number("kPa", 0, 8),
    }),
    "correction": Choice((*STANDARDS, "none")), "logs_already_corrected": Choice(("false", "unknown", *STANDARDS)),
    "zero_mark": Group({
        "stop_before_tdc_deg": Number("degrees", 0, 180), "stop_after_tdc_deg": Number("degrees", 0, 180),
        "checked": Text("a date"),
    }),
    "dyno": Group({"name": Text(), "kind": Choice(("engine", "roller", "hub")), "repeatability_pct": Number("%", 0.01, 20)}),
    "fuel": Text(), "oil": Text(), "plugs": Text(), "mixture": Text(), "notes": Text(),
    "vacuum_advance": Choice(("off", "on")), "light": Group({"kind": Choice(("plain", "dial_back"))}),
    "listening": Choice(("none", "ear", "stethoscope", "sensor")),
    "limits": Group({
        "margin_below_knock_deg": Number("degrees", 0, 20), "tolerance_pct": Number("%", 0.01, 10),
        "max_step_deg": Number("degrees", 0.1, 20),
    }),
})  # fmt: skip

COLUMN_KEYS: Mapping[str, Kind] = MappingProxyType({
    "channel": Text("a channel"), "unit": Text("a unit"), "sign": Number("", -1, 1), "scale": Number("", -1e6, 1e6),
})  # fmt: skip
