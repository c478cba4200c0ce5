"""Seeded random surfaces with a chosen spectrum."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from terrain.piece import Grid, Shape

LONGEST = 6.0
"""Longest wave of the default roughness in tyre radii: longer ones are felt as the obstacle's shape, not texture."""
SHORTEST = 0.25
"""Shortest wave in tyre radii: under it the tread bridges, and the grid (1/14 radius) has too few nodes a wave."""
WAVINESS = 2.0
"""Fall of a profile's power spectral density with wave number, n**-2, as in ISO 8608."""
DEFAULT_SHARE = 0.01
"""Default roughness (rms) in tyre radii: 0.3 mm at 1/24, a board with stuck grit (common practice, no source)."""
TILE = (1024, 512)
"""Nodes of a noise tile: 2 m x 1 m at the 2 mm cell, after which the texture repeats."""


def tile(
    rng: np.random.Generator, shape: tuple[int, int], spacing: tuple[float, float], density: Callable[[Grid], Grid]
) -> Grid:
    """Periodic isotropic Gaussian surface of zero mean.

    ``shape`` nodes at ``spacing`` m along x and y. ``density`` gives the two-sided two-dimensional power spectral
    density, m^4 (m^2 per (cycle/m)^2), at a radial wave number in cycles/m; it is never asked at zero.
    """
    waves = fft.rfft2(rng.standard_normal(shape)) * _gain(shape, spacing, density)
    return np.asarray(fft.irfft2(waves, s=shape), dtype=np.float64)


@lru_cache(maxsize=8)
def _gain(shape: tuple[int, int], spacing: tuple[float, float], density: Callable[[Grid], Grid]) -> Grid:
    """What every wave of white noise is multiplied by; the same for every seed, so that it is kept."""
    n = np.hypot(fft.fftfreq(shape[0], spacing[0])[:, None], fft.rfftfreq(shape[1], spacing[1])[None, :])
    n[0, 0] = 1.0
    # White noise of unit variance on this grid has the flat two-sided density spacing_x * spacing_y.
    gain = np.sqrt(density(n) / (spacing[0] * spacing[1]))
    gain[0, 0] = 0.0
    return np.asarray(gain)


@dataclass(frozen=True)
class PowerLaw:
    """Two-dimensional density whose straight cuts have the one-sided profile density ``level * n**-2``.

    For waviness 2 a cut through C k^-3 has 2 * C * integral of (n^2 + m^2)^(-3/2) dm = 4 C n^-2, so C = level / 4.
    The identity needs all k from n to infinity; a band that ends at n_max lowers the cut's density by the
    factor sqrt(1 - (n/n_max)^2). Other wavinesses keep the fall but not the level. Equal ones are told to be so.
    """

    level: float
    waviness: float
    band: tuple[float, float]

    def __call__(self, k: Grid) -> Grid:
        """Density at a radial wave number, cycles/m; zero outside the band."""
        inside = (k >= self.band[0]) & (k <= self.band[1])
        return np.where(inside, 0.25 * self.level * k ** -(self.waviness + 1.0), 0.0)


def periodic(surface: Grid, spacing: tuple[float, float]) -> Shape:
    """Bilinear height of a periodic tile at any x, y, as a shape; tile node (0, 0) stands at x = y = 0."""
    nx, ny = surface.shape

    def height(x: Grid, y: Grid) -> Grid:
        i, a = _split(x, spacing[0])
        j, b = _split(y, spacing[1])
        i0, i1, j0, j1 = i % nx, (i + 1) % nx, j % ny, (j + 1) % ny
        if not a.any() and not b.any():
            return np.asarray(surface[i0, j0])
        low = surface[i0, j0] * (1.0 - b) + surface[i0, j1] * b
        high = surface[i1, j0] * (1.0 - b) + surface[i1, j1] * b
        return np.asarray(low * (1.0 - a) + high * a)

    return height


def _split(at: Grid, spacing: float) -> tuple[NDArray[np.intp], Grid]:
    """Whole cells and the rest, where a rest of rounding size counts as none."""
    u = at / spacing
    whole = np.floor(u + 1e-9)
    rest = u - whole
    return whole.astype(np.intp), np.where(rest < 1e-9, 0.0, rest)


def roughness(rng: np.random.Generator, tyre_radius: float, cell: float, rms: float) -> Shape:
    """Rock texture: band-limited noise of the given rms (m) with waves tied to the tyre.

    The tile is the same for every grid that shares the cell, so a seed means the same bumps at the same places
    whatever the obstacle's length.
    """
    band = (1.0 / (LONGEST * tyre_radius), 1.0 / (SHORTEST * tyre_radius))
    return periodic(scaled(tile(rng, TILE, (cell, cell), PowerLaw(1.0, WAVINESS, band)), rms), (cell, cell))


def scaled(surface: Grid, rms: float) -> Grid:
    """The surface brought to the given rms; a flat one stays flat."""
    present = float(np.sqrt(np.mean(surface**2)))
    return surface * (rms / present) if present > 0.0 else surface
