"""A batch's trials on a graphics processor: seats that are filled again as their trials end, grounds kept there."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.rigid import RigidModel
from sim.batch.ground_makers import make_ground, makers
from sim.batch.seating import seating
from sim.batch.version import versions, versions_of
from sim.batch.worker import carry_out
from sim.batch.worker_pool import Answer
from sim.errors import SimError
from sim.physics.arrays import ModelArrays
from sim.physics.lanes import LANES
from sim.physics.simulation import STEP, Simulation
from sim.trial import driver, ground_cache
from sim.trial.brief import blank_notes, brief_of
from sim.trial.measures import result_of
from sim.trial.perform import conditions, perform
from sim.trial.rows import B_TIME_LIMIT, OVER
from sim.trial.task import Fault, Report, Task, Versions, record
from sim.trial.trial import mood, place_at_start, shifted
from terrain.obstacle import Obstacle

try:
    from numba import config, cuda

    from sim.batch.device_grounds import Grounds
    from sim.trial import many
except ImportError as error:
    raise SimError(
        "trials on a graphics processor need the numba-cuda library",
        field="on",
        value="gpu",
        remedy="Install it with `pip install 'cragbench[gpu]'`",
    ) from error

Array = NDArray[np.float64]
SEATS = 8192
"""Trials at a time: several times what finds room on a large device at once, so that long ones hold nobody up."""
LOOKS = 25
"""Looks between two visits: a quarter of a second of every trial."""
AHEAD = 64
"""Trials whose grounds are made together."""
GROUNDS = 2048
"""How many grounds lie on the device."""


def versions_on_device(trucks: Mapping[str, RigidModel]) -> Versions:
    """Versions of results from a device: bits may differ from a processor's, so that keys do."""
    try:
        compiler = version("numba-cuda")
    except PackageNotFoundError:  # the simulator comes with numba
        compiler = "absent"
    code = replace(versions_of(trucks), code=versions("sim.batch.device").code)
    return replace(code, engine=f"{code.engine} numba-cuda {compiler} on gpu")


def check_device() -> None:
    """Raise SimError unless there is a device, or the simulator of one (NUMBA_ENABLE_CUDASIM)."""
    if not cuda.is_available():
        raise SimError(
            "no graphics processor that can compute is found here",
            field="on",
            value="gpu",
            remedy="Look after its driver, or leave --on away to use this machine's cores",
        )


_Where = tuple[str, float, str, float | None, int, bool]


def _where(task: Task) -> _Where:
    """What a trial's ground depends on."""
    luck = task.draw
    return task.obstacle, task.level, task.yard, luck.roughness_mm, luck.rock_seed, luck.mirrored


def _kind(task: Task) -> tuple[str, str]:
    """What makes trials go similar ways: the truck and the family of ground."""
    return task.config, task.obstacle


@dataclass
class _Waiting:
    """A trial ready to sit down."""

    task: Task
    config: int
    ground: int
    row: Array
    com: Array


class _Trucks:
    """Configurations on the device, in the order in which they were met."""

    def __init__(self, trucks: Mapping[str, RigidModel]) -> None:
        self.models = trucks
        self._place: dict[str, int] = {}
        self._known: list[tuple[ModelArrays, int, int]] = []
        self._standing: list[Simulation] = []
        self.tables: Any = None
        self.on_device: Any = None

    def place(self, config: str, ground: Obstacle) -> int:
        """Row of a configuration; a new one is added."""
        if config not in self._place:
            model = self.models[config]
            simulation = Simulation(model, ground.ground)
            self._place[config] = len(self._known)
            self._known.append((simulation.arrays, model.tyres[0].n_round, len(model.tyres[0].row_y)))
            self._standing.append(simulation)
            self.tables = None
        return self._place[config]

    def standing(self, place: int) -> Simulation:
        """A truck to set down."""
        return self._standing[place]

    def uploaded(self) -> Any:
        """The tables on the device, sent again where a truck has come."""
        if self.tables is None:
            self.tables = many.truck_tables(self._known)
            self.on_device = _sent(self.tables)
        return self.on_device


def _sent(value: Any) -> Any:
    if isinstance(value, tuple):
        return type(value)(*(_sent(one) for one in value))
    return cuda.to_device(value)


class Device:
    """A graphics processor, as :class:`sim.batch.worker_pool.Executor`."""

    def __init__(self, trucks: Mapping[str, RigidModel], seats: int = SEATS, grounds: int = GROUNDS) -> None:
        """Find the device.

        :param trucks: Rigid models by hash, all that the trials may name.
        :param seats: Trials at a time.
        :param grounds: Places for grounds.
        :raises SimError: There is none.
        """
        check_device()
        self._models = trucks
        self._trucks = _Trucks(trucks)
        self._grounds = Grounds(grounds)
        self._waiting: deque[Task] = deque()
        self._ready: deque[_Waiting] = deque()
        self._makers = makers()
        self._made: dict[_Where, Future[Obstacle]] = {}
        self._foreseen = 0
        self._sitting: list[Task | None] = [None] * seats
        self._ground_of = np.zeros(seats, dtype=int)
        self._empty = list(range(seats))[::-1]
        self._answers: list[Answer] = []
        self._shape: dict[str, tuple[int, ...]] = {}
        self._seats: Any = None
        self._gravity = cuda.to_device(many.GRAVITY_ROW)
        self._margin_looks = 0

    def load(self, payload: Mapping[str, RigidModel]) -> None:
        """Take further trucks; those that are on the device stay there."""
        self._models = {**self._models, **payload}
        self._trucks.models = self._models

    def free(self) -> int:
        """Room for further tasks: as many wait as sit."""
        return len(self._sitting) + len(self._empty) - len(self._waiting) - len(self._ready)

    def give(self, task: Task) -> None:
        """Hand a task over."""
        self._waiting.append(task)

    def collect(self, timeout: float) -> list[Answer]:
        """Seat who waits, let all go on for a quarter of a second of theirs, and answer for whoever is done."""
        if timeout > 0.0:
            if len(self._empty) == len(self._sitting):
                self._get_ready(len(self._empty))
            self._sit_down()
            if len(self._empty) < len(self._sitting):
                self._go_on()
            elif not self._answers:
                time.sleep(min(timeout, 0.01))
        answers, self._answers = self._answers, []
        return answers

    def close(self) -> None:
        """Forget who sits there."""
        self._waiting.clear()
        self._ready.clear()
        self._makers.shutdown(cancel_futures=True)
        self._seats = None

    def _get_ready(self, most: int, until: Callable[[], bool] = lambda: False) -> None:
        """Draw up what those who wait bring along, in order, until ``most`` are ready or the device has stopped."""
        while self._waiting and len(self._ready) < most and not until():
            if self._foreseen <= 0:
                self._look_ahead()
            self._foreseen -= 1
            task = self._waiting[0]
            if task.keep_trace:  # a motion is recorded where it can be looked at
                self._answers.append(carry_out(perform, self._models, self._waiting.popleft()))
                continue
            try:
                found = self._drawn_up(task)
            except Exception as error:
                self._answers.append(Fault(task, "raised", f"{type(error).__name__}: {error}"))
                self._waiting.popleft()
                continue
            if found is None:
                break
            self._ready.append(found)
            self._waiting.popleft()

    def _look_ahead(self) -> None:
        """Have the grounds of those who come next made, on all cores, while others are drawn up."""
        coming = list(islice(self._waiting, AHEAD))
        self._foreseen = len(coming)
        wanted = {_where(task): None for task in coming if not task.keep_trace}
        self._made = {key: made for key, made in self._made.items() if key in wanted}  # the others lie there
        for key in wanted:
            if key not in self._made and self._grounds.held(key) is None:
                self._made[key] = self._makers.submit(make_ground, *key)

    def _drawn_up(self, task: Task) -> _Waiting | None:
        """Everything that a trial brings along; None while there is no place for its ground."""
        luck, where = task.draw, _where(task)
        obstacle = self._grounds.held(where)
        if obstacle is None:
            made = self._made.get(where)
            obstacle = ground_cache.ground(*where) if made is None else made.result()
        config = self._trucks.place(task.config, obstacle)
        met = conditions(luck)
        truck = shifted(self._models[task.config], met.cg_shift)
        standing = self._trucks.standing(config)
        standing.engine.base_p[:] = truck.bodies[0].p_BBcm
        standing.stand_on(obstacle.ground)
        place_at_start(standing, obstacle.start, met)
        brief = brief_of(truck, obstacle, mood(driver.named(task.driver), luck.driver_seed))
        row = many.column(
            standing.state, STEP, met.grip_scale, met.voltage_scale, brief, blank_notes(brief)
        )
        self._margin_looks = max(self._margin_looks, int(brief[B_TIME_LIMIT] / driver.LOOK) + 10)
        ground = self._grounds.place(where, obstacle)
        if ground is None:
            return None
        return _Waiting(task, config, ground, row, np.array([body.p_BBcm for body in truck.bodies]))

    def _sit_down(self) -> None:
        """Fill empty seats with those who are ready."""
        if not self._ready or not self._empty:
            return
        self._make_seats()
        ready = list(self._ready)
        pairs = seating(self._empty, [_kind(one.task) for one in ready],
                        [None if task is None else _kind(task) for task in self._sitting], many.ATTEMPTS)
        seats, seated = [seat for seat, _ in pairs], [ready[place] for _, place in pairs]
        for seat, one in zip(seats, seated, strict=True):
            self._sitting[seat] = one.task
            self._ground_of[seat] = one.ground
        taken = {place for _, place in pairs}
        self._ready = deque(one for place, one in enumerate(ready) if place not in taken)
        self._empty = sorted(set(self._empty) - set(seats), reverse=True)
        many.take_seat[len(seats), many.GROUPS](
            cuda.to_device(np.array(seats)),
            cuda.to_device(np.array([(one.config, one.ground) for one in seated])),
            cuda.to_device(np.stack([one.row for one in seated])),
            cuda.to_device(np.stack([one.com for one in seated])),
            self._seats,
        )

    def _make_seats(self) -> None:
        """Make the seats, or those that have become too small for a new truck or a longer trial."""
        self._trucks.uploaded()
        shapes = many.seat_shapes(self._trucks.tables, -(-self._margin_looks // 1024) * 1024)
        n = len(self._sitting)
        old, self._seats = self._seats, None
        if old is None:
            points_to = many.room((n, 2), np.int64)
            made = {name: many.room((n, *shape)) for name, shape in shapes.items() if name != "row"}
            made["row"] = many.room((n, *shapes["row"]), value=OVER)
        else:
            points_to = old.points_to
            made = {name: getattr(old, name) for name in shapes}
            for name, shape in shapes.items():
                if any(a > b for a, b in zip(shape, self._shape[name], strict=True)):
                    made[name] = _larger(made[name], (n, *shape))
                else:
                    shapes[name] = self._shape[name]
        self._shape = shapes
        self._seats = many.Seats(points_to, **made)

    def _go_on(self) -> None:
        """Let all go on, and meanwhile draw up who comes next."""
        began = time.perf_counter()
        n = len(self._sitting)
        many.go_on[-(-n // many.ATTEMPTS), LANES * many.ATTEMPTS](
            LOOKS, round(driver.LOOK / STEP), STEP, self._gravity, self._trucks.uploaded(), self._grounds.uploaded(),
            self._seats,
        )  # fmt: skip
        phases = cuda.device_array(n)
        many.read_phases[many.blocks(n), many.GROUPS](self._seats, phases)
        if self._waiting:
            self._get_ready(n, _stopped())
        phase = phases.copy_to_host()
        done = np.array([k for k in np.flatnonzero(phase == OVER) if self._sitting[k] is not None], dtype=int)
        share = (time.perf_counter() - began) / max(n - len(self._empty), 1)
        if not len(done):
            return
        out = cuda.device_array((len(done), many.R_SIZE))
        many.read_out[len(done), many.GROUPS](cuda.to_device(done), self._seats, out)
        for seat, row in zip(done, out.copy_to_host(), strict=True):
            task = self._sitting[seat]
            assert task is not None
            found = result_of(*many.outcome(row))
            self._answers.append(Report(task, record(found), None, share * max(found.time / (LOOKS * 0.01), 1.0)))
            self._sitting[seat] = None
            self._grounds.leave(int(self._ground_of[seat]))
            self._empty.append(int(seat))


def _stopped() -> Callable[[], bool]:
    """Ask whether the device has done what it was given so far."""
    if not hasattr(cuda, "event") or config.ENABLE_CUDASIM:  # the simulator is done when it returns
        return lambda: False
    event = cuda.event(timing=False)
    event.record()
    return lambda: bool(event.query())


def _larger(old: Any, shape: tuple[int, ...]) -> Any:
    """The same with more room at the ends."""
    made = np.zeros(tuple(max(a, b) for a, b in zip(old.shape, shape, strict=True)))
    made[tuple(slice(k) for k in old.shape)] = old.copy_to_host()
    return cuda.to_device(made)
