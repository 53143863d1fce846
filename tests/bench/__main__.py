"""Every benchmark, one after the other: `python -m tests.bench`. Prints tables; docs/benchmarks.md keeps the last ones."""

from tests.bench import bench_archive, bench_reading, bench_run

for bench in (bench_reading, bench_run, bench_archive):
    print(f"\n## {bench.__name__.rsplit('.', 1)[-1]}\n", flush=True)
    bench.main()
