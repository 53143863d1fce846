"""Shared by all tests: the --long flag, and one printed line for every kind of test that this machine cannot run."""

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

# CI must answer the same for the same commit; on a desk every run looks at new cases.
settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ROOT = Path(__file__).resolve().parents[1]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the long forms")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    browser = None if shutil.which("chromium") and shutil.which("node") else "needs chromium and node"
    if browser is None and not (ROOT / "tests/report/browser/node_modules").is_dir():
        browser = "needs `npm install` in tests/report/browser"
    cluster = (
        None if shutil.which("slurmctld") and shutil.which("munged") and os.geteuid() == 0 else "needs slurm-wlm, munge and root"
    )
    for item in items:
        for mark, lacking in (("browser", browser), ("cluster", cluster)):
            if lacking and item.get_closest_marker(mark):
                item.add_marker(pytest.mark.skip(reason=lacking))
        if item.get_closest_marker("long") and not config.getoption("--long"):
            item.add_marker(pytest.mark.skip(reason="long form: run with --long"))
