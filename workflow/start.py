"""The `snakemake` command as `pullbook run` starts it: it ends when its last job has ended.

Snakemake looks once a second whether more jobs may start, by a timer that it lets run out after the last one: half a second of
nothing at the end of every run. Everything else is `python -m snakemake`, which works as well.
"""

import runpy
import threading

try:
    runpy.run_module("snakemake", run_name="__main__", alter_sys=True)
finally:
    for waiting in threading.enumerate():
        if isinstance(waiting, threading.Timer):
            waiting.cancel()
