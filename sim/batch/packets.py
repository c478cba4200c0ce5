"""Many machines, some with a graphics processor: those take packets of trials, the others' cores one at a time.

A worker is one with a graphics processor if it was started with the Dask resource ``gpu`` (``--resources gpu=1``). A
packet is what it drives side by side; a trial alone would take as long there as a thousand.
"""

from __future__ import annotations

import math
import platform
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from models.rigid import RigidModel
from sim.batch.cluster import PLUGIN, Certificates, Cluster, Future, WorkerSetup, _dask, _drive
from sim.batch.device import SEATS, Device, versions_on_device
from sim.batch.worker import Job
from sim.batch.worker_pool import AHEAD, Answer
from sim.errors import SimError
from sim.trial.task import Fault, Task, Versions

RESOURCE = "gpu"
PACKET = 2 * SEATS
"""Most trials of a packet: twice as many as sit side by side, so that seats are filled again as trials end."""
LEAST = 128
"""Fewest trials of a packet while there are cores too: for so many a device is worth ten, for fewer less."""
CORES = 60
"""How many cores a device is worth in a whole batch, to share out what is left (measured, docs/measured.md)."""
Where = Literal["gpu", "any"]


def versions_anywhere(trucks: Mapping[str, RigidModel]) -> Versions:
    """Versions of results of whoever took the trial: bits may be either target's, so that keys are of neither."""
    there = versions_on_device(trucks)
    return replace(there, engine=there.engine.removesuffix("on gpu") + "on cpu or gpu")


@dataclass(frozen=True)
class _Crew:
    """Who is there now: addresses and threads of workers with cores alone, and of those with a device."""

    cores: dict[str, int]
    devices: tuple[str, ...]

    @property
    def threads(self) -> int:
        return sum(self.cores.values())


class PacketCluster(Cluster):
    """Workers behind a scheduler, those with a graphics processor among them, as an Executor."""

    def __init__(
        self, address: str, job: Job, versions: Versions, *, on: Where = "any", watchdog_s: float = 120.0,
        certificates: Certificates | None = None, packet: int = PACKET, least: int = LEAST,
    ) -> None:  # fmt: skip
        """Connect as :class:`Cluster` does.

        :param versions: Physics that workers with cores alone must have.
        :param on: Who drives: graphics processors, or whoever is there.
        :param packet: Most trials of a packet.
        :param least: Fewest while there are cores too.
        :raises SimError: No scheduler there, or the certificates cannot be used.
        """
        super().__init__(address, job, versions, watchdog_s=watchdog_s, certificates=certificates,
                         on_device=versions_on_device(job.payload))
        self._on, self._packet, self._least = on, packet, least
        self._waiting: deque[Task] = deque()
        self._packed: set[Task] = set()
        """Tasks that went out in a packet; one that comes back undone may go to a core."""

    def free(self) -> int:
        """Room for further tasks: for every device a packet to come after the one that it drives."""
        self._check()
        crew = self._crew()
        out = sum(len(tasks) for tasks, _ in self._under_way.values())
        return max(0, AHEAD * crew.threads + 2 * self._packet * len(crew.devices) - out - len(self._waiting))

    def give(self, task: Task) -> None:
        """Keep a task until it is known who takes it."""
        self._waiting.append(task)

    def collect(self, timeout: float) -> list[Answer]:
        """Share out what waits, and answers since the last call."""
        if self._waiting:
            self._share_out(self._crew())
        return super().collect(timeout)

    def close(self) -> None:
        """Forget what waits, and leave."""
        self._waiting.clear()
        super().close()

    def _crew(self) -> _Crew:
        found = self._client.scheduler_info(n_workers=-1)["workers"]
        devices = tuple(a for a, one in found.items() if (one.get("resources") or {}).get(RESOURCE, 0) >= 1)
        cores = {a: int(one["nthreads"]) for a, one in found.items() if a not in devices}
        return _Crew(cores if self._on == "any" else {}, devices)

    def _answered(self, future: Future) -> list[Answer]:
        tasks, _ = self._under_way[future]
        self._packed.difference_update(tasks)
        return super()._answered(future)

    def _share_out(self, crew: _Crew) -> None:
        """Packets for devices that have none, then single trials for cores that would soon have nothing to do."""
        packets = sum(tasks[0] in self._packed for tasks, _ in self._under_way.values())
        for _ in range(max(0, len(crew.devices) - packets)):
            size = packet_size(len(self._waiting), len(crew.devices), crew.threads, self._packet, self._least)
            if not size:
                break
            tasks = tuple(self._waiting.popleft() for _ in range(size))
            self._packed.update(tasks)
            self._submit(tasks, drive_packet, tasks, resources={RESOURCE: 1})
        single = sum(tasks[0] not in self._packed for tasks, _ in self._under_way.values())
        for _ in range(min(len(self._waiting), max(0, AHEAD * crew.threads - single))):
            task = self._waiting.popleft()
            self._packed.discard(task)
            # Left open, the scheduler would send it to a device's worker as well, where a packet would wait for it.
            self._submit((task,), _drive, task, workers=list(crew.cores))


def packet_size(waiting: int, devices: int, threads: int, most: int, least: int) -> int:
    """How many trials the next packet takes: a device's share of what waits, none if that is too few beside cores."""
    share = math.ceil(waiting * CORES / (CORES * devices + threads))
    size = min(waiting, share, most)
    return 0 if threads and size < least else size


def drive_packet(tasks: Sequence[Task]) -> list[Answer]:
    """Run a packet on a worker with a graphics processor."""
    setup: WorkerSetup = _dask.get_worker().plugins[PLUGIN]
    trouble = setup.trouble or _find_device(setup)
    if trouble:
        return [Fault(task, "raised", trouble) for task in tasks]
    return carried_out(setup.device, tasks)


def carried_out(device: Device, tasks: Sequence[Task]) -> list[Answer]:
    """Every task's answer, seats filled again as trials end."""
    left, answers = deque(tasks), list[Answer]()
    while len(answers) < len(tasks):
        while left and device.free() > 0:
            device.give(left.popleft())
        answers += device.collect(1.0)
    return answers


def _find_device(setup: WorkerSetup) -> str:
    """Make the worker's device, once; returns what stands in the way."""
    if setup.device is None:
        here = versions_on_device(setup.job.payload)
        if here != setup.on_device:
            return (f"{platform.node()} has other physics ({here.code}, {here.engine}) than this machine "
                    f"({setup.on_device}): install the same version there")
        try:
            setup.device = Device(setup.job.payload)
        except SimError as error:
            return f"{platform.node()}: {error}"
    return ""
