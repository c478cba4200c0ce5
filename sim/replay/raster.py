"""Triangles to pixels with a depth buffer: small, exact about what hides what, and the same on every machine."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Depths = NDArray[np.float32]
SOLID, VEIL, GLASS = 0, 1, 2
TINT = 0.3
"""Share of its own colour that one pane of glass gives."""
BEHIND = 0.985
"""A ghost is painted as if it stood so much farther away."""
NEAREST = 0.01
"""m from the eye; a triangle that comes closer is left out."""


@kernel
def fill(
    points: Array, faces: NDArray[np.int64], colours: NDArray[np.uint8], image: Pixels, nearness: Depths, how: int
) -> None:
    """Paint flat triangles into an image (h, w, 3) where they are nearer than what is there.

    ``points`` (n, 3) are pixel x, pixel y and depth; ``colours`` (m, 3) one per face; ``nearness`` (h, w) holds
    1 / depth, which is linear in the picture. A veil leaves out every other pixel: what is behind shows through. Glass
    tints what is there and hides nothing; it is painted last.
    """
    height, width = nearness.shape
    for f in range(faces.shape[0]):
        i, j, k = faces[f, 0], faces[f, 1], faces[f, 2]
        if points[i, 2] < NEAREST or points[j, 2] < NEAREST or points[k, 2] < NEAREST:
            continue
        x0, y0 = points[i, 0], points[i, 1]
        x1, y1 = points[j, 0], points[j, 1]
        x2, y2 = points[k, 0], points[k, 1]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        # Pixel rows run down, so what turns its outside to the eye has negative area.
        if area >= 0.0:
            continue
        low = max(int(math.ceil(min(y0, y1, y2) - 0.5)), 0)
        high = min(int(math.floor(max(y0, y1, y2) - 0.5)), height - 1)
        left = max(int(math.ceil(min(x0, x1, x2) - 0.5)), 0)
        right = min(int(math.floor(max(x0, x1, x2) - 0.5)), width - 1)
        if low > high or left > right:
            continue
        # Where a ghost and the truck coincide, the truck is seen.
        back = BEHIND if how == VEIL else 1.0
        n0, n1, n2 = back / points[i, 2], back / points[j, 2], back / points[k, 2]
        a0, b0 = (y2 - y1) / area, (x1 - x2) / area
        a1, b1 = (y0 - y2) / area, (x2 - x0) / area
        for y in range(low, high + 1):
            py = y + 0.5
            for x in range(left, right + 1):
                px = x + 0.5
                w0 = -(a0 * (px - x1) + b0 * (py - y1))
                w1 = -(a1 * (px - x2) + b1 * (py - y2))
                w2 = 1.0 - w0 - w1
                if w0 < 0.0 or w1 < 0.0 or w2 < 0.0 or (how == VEIL and (x + y) % 2 == 1):
                    continue
                near = w0 * n0 + w1 * n1 + w2 * n2
                if near > nearness[y, x] and how == GLASS:
                    for c in range(3):
                        image[y, x, c] = int((1.0 - TINT) * image[y, x, c] + TINT * colours[f, c])
                elif near > nearness[y, x]:
                    nearness[y, x] = near
                    image[y, x, 0] = colours[f, 0]
                    image[y, x, 1] = colours[f, 1]
                    image[y, x, 2] = colours[f, 2]
