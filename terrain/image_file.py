"""Height images as ground and ground as height images."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, PngImagePlugin

from terrain.errors import TerrainError
from terrain.heightfield import Heightfield, check_size
from terrain.intake import Intake
from terrain.whole_file import whole

SUFFIXES = (".png", ".tif", ".tiff")
FULL_SCALE = {"L": 255.0, "LA": 255.0, "1": 1.0, "I;16": 65535.0, "I;16B": 65535.0, "I": 65535.0}
"""White of each kind of grey image. Kind F (floating point) carries heights in the file's unit instead."""
PIXEL, LOW, HIGH = "pixel_mm", "low_mm", "high_mm"


def read_image(path: Path, intake: Intake) -> tuple[NDArray[np.float64], float]:
    """Heights (nx, ny), m, and pixel size, m, of a grey image: columns run along x, the top row is the left (+y) edge.

    The size is checked from the header before any pixel is unpacked. An image written by :func:`export_image`
    carries its own scale; others need ``pixel_mm`` and, unless floating point, ``relief_mm`` from the intake.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        try:
            with Image.open(path) as image:
                check_size((image.width, image.height))
                mode, text = image.mode, dict(image.info)
                if mode not in FULL_SCALE and mode != "F":
                    raise TerrainError(f"a colour image ({mode}) says nothing about height", file=path,
                                       remedy="save it as a grey image of 8 or 16 bits")
                grey = np.asarray(image.getchannel(0) if mode == "LA" else image, dtype=np.float64)
        except TerrainError as error:
            raise TerrainError(error.what, file=path, field=error.field, remedy=error.remedy) from None
        except Image.DecompressionBombError:
            raise TerrainError("far above the size limit", file=path, remedy="scale the image down") from None
        except Exception as error:  # A broken image raises whatever its decoder stumbles over.
            raise TerrainError(f"not an image that can be read ({type(error).__name__})", file=path,
                               remedy="save it as PNG or TIFF") from error
    pixel = _number(path, PIXEL, intake.pixel_mm, text)
    if mode == "F":
        z = grey * intake.factor(path.suffix.lower())
    else:
        low = _number(path, LOW, None if intake.relief_mm is None else intake.relief_mm[0], text)
        high = _number(path, HIGH, None if intake.relief_mm is None else intake.relief_mm[1], text)
        z = 0.001 * (low + (high - low) * grey / FULL_SCALE[mode])
    return np.ascontiguousarray(z[::-1].T), 0.001 * pixel


def _number(path: Path, key: str, given: float | None, text: Mapping[Any, Any]) -> float:
    if given is not None:
        return given
    try:
        value = float(str(text[key]))
    except (KeyError, ValueError):
        value = float("nan")
    if not np.isfinite(value):
        option = "--pixel-mm 2" if key == PIXEL else "--relief-mm 0,80 (black, white)"
        raise TerrainError("the image does not say", file=path, field=key, remedy=f"give {option}")
    return value


def export_image(ground: Heightfield, path: Path) -> float:
    """Write a 16-bit grey PNG that carries its own scale, or a floating-point TIFF in mm; return the height step, m.

    The file appears only when whole.
    """
    picture = ground.z.T[::-1]
    low, high = 1000.0 * float(ground.z.min()), 1000.0 * float(ground.z.max())
    high = max(high, low + 1e-3)
    with whole(path) as part:
        if path.suffix.lower() == ".png":
            grey = np.rint((1000.0 * picture - low) / (high - low) * 65535.0).astype(np.uint16)
            text = PngImagePlugin.PngInfo()
            for key, value in ((PIXEL, 1000.0 * ground.spacing), (LOW, low), (HIGH, high)):
                text.add_text(key, repr(value))
            Image.fromarray(grey).save(part, pnginfo=text)
        else:
            Image.fromarray((1000.0 * picture).astype(np.float32)).save(part)
    return 0.001 * (high - low) / 65535.0 if path.suffix.lower() == ".png" else 0.0
