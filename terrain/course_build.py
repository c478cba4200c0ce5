"""From a course file to ground, lane and gates."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from terrain import noise, request
from terrain.course_file import CourseFile, Leg, Rules
from terrain.errors import TerrainError
from terrain.families.ledges import BEYOND
from terrain.families.slopes import there_and_back
from terrain.gates import Gate
from terrain.heightfield import Heightfield
from terrain.layout import AFTER, BEHIND, HALF_WIDTH, LANE_HALF_WIDTH, RUN_IN, grid_over
from terrain.obstacle import Obstacle, Pose
from terrain.piece import Grid, Piece
from terrain.yardstick import Yardstick

GATE_WIDTH = 1.5
"""Usual width of a gate in wheelbases."""
LANE_STEP = 0.1
"""Points of the lane, wheelbases apart."""


@dataclass(frozen=True)
class Course:
    """A built course: the ground and lane as an obstacle, its gates in order, its rules."""

    name: str
    obstacle: Obstacle
    gates: tuple[Gate, ...]
    rules: Rules


def _free(leg: Leg, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Free ground: long waves that die out at both ends."""
    wb, length = yard.wheelbase, 0.001 * (leg.free_mm or 0.0)
    band = (1.0 / (4.0 * wb), 1.0 / (0.8 * wb))
    step = 0.1 * wb
    waves = noise.tile(rng, (256, 128), (step, step), noise.PowerLaw(1.0, noise.WAVINESS, band))
    field = noise.periodic(noise.scaled(waves, 0.001 * leg.undulation_mm), (step, step))
    fade = min(wb, 0.5 * length)

    def shape(x: Grid, y: Grid) -> Grid:
        return np.asarray(there_and_back(x, (fade, length - fade), fade) * field(x, y))

    return Piece(length=length, shape=shape, finish=length, crux=(0.0, length))


def _obstacle(leg: Leg, yard: Yardstick, rng: np.random.Generator, percent: float) -> Piece:
    parts = request.words(leg.obstacle or "")
    family = request.family_named(parts.name)
    wanted = request.checked(leg.obstacle or "", parts, family)
    if request.ROUGHNESS in wanted.detail:
        raise TerrainError("there is one for the whole course", field=request.ROUGHNESS, remedy="set it at the top")
    values = request.parameter_values(family, wanted.detail)
    return request.piece(family, 0.01 * percent * wanted.level, yard, rng, values)


def build(course: CourseFile, yard: Yardstick, *, seed: int, percent: float = 100.0) -> Course:
    """Lay out a course for a truck of this size.

    ``percent`` scales every obstacle's level; gates and lane stay. The rear axle starts at x = y = 0 heading along
    +x; the finish lies one wheelbase past the last leg. Raises TerrainError naming the leg that cannot be built.
    """
    wb = yard.wheelbase
    leg_rng, texture_rng = np.random.default_rng(seed).spawn(2)
    placed: list[tuple[float, Piece]] = []
    gates: list[Gate] = []
    at = yard.snap(RUN_IN * wb)
    for number, (leg, rng) in enumerate(zip(course.leg, leg_rng.spawn(len(course.leg)), strict=True), start=1):
        if leg.gate is not None:
            width = GATE_WIDTH * wb if leg.width_mm is None else 0.001 * leg.width_mm
            gates.append(Gate(leg.gate, at, 0.001 * leg.left_mm, 0.0, width))
            continue
        try:
            piece = _free(leg, yard, rng) if leg.obstacle is None else _obstacle(leg, yard, rng, percent)
        except TerrainError as error:
            raise TerrainError(error.what, file=course.name, field=f"leg {number}: {error.field or leg.obstacle}",
                               remedy=error.remedy) from None
        placed.append((at, piece))
        at = yard.snap(at + piece.length)
    lane = _lane(gates, at + (BEYOND + 1.0) * wb, wb)
    ground = _ground(course, yard, placed, gates, at, texture_rng)
    steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(lane, axis=0).T))])
    half = LANE_HALF_WIDTH * wb if course.lane_half_width_mm is None else 0.001 * course.lane_half_width_mm
    obstacle = Obstacle(
        family=course.name,
        level=percent,
        unit="percent",
        ground=ground,
        start=Pose(0.0, 0.0, 0.0),
        lane=lane,
        finish_s=float(np.interp(at + BEYOND * wb, lane[:, 0], steps)),
        lane_half_width=half,
        crux=(float(np.interp(RUN_IN * wb, lane[:, 0], steps)), float(np.interp(at, lane[:, 0], steps))),
        detail={
            "seed": seed,
            "wheelbase_mm": 1000.0 * wb,
            "tyre_radius_mm": 1000.0 * yard.tyre_radius,
            "cell_mm": 1000.0 * ground.spacing,
            "gates": len(gates),
        },
    )
    return Course(course.name, obstacle, tuple(_headed(gate, lane) for gate in gates), course.rules)


def _lane(gates: list[Gate], end: float, wheelbase: float) -> Grid:
    """Points from the start through the middle of every gate, eased so that it never swings past a gate."""
    x, y = [0.0, RUN_IN * 0.5 * wheelbase], [0.0, 0.0]
    for gate in gates:
        if gate.x <= x[-1] + 1e-6:
            raise TerrainError("two gates stand at the same place", field=gate.name, remedy="put a leg between them")
        x.append(gate.x)
        y.append(gate.y)
    if end > x[-1]:
        x.append(end)
        y.append(y[-1])
    at = np.linspace(0.0, x[-1], max(2, math.ceil(x[-1] / (LANE_STEP * wheelbase)) + 1))
    return np.column_stack([at, PchipInterpolator(x, y)(at)])


def _headed(gate: Gate, lane: Grid) -> Gate:
    """The gate turned to stand square to the lane."""
    k = int(np.clip(np.searchsorted(lane[:, 0], gate.x), 1, len(lane) - 1))
    step = lane[k] - lane[k - 1]
    return Gate(gate.name, gate.x, gate.y, math.atan2(step[1], step[0]), gate.width)


def _ground(
    course: CourseFile, yard: Yardstick, placed: list[tuple[float, Piece]], gates: list[Gate], end: float,
    rng: np.random.Generator,
) -> Heightfield:
    wb = yard.wheelbase
    cell = min([yard.cell, *(piece.cell for _, piece in placed if piece.cell is not None)])
    half = HALF_WIDTH * wb
    if course.width_mm is not None:
        half = 0.0005 * course.width_mm
    for gate in gates:
        room = abs(gate.y) + 0.5 * gate.width
        if course.width_mm is not None and room > half:
            raise TerrainError("stands off the ground", file=course.name, field=f"gate {gate.name}", remedy="widen it")
        half = max(half, room + 0.5 * wb)
    x, y = grid_over((-BEHIND * wb, end + (BEYOND + AFTER) * wb), (-half, half), cell)
    z = np.zeros((x.shape[0], y.shape[1]))
    base = 0.0
    for begin, piece in placed:
        rows = slice(*np.searchsorted(x[:, 0], [begin - 1e-9, begin + piece.length - 1e-9]))
        z[rows] = base + piece.shape(x[rows] - begin, y)
        base += piece.rise
        z[rows.stop :] = base
    rms = noise.DEFAULT_SHARE * yard.tyre_radius if course.roughness_mm is None else 0.001 * course.roughness_mm
    if rms > 0.0:
        z += noise.roughness(rng, yard.tyre_radius, cell, rms)(x, y)
    return Heightfield.of(z, (float(x[0, 0]), float(y[0, 0])), cell)
