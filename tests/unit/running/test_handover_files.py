"""Records must come out of the work folder as they went in, and nothing in it may run or lead outside."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pullbook.belief import EarlierHill, Prior
from pullbook.facts import DayFacts, EngineFacts, Ignition, Spring
from pullbook.handover import Fault, Segment
from pullbook.running import handover_files


def test_what_is_saved_is_loaded(tmp_path: Path) -> None:
    springs = (Spring("a", 900, 3000, 20),)
    records = {
        "facts": EngineFacts(name="blue", ignition=Ignition(kind="mechanical", stops_deg=(16.0, 20.0), springs=springs)),
        "day": DayFacts(),
        "list": [1, None, {"a": (1.5, float("inf"))}],
        "faults": (Fault("a.csv", 3, "rpm", "x", "a number", "write one"),),
        "n": np.float64(2.5),
        "prior": Prior(0.006, 0.5, 1e-4, 0.3, earlier=EarlierHill((3000.0,), 4000.0, ((1.0, 0.5), (0.5, 2.0)), (0.0, 1.0))),
        "segment": Segment(0, "pull", 0.0, 1.0, 900.0, 5000.0, 0, 10),
    }
    handover_files.save(tmp_path, records)
    assert handover_files.load(tmp_path) == records


def test_frames_and_arrays_keep_types_and_nulls(tmp_path: Path) -> None:
    frame = pl.DataFrame({"a": [1, None], "b": [["x"], []], "c": [None, 2.5]}, schema_overrides={"c": pl.Float64})
    array = np.arange(6.0).reshape(2, 3)
    handover_files.save(tmp_path, {"frame": frame, "array": array})
    loaded = handover_files.load(tmp_path)
    assert_frame_equal(loaded["frame"], frame)
    np.testing.assert_array_equal(loaded["array"], array)


def test_a_path_in_the_work_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "records.json").write_text(json.dumps({"$dict": [["x", {"$array": "../../etc/x.npy"}]]}))
    with pytest.raises(ValueError, match="not a plain file name"):
        handover_files.load(tmp_path)


def test_a_pickled_array_is_refused(tmp_path: Path) -> None:
    np.save(tmp_path / "001.npy", np.array([object()]), allow_pickle=True)
    (tmp_path / "records.json").write_text(json.dumps({"$array": "001.npy"}))
    with pytest.raises(ValueError, match="allow_pickle"):
        handover_files.load(tmp_path)


def test_an_unknown_kind_is_our_fault(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="not carried"):
        handover_files.save(tmp_path, {"x": object()})
