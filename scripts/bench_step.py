"""Time of one step, part by part, beside the floor that the engine's own step and state exchange set.

Ours and the floor are timed in turn, block by block, so that a machine that speeds up or slows down moves both.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from models.rigid import RigidModel
from sim import driver as drivers
from sim.drive_force import drive_forces, steer_forces
from sim.engine_bullet import BulletEngine
from sim.forces import step_forces
from sim.hull_force import hull_forces
from sim.kinematics import forward, generalise
from sim.layout import D_REAR, M_HULL_LOAD, M_HULL_LOAD_AXLE, M_MOTOR_SPEED, O_SIZE, S_SIZE, U_DT, W_TOUCH
from sim.observe import V_S
from sim.shock_force import shock_forces
from sim.simulation import STEP, Simulation
from sim.trial import LOOK
from sim.tyre_force import tyre_forces
from terrain.obstacle import Obstacle

BLOCK = 250
"""Steps timed at a stretch: long against the clock's grain, short against the machine's moods."""


@dataclass(frozen=True)
class StepTimes:
    """Medians over blocks, microseconds per step."""

    step_us: float
    floor_us: float
    step_over_floor: float
    four_tyres_us: float
    four_tyres_over_floor: float
    parts: dict[str, float]
    crossed: bool
    hull_share: float
    """Share of steps with a hard part on the ground."""
    blocks: int


def _per_call(call: Callable[[], object], calls: int) -> float:
    start = time.thread_time()
    for _ in range(calls):
        call()
    return (time.thread_time() - start) / calls * 1e6


class Floor:
    """The same tree without any force of ours: what the loop cannot avoid."""

    def __init__(self, model: RigidModel) -> None:
        self._engine = BulletEngine(model, STEP, (0.0, 0.0, 0.0))
        self._state = np.zeros(S_SIZE)
        self._state[6] = 1.0
        self._out = np.zeros(O_SIZE)
        self._engine.reset(self._state)

    def block(self) -> float:
        """Microseconds per step over one block."""
        return _per_call(self._turn, BLOCK)

    def read(self) -> None:
        """The state read alone."""
        self._engine.read(self._state)

    def write(self) -> None:
        """The force write alone; the forces are zero, for they add up until the next step."""
        self._engine.apply(self._out)

    def _turn(self) -> None:
        self._engine.read(self._state)
        self._engine.apply(self._out)
        self._engine.step()


def _parts(simulation: Simulation, floor: Floor, calls: int = 60) -> dict[str, float]:
    """Time the pieces of a step on the state as it stands; with a step of zero they change nothing that lasts."""
    s, a, p = simulation, simulation.arrays, simulation.points
    memory, controls = s.memory.copy(), s.controls.copy()
    bristles, hull_bristles = s.bristles.copy(), s.hull_bristles.copy()
    s.controls[U_DT] = 0.0
    ground = (s._z, s._top, s._header)
    moving = (s.frames, p[0], p[1], p[2])
    everything = (
        s.state, s.controls, s.memory, s.out, a.body, a.tyre, a.row, a.law, a.compass, a.shock, a.drive, a.hull,
        s.bristles, s.hull_bristles, *ground, s.frames, s.points, s.wheels,
    )  # fmt: skip
    calls_by_part: dict[str, Callable[[], object]] = {
        "state read": floor.read,
        "all forces, one call": lambda: step_forces(*everything),
        "  tyres": lambda: tyre_forces(
            s.controls, s.memory, a.tyre, a.row, a.law, a.compass, s.bristles, *ground, *moving, p[3], s.wheels
        ),
        "  hull": lambda: hull_forces(
            s.controls, s.memory, a.hull, s.hull_bristles, ground[0], ground[2], *moving, p[3]
        ),
        "  kinematics": lambda: forward(s.state, a.body, a.drive, *moving),
        "  shocks": lambda: shock_forces(a.shock, *moving, p[3]),
        "  drive and steering": lambda: (
            drive_forces(s.state, s.controls, s.memory, a.drive, s.frames, p[3], s.out),
            steer_forces(s.state, s.controls, s.memory, a.drive, s.out),
        ),
        "  generalised forces": lambda: generalise(s.state, a.body, s.frames, p[0], p[3], s.out),
        "force write": floor.write,
    }
    for call in calls_by_part.values():
        call()  # compiled or loaded before it is timed
    times = {name: _per_call(call, calls) for name, call in calls_by_part.items()}
    s.memory[:], s.controls[:], s.bristles[:], s.hull_bristles[:] = memory, controls, bristles, hull_bristles
    return times


def time_steps(model: RigidModel, obstacle: Obstacle, seconds: float = 12.0) -> StepTimes:
    """Drive across a ledge and time it. ``seconds`` bounds the simulated time."""
    floor = Floor(model)
    ours: list[float] = []
    floors: list[float] = []
    parts: dict[str, list[float]] = {}
    looks: list[float] = []
    hull = 0
    with Simulation(model, obstacle.ground) as simulation:
        simulation.place(obstacle.start.x, obstacle.start.y, obstacle.start.heading)
        simulation.command(0.0, 0.0, True)
        simulation.advance(400)
        standing: list[float] = []
        standing_floor: list[float] = []
        for _ in range(12):
            standing.append(_per_call(lambda: simulation.advance(BLOCK), 1) / BLOCK)
            standing_floor.append(floor.block())
        if not np.all(simulation.wheels[:, W_TOUCH] > 0):
            raise RuntimeError("the standing truck does not stand on four tyres")
        hands = drivers.Hands(drivers.named("bump"), model.wheelbase, descending=False)
        radius = float(obstacle.detail["tyre_radius_mm"]) * 1e-3
        top = model.drive.voltage / model.drive.kt / simulation.arrays.drive[D_REAR] * radius
        view = simulation.look(obstacle.lane, model.wheelbase, LOOK)
        per_look = round(LOOK / STEP)
        now, block, blocks = 0.0, 0.0, 0
        while now < seconds and view[V_S] < obstacle.finish_s and hands.move != "beaten":
            tread = simulation.memory[M_MOTOR_SPEED] / simulation.arrays.drive[D_REAR] * radius
            hands.decide(now, view, tread, LOOK)
            simulation.command(hands.throttle(tread, top, LOOK), hands.steer(view, LOOK), False)
            start = time.thread_time()
            simulation.advance(per_look)
            stop = time.thread_time()
            view = simulation.look(obstacle.lane, model.wheelbase, LOOK)
            looks.append((time.thread_time() - stop) / per_look * 1e6)
            block += stop - start
            now += LOOK
            blocks += 1
            hull += bool(simulation.memory[M_HULL_LOAD] + simulation.memory[M_HULL_LOAD_AXLE] > 0.0)
            if blocks % (BLOCK // per_look) == 0:
                ours.append(block / BLOCK * 1e6)
                floors.append(floor.block())
                block = 0.0
                for name, value in _parts(simulation, floor).items():
                    parts.setdefault(name, []).append(value)
    median = statistics.median
    shares = {name: median(values) for name, values in parts.items()}
    floor_us = median(floors)
    shares["engine step"] = floor_us - shares["state read"] - shares["force write"]
    shares["outcome and margin"] = median(looks)
    return StepTimes(
        step_us=median(ours),
        floor_us=floor_us,
        step_over_floor=median([a / b for a, b in zip(ours, floors, strict=True)]),
        four_tyres_us=median(standing),
        four_tyres_over_floor=median([a / b for a, b in zip(standing, standing_floor, strict=True)]),
        parts=shares,
        crossed=bool(view[V_S] >= obstacle.finish_s),
        hull_share=hull / max(blocks, 1),
        blocks=len(ours),
    )
