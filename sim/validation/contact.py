"""The demo's headlines under another contact model: do their signs and sizes depend on our tyre?

Both models drive every second node of the same ground: MuJoCo keeps so many contacts of a tyre on the full one that a
trial takes minutes. Ours on the full ground, which the headlines are from, stands beside them. Further repeats, and the
side-hill, whose trials are longest: ``scripts/second_opinion.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import RigidModel
from models.tyre import plate_table
from sim.batch.study import yard_of
from sim.decision.limit_search import FIRST_STRIDE, NEXT_STRIDE, LimitSearch
from sim.decision.obstacle_mix import Line, lines
from sim.physics.arrays import S_POS, W_NORMAL
from sim.physics.engine_compiled import TreeEngine
from sim.physics.simulation import EngineMaker, Simulation
from sim.statistics.group_sequential import interval
from sim.trial import driver, ground_cache, trial
from sim.trial.luck import Draw, Variation, draw
from sim.trial.perform import conditions
from sim.trial.result import record
from sim.validation.check import Check, Group, Measured, absolute, between, one, relative
from sim.validation.soft_contact import contact_stiffness, on, pressed
from sim.validation.truck import sheet, truck
from terrain.heightfield import Heightfield

GROUP = Group("contact", "The demo's headlines under another contact model")
Array = NDArray[np.float64]
NAME, CHANGE = "gundi", "battery-forward"
EVERY = 2
"""Nodes from one that is driven to the next."""
REPEATS = 4
TOLERANCE = 2
"""Steps of the line to which a limit is found under MuJoCo."""
FACTOR = 3.0
"""What counts as the same rough size."""


def sparse(ground: Heightfield) -> Heightfield:
    """Every second node of a ground."""
    return Heightfield.of(ground.z[::EVERY, ::EVERY], ground.origin, EVERY * ground.spacing)


@cache
def stiffness(spacing: float) -> tuple[float, float]:
    """Of one contact of the truck's tyre, N/m, and the misfit."""
    return contact_stiffness(NAME, truck(NAME), spacing)


def limit(model: RigidModel, line: Line, luck: Draw, search: LimitSearch, *, soft: bool, every: bool) -> float:
    """Level at which a truck stops clearing a line with this luck, by MuJoCo's contact or by ours.

    :param every: Whether the full ground is driven.
    """
    yard = yard_of(truck(NAME)).text()
    while (level := search.level()) is not None:
        ground = ground_cache.ground(line.obstacle, level, yard, luck.roughness_mm, luck.rock_seed, luck.mirrored)
        if not every:
            ground = replace(ground, ground=sparse(ground.ground))
        engine: EngineMaker = on(ground.ground, stiffness(ground.ground.spacing)[0]) if soft else TreeEngine
        found = trial.run(model, ground, driver.named("steady"), luck.driver_seed, conditions=conditions(luck),
                          engine=engine)
        search.learn(level, record(found))
    return search.value


@dataclass(frozen=True)
class FoundLimits:
    """Of both trucks, the battery where it is and moved forward, with the luck of one repeat, in the line's unit."""

    other: tuple[float, float]
    """Under MuJoCo's contact."""
    same: tuple[float, float]
    """By our law on the same ground."""
    full: tuple[float, float]
    """By our law on the full ground, which the headlines are from."""


def compared(line: Line, repeat: int, tolerance: int = TOLERANCE, higher: float = 0.0) -> FoundLimits:
    """Close in on the limits of both trucks under either model.

    :param repeat: Whose luck is met, seed 1.
    :param tolerance: Steps of the line to which MuJoCo's limits are found.
    :param higher: By how much they are likely to lie above ours: where to begin to look.
    """
    luck = draw(Variation(), 1, line.obstacle, 0.0, repeat)
    found = []
    for model in (truck(NAME), truck(NAME, CHANGE)):
        full = limit(model, line, luck, LimitSearch(line, line.start, FIRST_STRIDE), soft=False, every=True)
        same = limit(model, line, luck, LimitSearch(line, full, NEXT_STRIDE), soft=False, every=False)
        other = limit(model, line, luck, LimitSearch(line, same + higher, 2 * NEXT_STRIDE, tolerance), soft=True,
                      every=False)
        found.append((other, same, full))
    (other, same, full), (moved, same_moved, full_moved) = found
    return FoundLimits((other, moved), (same, same_moved), (full, full_moved))


def shifts(name: str) -> tuple[Array, Array, Array]:
    """(REPEATS,) shift of a line's limit by the moved battery: MuJoCo, ours on that ground, ours on the full one."""
    line, = lines((name,), (), yard_of(truck(NAME)))
    found = np.array([[one.other, one.same, one.full] for one in (compared(line, k) for k in range(REPEATS))])
    other, same, full = (found[:, :, 1] - found[:, :, 0]).T
    return other, same, full


def headline(name: str, unit: str) -> Check:
    """A check of one line."""

    @GROUP.check(
        f"second contact model, {name}",
        f"The battery moved forward shifts the limit on {name} the same way and about as far under MuJoCo's contact: "
        "its shift over ours, on the same ground and on the full one",
        source="MuJoCo's soft contacts, fitted to the squish table; same truck, luck, driver and referee",
        known="other library", unit="shift over ours", needs=("mujoco",), slow=True,
        tolerance=between(f"sign, and size within a factor of {FACTOR:g}; {REPEATS} repeats"),
    )
    def check() -> Measured:
        """Limits of both trucks with the same luck, closed in on under either model."""
        other, same, full = shifts(name)
        note = f"{unit}: " + "; ".join(
            f"{who} {_range(values)}, one by one {', '.join(f'{v:+.4g}' for v in values)}"
            for who, values in (("MuJoCo", other), ("ours on that ground", same), ("ours on the full ground", full)))
        ratios = [float(other.mean() / ours.mean()) for ours in (same, full)]
        return Measured((1.0 / FACTOR, FACTOR), ratios, note)

    return check


def _range(values: Array) -> str:
    found = interval(values, 0.05)
    return f"{found.value:+.2g} ({found.low:+.2g} to {found.high:+.2g})"


CLIMB, LEDGE, DESCENT = headline("climb", "deg"), headline("ledge-on-slope", "mm"), headline("descent", "deg")


@GROUP.check(
    "second contact model, squish table",
    "Load of MuJoCo's tyre pressed on a flat, a spring for every triangle, against the five rows of the table",
    source="the squish table of the invented 1/24", known="derived here", unit="N", needs=("mujoco",),
    tolerance=relative(0.25, "one number for five rows: a layer of springs is softer at first and stiffer later"),
)
def squish() -> Measured:
    """Every second node of a ground of 2 mm."""
    sinks, loads = plate_table(sheet(NAME).tyres.front)
    one_contact, _ = stiffness(0.002 * EVERY)
    got = one_contact * pressed(truck(NAME), 0.002 * EVERY, sinks.tolist())
    return Measured(loads.tolist(), got.tolist())


@GROUP.check(
    "second contact model, standing",
    "The truck stands under MuJoCo's contact as high as under ours", source="our tyre", known="derived here", unit="mm",
    tolerance=absolute(0.2, "a tenth of what the tyres sink"), needs=("mujoco",),
)
def standing() -> Measured:
    """Chassis after one second on a flat."""
    flat = Heightfield.of(np.zeros((200, 100)), (-0.3, -0.2), 0.002 * EVERY)
    heights = []
    for engine in (TreeEngine, on(flat, stiffness(flat.spacing)[0])):
        with Simulation(truck(NAME), flat, engine=engine) as simulation:
            simulation.place(0.0, 0.0, 0.0)
            simulation.command(0.0, 0.0, True)
            simulation.advance(1000)
            origin = simulation.state[S_POS + 2] - (simulation.frames[0] @ simulation.engine.base_p)[2]
            heights.append(1000.0 * float(origin))
            load = float(simulation.wheels[:, W_NORMAL].sum())
    share = load / (truck(NAME).mass * GRAVITY)
    return one(heights[0], heights[1], f"contact forces add up to {share:.3f} weights, for springs lean to the axle")
