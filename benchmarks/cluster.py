"""A forecast on a local cluster of two workers beside one process: from which size on it pays."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from dispense.base.cluster import cluster
from dispense.forecast.model import forecast
from dispense.plan.build import build_plan

from . import Row, clock
from .forecast import tables_of

WEEKS = (1, 4, 13)
DRAWS = 100


def rows(quick: bool = False) -> Iterator[Row]:
    """A scheduler and two workers on this machine; each size once to begin, then once measured."""
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder) / "scheduler.json"
        begun = [_start("scheduler", "--port", "0", "--host", "127.0.0.1", "--scheduler-file", str(told))]
        try:
            while not (told.is_file() and told.read_text().endswith("}")):
                time.sleep(0.05)
            address = json.loads(told.read_text())["address"]
            begun += [_start("worker", address, "--nthreads", "1", "--no-nanny") for _ in range(2)]
            with cluster(address) as executor:
                for weeks in WEEKS[:1] if quick else WEEKS:
                    plan = build_plan(tables_of(weeks))
                    found = forecast(plan, weeks, draws=DRAWS, executor=executor)  # the workers have started

                    def far(plan=plan, weeks=weeks) -> None:
                        plan.forget()
                        forecast(plan, weeks, draws=DRAWS, executor=executor)

                    def near(plan=plan, weeks=weeks) -> None:
                        plan.forget()
                        forecast(plan, weeks, draws=DRAWS)

                    yield Row(
                        f"forecast of {weeks} weeks, 60 stations, on a cluster of two workers",
                        clock(far),
                        clock(near),
                        beside="the same on one process",
                        note=f"{len(found.keys):,} distinct shifts; both workers and the scheduler on this "
                        "machine of two processors",
                    )
        finally:
            for process in begun:
                process.kill()
                process.wait()


def _start(what: str, *words: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.dask_{what}", *words, "--no-dashboard"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
