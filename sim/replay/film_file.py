"""Frames written as a film that any screen plays: MP4 through the encoder that comes with a library, and GIF."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import imageio.v2 as imageio
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from sim.errors import SimError, writing
from terrain.whole_file import whole

Frame = NDArray[np.uint8]
GIF_WIDTH = 640
GIF_EVERY = 2
"""A GIF keeps every second frame: it grows with each."""
KINDS = ("mp4", "gif")


def write_film(
    frames: Iterable[Frame], count: int, files: list[Path], rate: int, watch: Callable[[int, int], None] | None = None
) -> list[Path]:
    """Write frames (height, width, 3) to MP4 and GIF files, by their endings, in one pass.

    :param frames: In order.
    :param count: How many there are, for the progress.
    :param files: Where to write; a film that is broken off leaves none of them behind.
    :param rate: Frames a second.
    :param watch: Called after every frame with how many are done and how many there are.
    :raises SimError: Another ending, or a place that cannot be written.
    """
    odd = [file for file in files if file.suffix.lower().lstrip(".") not in KINDS]
    if odd:
        raise SimError("no such film format", file=odd[0], remedy=f"Name it with one of: {', '.join(KINDS)}")
    with writing(files[0], "Give another place with --out"), ExitStack() as stack:
        parts = [stack.enter_context(whole(file)) for file in files]
        writers = [_writer(part, rate) for part in parts]
        try:
            for n, frame in enumerate(frames):
                for file, writer in zip(files, writers, strict=True):
                    _append(writer, file, frame, n)
                if watch is not None:
                    watch(n + 1, count)
        finally:
            for writer in writers:
                writer.close()
    return files


def _writer(part: Path, rate: int) -> Any:
    part.touch()
    if part.suffix.lower() == ".gif":
        return imageio.get_writer(part, format="GIF", mode="I", duration=1000.0 * GIF_EVERY / rate, loop=0)
    # yuv420p and the index in front: plays in phones, browsers and chat programs.
    return imageio.get_writer(
        part,
        format="FFMPEG",
        mode="I",
        fps=rate,
        codec="libx264",
        quality=8,
        macro_block_size=2,
        pixelformat="yuv420p",
        ffmpeg_log_level="error",
        output_params=["-movflags", "+faststart", "-preset", "veryfast"],
    )


def _append(writer: Any, file: Path, frame: Frame, number: int) -> None:
    if file.suffix.lower() != ".gif":
        writer.append_data(frame)
    elif number % GIF_EVERY == 0:
        height, width = frame.shape[:2]
        small = Image.fromarray(frame).resize((GIF_WIDTH, round(GIF_WIDTH * height / width)), Image.Resampling.BOX)
        writer.append_data(np.asarray(small))
