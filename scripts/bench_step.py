"""Time of one step, part by part, beside the floor that PyBullet's own step and state exchange set.

Our step, the same forces with PyBullet as the engine, and the floor are timed in turn, block by block, so that a
machine that speeds up or slows down moves all of them.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from models.rigid import RigidModel
from sim.physics.arrays import (
    M_HULL_LOAD,
    M_HULL_LOAD_AXLE,
    M_MOTOR_SPEED,
    O_SIZE,
    S_POS,
    S_SIZE,
    S_VEL,
    U_DT,
    W_TOUCH,
)
from sim.physics.drive_force import drive_forces, steer_forces
from sim.physics.dynamics import BODIES, C_SIZE, FREEDOMS
from sim.physics.engine_bullet import BulletEngine
from sim.physics.forces import step_forces
from sim.physics.ground_sampling import ground_arrays
from sim.physics.hull_force import hull_forces
from sim.physics.kinematics import forward, generalise
from sim.physics.observe import V_S
from sim.physics.shock_force import shock_forces
from sim.physics.simulation import STEP, Simulation
from sim.physics.stepping import move
from sim.physics.tyre_force import tyre_forces
from sim.trial import driver as drivers
from sim.trial.attempt import act
from sim.trial.brief import blank_notes, brief_of
from sim.trial.driver import LOOK
from sim.trial.rows import B_RADIUS, B_REACH, BEATEN, DRIVING, N_LOOKS, N_MOVE, N_PHASE, N_TIME
from terrain.heightfield import Heightfield
from terrain.obstacle import Obstacle

BLOCK = 250
"""Steps timed at a stretch: long against the clock's grain, short against the machine's moods."""
TWIN = 100
"""Steps of the second engine timed at each block's end, from the same moment."""


@dataclass(frozen=True)
class StepTimes:
    """Medians over blocks, microseconds per step."""

    step_us: float
    """The compiled step, forces and dynamics in one call."""
    bullet_engine_us: float
    """The same truck in the same place, PyBullet in place of our dynamics."""
    floor_us: float
    """PyBullet's step of the same tree without forces, the state read and the force write."""
    step_over_floor: float
    four_tyres_us: float
    four_tyres_over_floor: float
    parts: dict[str, float]
    crossed: bool
    hull_share: float
    """Share of the drive's looks with a hard part on the ground."""
    belly_share: float
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


def _parts(simulation: Simulation, calls: int = 60) -> dict[str, float]:
    """Time the pieces of a step on the state as it stands; with a step of zero they change nothing that lasts.

    Each piece is called from Python here, which adds about a microsecond that the real step, one call, does not pay.
    """
    s, a, p = simulation, simulation.arrays, simulation.points
    ground = ground_arrays(s.ground)
    memory, controls = s.memory.copy(), s.controls.copy()
    bristles, hull_bristles = s.bristles.copy(), s.hull_bristles.copy()
    s.controls[U_DT] = 0.0
    work, matrix, result = np.zeros((BODIES, C_SIZE)), np.zeros((FREEDOMS, FREEDOMS)), np.zeros(FREEDOMS)
    state, still = s.state.copy(), np.zeros(O_SIZE)
    calls_by_part: dict[str, Callable[[], object]] = {
        "all forces": lambda: step_forces(*s.arguments),
        "  tyres": lambda: tyre_forces(
            s.controls, s.memory, a.tyre, a.pressure, s.bristles, s.load, s.patch, ground, s.motion, p[3], s.wheels
        ),
        "  hull": lambda: hull_forces(s.controls, s.memory, a.hull, s.hull_bristles, ground, s.motion, p[3]),
        "  kinematics": lambda: forward(s.state, a.body, a.drive, s.motion),
        "  shocks": lambda: shock_forces(a.shock, s.motion, p[3]),
        "  drive and steering": lambda: (
            drive_forces(s.state, s.controls, s.memory, a.drive, s.frames, p[3], s.out),
            steer_forces(s.state, s.controls, s.memory, a.drive, s.out),
        ),
        "  generalised forces": lambda: generalise(s.state, a.body, s.motion, p[3], s.out),
        "dynamics and integration": lambda: move(state, still, a.body, s.motion, s.gravity, 0.0, work, matrix, result),
    }
    for call in calls_by_part.values():
        call()  # compiled or loaded before it is timed
    times = {name: _per_call(call, calls) for name, call in calls_by_part.items()}
    s.memory[:], s.controls[:], s.bristles[:], s.hull_bristles[:] = memory, controls, bristles, hull_bristles
    return times


def _second_engine_us(simulation: Simulation, model: RigidModel, ground: Heightfield) -> float:
    """Microseconds per step of the next moments with PyBullet as the engine."""
    other = Simulation(model, ground, engine=BulletEngine)
    other.put(simulation.points[0, 0, :3].copy(), simulation.frames[0].copy())
    now = np.zeros(S_SIZE)
    other.engine.read(now)
    other.state[:] = simulation.state
    other.state[S_POS:S_VEL] = now[S_POS:S_VEL]  # its base frame lies along other axes
    other.engine.reset(other.state)
    other.memory[:], other.controls[:] = simulation.memory, simulation.controls
    other.bristles[:], other.hull_bristles[:] = simulation.bristles, simulation.hull_bristles
    time_us = _per_call(lambda: other.advance(TWIN), 1) / TWIN
    other.close()
    return time_us


def _drive(simulation: Simulation, obstacle: Obstacle, who: str, seconds: float) -> Iterator[tuple[float, float]]:
    """Drive across; yields processor time per step of the steps and of the look after each 10 ms."""
    model = simulation.model
    brief = brief_of(model, obstacle, drivers.named(who))
    notes = blank_notes(brief)
    notes[N_PHASE] = DRIVING
    view = simulation.look(obstacle.lane, brief[B_REACH], LOOK)
    steps = round(LOOK / STEP)
    while notes[N_TIME] < seconds and view[V_S] < obstacle.finish_s and notes[N_MOVE] != BEATEN:
        tread = simulation.memory[M_MOTOR_SPEED] / simulation.arrays.drive.rear * brief[B_RADIUS]
        act(notes, brief, view, tread, simulation.controls)
        start = time.thread_time()
        simulation.advance(steps)
        middle = time.thread_time()
        view = simulation.look(obstacle.lane, brief[B_REACH], LOOK)
        yield (middle - start) / steps * 1e6, (time.thread_time() - middle) / steps * 1e6
        notes[N_TIME] += LOOK
        notes[N_LOOKS] += 1.0


def time_steps(model: RigidModel, obstacle: Obstacle, who: str, seconds: float = 12.0) -> StepTimes:
    """Drive across a ledge and time it. ``seconds`` bounds the simulated time."""
    floor = Floor(model)
    ours, bullets, floors, looks = [], [], [], []
    parts: dict[str, list[float]] = {}
    hull = belly = 0
    with Simulation(model, obstacle.ground) as simulation:
        simulation.place(obstacle.start.x, obstacle.start.y, obstacle.start.heading)
        simulation.command(0.0, 0.0, True)
        simulation.advance(400)
        standing, standing_floor = [], []
        for _ in range(12):
            standing.append(_per_call(lambda: simulation.advance(BLOCK), 1) / BLOCK)
            standing_floor.append(floor.block())
        if not np.all(simulation.wheels[:, W_TOUCH] > 0):
            raise RuntimeError("the standing truck does not stand on four tyres")
        block: list[float] = []
        for step_us, look_us in _drive(simulation, obstacle, who, seconds):
            block.append(step_us)
            looks.append(look_us)
            hull += bool(simulation.memory[M_HULL_LOAD] + simulation.memory[M_HULL_LOAD_AXLE] > 0.0)
            belly += bool(simulation.memory[M_HULL_LOAD] > 0.0)
            if len(block) == BLOCK * STEP / LOOK:
                ours.append(statistics.mean(block))
                floors.append(floor.block())
                bullets.append(_second_engine_us(simulation, model, obstacle.ground))
                for name, value in _parts(simulation).items():
                    parts.setdefault(name, []).append(value)
                block = []
        view = simulation.look(obstacle.lane, model.wheelbase, LOOK)
    median = statistics.median
    shares = {name: median(values) for name, values in parts.items()}
    shares["outcome and margin"] = median(looks)
    shares["floor: state read"] = _per_call(floor.read, 2000)
    shares["floor: force write"] = _per_call(floor.write, 2000)
    shares["floor: engine step"] = median(floors) - shares["floor: state read"] - shares["floor: force write"]
    return StepTimes(
        step_us=median(ours),
        bullet_engine_us=median(bullets),
        floor_us=median(floors),
        step_over_floor=median([a / b for a, b in zip(ours, floors, strict=True)]),
        four_tyres_us=median(standing),
        four_tyres_over_floor=median([a / b for a, b in zip(standing, standing_floor, strict=True)]),
        parts=shares,
        crossed=bool(view[V_S] >= obstacle.finish_s),
        hull_share=hull / max(len(looks), 1),
        belly_share=belly / max(len(looks), 1),
        blocks=len(ours),
    )
