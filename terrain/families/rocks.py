"""Random ground: boulders, grained slab, graded roughness."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from terrain import noise
from terrain.families.ledges import then_level
from terrain.families.slopes import FINISH, SLOPE_LENGTH, TURN_RADIUS, there_and_back
from terrain.piece import Grid, Piece
from terrain.profile import Profile
from terrain.yardstick import Yardstick

FIELD_LENGTH = 4.0
FIELD_HALF_WIDTH = 1.5
"""Boulders lie this many wheelbases to either side: beyond the ground's edge, so none is cut by it in kind."""
FACETS = 3


@dataclass(frozen=True)
class Boulder:
    """Upper part of a faceted ellipsoid; lengths in m, angles in rad."""

    x: float
    y: float
    semi: tuple[float, float, float]
    """Two level half axes and the plumb one."""
    turn: float
    centre_height: float
    facets: tuple[tuple[float, float, float], ...]
    """(gx, gy, c): the top lies under the plane c + gx u + gy v with u, v in half axes."""

    @property
    def reach(self) -> float:
        """Largest level half axis."""
        return max(self.semi[0], self.semi[1])

    def top(self, x: Grid, y: Grid) -> Grid:
        """Height of the boulder at x, y; far below ground outside it."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        u = ((x - self.x) * c + (y - self.y) * s) / self.semi[0]
        v = ((y - self.y) * c - (x - self.x) * s) / self.semi[1]
        q = u * u + v * v
        cap = np.sqrt(np.maximum(1.0 - q, 0.0))
        for gx, gy, level in self.facets:
            cap = np.minimum(cap, level + gx * u + gy * v)
        return np.where(q < 1.0, self.centre_height + self.semi[2] * cap, -np.inf)


def _boulder(rng: np.random.Generator, x: float, y: float, diameter: float, embed: float) -> Boulder:
    a = 0.5 * diameter
    semi = (a, a * rng.uniform(0.7, 1.0), a * rng.uniform(0.6, 0.95))
    facets = []
    for _ in range(FACETS):
        azimuth, tilt, depth = rng.uniform(0, 2 * math.pi), rng.uniform(0.1, 1.0), rng.uniform(0.75, 0.95)
        # Plane with unit normal (sin t cos a, sin t sin a, cos t) at `depth` from the centre of the unit sphere.
        slope = -math.tan(tilt)
        facets.append((slope * math.cos(azimuth), slope * math.sin(azimuth), depth / math.cos(tilt)))
    return Boulder(x, y, semi, rng.uniform(0, math.pi), semi[2] * (1.0 - 2.0 * embed), tuple(facets))


def scatter(
    rng: np.random.Generator, box: tuple[float, float, float, float], median: float, spread: float, cover: float,
    embed: float,
) -> list[Boulder]:
    """Boulders strewn over a box (x_min, x_max, y_min, y_max; m), big ones first, keeping off each other.

    Diameters are log-normal about ``median`` (m) with log standard deviation ``spread``; placing stops when their
    plan discs would cover the share ``cover`` of the box, or when a thousand throws in a row find no room.
    """
    area = (box[1] - box[0]) * (box[3] - box[2])
    mean_disc = 0.25 * math.pi * median**2 * math.exp(2.0 * spread**2)
    count = max(1, round(cover * area / mean_disc))
    diameters = np.sort(median * np.exp(spread * rng.standard_normal(count)))[::-1]
    placed = np.empty((count, 3))
    n = 0
    for diameter in np.minimum(diameters, 3.0 * median):
        for _ in range(1000):
            x, y = rng.uniform(box[0], box[1]), rng.uniform(box[2], box[3])
            near = np.hypot(placed[:n, 0] - x, placed[:n, 1] - y) < 0.4 * (placed[:n, 2] + diameter)
            if not near.any():
                placed[n] = x, y, diameter
                n += 1
                break
    return [_boulder(rng, x, y, d, embed) for x, y, d in placed[:n]]


def boulders(
    level: float, yard: Yardstick, rng: np.random.Generator, cover_percent: float, spread: float, embed_percent: float,
) -> Piece:
    """Field of boulders of ``level`` mm median diameter, sunk by ``embed_percent`` of their height, no undercuts."""
    wb = yard.wheelbase
    length = FIELD_LENGTH * wb
    margin = 0.5 * level / 1000.0
    box = (margin, length - margin, -FIELD_HALF_WIDTH * wb, FIELD_HALF_WIDTH * wb)
    rocks = scatter(rng, box, level / 1000.0, spread, 0.01 * cover_percent, 0.01 * embed_percent)

    def shape(x: Grid, y: Grid) -> Grid:
        z = np.zeros(np.broadcast_shapes(x.shape, y.shape))
        for rock in rocks:
            i = slice(*np.searchsorted(x[:, 0], [rock.x - rock.reach, rock.x + rock.reach]))
            j = slice(*np.searchsorted(y[0, :], [rock.y - rock.reach, rock.y + rock.reach]))
            z[i, j] = np.maximum(z[i, j], rock.top(x[i], y[:, j]))
        return z

    return then_level(length, yard, shape, (0.0, length), notes=(("boulders", float(len(rocks))),))


def slab(
    level: float, yard: Yardstick, rng: np.random.Generator, grain_deg: float, ridge_percent: float, stretch: float
) -> Piece:
    """Rock slab climbing at ``level`` degrees with a grain: ridges that run ``grain_deg`` off the lane.

    The ridges are band-limited noise of ``ridge_percent`` of a tyre radius rms, drawn out ``stretch`` times along
    the grain.
    """
    wb, slope, turn = yard.wheelbase, math.radians(level), math.radians(grain_deg)
    band = (1.0 / (noise.LONGEST * yard.tyre_radius), 1.0 / (0.5 * yard.tyre_radius))
    spacing = (stretch * yard.cell, yard.cell)
    plain = noise.tile(rng, noise.TILE, (yard.cell, yard.cell), noise.PowerLaw(1.0, noise.WAVINESS, band))
    ridges = noise.periodic(noise.scaled(plain, 0.01 * ridge_percent * yard.tyre_radius), spacing)
    entry = Profile().arc(slope, TURN_RADIUS * wb)
    even = entry.straight(SLOPE_LENGTH * wb * math.cos(slope))
    whole = even.arc(0.0, TURN_RADIUS * wb)
    crux = (entry.length, even.length)

    def shape(x: Grid, y: Grid) -> Grid:
        along, across = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
        return np.asarray(whole(x) + there_and_back(x, crux, 0.5 * wb) * ridges(along, across))

    finish = entry.length + FINISH * wb * math.cos(slope)
    return Piece(length=whole.length, shape=shape, finish=finish, crux=crux, rise=whole.rise)


REFERENCE_WAVE_NUMBER = 0.1
"""n0 of ISO 8608, cycles/m."""
CLASS_A_MEAN = 16e-6
"""Gd(n0) in the middle of class A, m^3; times four a class.

The upper limits of classes A, B, C, ... are 32, 128, 512, ... 1e-6 m^3 (ISO 8608 as given by Agostinacchio, Ciampa and
Olita, European Transport Research Review 6, 2014, and by da Silva, Computers & Structures 82, 2004; both read in code
that cites them). The middle of a class is the geometric mean of its limits: sqrt(32 x 128) = 64 for B, a quarter for A.
"""
SPECTRUM_END = 2.83
"""cycles/m, upper end of the standard's range."""


def class_density(level: float) -> float:
    """Gd(n0), m^3, of an ISO 8608 class: 1 is A, 2 is B, ..., 8 is H; between them geometrically."""
    return float(CLASS_A_MEAN * 4.0 ** (level - 1.0))


def graded_roughness(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Ground of ISO 8608 class ``level`` (1 = A ... 8 = H), shrunk by the truck's scale.

    Full-size heights z(x) become z(S x') / S, so Gd'(n') = Gd(n'/S) / S^3 with n' = S n. Waves go up to twice the
    standard's 2.83 cycles/m so that cuts hold the level within 13 % up to there, and down to the tile's length.
    """
    wb, scale = yard.wheelbase, yard.scale
    full = class_density(level) * REFERENCE_WAVE_NUMBER**2
    band = (0.0, 2.0 * SPECTRUM_END * scale)
    # G'(n') n'^2 = Gd n0^2 (S/n')^2 n'^2 / S^3 = Gd n0^2 / S.
    surface = noise.tile(rng, noise.TILE, (yard.cell, yard.cell), noise.PowerLaw(full / scale, 2.0, band))
    field = noise.periodic(surface, (yard.cell, yard.cell))
    crux = (0.5 * wb, (0.5 + FIELD_LENGTH) * wb)

    def shape(x: Grid, y: Grid) -> Grid:
        return np.asarray(there_and_back(x, crux, 0.5 * wb) * field(x, y))

    notes = (("gd_n0_full_size_m3", class_density(level)), ("rms_mm", 1000.0 * float(np.std(surface))))
    return then_level(crux[1], yard, shape, crux, notes=notes)
