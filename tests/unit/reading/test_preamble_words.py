"""What lines above the header say of the air and of a correction, in the ways recorders write them."""

import pytest

from pullbook.vocabulary.claims import claims


@pytest.mark.parametrize(
    ("text", "what", "value"),
    [
        ("Umgebungsdruck [hPa]: 983,2", "baro_kpa", 98.32), ('"Barometer";"983,0";"hPa"', "baro_kpa", 98.3),
        ("Atm. press. (mbar): 983", "baro_kpa", 98.3), ("P atm: 0.983 bar", "baro_kpa", 98.3), ("QFE 983 hPa", "baro_kpa", 98.3),
        ("Air Temp,71,F", "temperature_c", 21.667), ("Lufttemp. [°C];21,5", "temperature_c", 21.5),
        ("Öl 45 °C, Luft 21 °C", "temperature_c", 21.0), ("Humidité relative : 45 %", "humidity_pct", 45.0),
        ("Luftfeuchte [%];45", "humidity_pct", 45.0), ("r.F. 45 %", "humidity_pct", 45.0),
        ("nicht korrigiert", "correction", "none"), ("not corrected", "correction", "none"),
        ("Sin corrección", "correction", "none"), ("Valeurs non corrigées", "correction", "none"),
        ("Korrektur: DIN 70020", "correction", "DIN 70020"),
        ("SAE J1349 corrected, 97.2 kPa, air 18 C", "baro_kpa", 97.2),
    ],
)  # fmt: skip
def test_said(text: str, what: str, value: object) -> None:
    found = next((c["value"] for c in claims([(1, text)]) if c["what"] == what), None)
    assert found == value


@pytest.mark.parametrize(
    "text",
    [
        "Korrektur auf 1013 mbar, 20 °C", "Corrected to 990 hPa, 25 °C", "Standard: 1013 hPa, 20 °C", "Bezugsluftdruck 990 mbar",
        "Reference pressure 99 kPa", "Kraftstofftemperatur 21 °C", "Oil temp 45 C", "Temp. huile 45 °C", "Coolant temp 50 °C",
    ],
)  # fmt: skip
def test_the_air_of_a_standard_and_what_is_no_air_are_no_weather(text: str) -> None:
    assert [c for c in claims([(1, text)]) if c["what"] in ("baro_kpa", "temperature_c")] == []
