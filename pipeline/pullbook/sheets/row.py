"""One row of the pull sheet, as the contract names its columns."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row of the pull sheet; fields as the contract's columns, None where blank or unusable. ``line`` as an editor counts."""

    line: int
    file: str
    pull: int | None = None
    setting: str | None = None
    initial_deg: float | None = None
    total_deg: float | None = None
    baseline: bool = False
    time: str | None = None
    pressure_kpa: float | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    oil_c: float | None = None
    coolant_c: float | None = None
    knock: str = "not listened"
    knock_lo_rpm: float | None = None
    knock_hi_rpm: float | None = None
    logger_file: str | None = None
    exclude: str | None = None
    notes: str | None = None
