"""Air factors that are not this tool's to give (reference rows A6b, A12, A13): a message, and no number."""

import numpy as np
import pytest
from tests.unit.alignment.made import Sweep, day

from pullbook.air import factor
from pullbook.alignment.correction import correct_day
from pullbook.facts import STANDARDS, Air, DayFacts, EngineFacts
from pullbook.stages.align import align_day

AIR = Air(pressure_kpa=98.0, temperature_c=25.0, humidity_pct=40.0)


@pytest.mark.parametrize("fuel", ["diesel", "Diesel B7", "gazole", "gasoil B7"])
@pytest.mark.parametrize("told_by", ["day.yaml", "engine.yaml"])
def test_a12_compression_ignition_is_refused(fuel: str, told_by: str) -> None:
    """Row A12: those factors have another form, fa = (99/pd)·(T/298)^0.7 to the power fm (a diesel maker's service manual).

    They are not for this tool: no factor, and a sentence that says why, in the record's own words.
    """
    of_day, of_engine = (fuel, None) if told_by == "day.yaml" else (None, fuel)
    facts, engine = DayFacts(air=AIR, fuel=of_day), EngineFacts(fuel=of_engine)
    reading = day([Sweep("30"), Sweep("34")], facts=facts, engine=engine)
    corrected = correct_day(reading)
    assert set(corrected.factor.values()) == {None}
    assert corrected.correction["factor_min"] is None
    assert corrected.correction["factor_max"] is None
    assert any("compression-ignition" in w and "none is applied" in w for w in corrected.remarks.warnings)
    assert any("compression-ignition" in text for text in align_day(reading).not_established)


def test_a12_boost_is_refused() -> None:
    """Row A12: manifold pressure above the barometer: no atmospheric factor fits, and it is said."""
    boosted = {"map_kpa": lambda rpm: np.full_like(rpm, 160.0)}
    corrected = correct_day(day([Sweep("30", channels=boosted), Sweep("34", channels=boosted)], facts=DayFacts(air=AIR)))
    assert set(corrected.factor.values()) == {None}
    assert any("boosted" in w and "none is applied" in w for w in corrected.remarks.warnings)
    drawn = {"map_kpa": lambda rpm: np.full_like(rpm, 96.0)}
    plain = correct_day(day([Sweep("30", channels=drawn), Sweep("34", channels=drawn)], facts=DayFacts(air=AIR)))
    assert None not in plain.factor.values()
    assert plain.remarks.warnings == []


def test_a13_federal_test_rules_are_no_correction() -> None:
    """Row A13: 40 CFR 89.331, 90.311, 91.311 use a dimensionless f as a test of validity, not to correct power.

    Their formulas are pictures in the text that was reached, so there is no number to hold against: the tool offers none of them.
    """
    for name in ("40 CFR 91.311", "40 CFR 90.311", "40 CFR 89.331"):
        assert name not in STANDARDS
        with pytest.raises(ValueError, match="no factor is known"):
            factor(name, 99.0, 25.0, 1.0)


def test_a6b_japanese_standard() -> None:
    """Row A6b: JIS D 1001:1993 names ISO 1585 as its correspondent (seen on its title pages), so `ISO 1585` serves it.

    The form of earlier editions, (1013.25/pd)·√((t + 273.15)/293.15), is from memory and not verified: not offered by any name.
    """
    assert not any("JIS" in name for name in STANDARDS)
    with pytest.raises(ValueError, match="no factor is known"):
        factor("JIS D 1001", 99.0, 25.0, 1.0)
    older = (1013.25 / 990.0) * ((25.0 + 273.15) / 293.15) ** 0.5
    assert all(abs(factor(name, 99.0, 25.0, 0.0) - older) > 1e-4 for name in STANDARDS)
