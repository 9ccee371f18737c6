"""Work on any executor, and on a cluster of two workers of which one is killed: the bytes of one process."""

from __future__ import annotations

import datetime
import json
import os
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path

import pytest
from plans import hand_rows, make

from dispense.base import spread as spreading
from dispense.base.cluster import cluster
from dispense.base.errors import InputError
from dispense.base.spread import spread
from dispense.books.plan import write_plan
from dispense.cli import main
from dispense.forecast import response
from dispense.jobs.compare import compare_file
from dispense.jobs.fill import fill
from dispense.jobs.forecast import forecast_file
from dispense.reports import compare as of_compare

DAYS = 3


def files(folder: Path) -> dict[str, str]:
    """The hash of every file under a folder."""
    return {
        str(path.relative_to(folder)): sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def several_days(folder: Path) -> Path:
    """The plan worked by hand, built on a row of days, each time one part more."""
    tables = hand_rows()
    row = tables["Builds"][0]
    tables["Builds"] = [
        row | {"date": row["date"] + datetime.timedelta(days=day), "quantity": row["quantity"] + day}
        for day in range(DAYS)
    ]
    write_plan(tables, folder / "plan.xlsx")
    return folder / "plan.xlsx"


# ------------------------------------------------------------------------------ any executor


def _start(base: int) -> int:
    return base


def _power(base: int, item: int) -> int:
    if item < 0:
        raise InputError("below 0")
    return base**item


class Losing(Executor):
    """Loses every third piece with its worker, and takes no more after the sixth."""

    def __init__(self) -> None:
        self.count = 0

    def submit(self, work, /, *given, **named):
        self.count += 1
        if self.count > 6:
            raise RuntimeError("the pool is broken")
        future: Future = Future()
        if self.count % 3:
            future.set_result(work(*given, **named))
        else:
            future.set_exception(ConnectionError("the worker is lost"))
        return future


@pytest.mark.parametrize("count", [0, 1, 7, 64, 65, 1000])
def test_results_come_in_order_whoever_works(count):
    expected = [3**item for item in range(count)]
    with ThreadPoolExecutor(3) as pool:
        assert list(spread(pool, _start, (3,), _power, list(range(count)))) == expected
    assert list(spread(Losing(), _start, (3,), _power, list(range(count)))) == expected


def test_an_error_of_the_work_is_no_loss_of_a_worker():
    with ThreadPoolExecutor(2) as pool, pytest.raises(InputError, match="below 0"):
        list(spread(pool, _start, (3,), _power, [1, 2, -1]))


def test_a_worker_with_another_program_is_refused(monkeypatch):
    programs = iter([b"ours", b"theirs", b"theirs"])
    monkeypatch.setattr(spreading, "whole_program", lambda: next(programs))
    with pytest.raises(InputError, match="another version"):
        list(spread(Losing(), _start, (3,), _power, [1]))


def test_an_executor_without_workers_is_not_waited_for(monkeypatch):
    class Gone(Losing):
        def submit(self, work, /, *given, **named):
            return Future()

        def is_gone(self):
            return True

    monkeypatch.setattr(spreading, "_PATIENCE", 0.01)
    assert list(spread(Gone(), _start, (2,), _power, [1, 2, 3])) == [2, 4, 8]


def test_fill_writes_the_same_bytes(tmp_path):
    plan = several_days(tmp_path)
    fill(plan, tmp_path / "one")
    with ThreadPoolExecutor(2) as pool:
        fill(plan, tmp_path / "pool", executor=pool)
        assert files(tmp_path / "pool") == files(tmp_path / "one") != {}
        fill(plan, tmp_path / "pool", executor=pool, language="de")  # over sheets that are there
    fill(plan, tmp_path / "one", language="de")
    assert files(tmp_path / "pool") == files(tmp_path / "one")


# ---------------------------------------------------------------------------------- a cluster


@pytest.fixture(scope="module")
def local(tmp_path_factory):
    """A scheduler and two workers, each a process of its own, as on machines of their own."""
    pytest.importorskip("distributed")
    folder = tmp_path_factory.mktemp("cluster")
    told = folder / "scheduler.json"
    environment = {**os.environ, "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "20s"}
    environment["PYTHONPATH"] = os.pathsep.join(
        [str(Path(spreading.__file__).parents[2]), environment.get("PYTHONPATH", "")]
    )
    begun = []

    def start(*words: str) -> subprocess.Popen:
        command = [sys.executable, "-m", "distributed.cli." + words[0], *words[1:]]
        process = subprocess.Popen(
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        begun.append(process)
        return process

    try:
        start(
            *("dask_scheduler", "--port", "0", "--host", "127.0.0.1", "--no-dashboard"),
            *("--no-jupyter", "--scheduler-file", str(told)),
        )
        end = time.monotonic() + 60.0
        while not (told.is_file() and told.read_text().endswith("}")) and time.monotonic() < end:
            time.sleep(0.05)
        address = json.loads(told.read_text())["address"]
        workers = [
            start(
                *("dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"),
                *("--local-directory", str(folder)),
            )
            for _ in range(2)
        ]
        yield address, workers
    finally:
        for process in begun:
            process.kill()
            process.wait()


def test_forecast_on_two_workers(local, tmp_path, monkeypatch):
    address, _ = local
    monkeypatch.setattr(response, "FEW_SHIFTS", DAYS)
    plan = several_days(tmp_path)
    with cluster(address) as pool:
        far = forecast_file(plan, draws=50, out=tmp_path / "far.json", executor=pool)
    assert len(far.keys) >= DAYS  # as many distinct shifts are handed out
    forecast_file(plan, draws=50, out=tmp_path / "near.json")
    assert (tmp_path / "far.json").read_bytes() == (tmp_path / "near.json").read_bytes()


def test_compare_on_two_workers(local, tmp_path, monkeypatch):
    address, _ = local
    monkeypatch.setattr(of_compare, "FEW_SETS", 2)
    sizes = [
        {"material": "Bond 60", "component": "a", "what": "container", "value": f"{mL} mL"}
        for mL in (50, 100, 200)
    ]
    plan = make(hand_rows() | {"Choices": sizes})
    with cluster(address) as pool:
        far = compare_file(plan, executor=pool)
    assert far.as_json() == compare_file(plan).as_json()
    assert sum(len(item.sets) for item in far.fields) > 2


def test_a_killed_worker_changes_no_byte(local, tmp_path):
    address, workers = local
    plan = several_days(tmp_path)
    killed = threading.Event()

    def kill(done: int, _: int) -> None:
        if done == 2 and not killed.is_set():
            workers[0].send_signal(signal.SIGKILL)
            workers[0].wait()
            killed.set()

    with cluster(address) as pool:
        report = fill(plan, tmp_path / "far", executor=pool, progress=kill)
    assert killed.is_set() and not report.not_written
    fill(plan, tmp_path / "near")
    assert files(tmp_path / "far") == files(tmp_path / "near")


def test_the_command_takes_the_address_of_a_cluster(local, tmp_path, capsys):
    address, workers = local
    tables = hand_rows()
    plan = tmp_path / "plan.xlsx"
    write_plan(tables, plan)
    assert main(["fill", str(plan), "--out", str(tmp_path / "far"), "--cluster", address]) in (0, 3, 4)
    assert main(["fill", str(plan), "--out", str(tmp_path / "near")]) in (0, 3, 4)
    assert files(tmp_path / "far") == files(tmp_path / "near") != {}
    for worker in workers:  # all are gone: one line says so
        worker.kill()
        worker.wait()


def test_nobody_there_is_one_line(monkeypatch, tmp_path, capsys):
    pytest.importorskip("distributed")
    import dispense.base.cluster as of_cluster

    monkeypatch.setattr(of_cluster, "WAIT", 0.5)
    plan = tmp_path / "plan.xlsx"
    write_plan(hand_rows(), plan)
    assert main(["fill", str(plan), "--out", str(tmp_path / "o"), "--cluster", "tcp://127.0.0.1:9"]) == 1
    told = capsys.readouterr().err.strip().splitlines()
    assert len(told) == 1 and "no scheduler answers at tcp://127.0.0.1:9" in told[0]
    assert not (tmp_path / "o").exists()
    with pytest.raises(SystemExit):  # one or the other
        main(["fill", str(plan), "--processes", "2", "--cluster", "tcp://127.0.0.1:9"])
