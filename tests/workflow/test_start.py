"""How `pullbook run` starts the workflow: the command itself, without a timer that nobody waits for."""

import os
import subprocess
import sys
from pathlib import Path

START = Path(__file__).resolve().parents[2] / "workflow" / "start.py"
COMMAND = """
import sys, threading
print(sys.argv[1:], __name__)
threading.Timer(600, print).start()
sys.exit(3)
"""


def test_it_ends_when_the_command_has_ended(tmp_path: Path) -> None:
    (tmp_path / "snakemake").mkdir()
    (tmp_path / "snakemake" / "__init__.py").touch()
    (tmp_path / "snakemake" / "__main__.py").write_text(COMMAND, encoding="utf-8")
    ran = subprocess.run(
        [sys.executable, str(START), "--cores", "1"],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == 3, ran.stderr
    assert ran.stdout.split("\n")[0] == "['--cores', '1'] __main__"
