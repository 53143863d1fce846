"""Several runs in the columns of one table: each a pull of its own where that is beyond doubt, else a question."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pullbook.handover import LogReading
from pullbook.pulls.segments import find_segments
from pullbook.reading.log import read_log

RPM = list(range(2400, 5600, 100))
Read = Callable[..., LogReading]


def torque(n: float, run: int) -> float:
    return round(200.0 + 4.0 * run - 6e-6 * (n - 4200) ** 2 + (0.3 if int(n / 100) % 2 else -0.2), 1)


def power(n: float, run: int) -> float:
    return round(torque(n, run) * n / 9549.2966, 2)


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def run(*lines: str, hints: dict[str, dict[str, Any]] | None = None) -> LogReading:
        path = tmp_path / "runs.csv"
        path.write_text("\n".join(lines) + "\n", "utf-8")
        log = read_log(path, shown=path.name, hints=hints)
        assert log.error is None
        return log

    return run


def kinds(log: LogReading) -> list[tuple[str, int]]:
    return [(s.kind, s.rows) for s in find_segments(log.samples)]


def test_groups_of_the_same_headings_are_runs(read: Read) -> None:
    rows = [f"{n},{torque(n, 0)},{power(n, 0)},{n + 7},{torque(n + 7, 1)},{power(n + 7, 1)}" for n in RPM]
    log = read("Run 1,,,Run 2,,", "rpm,Nm,kW,rpm,Nm,kW", *rows)
    assert kinds(log) == [("pull", 32), ("pull", 32)]
    assert log.samples["torque_nm"].to_list() == [torque(n, 0) for n in RPM] + [torque(n + 7, 1) for n in RPM]
    assert log.samples["line"].to_list() == [*range(3, 35)] * 2
    assert (log.rows, log.rows_dropped) == (32, 0)
    assert [c.channel for c in log.columns] == ["rpm", "torque_nm", "power_kw"]
    assert any("2 runs stand side by side; they are read as pulls 1 to 2" in w for w in log.warnings)
    assert not any("two columns say" in q for q in log.questions)


def test_one_speed_and_a_torque_for_each_named_run(read: Read) -> None:
    rows = [f"{n};{torque(n, 0)};{torque(n, 1)};{torque(n, 2)}".replace(".", ",") for n in RPM]
    log = read("Drehzahl [U/min];Drehmoment Lauf 1 [Nm];Drehmoment Lauf 2 [Nm];Drehmoment Lauf 3 [Nm]", *rows)
    assert kinds(log) == [("pull", 32)] * 3
    assert log.samples["torque_nm"].to_list() == [torque(n, k) for k in range(3) for n in RPM]


@pytest.mark.parametrize(
    "above",
    [";Run 1;Run 2;Run 3", ";Messung 7;Messung 8;Messung 9", ";28°;32°;36°", ";#1;#2;#3", ";12 initial;14 initial;16 initial"],
)
def test_runs_named_only_in_the_line_above_the_headings(read: Read, above: str) -> None:
    rows = [f"{n};{torque(n, 0)};{torque(n, 1)};{torque(n, 2)}" for n in RPM]
    log = read("Cell 4, evening", above, "Drehzahl [U/min];Drehmoment [Nm];Drehmoment [Nm];Drehmoment [Nm]", *rows)
    assert kinds(log) == [("pull", 32)] * 3
    assert log.samples["torque_nm"].to_list() == [torque(n, k) for k in range(3) for n in RPM]
    assert any(above.split(";")[1] in w and "side by side" in w for w in log.warnings)


def test_a_name_above_stands_over_the_columns_to_its_right(read: Read) -> None:
    rows = [f"{n},{torque(n, 0)},{power(n, 0)},{torque(n, 1)},{power(n, 1)}" for n in RPM]
    log = read(",Run 1,,Run 2,", "rpm,Nm,kW,Nm,kW", *rows)
    assert kinds(log) == [("pull", 32)] * 2
    assert log.samples["power_kw"].to_list() == [power(n, k) for k in range(2) for n in RPM]


@pytest.mark.parametrize("above", [";Brake;Wheel", ";Cell 1;Cell 2", ";measured;corrected", ";Run 1;"])
def test_names_above_that_are_no_runs_leave_two_torques_a_question(read: Read, above: str) -> None:
    rows = [f"{n};{torque(n, 0)};{torque(n, 1)}" for n in RPM]
    log = read(above, "rpm;Nm;Nm", *rows)
    assert kinds(log) == [("pull", 32)]
    assert log.questions


def test_a_shorter_run_has_no_rows_where_its_columns_are_blank(read: Read) -> None:
    rows = [f"{n},{torque(n, 0)}," + (f"{n + 50},{torque(n + 50, 1)}" if k < 25 else ",") for k, n in enumerate(RPM)]
    log = read("rpm,Torque [Nm],rpm,Torque [Nm]", *rows)
    assert kinds(log) == [("pull", 32), ("pull", 25)]
    assert log.samples["torque_nm"].null_count() == 0


def test_runs_with_a_clock_of_their_own_or_in_common(read: Read) -> None:
    other = [round(n * 1.1 - 500 + (n % 300) / 3) for n in RPM]
    rows = [f"{0.1 * k:.1f},{n},{torque(n, 0)},{m},{torque(m, 1)}" for k, (n, m) in enumerate(zip(RPM, other, strict=True))]
    log = read("t [s],rpm 1,Nm 1,rpm 2,Nm 2", *rows)
    assert [s.rows for s in find_segments(log.samples)] == [32, 32]
    assert log.samples["time_s"].to_list() == pytest.approx([0.1 * k for k in range(32)] * 2)
    assert log.samples["recording"].to_list() == [0] * 32 + [1] * 32


@pytest.mark.parametrize(
    ("head", "row"),
    [
        # two load cells at one speed: nothing speaks of runs
        ("rpm,Torque 1 [Nm],Torque 2 [Nm]", lambda k, n: f"{n},{torque(n, 0)},{torque(n, 1)}"),
        # two pick-ups of one sweep: one speed is a constant times the other, at the same moments
        ("t [s],rpm 1,Nm 1,rpm 2,Nm 2", lambda k, n: f"{0.1 * k:.1f},{n},{torque(n, 0)},{n + 1},{torque(n, 1)}"),
        # a column that is nobody's
        ("rpm,Torque run 1 [Nm],Torque run 2 [Nm],Lambda", lambda k, n: f"{n},{torque(n, 0)},{torque(n, 1)},0.88"),
        # one sweep against the clock has one torque
        ("t [s],rpm,Torque run 1 [Nm],Torque run 2 [Nm]", lambda k, n: f"{0.1 * k:.1f},{n},{torque(n, 0)},{torque(n, 1)}"),
        # the same numbers again
        ("rpm,Nm,rpm,Nm", lambda k, n: f"{n},{torque(n, 0)},{n},{torque(n, 0)}"),
        # power of the one does not go with the torque of the other
        ("rpm,Nm,kW,rpm,Nm,kW", lambda k, n: f"{n},{torque(n, 0)},{power(n, 0)},{n},{torque(n, 1)},{1.2 * power(n, 1):.2f}"),
        # another unit
        ("rpm,Nm,rpm,lb-ft", lambda k, n: f"{n},{torque(n, 0)},{n},{0.7376 * torque(n, 1):.1f}"),
    ],
)
def test_what_may_be_two_sensors_stays_one_run(read: Read, head: str, row: Callable[[int, int], str]) -> None:
    log = read(head, *(row(k, n) for k, n in enumerate(RPM)))
    assert log.samples.height == log.rows == 32
    assert not any("side by side" in w for w in log.warnings)
    assert log.samples["torque_nm"].to_list() == [torque(n, 0) for n in RPM]


def test_columns_yaml_settles_it(read: Read) -> None:
    rows = [f"{n},{torque(n, 0)},{torque(n, 1)}" for n in RPM]
    log = read("rpm,Torque run 1 [Nm],Torque run 2 [Nm]", *rows, hints={"Torque run 2 [Nm]": {"channel": "torque_nm"}})
    assert log.samples["torque_nm"].to_list() == [torque(n, 1) for n in RPM]
