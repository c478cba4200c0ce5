"""Real trials give the same bits for any number of workers, in any order, and behind a scheduler."""

from __future__ import annotations

import hashlib
import random
from pathlib import Path
from typing import Any

import pytest

from models import scenario
from sim.batch import batch
from sim.batch.batch import FixedSupply
from sim.batch.session import PERFORM
from sim.batch.study import Study, fixed_tasks, prepare
from sim.batch.version import versions
from sim.batch.worker import Job
from sim.batch.worker_pool import Executor, WorkerPool
from sim.store.store import Store
from sim.trial.task import Task

BUILD = scenario.builds()[0]
PLAN = f"""
schema = 1
name = "same bits"
repeats = 3
[[configuration]]
name = "back"
build = "{BUILD}"
[[configuration]]
name = "forward"
build = "{BUILD}"
changes = ["{scenario.change(BUILD, "battery-forward")}"]
[[obstacle]]
family = "ledge"
levels = [28]
[[obstacle]]
family = "side-hill"
levels = [36]
[variation]
cg_mm = [0.5, 0.5, 0.5]
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    file = tmp_path_factory.mktemp("plan") / "plan.toml"
    file.write_text(PLAN)
    return prepare(file)


def job(study: Study) -> Job:
    return Job(PERFORM, study.payload, 4096, 0)


def shown(way: str, rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Print the digest of a table, which `docs/faults.md` lists (``pytest -s``)."""
    print(f"\n{way}: {len(rows)} trials, SHA-256 {hashlib.sha256(repr(rows).encode()).hexdigest()[:16]}")
    return rows


def table(path: Path, tasks: list[Task], hands: Executor) -> list[tuple[Any, ...]]:
    try:
        with Store(path, write=True) as store:
            progress = batch.run(FixedSupply(tasks), store, versions(), hands)
            assert progress.faults == []
            return list(store.table())
    finally:
        hands.close()


@pytest.mark.slow
def test_same_bits_for_any_workers_and_order(tmp_path: Path, study: Study) -> None:
    tasks = list(fixed_tasks(study))
    one = shown("1 worker", table(tmp_path / "1.sqlite", tasks, WorkerPool(job(study), 1)))
    assert len(one) == 12
    assert shown("2 workers", table(tmp_path / "2.sqlite", tasks, WorkerPool(job(study), 2))) == one
    table(tmp_path / "r.sqlite", tasks[:5], WorkerPool(job(study), 2))  # ended early, and gone on with
    assert shown("resumed after 5 trials", table(tmp_path / "r.sqlite", tasks, WorkerPool(job(study), 1))) == one
    random.Random(2).shuffle(tasks)
    assert shown("4 workers, shuffled", table(tmp_path / "4.sqlite", tasks, WorkerPool(job(study), 4))) == one


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # the cluster library warns of its own clean-up
def test_same_bits_behind_a_scheduler(tmp_path: Path, study: Study) -> None:
    distributed = pytest.importorskip("distributed")
    from sim.batch.cluster import Cluster

    tasks = list(fixed_tasks(study))
    one = table(tmp_path / "1.sqlite", tasks, WorkerPool(job(study), 1))
    with distributed.LocalCluster(
        n_workers=3, threads_per_worker=1, host="127.0.0.1", scheduler_port=0, dashboard_address=None
    ) as here:
        hands = Cluster(here.scheduler_address, job(study), versions())
        assert shown("Dask, 3 workers", table(tmp_path / "d.sqlite", tasks, hands)) == one
