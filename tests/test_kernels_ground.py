"""Ground sampling in the kernels against the plain heightfield, and crossings against a root finder."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from sim.physics.ground_sampling import crossing, ground_arrays, height, probe, survey
from terrain.heightfield import Heightfield, normal, sample

TWIN = 1e-12
"""Absolute, m, on heights of centimetres: two spellings of the same bilinear formula."""


def rough(seed: int = 3) -> Heightfield:
    """Uneven ground on a grid with unlike sides, so that swapped axes show."""
    z = np.random.default_rng(seed).normal(0.0, 0.01, (23, 41))
    return Heightfield.of(z, (-0.37, 0.21), 0.013)


GROUND = rough()
SAMPLED = ground_arrays(GROUND)
X0, X1, Y0, Y1 = GROUND.extent
inside_x = st.floats(X0 + 1e-4, X1 - 1e-4)
inside_y = st.floats(Y0 + 1e-4, Y1 - 1e-4)


@given(inside_x, inside_y)
def test_height_is_the_heightfields(x: float, y: float) -> None:
    assert abs(height(SAMPLED, x, y) - float(sample(GROUND, x, y))) < TWIN


@given(inside_x, inside_y)
def test_probe_gives_height_and_the_normals_gradient(x: float, y: float) -> None:
    found, gx, gy = probe(SAMPLED, x, y)
    assert abs(found - float(sample(GROUND, x, y))) < TWIN
    n = normal(GROUND, x, y)
    # Gradients are of order one here.
    assert gx == pytest.approx(-n[0] / n[2], abs=1e-9)
    assert gy == pytest.approx(-n[1] / n[2], abs=1e-9)


@pytest.mark.parametrize(("x", "y"), [(X0 - 1.0, 0.4), (X1 + 1.0, 0.4), (-0.3, Y0 - 1.0), (-0.3, Y1 + 1.0)])
def test_outside_the_edge_goes_on_level(x: float, y: float) -> None:
    # The kernel keeps a millionth of a cell inside the last node.
    assert height(SAMPLED, x, y) == pytest.approx(float(sample(GROUND, x, y)), abs=1e-7)
    _, gx, gy = probe(SAMPLED, x, y)
    assert (gx if not X0 <= x <= X1 else gy) == 0.0


@given(inside_x, inside_y, st.floats(0.0, 0.2), st.floats(0.0, 0.2))
def test_coarse_map_is_never_below_the_ground(x: float, y: float, w: float, d: float) -> None:
    xs, ys = np.meshgrid(np.linspace(x, min(x + w, X1), 9), np.linspace(y, min(y + d, Y1), 9))
    assert survey(SAMPLED, x, x + w, y, y + d)[0] >= float(sample(GROUND, xs, ys).max()) - TWIN


@given(inside_x, inside_y, st.floats(-0.8, 0.8), st.floats(0.0, 2.0 * np.pi), st.floats(0.01, 0.05))
def test_crossing_is_a_root(x: float, y: float, lean: float, around: float, over: float) -> None:
    d = np.array([np.sin(lean) * np.cos(around), np.sin(lean) * np.sin(around), -np.cos(lean)])
    start = np.array([x, y, 0.06])
    near, far = 0.0, (0.06 + over) / np.cos(lean)

    def gap(s: float) -> float:
        p = start + s * d
        return height(SAMPLED, p[0], p[1]) - p[2]

    if gap(near) >= 0.0 or gap(far) <= 0.0:
        return
    _, gx, gy = probe(SAMPLED, *(start + far * d)[:2])
    s, gx, gy = crossing(SAMPLED, tuple(start), tuple(d), near, far, gap(far), gx * d[0] + gy * d[1] - d[2])
    assert near <= s <= far
    # Uneven ground may be crossed more than once: what is found must be one of the roots.
    assert abs(gap(s)) < 2e-6
    assert (gx, gy) == probe(SAMPLED, *(start + s * d)[:2])[1:]


def test_crossing_on_a_plane_is_exact() -> None:
    x = np.arange(20) * 0.01
    plane = Heightfield.of(0.3 * x[:, None] + 0.1 * x[None, :], (0.0, 0.0), 0.01)
    sampled = ground_arrays(plane)
    d = np.array([0.6, 0.0, -0.8])
    want = brentq(lambda s: 0.3 * (0.05 + 0.6 * s) + 0.01 - (0.1 - 0.8 * s), 0.0, 0.2, xtol=1e-14)
    g_far = 0.3 * (0.05 + 0.6 * 0.12) + 0.01 - (0.1 - 0.8 * 0.12)
    s, gx, gy = crossing(sampled, (0.05, 0.1, 0.1), tuple(d), 0.0, 0.12, g_far, 0.3 * 0.6 + 0.8)
    assert s == pytest.approx(want, abs=1e-9)
    assert (gx, gy) == pytest.approx((0.3, 0.1), abs=1e-9)


def test_crossing_gives_up_at_the_near_end_when_that_is_buried() -> None:
    s, _, _ = crossing(SAMPLED, (0.0, 0.4, -0.5), (0.0, 0.0, -1.0), 0.02, 0.1, 0.7, 1.0)
    assert s == 0.02
