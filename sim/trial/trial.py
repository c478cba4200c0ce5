"""One trial: settle, drive, stop at the first decisive event. A pure function of what it is given."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.rigid import RigidModel
from sim.physics.arrays import M_MOTOR_SPEED, U_STEER
from sim.physics.engine_compiled import TreeEngine
from sim.physics.observe import V_CG_VEL, V_S
from sim.physics.simulation import STEP, EngineMaker, Simulation
from sim.trial.attempt import act, attempt, judge
from sim.trial.brief import blank_notes, brief_of
from sim.trial.driver import LOOK, Driver
from sim.trial.measures import result_of
from sim.trial.recorder import Recorder
from sim.trial.result import TrialResult
from sim.trial.rows import (
    B_RADIUS,
    B_REACH,
    B_TIME_LIMIT,
    DRIVING,
    N_PHASE,
    N_TIME,
    OVER,
    STARTING,
)
from terrain.obstacle import Obstacle, Pose

Array = NDArray[np.float64]
AT_A_STRETCH = 2000
"""Looks in one compiled call, a quarter of a second's work: whoever interrupts a trial waits no longer."""
TRACE_INTERVAL = 0.02
LANDING_SHORTEST, LANDING_LONGEST, LANDED_SPEED = 0.3, 2.0, 0.02
"""s and m/s: how long a recorded truck that went over is followed until it lies."""


@dataclass(frozen=True)
class Conditions:
    """The luck of one attempt."""

    offset: float = 0.0
    """m to the left of the start."""
    heading: float = 0.0
    """rad to the left of the lane."""
    grip_scale: float = 1.0
    voltage_scale: float = 1.0
    cg_shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """m that the whole truck's centre of gravity lies from where the sheet says."""


FAIR = Conditions()


def run(
    model: RigidModel, obstacle: Obstacle, driver: Driver, seed: int, *, conditions: Conditions = FAIR,
    trace: bool = False, step: float = STEP, engine: EngineMaker = TreeEngine,
) -> TrialResult:
    """Drive one truck over one obstacle once.

    Equal arguments give equal bits, in any process. ``seed`` decides how the driver's hand varies; ``trace`` keeps
    the motion for replay.
    """
    person = mood(driver, seed)
    truck = shifted(model, conditions.cg_shift)
    with Simulation(truck, obstacle.ground, step=step, grip_scale=conditions.grip_scale,
                    voltage_scale=conditions.voltage_scale, engine=engine) as simulation:
        place_at_start(simulation, obstacle.start, conditions)
        return _drive(simulation, obstacle, person, trace)


def mood(driver: Driver, seed: int) -> Driver:
    """The same person on another try: speeds, patience and reaction vary by about a tenth (assumed)."""
    rng = np.random.Generator(np.random.PCG64(seed))
    speed, patience, reaction, aim = 1.0 + np.clip(rng.standard_normal(4), -2.5, 2.5) * (0.08, 0.1, 0.15, 0.08)
    return replace(
        driver,
        crawl_speed=driver.crawl_speed * speed,
        descent_speed=driver.descent_speed * speed,
        bump_speed=driver.bump_speed * speed,
        patience=driver.patience * patience,
        reaction=driver.reaction * reaction,
        look_ahead=driver.look_ahead * aim,
    )


def shifted(model: RigidModel, shift: tuple[float, float, float]) -> RigidModel:
    """Move the truck's centre of gravity by moving the chassis' own."""
    if shift == (0.0, 0.0, 0.0):
        return model
    chassis = model.bodies[0]
    moved = replace(chassis, p_BBcm=chassis.p_BBcm + np.array(shift) * (model.mass / chassis.mass))
    return replace(model, bodies=(moved, *model.bodies[1:]))


def place_at_start(simulation: Simulation, start: Pose, conditions: Conditions) -> None:
    """Set the truck down where its luck has it start."""
    simulation.place(start.x - conditions.offset * math.sin(start.heading),
                     start.y + conditions.offset * math.cos(start.heading), start.heading + conditions.heading)


class _Attempt:
    """An attempt under way."""

    def __init__(self, simulation: Simulation, obstacle: Obstacle, driver: Driver) -> None:
        self._simulation, self._lane = simulation, obstacle.lane
        self.brief = brief_of(simulation.model, obstacle, driver)
        self.notes = blank_notes(self.brief)
        self._margins = np.zeros(int(self.brief[B_TIME_LIMIT] / LOOK) + 10)

    def go_on(self, looks: int) -> None:
        """Take so many looks, or fewer until it is over: one compiled call where the engine allows it."""
        s, steps = self._simulation, round(LOOK / self._simulation.step)
        if s.engine.inside is not None:
            attempt(
                looks, steps, *s.engine.inside, self.notes, self.brief, self._margins, self._lane, s.contact, s.support,
                s.view, s.arguments,
            )  # fmt: skip
            return
        for _ in range(looks):
            if self.notes[N_PHASE] == OVER:
                return
            tread = s.memory[M_MOTOR_SPEED] / s.arrays.drive.rear * self.brief[B_RADIUS]
            act(self.notes, self.brief, s.view, tread, s.controls)
            if self.notes[N_PHASE] != STARTING:
                s.advance(steps)
            s.look(self._lane, self.brief[B_REACH], LOOK)
            judge(self.notes, self.brief, s.view, self._margins, tread, s.memory, s.wheels)

    def result(self) -> TrialResult:
        """What came out."""
        return result_of(self.notes, self._simulation.memory, self._simulation.view[V_S])


def _drive(simulation: Simulation, obstacle: Obstacle, driver: Driver, trace: bool) -> TrialResult:
    under_way = _Attempt(simulation, obstacle, driver)
    notes = under_way.notes
    if not trace:
        while notes[N_PHASE] != OVER:
            under_way.go_on(AT_A_STRETCH)
        return under_way.result()
    while notes[N_PHASE] < DRIVING:
        under_way.go_on(1)
    recorder = Recorder(simulation, TRACE_INTERVAL)
    recorder.take(0.0, simulation.view, 0.0)
    while notes[N_PHASE] != OVER:
        under_way.go_on(1)
        recorder.take(float(notes[N_TIME]), simulation.view, simulation.controls[U_STEER])
    result = under_way.result()
    if result.outcome == "rolled":
        _land(simulation, obstacle, recorder, result.time, under_way.brief[B_REACH])
    return replace(result, trace=recorder.trace())


def _land(simulation: Simulation, obstacle: Obstacle, recorder: Recorder, time: float, look_ahead: float) -> None:
    """Go on recording, brake on, until the truck lies still: for the eye alone, all results are in."""
    looks = round(LOOK / simulation.step)
    simulation.command(0.0, 0.0, True)
    for k in range(1, round(LANDING_LONGEST / LOOK) + 1):
        simulation.advance(looks)
        view = simulation.look(obstacle.lane, look_ahead, LOOK)
        speed = float(np.linalg.norm(view[V_CG_VEL : V_CG_VEL + 3]))
        if not np.isfinite(speed):
            return
        recorder.take(time + k * LOOK, view, 0.0)
        if k * LOOK >= LANDING_SHORTEST and speed < LANDED_SPEED:
            return
