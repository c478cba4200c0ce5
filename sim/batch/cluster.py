"""The same tasks on many machines: a Dask scheduler hands them to workers that may join, die and return.

Only the client, which is the batch, writes the store. Whoever can reach a scheduler can run code on its workers:
keep it on the loopback address or a trusted network, or use TLS with certificates.
"""

from __future__ import annotations

import logging
import platform
import queue
import re
import time
from dataclasses import dataclass
from typing import Any

from sim.batch.worker import Job, Perform, carry_out, resolve
from sim.batch.worker_pool import AHEAD, Answer
from sim.errors import SimError
from sim.trial.task import Fault, Report, Task, Versions

try:
    import distributed
    from distributed import KilledWorker, WorkerPlugin
except ImportError as error:
    raise SimError("many machines need the distributed library", field="scheduler",
                   remedy="Install it with `pip install 'cragbench[cluster]'`") from error

_dask: Any = distributed
"""The library is typed in part only."""
Future = Any
PLUGIN = "cragbench"
CONNECT_S = 10
PACKET_S = 0.1
"""How much longer one waits for every further trial of a packet; a device drives some hundred a second."""
ADDRESS = re.compile(r"(tcp|tls)://[^\s/]+:\d+")


@dataclass(frozen=True)
class Certificates:
    """Paths to PEM files for an encrypted and authenticated connection (a ``tls://`` address)."""

    ca: str
    cert: str
    key: str


class WorkerSetup(WorkerPlugin):  # type: ignore[misc, unused-ignore]
    """What every worker holds: the trucks, and the function that drives them. Late joiners get it too."""

    name = PLUGIN

    def __init__(self, job: Job, expected: Versions, entry: str, on_device: Versions | None = None) -> None:
        """Pack for workers that must have the very same physics; ``on_device`` is that of graphics processors."""
        self.job = job
        self.expected = expected
        self.entry = entry
        self.on_device = on_device
        self.perform: Perform | None = None
        self.device: Any = None
        self.trouble = ""

    def setup(self, worker: Any) -> None:
        """Unpack on a worker: import the physics and compare its version."""
        try:
            found = _versions_here(self.entry, self.expected)
            self.perform = resolve(self.job.perform)
        except Exception as error:  # told with every task instead of keeping the worker from starting
            self.trouble = f"{platform.node()}: {error}"
            return
        if found != self.expected:
            self.trouble = (
                f"{platform.node()} has other physics ({found.code}, {found.engine}) than this machine "
                f"({self.expected.code}, {self.expected.engine}): install the same version there"
            )


def _versions_here(entry: str, expected: Versions) -> Versions:
    if not entry:
        return expected
    from sim.batch.version import versions

    return versions(entry)


def _drive(task: Task) -> Report | Fault:
    """Run one task on a worker of the cluster."""
    setup: WorkerSetup = _dask.get_worker().plugins[PLUGIN]
    if setup.trouble or setup.perform is None:
        return Fault(task, "raised", setup.trouble or "not set up")
    return carry_out(setup.perform, setup.job.payload, task)


class Cluster:
    """Workers behind a scheduler, as :class:`sim.batch.worker_pool.Executor`."""

    def __init__(
        self, address: str, job: Job, versions: Versions, *, entry: str = "sim.trial.perform",
        watchdog_s: float = 120.0, certificates: Certificates | None = None, on_device: Versions | None = None,
    ) -> None:
        """Connect to a scheduler and give every worker its setup.

        :param address: As ``tcp://127.0.0.1:8786`` or ``tls://host:8786``.
        :param job: What workers are told once.
        :param versions: Physics that workers must have.
        :param entry: Module whose sources make up the code version; empty to trust the workers.
        :param watchdog_s: Time for a task, waiting for the one before it included twice.
        :param certificates: For ``tls://``.
        :param on_device: Physics of workers with a graphics processor, where these take packets of trials.
        :raises SimError: No scheduler there, or the certificates cannot be used.
        """
        self._patience = 3.0 * watchdog_s
        # The library logs tracebacks of every lost connection; what matters is told by the errors raised here.
        for name in ("distributed", "tornado.application"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        self._answers: queue.SimpleQueue[Future] = queue.SimpleQueue()
        self._under_way: dict[Future, tuple[tuple[Task, ...], float]] = {}
        security = _security(address, certificates)
        try:
            self._client = _dask.Client(address, timeout=CONNECT_S, security=security, set_as_default=False)
        except (OSError, TimeoutError, ValueError, RuntimeError) as error:
            raise SimError(
                "no scheduler answers there",
                field="scheduler",
                value=address,
                remedy="Start one with `dask scheduler --host 127.0.0.1 --dashboard-address 127.0.0.1:8787` and give "
                "the address it prints",
            ) from error
        try:
            self._client.register_plugin(WorkerSetup(job, versions, entry, on_device))
        except Exception as error:  # the scheduler went while it was asked; the library says so in many ways
            self._client.close(timeout=1)
            raise _gone() from error

    def threads(self) -> int:
        """Tasks that the cluster can run at the same time now."""
        return sum(self._client.nthreads().values())

    def free(self) -> int:
        """Room for further tasks; none while no worker is there."""
        self._check()
        return max(0, AHEAD * self.threads() - len(self._under_way))

    def give(self, task: Task) -> None:
        """Hand a task to the scheduler."""
        self._submit((task,), _drive, task)

    def _submit(self, tasks: tuple[Task, ...], function: Any, *arguments: Any, **where: Any) -> None:
        """Have some tasks carried out by one call of a function on a worker."""
        future = self._client.submit(function, *arguments, pure=False, **where)
        self._under_way[future] = (tasks, time.monotonic())
        future.add_done_callback(self._answers.put)

    def collect(self, timeout: float) -> list[Answer]:
        """Answers since the last call. A dead worker's tasks are given to another by the scheduler."""
        futures = []
        try:
            futures.append(self._answers.get(timeout=timeout) if timeout else self._answers.get_nowait())
            while True:
                futures.append(self._answers.get_nowait())
        except queue.Empty:
            pass
        self._check()
        answers = [answer for future in futures if future in self._under_way for answer in self._answered(future)]
        return answers + self._hung()

    def close(self) -> None:
        """Take back what is not yet answered and leave; the scheduler and its workers stay."""
        self._client.cancel(list(self._under_way), force=True)
        self._client.close(timeout=1)

    def _answered(self, future: Future) -> list[Answer]:
        tasks, _ = self._under_way.pop(future)
        if future.status == "finished":
            found = future.result()
            return list(found) if isinstance(found, list) else [found]
        if future.status == "error":
            error = future.exception()
            # Who of a packet is to blame is not known: each is tried again.
            kind = "crashed" if isinstance(error, KilledWorker) or len(tasks) > 1 else "raised"
            return [Fault(task, kind, f"{type(error).__name__}: {error}") for task in tasks]
        return [Fault(task, "crashed", "the scheduler lost it") for task in tasks]

    def _hung(self) -> list[Answer]:
        now = time.monotonic()
        late = [future for future, (tasks, since) in self._under_way.items()
                if now - since > self._patience + PACKET_S * (len(tasks) - 1)]
        found: list[Answer] = []
        for future in late:
            tasks, since = self._under_way.pop(future)
            self._restart_whoever_runs(future)
            found += [Fault(task, "hung", f"no answer in {now - since:.0f} s") for task in tasks]
        return found

    def _restart_whoever_runs(self, future: Future) -> None:
        holders = [address for address, keys in self._client.processing().items() if future.key in keys]
        self._client.cancel([future], force=True)
        if holders:
            self._client.restart_workers(holders, raise_for_error=False)

    def _check(self) -> None:
        if self._client.status != "running":
            raise _gone()


def _gone() -> SimError:
    return SimError("the scheduler is gone", field="scheduler",
                    remedy="What is done is kept: start a scheduler and run the same command again")  # fmt: skip


def _security(address: str, certificates: Certificates | None) -> Any:
    if not ADDRESS.fullmatch(address):
        raise SimError("not an address", field="scheduler", value=address,
                       remedy="Write it as tcp://127.0.0.1:8786 or tls://host:8786")
    if certificates is None:
        if address.startswith("tls://"):
            raise SimError("a tls:// address needs certificates", field="scheduler", value=address,
                           remedy="Give --tls-ca, --tls-cert and --tls-key")
        return None
    try:
        return _dask.Security(tls_ca_file=certificates.ca, tls_client_cert=certificates.cert,
                              tls_client_key=certificates.key, require_encryption=True)
    except (OSError, ValueError) as error:
        raise SimError(f"certificates cannot be used: {error}", field="tls", remedy="Give three PEM files") from error
