"""Times with minute and second signs, and cells in single quotes: other signs for what is read anyway."""

from collections.abc import Callable
from pathlib import Path

import pytest
from tests.unit.reading.made_pull import pull, read

from pullbook.text.respelled import respelled

HEAD = "Temps;régime [tr/min];couple [Nm];avance [° AV PMH vilebrequin]"
START = 55.4


def log(time: Callable[[int, float], str], *, start: float = START, mark: str = ".") -> str:
    lines = [HEAD]
    for k, (n, m) in enumerate(zip(pull()["rpm"], pull()["torque_nm"], strict=True)):
        minutes, seconds = divmod(round(start + 0.1 * k, 1), 60)
        lines.append(f"{time(int(minutes), round(seconds, 1))};" + f"{n:.0f};{m:.1f};30.0".replace(".", mark))
    return "\n".join(lines) + "\n"


def tenths(sign: str) -> Callable[[int, float], str]:
    return lambda m, s: f"{m}{sign[0]}{int(s):02d}{sign[1:]}{round(10 * s) % 10}"


@pytest.mark.parametrize(
    "time",
    [
        tenths("'\""), tenths("’”"), tenths("′″"), tenths("'''"), lambda m, s: f"{m}'{s:05.2f}", lambda m, s: f"{m}' {s:04.1f}\"",
        lambda m, s: f"{m}'{s:05.2f}".replace(".", ","),
    ],
)  # fmt: skip
@pytest.mark.parametrize("mark", [".", ","])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_minutes_and_seconds_by_their_signs(tmp_path: Path, time: Callable[[int, float], str], mark: str, encoding: str) -> None:
    r = read(tmp_path, log(time, mark=mark).encode(encoding))
    assert r.error is None
    assert r.samples["time_s"].to_list() == pytest.approx([0.1 * k for k in range(120)], abs=1e-6)
    assert r.samples["rpm"].to_list() == pull()["rpm"].tolist()


def test_minutes_in_a_column_behind_others_of_a_table_with_commas(tmp_path: Path) -> None:
    rows = "".join(f"{n:.0f},{k // 600}'{k // 10 % 60:02d}\"{k % 10}0,{m:.1f}\n" for k, (n, m) in enumerate(
        zip(pull()["rpm"], pull()["torque_nm"], strict=True)))  # fmt: skip
    r = read(tmp_path, f"rpm,Hora,Par [Nm]\n{rows}")
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert r.samples["time_s"].to_list() == pytest.approx([0.1 * k for k in range(120)], abs=1e-6)


def test_typographic_signs_in_the_codec_of_a_country(tmp_path: Path) -> None:
    r = read(tmp_path, log(tenths("’”")).encode("cp1252"))
    assert r.samples["time_s"].to_list() == pytest.approx([0.1 * k for k in range(120)], abs=1e-6)


def test_thousands_grouped_by_the_same_sign_are_no_minutes(tmp_path: Path) -> None:
    rows = "".join(f"{0.1 * k:.1f};{n:,.0f};{m:.1f};30.0\n".replace(",", "'") for k, (n, m) in enumerate(
        zip(pull()["rpm"], pull()["torque_nm"], strict=True)))  # fmt: skip
    assert read(tmp_path, f"{HEAD}\n{rows}").samples["rpm"].to_list() == pull()["rpm"].tolist()


@pytest.mark.parametrize("sep", [";", ",", "\t"])
@pytest.mark.parametrize("mark", [".", ","])
def test_cells_in_single_quotes(tmp_path: Path, sep: str, mark: str) -> None:
    plain = log(lambda m, s: f"{60 * m + s:.1f}".replace(".", mark), mark=mark)
    quoted = "\n".join(sep.join(f"'{c}'" for c in line.split(";")) for line in plain.splitlines())
    r = read(tmp_path, f"Banc d'essai de l'atelier\n{quoted}\n")
    assert r.error is None
    assert (r.delimiter, r.decimal, r.header_line, r.rows) == (sep, mark, 2, 120)
    assert [c.header for c in r.columns] == HEAD.split(";")
    assert r.samples["torque_nm"].to_list() == pytest.approx([round(m, 1) for m in pull()["torque_nm"]])


@pytest.mark.parametrize("data", [b"a;b\n1;2\n", b"it's;don't\n1;2\n", b"n\n'12\n'13\n", b"rpm;Nm\n3'787;200\n3'800;201\n"])
def test_other_apostrophes_stay(data: bytes) -> None:
    assert respelled(data) is data
