"""The `snakemake` command as `pullbook run` starts it: it takes little more than its jobs.

Everything is `python -m snakemake`, which works as well, but for four things:

* Snakemake looks once a second whether more jobs may start, by a timer that it lets run out after the last one: half a second of
  nothing at the end of every run. The timer is called off.
* It loads every executor that is installed, wanted or not; the one for Slurm brings pandas along. Told `--executor local`, it is
  shown its own alone.
* It loads what draws reports of its own, which no run of ours asks for.
* Python looks for cycles in memory more seldom, and not a last time when all is done.
"""

import gc
import runpy
import sys
import threading

from snakemake_interface_executor_plugins.registry import ExecutorPluginRegistry
from snakemake_interface_report_plugins.registry import ReportPluginRegistry

gc.set_threshold(20_000, *gc.get_threshold()[1:])
if ("--executor", "local") in zip(sys.argv, sys.argv[1:], strict=False):
    ExecutorPluginRegistry.module_prefix = property(lambda _: "snakemake_executor_plugin_for_elsewhere")  # no package's name
ReportPluginRegistry.collect_plugins = lambda registry: setattr(registry, "plugins", {})
try:
    runpy.run_module("snakemake", run_name="__main__", alter_sys=True)
finally:
    gc.disable()
    for waiting in threading.enumerate():
        if isinstance(waiting, threading.Timer):
            waiting.cancel()
