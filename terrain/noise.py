"""Seeded random surfaces with a chosen spectrum."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from terrain.piece import Grid, Shape

LONGEST = 6.0
"""Longest wave of the default roughness in tyre radii: a tyre's length and a half is felt as shape, not texture."""
SHORTEST = 0.25
"""Shortest wave in tyre radii: under it the tread bridges, and the grid (1/14 radius) has too few nodes a wave."""
WAVINESS = 2.0
"""Fall of a profile's power spectral density with wave number, n**-2, as in ISO 8608."""
DEFAULT_SHARE = 0.01
"""Default roughness (rms) in tyre radii: 0.3 mm at 1/24, a sawn board with stuck grit; common practice, no source."""


def tile(
    rng: np.random.Generator, shape: tuple[int, int], spacing: float, band: tuple[float, float], waviness: float
) -> Grid:
    """Periodic isotropic Gaussian surface of zero mean and unit rms.

    ``shape`` nodes at ``spacing`` m; only waves with wave number in ``band`` (cycles/m) are present. Every straight
    cut through it has a power spectral density falling about as n**-waviness inside the band: the surface's
    own two-dimensional density falls as n**-(waviness + 1), one power more.
    """
    n = np.hypot(fft.fftfreq(shape[0], spacing)[:, None], fft.rfftfreq(shape[1], spacing)[None, :])
    inside = (n >= band[0]) & (n <= band[1])
    amplitude = np.where(inside, np.where(inside, n, 1.0) ** (-0.5 * (waviness + 1.0)), 0.0)
    white = fft.rfft2(rng.standard_normal(shape))
    surface = fft.irfft2(white * amplitude, s=shape)
    rms = float(np.sqrt(np.mean(surface**2)))
    return np.asarray(surface / rms if rms > 0.0 else surface, dtype=np.float64)


def periodic(surface: Grid, spacing: float) -> Shape:
    """Bilinear height of a periodic tile at any x, y, as a shape; tile node (0, 0) stands at x = y = 0."""
    nx, ny = surface.shape

    def height(x: Grid, y: Grid) -> Grid:
        i, a = _split(x, spacing)
        j, b = _split(y, spacing)
        i0, i1, j0, j1 = i % nx, (i + 1) % nx, j % ny, (j + 1) % ny
        low = surface[i0, j0] * (1.0 - b) + surface[i0, j1] * b
        high = surface[i1, j0] * (1.0 - b) + surface[i1, j1] * b
        return np.asarray(low * (1.0 - a) + high * a)

    return height


def _split(at: ArrayLike, spacing: float) -> tuple[NDArray[np.intp], Grid]:
    u = np.asarray(at, dtype=np.float64) / spacing
    whole = np.floor(u + 1e-9)
    return whole.astype(np.intp), np.clip(u - whole, 0.0, 1.0)


def roughness(rng: np.random.Generator, tyre_radius: float, cell: float, rms: float) -> Shape:
    """Rock texture: band-limited noise of the given rms (m) with waves tied to the tyre.

    The tile is the same for every grid that shares the cell, so a seed means the same bumps at the same places
    whatever the obstacle's length.
    """
    band = (1.0 / (LONGEST * tyre_radius), 1.0 / (SHORTEST * tyre_radius))
    return periodic(rms * tile(rng, (1024, 512), cell, band, WAVINESS), cell)
