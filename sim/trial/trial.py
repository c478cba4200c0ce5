"""One trial: settle, drive, stop at the first decisive event. A pure function of what it is given."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel
from sim.physics.arrays import (
    M_ENERGY,
    M_HULL_HITS,
    M_MOTOR_SPEED,
    M_PEAK_CURRENT,
    M_SATURATED,
    M_SINK,
)
from sim.physics.engine_compiled import TreeEngine
from sim.physics.observe import V_CG_VEL, V_MARGIN, V_S, V_SPEED
from sim.physics.simulation import STEP, EngineMaker, Simulation
from sim.trial.driver import Driver, Hands
from sim.trial.recorder import Recorder
from sim.trial.referee import WALKING_PACE, Referee
from sim.trial.result import Outcome, TrialResult
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]
LOOK = 0.01
"""s between looks of driver and referee."""
SETTLE_SHORTEST, SETTLE_LONGEST, SETTLED_SPEED = 0.2, 1.5, 2.0e-3
TRACE_INTERVAL = 0.02
LANDING_SHORTEST, LANDING_LONGEST, LANDED_SPEED = 0.3, 2.0, 0.02
"""s and m/s: how long a recorded truck that went over is followed until it lies."""
SPEED_TIME = 0.1
"""s over which speeds are averaged before their highest counts."""


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
    model: RigidModel,
    obstacle: Obstacle,
    driver: Driver,
    seed: int,
    *,
    conditions: Conditions = FAIR,
    trace: bool = False,
    step: float = STEP,
    engine: EngineMaker = TreeEngine,
) -> TrialResult:
    """Drive one truck over one obstacle once.

    Equal arguments give equal bits, in any process. ``seed`` decides how the driver's hand varies; ``trace`` keeps
    the motion for replay.
    """
    person = _mood(driver, seed)
    truck = _shifted(model, conditions.cg_shift)
    with Simulation(
        truck,
        obstacle.ground,
        step=step,
        grip_scale=conditions.grip_scale,
        voltage_scale=conditions.voltage_scale,
        engine=engine,
    ) as simulation:
        _settle(simulation, obstacle, conditions)
        return _drive(simulation, obstacle, person, trace)


def _mood(driver: Driver, seed: int) -> Driver:
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


def _shifted(model: RigidModel, shift: tuple[float, float, float]) -> RigidModel:
    """Move the truck's centre of gravity by moving the chassis' own."""
    if shift == (0.0, 0.0, 0.0):
        return model
    chassis = model.bodies[0]
    moved = replace(chassis, p_BBcm=chassis.p_BBcm + np.array(shift) * (model.mass / chassis.mass))
    return replace(model, bodies=(moved, *model.bodies[1:]))


def _settle(simulation: Simulation, obstacle: Obstacle, conditions: Conditions) -> None:
    """Stand the truck at the start and wait, brake on, until it is at rest on its springs and tyres."""
    start = obstacle.start
    simulation.place(
        start.x - conditions.offset * math.sin(start.heading),
        start.y + conditions.offset * math.cos(start.heading),
        start.heading + conditions.heading,
    )
    simulation.command(0.0, 0.0, True)
    looks = round(LOOK / simulation.step)
    for k in range(round(SETTLE_LONGEST / LOOK)):
        simulation.advance(looks)
        view = simulation.look(obstacle.lane, simulation.model.wheelbase, LOOK)
        speed = float(np.linalg.norm(view[V_CG_VEL : V_CG_VEL + 3]))
        if (k + 1) * LOOK >= SETTLE_SHORTEST and speed < SETTLED_SPEED:
            break
    memory = simulation.memory
    memory[M_HULL_HITS] = memory[M_ENERGY] = memory[M_SATURATED] = memory[M_PEAK_CURRENT] = memory[M_SINK] = 0.0


def _time_limit(obstacle: Obstacle, driver: Driver, wheelbase: float) -> float:
    """Three times what the way takes at the slowest speed, plus a pause for every bump, s."""
    slowest = min(driver.crawl_speed, driver.descent_speed) * wheelbase
    return 4.0 + 3.0 * obstacle.finish_s / slowest + 4.0 * driver.patience * driver.bumps


def _drive(simulation: Simulation, obstacle: Obstacle, driver: Driver, trace: bool) -> TrialResult:
    model, memory, arrays = simulation.model, simulation.memory, simulation.arrays
    hands = Hands(driver, model.wheelbase, obstacle.descending, track=min(model.track), weight=model.mass * GRAVITY)
    referee = Referee(
        weight=model.mass * GRAVITY,
        wheelbase=model.wheelbase,
        finish_s=obstacle.finish_s,
        lane_half_width=obstacle.lane_half_width,
        time_limit=_time_limit(obstacle, driver, model.wheelbase),
        floor=float(obstacle.ground.z.min()) - model.wheelbase,
        pace=WALKING_PACE / math.sqrt(model.scale) if obstacle.descending else math.inf,
    )
    radius = float(model.origins()[WHEEL_BODIES[2], 2])  # rear wheel centre above ground: the rolling radius
    top_speed = arrays.drive.volts / model.drive.kt / arrays.drive.rear * radius
    recorder = Recorder(simulation, TRACE_INTERVAL) if trace else None
    looks = round(LOOK / simulation.step)
    margins: list[float] = []
    slips: list[float] = []
    recent_slip = speed = slide = top_speed_seen = top_slide = 0.0
    time = 0.0
    decision: tuple[Outcome, str] | None = None
    look_ahead = driver.look_ahead * model.wheelbase
    view = simulation.look(obstacle.lane, look_ahead, LOOK)
    if recorder is not None:
        recorder.take(0.0, view, 0.0)
    while decision is None:
        tread = memory[M_MOTOR_SPEED] / arrays.drive.rear * radius
        hands.decide(time, view, tread, LOOK)
        steer = hands.steer(view, LOOK)
        duty = hands.throttle(tread, top_speed, LOOK)
        simulation.command(duty, steer, hands.move == "beaten")
        simulation.advance(looks)
        time += LOOK
        view = simulation.look(obstacle.lane, look_ahead, LOOK)
        margins.append(float(view[V_MARGIN]))
        slip = _slip(view[V_SPEED], tread)
        if hands.move in ("crawl", "bump"):
            slips.append(slip)
        recent_slip += 0.02 * (slip - recent_slip)
        speed += (view[V_SPEED] - speed) * LOOK / SPEED_TIME
        slide += (view[V_SPEED] - tread - slide) * LOOK / SPEED_TIME
        top_speed_seen, top_slide = max(top_speed_seen, abs(speed)), max(top_slide, slide)
        if recorder is not None:
            recorder.take(time, view, steer)
        decision = referee.verdict(time, view, memory, simulation.wheels, hands.move, recent_slip, slide)
    outcome, reason = decision
    # Past the point of no return the angle says nothing: a truck that went over has no margin left.
    least = 0.0 if outcome == "rolled" else -math.inf
    result = TrialResult(
        outcome=outcome,
        reason=reason,
        time=time,
        distance=float(max(referee.best, view[V_S])) if np.isfinite(view[V_S]) else 0.0,
        min_margin=0.0 if outcome == "rolled" else min(margins),
        margin_p5=max(float(np.percentile(margins, 5.0)), least),
        slip=float(np.mean(slips)) if slips else 0.0,
        belly_strikes=int(memory[M_HULL_HITS]),
        peak_current=float(memory[M_PEAK_CURRENT]),
        servo_saturation=float(memory[M_SATURATED]) / time,
        energy=float(memory[M_ENERGY]),
        max_sink=float(memory[M_SINK]),
        top_speed=float(top_speed_seen),
        top_slide=float(top_slide),
    )
    if recorder is None:
        return result
    if outcome == "rolled":
        _land(simulation, obstacle, recorder, time, look_ahead)
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


def _slip(ground_speed: float, tread_speed: float) -> float:
    """Share of the tread's speed that does not move the truck, 0 to 1; 0 while the tread stands."""
    if tread_speed < 1.0e-3:
        return 0.0
    return float(min(max(1.0 - ground_speed / tread_speed, 0.0), 1.0))
