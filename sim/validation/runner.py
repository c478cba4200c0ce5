"""Runs checks, on all cores, in the order that ends soonest, and gives the results back in theirs."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool

from sim.batch.worker import follow_parent
from sim.physics.silence import hushed
from sim.validation.catalogue import named
from sim.validation.check import Check, Result

Watch = Callable[[Result], None]


def run_named(name: str) -> Result:
    """Run one check by its name: what a worker process does."""
    with hushed():
        return named(name).run()


def run(wanted: Sequence[Check], *, workers: int | None = None, watch: Watch = lambda _: None) -> list[Result]:
    """Run checks; ``watch`` sees each result as it comes."""
    count = min(workers or os.cpu_count() or 1, len(wanted))
    if count <= 1:
        results = []
        for check in wanted:
            results.append(run_named(check.name))
            watch(results[-1])
        return results
    done: dict[str, Result] = {}
    pool = ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"), initializer=follow_parent)
    try:
        order = sorted(wanted, key=lambda check: not check.slow)
        waiting = {pool.submit(run_named, check.name): check.name for check in order}
        for future in as_completed(waiting):
            name = waiting[future]
            try:
                done[name] = future.result()
            except BrokenProcessPool:
                done[name] = Result(name, "broken", note="its worker process died")
            watch(done[name])
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in multiprocessing.active_children():
            process.terminate()
        raise
    pool.shutdown()
    return [done[check.name] for check in wanted]
