"""The same workflow through other executors gives the local run's tables byte for byte (`runs` and times apart)."""

import json
import os
import shutil
import stat
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from tests.workflow.conftest import ROOT, Ran, pullbook

pytestmark = pytest.mark.xdist_group("cluster")

SUBMIT = """#!/bin/sh
# A submit command such as any scheduler has: takes a script, starts it, prints a number.
nohup sh "$1" >"$1.out" 2>&1 &
echo $!
"""


@pytest.fixture
def few(tmp_path: Path) -> Path:
    """A fresh book of the two days of one engine: the second needs what the first taught."""
    engine = next(
        p for p in sorted((ROOT / "sample_logs").iterdir()) if p.is_dir() and len([d for d in p.iterdir() if d.is_dir()]) > 1
    )
    shutil.copytree(engine, tmp_path / "few" / "logs" / engine.name)
    return tmp_path / "few"


def _profile(name: str, place: Path, change: Callable[[str], str]) -> Path:
    """A copy of a committed profile with what the test's cluster asks for."""
    folder = place / "profile"
    shutil.copytree(ROOT / "workflow" / "profiles" / name, folder)
    for path in folder.glob("*.yaml"):
        path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    return folder


def _same_tables(one: Path, two: Path) -> None:
    tables = sorted(p.relative_to(one / "archive") for p in (one / "archive").glob("[a-z]*/engine=*/day=*/*.parquet"))
    assert len(tables) > 18
    for table in tables:
        if table.parts[0] == "runs":
            continue
        left, right = (pl.read_parquet(book / "archive" / table, hive_partitioning=False) for book in (one, two))
        if table.parts[0] == "record":
            records = [json.loads(frame["text"][0]) for frame in (left, right)]
            for record in records:
                del record["made_at"]
            assert records[0] == records[1]
        else:
            assert_frame_equal(left, right, check_exact=True)
            assert (one / "archive" / table).read_bytes() == (two / "archive" / table).read_bytes(), table


def _one_more(book: Path, profile: Path) -> None:
    """A single changed day goes the same way, in one process."""
    log = next(p for p in sorted((book / "logs").glob("*/*/*.csv")) if p.name not in ("pulls.csv", "strobe.csv"))
    shutil.copy(log, log.with_name("zz one more.csv"))
    ran = pullbook("run", "--book", str(book), "--json", "--profile", str(profile), timeout=400)
    assert ran.status == 0, ran.err + (book / ".pullbook" / "workflow.log").read_text()
    assert [(d["day"], d["revision"]) for d in ran.json["days"]] == [(log.parent.name, 2)]
    assert not list((book / ".pullbook").glob("measured/*"))


def test_any_submit_command_gives_the_same(few: Path, built: tuple[Path, Ran], tmp_path: Path) -> None:
    submit = tmp_path / "submit.sh"
    submit.write_text(SUBMIT)
    submit.chmod(submit.stat().st_mode | stat.S_IXUSR)
    profile = _profile("any-submit-command", tmp_path, lambda text: text.replace("qsub -V -cwd", str(submit)))
    ran = pullbook("run", "--book", str(few), "--json", "--profile", str(profile), timeout=400)
    assert ran.status == 0, ran.err + (few / ".pullbook" / "workflow.log").read_text()
    _same_tables(few, built[0])
    _one_more(few, profile)


@pytest.mark.skipif(shutil.which("rsync") is None, reason="needs rsync, which the storage plugin copies with")
def test_other_storage_gives_the_same(few: Path, built: tuple[Path, Ran], tmp_path: Path) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    profile = _profile("other-storage", tmp_path, lambda text: text.replace("/scratch/pullbook", str(scratch)))
    ran = pullbook("run", "--book", str(few), "--json", "--profile", str(profile), timeout=400)
    assert ran.status == 0, ran.err + (few / ".pullbook" / "workflow.log").read_text()
    assert list(scratch.glob("measured/*/*/stages/records.json"))
    assert not list((few / ".pullbook").glob("measured/*/*"))
    _same_tables(few, built[0])
    _one_more(few, profile)


@pytest.fixture(scope="module")
def slurm() -> Iterator[None]:
    """A Slurm of one node on the loopback address, started here and stopped again."""
    place = Path("/run/pullbook-slurm")
    shutil.rmtree(place, ignore_errors=True)
    for name in ("state", "spool"):
        (place / name).mkdir(parents=True)
    conf = Path("/etc/slurm/slurm.conf")
    before = conf.read_text() if conf.exists() else None
    conf.parent.mkdir(exist_ok=True)
    conf.write_text(
        f"""ClusterName=loopback
SlurmctldHost=localhost(127.0.0.1)
SlurmUser=root
AuthType=auth/munge
ProctrackType=proctrack/pgid
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
MpiDefault=none
ReturnToService=2
MinJobAge=600
StateSaveLocation={place}/state
SlurmdSpoolDir={place}/spool
SlurmctldPidFile={place}/slurmctld.pid
SlurmdPidFile={place}/slurmd.pid
SlurmctldLogFile={place}/slurmctld.log
SlurmdLogFile={place}/slurmd.log
NodeName=localhost NodeAddr=127.0.0.1 CPUs={os.cpu_count()} RealMemory=4000 State=UNKNOWN
PartitionName=main Nodes=localhost Default=YES MaxTime=INFINITE State=UP
"""
    )
    Path("/run/munge").mkdir(exist_ok=True)
    shutil.chown("/run/munge", "munge", "munge")
    subprocess.run(["runuser", "-u", "munge", "--", "/usr/sbin/munged", "--force"], check=False, capture_output=True)
    subprocess.run(["slurmctld"], check=True, capture_output=True)
    subprocess.run(["slurmd", "-N", "localhost"], check=True, capture_output=True)
    try:
        for _ in range(60):
            state = subprocess.run(["sinfo", "-h", "-o", "%T"], capture_output=True, text=True, check=False).stdout
            if "idle" in state:
                break
            time.sleep(0.5)
        else:
            pytest.fail(f"the node never became idle: {state!r}")
        yield
    finally:
        for name in ("slurmd", "slurmctld"):
            pid = place / f"{name}.pid"
            if pid.exists():
                subprocess.run(["kill", pid.read_text().strip()], check=False)
        subprocess.run(["pkill", "-u", "munge", "munged"], check=False)
        if before is None:
            conf.unlink()
        else:
            conf.write_text(before)


@pytest.mark.cluster
@pytest.mark.usefixtures("slurm")
def test_a_real_slurm_gives_the_same(few: Path, built: tuple[Path, Ran], tmp_path: Path) -> None:
    def mine(text: str) -> str:
        kept = [line for line in text.splitlines() if not line.startswith(("jobs:", "  runtime", "  mem_mb", "slurm-init"))]
        added = ["jobs: 2", "slurm-status-command: squeue", "slurm-no-account: true", "slurm-init-seconds-before-status-checks: 2"]
        at = next(i for i, line in enumerate(kept) if line.startswith("default-resources"))
        kept[at + 1 : at + 1] = ["  slurm_partition: main", "  runtime: 10", "  mem_mb: 1500"]
        return "\n".join(kept + added) + "\n"

    profile = _profile("slurm", tmp_path, mine)
    ran = pullbook("run", "--book", str(few), "--json", "--profile", str(profile), timeout=400)
    assert ran.status == 0, ran.err + (few / ".pullbook" / "workflow.log").read_text()
    log = (few / ".pullbook" / "workflow.log").read_text()
    assert "slurm" in log.lower() or list((few / ".pullbook" / ".snakemake" / "slurm_logs").rglob("*.log"))
    _same_tables(few, built[0])
    _one_more(few, profile)
