"""One trial: a pure function of its arguments, decided by the first decisive event, in any process the same bits."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from models.massprops import GRAVITY
from models.rigid import RigidModel
from models.scenario import DATA
from sim.physics.arrays import O_SIZE, S_POS, S_Q, S_QD, S_QUAT, S_SIZE, S_SPIN, S_VEL
from sim.physics.engine import Engine
from sim.physics.engine_bullet import BulletEngine
from sim.physics.engine_compiled import TreeEngine
from sim.physics.simulation import Simulation
from sim.trial import driver, trial
from sim.trial.brief import blank_notes
from sim.trial.measures import percentile
from sim.trial.result import OUTCOMES, TrialResult
from sim.trial.rows import (
    B_BACK_OFF,
    B_BUMPS,
    B_PATIENCE,
    B_SIZE,
    B_SPEED,
    B_TOP_SPEED,
    B_WHEELBASE,
    BEATEN,
    BUMP,
    CRAWL,
    N_MOVE,
    N_TIME,
    REVERSE,
)
from sim.trial.trial import Conditions
from sim.trial.truck import load_truck
from terrain import catalog
from terrain.obstacle import Obstacle

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def model() -> RigidModel:
    return load_truck(DATA / "gundi.toml").model


def obstacle(model: RigidModel, text: str, seed: int = 1) -> Obstacle:
    request = catalog.parse(text)
    radius = float(model.tyres[0].row_radius.max())
    return catalog.make(
        request.family, request.level, wheelbase=model.wheelbase, tyre_radius=radius, seed=seed, **request.detail
    )


def numbers(result: TrialResult) -> tuple[object, ...]:
    return tuple(getattr(result, name) for name in result.__dataclass_fields__ if name != "trace")


def test_equal_arguments_give_equal_bits(model: RigidModel) -> None:
    ground = obstacle(model, "ledge:12")
    first = trial.run(model, ground, driver.named("bump"), 5, conditions=Conditions(offset=0.004))
    trial.run(model, obstacle(model, "side-hill:30"), driver.named("steady"), 1)  # must leave nothing behind
    again = trial.run(model, ground, driver.named("bump"), 5, conditions=Conditions(offset=0.004))
    assert numbers(first) == numbers(again)


@pytest.mark.slow
def test_another_process_gives_the_same_bits(model: RigidModel) -> None:
    code = (
        "from models.scenario import DATA\nfrom sim.trial import driver, trial\n"
        "from sim.trial.truck import load_truck\n"
        "from terrain import catalog\n"
        "m = load_truck(DATA / 'gundi.toml').model\n"
        "g = catalog.make('ledge', 12, wheelbase=m.wheelbase, tyre_radius=float(m.tyres[0].row_radius.max()), seed=1)\n"
        "r = trial.run(m, g, driver.named('bump'), 5)\n"
        "print(repr((r.time, r.min_margin, r.energy, r.slip, r.distance)))"
    )
    told = [
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        for _ in range(2)
    ]
    here = trial.run(model, obstacle(model, "ledge:12"), driver.named("bump"), 5)
    assert told[0] == told[1]
    assert told[0].strip() == repr((here.time, here.min_margin, here.energy, here.slip, here.distance))


def test_a_low_ledge_is_cleared_and_a_wall_is_not(model: RigidModel) -> None:
    low = trial.run(model, obstacle(model, "ledge:5"), driver.named("steady"), 1)
    wall = trial.run(model, obstacle(model, "ledge:60"), driver.named("steady"), 1)
    assert (low.outcome, low.reason) == ("cleared", "crossed the finish")
    assert wall.outcome == "stuck"
    assert wall.distance < low.distance


def test_rolls_on_a_side_hill_beyond_its_tip_angle(model: RigidModel) -> None:
    """Rigid limit is atan(T/2h): well beyond it the truck must go over, to the low (right) side."""
    limit = math.degrees(math.atan(0.5 * model.track[0] / model.cg()[2]))
    result = trial.run(model, obstacle(model, f"side-hill:{limit + 8:.0f}"), driver.named("steady"), 1)
    assert (result.outcome, result.reason) == ("rolled", "tipped right")
    # Past the point of no return there is no margin left, and none below that.
    assert result.min_margin == 0.0 <= result.margin_p5


def test_without_grip_nothing_is_climbed(model: RigidModel) -> None:
    slippery = Conditions(grip_scale=0.3)
    result = trial.run(model, obstacle(model, "climb:35"), driver.named("steady"), 1, conditions=slippery)
    assert result.outcome in ("stuck", "slid")
    assert result.slip > 0.3


def test_the_margin_at_the_start_is_the_static_tip_angle(model: RigidModel) -> None:
    """On the flat the smallest edge angle is the resting truck's side tip angle; soft tyres move it by a degree."""
    result = trial.run(model, obstacle(model, "ledge:0.5,roughness_mm=0"), driver.named("steady"), 1)
    expected = math.atan(0.5 * model.track[0] / model.cg()[2])
    assert result.min_margin == pytest.approx(expected, abs=math.radians(1.5))


def test_a_trace_covers_the_trial_at_its_interval(model: RigidModel) -> None:
    result = trial.run(model, obstacle(model, "ledge:5"), driver.named("steady"), 1, trace=True)
    assert result.trace is not None
    assert result.trace.time[-1] == pytest.approx(result.time, abs=2.0 * result.trace.interval)
    assert np.allclose(np.diff(result.trace.time), result.trace.interval)
    assert np.allclose(np.linalg.norm(result.trace.base[:, 3:], axis=1), 1.0)
    assert result.trace.joints.shape == (len(result.trace.time), 10)
    # The truck's weight stands on its tyres while it rolls on the flat.
    assert result.trace.wheel_force[:20, :, 2].sum(axis=1).mean() == pytest.approx(model.mass * GRAVITY, rel=0.05)


def test_a_shifted_centre_of_gravity_moves_the_whole_truck_by_as_much(model: RigidModel) -> None:
    moved = trial.shifted(model, (0.003, -0.001, 0.002))
    assert moved.cg() - model.cg() == pytest.approx([0.003, -0.001, 0.002], abs=1e-15)
    assert moved.mass == model.mass


def test_all_outcomes_of_a_family_are_known_words(model: RigidModel) -> None:
    for text in ("descent:30", "climb:60", "ledge-on-slope:30"):
        assert trial.run(model, obstacle(model, text), driver.named("brisk"), 2).outcome in OUTCOMES


class Falling(Engine):
    """A fake engine: a free point mass that ignores joints. All that a trial needs of an engine, in a few lines."""

    def __init__(self, model: RigidModel, step: float, gravity: tuple[float, float, float]) -> None:
        self.base_p, self.base_rotation = np.array(model.bodies[0].p_BBcm), np.eye(3)
        self._mass, self._step, self._gravity = model.mass, step, np.array(gravity)
        self._state, self._force = np.zeros(S_SIZE), np.zeros(3)

    def reset(self, state: np.ndarray) -> None:
        self._state[:] = state

    def set_gravity(self, gravity: tuple[float, float, float]) -> None:
        self._gravity = np.array(gravity)

    def read(self, state: np.ndarray) -> None:
        state[:] = self._state

    def apply(self, out: np.ndarray) -> None:
        self._force = out[:3].copy()

    def step(self) -> None:
        self._state[S_VEL:S_SPIN] += self._step * (self._gravity + self._force / self._mass)
        self._state[S_POS:S_QUAT] += self._step * self._state[S_VEL:S_SPIN]

    def close(self) -> None:
        pass


class Broken(Falling):
    """An engine whose state blows up after a while."""

    def step(self) -> None:
        super().step()
        self._state[S_POS + 2] = math.nan


def test_a_blown_up_state_is_invalid_and_nothing_else(model: RigidModel) -> None:
    result = trial.run(model, obstacle(model, "ledge:5"), driver.named("steady"), 1, engine=Broken)
    assert (result.outcome, result.reason) == ("invalid", "state not finite")


def test_the_seam_takes_another_engine(model: RigidModel) -> None:
    """In free fall from 1 m for 0.2 s a truck drops g t^2 / 2 (semi-implicit Euler adds half a step)."""
    ground = obstacle(model, "ledge:5").ground
    with Simulation(model, ground, engine=Falling) as simulation:
        simulation.put(np.array([0.1, 0.0, 1.0]), np.eye(3))
        before = simulation.state[2]
        simulation.advance(200)
        simulation.engine.read(simulation.state)
        assert before - simulation.state[2] == pytest.approx(0.5 * GRAVITY * 0.2 * 0.201, rel=1e-9)


@pytest.fixture(params=[TreeEngine, BulletEngine])
def engine(request: pytest.FixtureRequest, model: RigidModel) -> Iterator[Engine]:
    made = request.param(model, 1e-3, (0.0, 0.0, 0.0))
    yield made
    made.close()


def random_state(rng: np.random.Generator) -> np.ndarray:
    state = 0.3 * rng.standard_normal(S_SIZE)
    quaternion = rng.standard_normal(4)
    state[S_QUAT:S_VEL] = quaternion / np.linalg.norm(quaternion)
    return state


def test_the_engine_gives_back_the_state_it_was_given(engine: Engine) -> None:
    state = random_state(np.random.default_rng(1))
    got = np.zeros(S_SIZE)
    engine.reset(state)
    engine.read(got)
    # A rotation has two quaternions; either may come back.
    sign = np.sign(got[S_QUAT:S_VEL] @ state[S_QUAT:S_VEL])
    got[S_QUAT:S_VEL] *= sign
    assert got == pytest.approx(state, abs=1e-12)


def test_forces_act_for_one_step_only(engine: Engine) -> None:
    rng = np.random.default_rng(2)
    engine.reset(random_state(rng))
    engine.read(np.zeros(S_SIZE))
    engine.apply(rng.standard_normal(O_SIZE) * 1e-3)
    engine.step()
    after, twice, coasting = np.zeros(S_SIZE), np.zeros(S_SIZE), np.zeros(S_SIZE)
    engine.read(after)
    engine.step()
    engine.read(twice)
    engine.reset(after)
    engine.step()
    engine.read(coasting)
    assert twice[S_QD:] == pytest.approx(coasting[S_QD:], abs=1e-9)
    assert twice[S_Q:S_QD] == pytest.approx(coasting[S_Q:S_QD], abs=1e-12)


def test_drivers_are_told_by_name() -> None:
    from sim.errors import SimError

    assert driver.named("bump").bumps > 0
    with pytest.raises(SimError, match="Choose one of: .*steady"):
        driver.named("reckless")


def hand(**told: float) -> tuple[np.ndarray, np.ndarray]:
    """Brief and blank notes of a driver with a wheelbase of 0.134 m, driving."""
    row = np.zeros(B_SIZE)
    row[B_SPEED : B_SPEED + 4] = 0.1, -0.1, 0.2, 0.0
    row[B_WHEELBASE], row[B_TOP_SPEED], row[B_PATIENCE], row[B_BACK_OFF] = 0.134, 1.0, 1.6, 0.04
    row[B_BUMPS] = told.get("bumps", 0.0)
    return row, blank_notes(row)


def test_a_stuck_driver_backs_off_bumps_and_gives_up_at_last() -> None:
    """Against a wall: no progress, so he reverses, bumps, and after his last bump stands still on the brake."""
    row, notes = hand(bumps=2.0)
    moves = [CRAWL]
    for k in range(3000):
        notes[N_TIME] = 0.01 * k
        driver.decide(notes, row, 0.0, row[B_SPEED + int(notes[N_MOVE])])
        if notes[N_MOVE] != moves[-1]:
            moves.append(int(notes[N_MOVE]))
    assert moves == [CRAWL, REVERSE, BUMP, REVERSE, BUMP, BEATEN]


def test_the_throttle_settles_at_the_wanted_speed() -> None:
    """A motor that follows its duty at once (top speed 1 m/s) under a load worth 0.2 of its duty."""
    row, notes = hand()
    speed = 0.0
    for _ in range(200):
        speed = max(driver.throttle(notes, row, speed) - 0.2, 0.0)
    assert speed == pytest.approx(row[B_SPEED], rel=0.01)


def test_an_engine_that_is_asked_step_by_step_gives_the_same_bits(model: RigidModel) -> None:
    """The same dynamics, once compiled with driver and referee and once through the seam."""

    class Asked(TreeEngine):
        inside = None

    ground = obstacle(model, "ledge:12")
    whole = trial.run(model, ground, driver.named("bump"), 5)
    assert numbers(trial.run(model, ground, driver.named("bump"), 5, engine=Asked)) == numbers(whole)
    assert numbers(trial.run(model, ground, driver.named("bump"), 5, trace=True)) == numbers(whole)


def test_the_low_percentile_is_numpys() -> None:
    rng = np.random.default_rng(3)
    for n in (1, 2, 3, 20, 21, 41, 1000):
        values = np.round(rng.standard_normal(n), 1)  # many are alike
        expected = np.percentile(values, 5.0)
        assert percentile(values.copy(), n, 0.05) == expected
