"""Roughness against ISO 8608: level and fall of the profile spectrum, rms, and the default texture's rms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from terrain import catalog, noise
from terrain.families import rocks

CELL, TILE = 0.002, (4096, 512)


def profile_spectrum(surface: np.ndarray, spacing: float) -> tuple[np.ndarray, np.ndarray]:
    """One-sided spectral density of the cuts along x, averaged over all cuts (periodic, so no window is needed)."""
    n, density = signal.periodogram(surface, fs=1 / spacing, axis=0, detrend="constant")
    return n[1:-1], density[1:-1].mean(axis=1)


@pytest.mark.parametrize(("level", "gd"), [(1, 16e-6), (2, 64e-6), (3, 256e-6), (4, 1024e-6), (6, 16384e-6)])
def test_class_means(level: int, gd: float) -> None:
    """Class means of ISO 8608: geometric means of its limits 8, 32, 128, ... 1e-6 m^3 (source: see rocks)."""
    assert rocks.class_density(level) == pytest.approx(gd, rel=1e-12)
    assert rocks.class_density(level) == pytest.approx(1e-6 * math.sqrt(8 * 4 ** (level - 1) * 32 * 4 ** (level - 1)))


def test_rms_of_the_standard_band() -> None:
    """Between 0.011 and 2.83 cycles/m class A has 3.806 mm rms and each class doubles it."""
    for level, expected in ((1, 3.806e-3), (2, 7.613e-3), (3, 15.226e-3), (4, 30.451e-3)):
        variance = rocks.class_density(level) * 0.1**2 * (1 / 0.011 - 1 / 2.83)
        assert math.sqrt(variance) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("scale", [10.0, 24.0])
def test_generated_roughness_has_the_class_value_and_waviness_two(scale: float) -> None:
    """Class D ground shrunk by the scale: fitted level within 5 %, slope within 0.05 of -2.

    2048 wave numbers of 512 dependent cuts are fitted between 4 tile lengths and a third of the band's end, where
    the finite band lowers the density by at most 6 %.
    """
    gd = rocks.class_density(4.0)
    end = 2.0 * rocks.SPECTRUM_END * scale
    density = noise.PowerLaw(gd * 0.1**2 / scale, 2.0, (0.0, end))
    surface = noise.tile(np.random.default_rng(11), TILE, (CELL, CELL), density)
    n, found = profile_spectrum(surface, CELL)
    # Back to full size: wave number n / S, density times S^3.
    full_n, full = n / scale, found * scale**3
    use = (n > 4 / (TILE[0] * CELL)) & (n < end / 3)
    slope, level = np.polyfit(np.log(full_n[use] / 0.1), np.log(full[use]), 1)
    assert slope == pytest.approx(-2.0, abs=0.05)
    middle = np.exp(np.mean(np.log(full[use] * (full_n[use] / 0.1) ** 2)))
    assert middle == pytest.approx(gd, rel=0.05)
    assert math.isfinite(level)


def test_roughness_is_isotropic() -> None:
    surface = noise.tile(np.random.default_rng(2), (1024, 1024), (CELL, CELL), noise.PowerLaw(1.0, 2.0, (5.0, 140.0)))
    _, along = profile_spectrum(surface, CELL)
    _, across = profile_spectrum(surface.T, CELL)
    # About a hundred independent cuts each: sums agree to a few percent.
    assert along.sum() == pytest.approx(across.sum(), rel=0.1)


def test_default_texture_has_the_asked_rms_and_no_waves_outside_its_band() -> None:
    field = noise.roughness(np.random.default_rng(4), 0.028, CELL, 0.5e-3)
    z = field(CELL * np.arange(1024.0)[:, None], CELL * np.arange(512.0)[None, :])
    assert z.std() == pytest.approx(0.5e-3, rel=1e-9)
    n, density = profile_spectrum(z, CELL)
    assert density[n > 1 / (0.25 * 0.028) + 2].max() < 1e-12 * density.max()


def test_texture_repeats_only_after_its_tile_and_is_continuous() -> None:
    field = noise.roughness(np.random.default_rng(4), 0.028, CELL, 1e-3)
    y = np.zeros((1, 1))
    x = np.linspace(-0.01, 0.01, 2001)[:, None]
    assert np.abs(np.diff(field(x, y)[:, 0])).max() < 1e-4
    np.testing.assert_allclose(field(x, y), field(x + 1024 * CELL, y), atol=1e-9)


def test_rough_family_scales_like_a_shrunk_world() -> None:
    """The same seed at the same cell with Gd four times higher (one class) is exactly twice as high."""
    size = {"wheelbase": 0.14, "tyre_radius": 0.028, "seed": 3, "scale": 24.0}
    low, high = (catalog.make("rough", level, **size).ground.z for level in (5, 6))
    np.testing.assert_allclose(high, 2 * low, rtol=1e-9)
