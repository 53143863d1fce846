"""One row of the pull sheet, as the contract names its columns."""

from dataclasses import dataclass

from pullbook.sheets.words import fold, said

SUMMARY = frozenset(said("summary"))
"""What begins a row that sums up those above it, folded."""


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

    @property
    def is_remark(self) -> bool:
        """Whether what stands in ``file`` sums up the rows ("Mean") or stands alone in its row, as a remark under a table does."""
        if fold(self.file) in SUMMARY:
            return True
        told = (self.pull, self.setting, self.initial_deg, self.total_deg, self.time, self.logger_file, self.exclude, self.notes)
        air = (self.pressure_kpa, self.temperature_c, self.humidity_pct, self.oil_c, self.coolant_c)
        return all(value is None for value in (*told, *air)) and self.knock == "not listened" and not self.baseline
