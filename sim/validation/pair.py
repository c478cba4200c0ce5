"""Our engine and PyBullet side by side: one step from the same state, and whole attempts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from models.massprops import GRAVITY
from models.rigid import RigidModel
from sim.physics.arrays import S_POS, S_Q, S_QD, S_QUAT, S_SIZE, S_SPIN, S_VEL
from sim.physics.engine_bullet import BulletEngine
from sim.physics.engine_compiled import TreeEngine
from sim.physics.rotation import quaternion
from sim.physics.simulation import STEP, EngineMaker
from sim.trial import driver, trial
from sim.validation.check import Group, Measured, absolute
from sim.validation.states import forces_for, random_state
from sim.validation.truck import truck
from terrain import catalog

GROUP = Group("pair", "The same attempt in two engines")
Array = NDArray[np.float64]
CASES = 6
TINY = 1.0e-6
"""s; acceleration is the change of speed over one such step."""
ENGINES: dict[str, EngineMaker] = {"our tree": TreeEngine, "PyBullet": BulletEngine}


def one_step(make: EngineMaker, model: RigidModel, state: Array, out: Array, step: float) -> tuple[Array, Array]:
    """Base frame's state before and after one step of an engine, from a state of the chassis frame."""
    engine = make(model, step, (0.0, 0.0, -GRAVITY))
    at_base = state.copy()
    turn = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix()
    arm = turn @ engine.base_p
    at_base[S_POS:S_QUAT] += arm
    at_base[S_QUAT:S_VEL] = Rotation.from_matrix(turn @ engine.base_rotation).as_quat()
    at_base[S_VEL:S_SPIN] += np.cross(state[S_SPIN:S_Q], arm)
    engine.reset(at_base)
    before, after = np.zeros(S_SIZE), np.zeros(S_SIZE)
    engine.read(before)
    engine.apply(out)
    engine.step()
    engine.read(after)
    engine.close()
    # The chassis' own axes, whatever base frame the engine keeps.
    for row in (before, after):
        turned = Rotation.from_quat(row[S_QUAT:S_VEL]).as_matrix() @ engine.base_rotation.T
        row[S_QUAT:S_VEL] = quaternion(turned)
    return before, after


def acceleration(make: EngineMaker, model: RigidModel, state: Array, out: Array) -> Array:
    """Change of an engine's speeds over one tiny step (16,): base point's linear, angular (world), joints."""
    before, after = one_step(make, model, state, out, TINY)
    change = (after - before) / TINY
    return np.concatenate([change[S_VEL:S_Q], change[S_QD:]])


@GROUP.check(
    "one step, PyBullet",
    f"Our tree, one step of a millisecond, against PyBullet: place, attitude, joints and all speeds, {CASES} cases",
    source="PyBullet's articulated body algorithm and integrator", known="other library",
    unit="m, rad, per s", tolerance=absolute(1.0e-12, "rounding: speeds of order 10, sixteen digits"),
)
def one_step_pybullet() -> Measured:
    """Largest difference of all 33 numbers."""
    got = []
    for seed in range(CASES):
        state, out = random_state(seed), forces_for(seed)
        ends = [one_step(make, truck("takin"), state, out, STEP)[1] for make in ENGINES.values()]
        got.append(float(np.max(np.abs(ends[0] - ends[1]))))
    return Measured([0.0] * CASES, got)


TRIALS = ("ledge:24", "ledge-on-slope:10", "side-hill:36", "climb:45", "descent:40", "boulders:12")


@GROUP.check(
    "whole trials, PyBullet",
    f"The same attempts in our tree and in PyBullet: {', '.join(TRIALS)}, smallest tip-over margin and end",
    source="PyBullet's articulated body algorithm and integrator", known="other library",
    unit="deg",
    tolerance=absolute(1.0e-3, "rounding grows where wheels break away; an outcome that differs counts as 180"),
    slow=True,
)
def whole_trials_pybullet() -> Measured:
    """Difference of the smallest margin over each attempt."""
    model, got = truck("gundi"), []
    for text in TRIALS:
        family, level = text.split(":")
        ground = catalog.make(
            family, float(level), wheelbase=model.wheelbase, tyre_radius=float(model.tyres[0].row_radius.max()), seed=3
        )
        ours, theirs = (trial.run(model, ground, driver.named("bump"), 1, engine=make) for make in ENGINES.values())
        alike = (ours.outcome, ours.reason) == (theirs.outcome, theirs.reason)
        got.append(float(np.degrees(abs(ours.min_margin - theirs.min_margin))) if alike else 180.0)
    return Measured([0.0] * len(TRIALS), got)
