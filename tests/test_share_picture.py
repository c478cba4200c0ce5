"""The picture to share: its moments fill the room that the words leave, and are named."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from sim.chart.share import SIZES, share


def still(tone: str) -> bytes:
    file = BytesIO()
    Image.new("RGB", (900, 500), tone).save(file, "PNG")
    return file.getvalue()


def filled(picture: Image.Image, tone: tuple[int, int, int]) -> float:
    """Share of the picture that has a colour."""
    return float(np.mean(np.all(np.asarray(picture) == tone, axis=2)))


@pytest.mark.parametrize(("shape", "least"), [("wide", 0.15), ("square", 0.2)])
def test_two_moments_fill_the_picture_and_say_what_they_show(shape: str, least: float) -> None:
    moments = [(still("#c04000"), "as it is, cleared"), (still("#0040c0"), "battery forward, rolled")]
    words = "Battery forward against as it is: no difference shown."
    made = share("Does battery forward do better?", words, "25 trials", moments, shape)
    assert made.size == SIZES[shape]
    assert filled(made, (0xC0, 0x40, 0)) > least
    assert filled(made, (0, 0x40, 0xC0)) > least
    bare = share("Does battery forward do better?", words, "25 trials", [(data, "") for data, _ in moments], shape)
    for tone in ((0xC0, 0x40, 0), (0, 0x40, 0xC0)):
        assert filled(made, tone) < filled(bare, tone)  # words stand on both
