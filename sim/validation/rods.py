"""A second truck, built independently in MuJoCo: links as rods closed by constraints, MuJoCo's own contacts.

Nothing of ours but the build's numbers goes in: no joints of the axles, no tyre law, no force kernels.
"""

from __future__ import annotations

import math
from dataclasses import replace
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.linkage import axle_rods
from models.linkage_exact import exact_pose
from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel
from sim.trial.tilt_table import gravity_towards
from sim.validation.check import Group, Measured, absolute, at_most
from sim.validation.tipping import simulated
from sim.validation.truck import FINE, names, rigid_tyres, sheet, truck, with_grip, without_hull

GROUP = Group("rods", "A second truck with rods in MuJoCo")
Array = NDArray[np.float64]
STEP = 2.0e-4
ROD_MASS = 1.0e-4
"""kg of a rod; the sheet's link masses are on chassis and axle already."""


def _numbers(values: Any) -> str:
    return " ".join(repr(float(v)) for v in np.ravel(values))


def _inertial(mass: float, place: Array, inertia: Array) -> str:
    i = inertia
    full = (i[0, 0], i[1, 1], i[2, 2], i[0, 1], i[0, 2], i[1, 2])
    return f'<inertial pos="{_numbers(place)}" mass="{mass!r}" fullinertia="{_numbers(full)}"/>'


def _merged(model: RigidModel, indices: list[int]) -> tuple[float, Array, Array]:
    """Mass, centre and inertia of bodies joined at ride height, chassis frame."""
    origins = model.origins()
    mass = sum(model.bodies[i].mass for i in indices)
    centre = np.sum([model.bodies[i].mass * (origins[i] + model.bodies[i].p_BBcm) for i in indices], axis=0) / mass
    inertia = np.zeros((3, 3))
    for i in indices:
        arm = origins[i] + model.bodies[i].p_BBcm - centre
        inertia += model.bodies[i].I_BBcm + model.bodies[i].mass * (arm @ arm * np.eye(3) - np.outer(arm, arm))
    return float(mass), np.asarray(centre), inertia


def stiffer(model: RigidModel, factor: float) -> RigidModel:
    """Return the truck on stiffer springs with the same force at ride height."""
    return replace(model, shocks=tuple(replace(s, rate=factor * s.rate) for s in model.shocks))


def scene(name: str, *, held: bool = False, factor: float = 1.0) -> str:
    """Describe the truck for MuJoCo: chassis, two axles with fixed wheels, eight rods, four shocks, a plane.

    ``held``: chassis fixed in the air and no ground, to move an axle by hand.
    """
    model, axles = stiffer(truck(name), factor), sheet(name).axles
    heights = model.origins()[list(WHEEL_BODIES), 2]
    parts, ties, tendons, shocks = [], [], [], []
    mass, centre, inertia = _merged(model, [0])
    rods_text = []
    for end, axle, indices, radius in (
        ("front", axles.front, [1, 2, 3, 4, 5, 6], heights[0]),
        ("rear", axles.rear, [7, 8, 9, 10], heights[2]),
    ):
        a_mass, a_centre, a_inertia = _merged(model, indices)
        hubs = [(axle.x_mm / 1e3, s * axle.track_mm / 2e3, radius) for s in (1.0, -1.0)]
        disc = f'<geom type="cylinder" size="{float(radius)!r} 1e-5" euler="90 0 0" mass="0" pos='
        wheels = "".join(f'{disc}"{_numbers(hub)}"/>' for hub in hubs)
        sites = ""
        for k, link in enumerate(axle.links):
            p_c, p_a = np.array(link.chassis_mm) / 1e3, np.array(link.axle_mm) / 1e3
            rod = p_a - p_c
            rods_text.append(
                f'<body name="{end}{k}" pos="{_numbers(p_c)}"><joint type="ball" damping="1e-7"/>'
                f'<geom type="capsule" fromto="0 0 0 {_numbers(rod)}" size="0.001" mass="{ROD_MASS}" '
                'contype="0" conaffinity="0"/></body>'
            )
            ties.append(f'<connect body1="{end}{k}" body2="{end}" anchor="{_numbers(rod)}"/>')
        lines = [line for line in model.shocks if line.axle_body == (2 if end == "front" else 8)]
        for s, line in zip((1.0, -1.0), lines, strict=True):
            top = line.p_chassis
            foot = model.origins()[line.axle_body] + line.p_axle
            tag = f"{end}{'L' if s > 0 else 'R'}"
            shocks.append(f'<site name="{tag}c" pos="{_numbers(top)}"/>')
            sites += f'<site name="{tag}a" pos="{_numbers(foot)}"/>'
            unloaded = line.ride_length + line.ride_force / line.rate
            tendons.append(
                # Only pushes: no spring force beyond its free length.
                f'<spatial name="{tag}" stiffness="{line.rate!r}" springlength="{unloaded!r} 10" '
                f'damping="{line.damping!r}" '
                f'limited="true" range="{line.ride_length - line.bump!r} {line.ride_length + line.droop!r}">'
                f'<site site="{tag}c"/><site site="{tag}a"/></spatial>'
            )
        parts.append(f'<body name="{end}"><freejoint/>{_inertial(a_mass, a_centre, a_inertia)}{wheels}{sites}</body>')
    free = "" if held else "<freejoint/>"
    ground = "" if held else '<geom type="plane" size="5 5 1"/>'
    return (
        f'<mujoco><compiler angle="degree"/>'
        f'<option timestep="{STEP}" integrator="implicitfast" cone="elliptic" impratio="50"/>'
        '<default><geom friction="5 0.0001 0.0001" solref="0.002 1" solimp="0.99 0.999 1e-5"/>'
        '<equality solref="0.002 1" solimp="0.99 0.999 1e-5"/></default>'
        f"<worldbody>{ground}"
        f'<body name="chassis">{free}{_inertial(mass, centre, inertia)}{"".join(shocks)}{"".join(rods_text)}</body>'
        f"{''.join(parts)}</worldbody><equality>{''.join(ties)}</equality><tendon>{''.join(tendons)}</tendon></mujoco>"
    )


def load(text: str) -> tuple[Any, Any, Any]:
    """MuJoCo itself, the model, its data."""
    mj = import_module("mujoco")
    model = mj.MjModel.from_xml_string(text)
    return mj, model, mj.MjData(model)


def high_load(mj: Any, model: Any, data: Any, axis: int, sign: float) -> float:
    """Normal load (N) on the wheels of the high side."""
    total, force = 0.0, np.zeros(6)
    middle = float(data.subtree_com[0][axis])
    for k in range(data.ncon):
        if sign * (data.contact[k].pos[axis] - middle) > 0.0:
            mj.mj_contactForce(model, data, k, force)
            total += float(force[0])
    return total


def lift_off(name: str, low: str, near: float, factor: float = 1.0) -> float:
    """Tilt (deg) at which the rod truck's high wheels lift, table turned as ours is."""
    mj, model, data = load(scene(name, factor=factor))
    axis, sign = (1, -1.0) if low == "left" else (0, 1.0)
    model.opt.gravity[:] = (0.0, 0.0, -GRAVITY)
    for _ in range(round(0.6 / STEP)):
        mj.mj_step(model, data)
    weight = float(model.body_mass.sum()) * GRAVITY
    for angle in np.arange(0.0, math.radians(near - 3.0), math.radians(25.0) * 10.0 * STEP):
        model.opt.gravity[:] = gravity_towards(float(angle), low)
        for _ in range(10):
            mj.mj_step(model, data)
    for _ in range(round(0.5 / STEP)):
        mj.mj_step(model, data)
    angle, load_ = math.radians(near - 3.0), high_load(mj, model, data, axis, sign) / weight
    while angle < math.radians(89.0):
        angle += math.radians(1.5) * 10.0 * STEP
        model.opt.gravity[:] = gravity_towards(angle, low)
        for _ in range(10):
            mj.mj_step(model, data)
        load_ += (high_load(mj, model, data, axis, sign) / weight - load_) * 10.0 * STEP / 0.03
        if load_ < 1.0e-3:
            return math.degrees(angle)
    return math.nan


def ours(name: str, low: str, near: float, factor: float = 1.0) -> float:
    """Tilt (deg) of our truck on hard discs and its real shocks."""
    return simulated(
        without_hull(with_grip(rigid_tyres(stiffer(truck(name), factor)), 5.0)), low, step=FINE, near=near - 4.0
    )


def _compared(low: str) -> Measured:
    want, got = [], []
    for name in names():
        found = ours(name, low, 40.0 if low == "left" else 56.0)
        got.append(found)
        want.append(lift_off(name, low, found))
    words = ", ".join(f"{n} {g - w:+.2f}" for n, w, g in zip(names(), want, got, strict=True))
    return Measured(want, got, f"ours less MuJoCo's: {words} deg")


_WHY = "axle joints are exact to first order only, discs give 0.1 mm, both tables turn at 1.5 deg/s"


@GROUP.check("side tip against rods",
             "Side-tip angle on real shocks and hard discs, against the rod truck in MuJoCo: three trucks",
             source="MuJoCo, links as rods with ball joints closed by connect constraints, its own contacts",
             known="other library",
             unit="deg", tolerance=absolute(0.5, _WHY), needs=("mujoco",), slow=True)
def side_tip() -> Measured:
    """Left side low."""
    return _compared("left")


@GROUP.check(
    "climb limit against rods",
    "Pitch-over angle nose up on real shocks and hard discs, against the rod truck in MuJoCo: three trucks",
    source="MuJoCo, links as rods with ball joints closed by connect constraints, its own contacts",
    known="other library",
    unit="deg",
    tolerance=absolute(
        1.5, "our axle joints are exact at ride height only, and here axles hang and squat to their stops; see below",
    ),
    needs=("mujoco",),
    slow=True,
)
def climb_limit() -> Measured:
    """Brake on, tyres that do not slide."""
    return _compared("back")


@GROUP.check(
    "climb, stiff springs, against rods",
    "The difference goes with the travel: with springs 16 times stiffer both trucks pitch over at one angle (1/24)",
    source="MuJoCo, links as rods with ball joints closed by connect constraints, its own contacts",
    known="other library",
    unit="deg", tolerance=absolute(0.2, "discs give 0.1 mm, both tables turn at 1.5 deg/s"), needs=("mujoco",),
    slow=True,
)
def climb_stiff() -> Measured:
    """Measured once: 1 time the rate -1.20 deg, 2 times -0.85, 4 times -0.31, 16 times +0.01."""
    found = ours("gundi", "back", 56.0, 16.0)
    return Measured((lift_off("gundi", "back", found, 16.0),), (found,))


@GROUP.check(
    "axle path against rods",
    "Path of the axle's middle over full bump and droop, rod truck in MuJoCo against the closed loop on rod lengths",
    source="MuJoCo, links as rods with ball joints closed by connect constraints", known="other library",
    unit="mm", tolerance=at_most(0.0, "MuJoCo's constraints are springs and give a little: a tenth of a millimetre"),
    needs=("mujoco",),
)
def axle_path() -> Measured:
    """Front axle pressed to its stops with the chassis held; place along x at equal lift."""
    got = []
    for name in names():
        mj, model, data = load(scene(name, held=True))
        axle = sheet(name).axles.front
        height = float(truck(name).origins()[WHEEL_BODIES[0], 2])
        rods = axle_rods(axle, height)
        centre = rods.centre
        model.opt.gravity[:] = 0.0
        body = mj.mj_name2id(model, mj.mjtObj.mjOBJ_BODY, "front")
        shocks = 2.0 * truck(name).shocks[0].rate
        for push in np.linspace(-1.5, 1.5, 7):
            data.xfrc_applied[body, 2] = push * shocks * axle.shock.bump_mm / 2e3
            for _ in range(4000):
                mj.mj_step(model, data)
            turn = data.xmat[body].reshape(3, 3)
            shift = data.xpos[body] + turn @ centre - centre
            roll = math.asin(float(turn[2, 1]))
            exact = exact_pose(rods, float(shift[2]), roll)
            got.append(1000.0 * float(np.linalg.norm(exact.shift[:2] - shift[:2])))
    return Measured([0.1] * len(got), got)
