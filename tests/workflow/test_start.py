"""How `pullbook run` starts the workflow: the command itself, without a timer that nobody waits for."""

import os
import subprocess
import sys
from pathlib import Path

START = Path(__file__).resolve().parents[2] / "workflow" / "start.py"
LOADS_EXECUTORS = """
from snakemake_interface_executor_plugins.registry import ExecutorPluginRegistry
print(sorted(ExecutorPluginRegistry().plugins))
"""
COMMAND = """
import sys, threading
print(sys.argv[1:], __name__)
threading.Timer(600, print).start()
sys.exit(3)
"""


def started(tmp_path: Path, command: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """start.py with ``command`` in Snakemake's place."""
    (tmp_path / "snakemake").mkdir(exist_ok=True)
    (tmp_path / "snakemake" / "__init__.py").touch()
    (tmp_path / "snakemake" / "__main__.py").write_text(command, encoding="utf-8")
    return subprocess.run(
        [sys.executable, str(START), *arguments],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_it_ends_when_the_command_has_ended(tmp_path: Path) -> None:
    ran = started(tmp_path, COMMAND, "--cores", "1")
    assert ran.returncode == 3, ran.stderr
    assert ran.stdout.split("\n")[0] == "['--cores', '1'] __main__"


def test_executors_of_clusters_are_loaded_unless_this_machine_is_named(tmp_path: Path) -> None:
    (tmp_path / "snakemake_executor_plugin_elsewhere").mkdir()
    (tmp_path / "snakemake_executor_plugin_elsewhere" / "__init__.py").write_text('raise SystemExit("loaded")', encoding="utf-8")
    assert "loaded" in started(tmp_path, LOADS_EXECUTORS, "--executor", "elsewhere").stderr
    local = started(tmp_path, LOADS_EXECUTORS, "--executor", "local")
    assert (local.returncode, local.stdout) == (0, "[]\n"), local.stderr


def test_what_draws_reports_of_snakemakes_own_is_not_loaded(tmp_path: Path) -> None:
    asks = "import sys\nfrom snakemake_interface_report_plugins.registry import ReportPluginRegistry\n"
    ran = started(tmp_path, asks + 'print(ReportPluginRegistry().plugins, "snakemake.report" in sys.modules)\n')
    assert (ran.returncode, ran.stdout) == (0, "{} False\n"), ran.stderr
