"""Grounds made ahead on all cores, for one process that has something else to do meanwhile."""

from __future__ import annotations

import multiprocessing
import os
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from typing import Any

from sim.batch.worker import follow_parent
from sim.physics.ground_sampling import ground_arrays
from sim.trial import ground_cache
from terrain.obstacle import Obstacle


def makers() -> Executor:
    """Processes, started as they are needed; threads where this process may have none.

    Threads would take turns with whoever draws up trials: a ground is many small steps of the interpreter.
    """
    if multiprocessing.current_process().daemon:  # a Dask worker under a nanny, say
        return ThreadPoolExecutor()
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    # Spawned: a device that this process has opened is not to be inherited.
    return ProcessPoolExecutor(cores, multiprocessing.get_context("spawn"), follow_parent)


def make_ground(*where: Any) -> Obstacle:
    """A ground with the coarse map that the device looks at first, so that nobody waits for that either."""
    obstacle = ground_cache.ground(*where)
    ground_arrays(obstacle.ground)
    return obstacle
