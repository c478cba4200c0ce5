"""Frames of a film of a recorded trial: side view, 3-D view, and the margin strip underneath."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby, repeat

import numpy as np
from matplotlib import font_manager
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from sim.chart import style
from sim.chart.film_overlay import draw_moment, draw_names
from sim.errors import SimError
from sim.replay import scene
from sim.replay.camera import View, camera
from sim.replay.clip import OVER, Clip, camera_path
from sim.replay.sight import sights

Frame = NDArray[np.uint8]
Box = tuple[int, int, int, int]
FRAMES_PER_SECOND = 25
HOLD = 2.8
"""s that the last moment stands, so that the verdict can be read."""
LINES = (150, 48)
"""Grid lines of a film's ground."""
FINE = 2
"""Pictures are painted this much larger and averaged down."""


@dataclass(frozen=True)
class Layout:
    """Size of a film and where its pictures stand: left, top, right, bottom in pixels."""

    size: tuple[int, int]
    panels: dict[str, Box]
    strip: Box


LAYOUTS: dict[str, Layout] = {
    "wide": Layout((1280, 720), {"side": (0, 0, 760, 520), "chase": (764, 0, 1280, 520)}, (0, 524, 1280, 720)),
    "square": Layout((1080, 1080), {"side": (0, 0, 1080, 426), "chase": (0, 430, 1080, 856)}, (0, 860, 1080, 1080)),
}


@dataclass(frozen=True)
class Film:
    """Clips in step: the first leads, a second one is its ghost."""

    clips: Sequence[Clip]
    series: Sequence[int]
    layout: Layout
    last: float | None = None
    """Only the last s of the longest clip; None for all of it."""
    verdict: str = ""
    """What all trials say, written over the last moment."""

    def times(self) -> NDArray[np.float64]:
        """Moments of the frames, s from the start of the trial."""
        end = max(float(clip.trace.time[-1]) for clip in self.clips)
        start = float(self.clips[0].trace.time[0])
        if self.last is not None:
            start = max(start, end - self.last)
        moving = np.arange(start, end, 1.0 / FRAMES_PER_SECOND)
        return np.concatenate([moving, np.full(round(HOLD * FRAMES_PER_SECOND), end)])

    def frames(self) -> Iterator[Frame]:
        """Every frame, (height, width, 3)."""
        bed = scene.ground(self.clips, style.SCENE, LINES)
        path = camera_path(self.clips[0])
        views = sights(self.clips[0])
        times = self.times()
        strip = Strip(self, times)
        for time, same in groupby(times):
            at = [int(np.clip(np.searchsorted(c.trace.time, time), 0, len(c.trace.time) - 1)) for c in self.clips]
            whole = Image.new("RGB", self.layout.size, style.INK)
            things = scene.moment(bed, self._cast(at), style.SCENE)
            for name, box in self.layout.panels.items():
                whole.paste(self._panel(views[name].view(at[0]), box, at, things, path[at[0]]), box[:2])
            whole.paste(strip.at(float(time), at), self.layout.strip[:2])
            if self.verdict and time >= times[-1]:
                self._write_verdict(whole)
            # The last moment stands: it is painted once.
            yield from repeat(np.asarray(whole), len(list(same)))

    def _cast(self, at: Sequence[int]) -> list[tuple[Clip, int, str, bool]]:
        return [
            (clip, i, style.colour(series), n > 0)
            for n, (clip, i, series) in enumerate(zip(self.clips, at, self.series, strict=True))
        ]

    def _panel(
        self, view: View, box: Box, at: Sequence[int], things: Sequence[scene.Lit], target: NDArray[np.float64]
    ) -> Image.Image:
        lead = self.clips[0]
        size = (FINE * (box[2] - box[0]), FINE * (box[3] - box[1]))
        eye = camera(view, target, lead.obstacle.start.heading, lead.actor.shape.length, size)
        picture = Image.fromarray(scene.paint(eye, size, things, style.SCENE["sky"]))
        draw_moment(ImageDraw.Draw(picture), eye, lead, at[0], FINE)
        if box[:2] != (0, 0):
            draw_names(ImageDraw.Draw(picture), eye, lead, at[0], font(FINE * 15))
        small = picture.reduce(FINE)
        if box[:2] == (0, 0):
            self._captions(ImageDraw.Draw(small), at)
        return small

    def _write_verdict(self, whole: Image.Image) -> None:
        """The verdict on a plain ground over the lower pictures' edge: the film says what it shows an example of."""
        letters, wide = font(26, bold=True), self.layout.size[0]
        lines = broken(self.verdict, letters, wide - 60)
        foot = self.layout.strip[1]
        top = foot - 34 * len(lines) - 20
        pen = ImageDraw.Draw(whole)
        pen.rectangle((0, top, wide, foot), fill=style.PAPER)
        pen.rectangle((0, top, 10, foot), fill=style.COLOURS[2])
        pen.multiline_text((30, top + 8), "\n".join(lines), font=letters, fill=style.INK, spacing=6)

    def _captions(self, pen: ImageDraw.ImageDraw, at: Sequence[int]) -> None:
        _plated(pen, (18, 12), self.clips[0].label, font(22), style.QUIET)
        y = 44
        for n, (clip, i, series) in enumerate(zip(self.clips, at, self.series, strict=True)):
            over, top = i >= len(clip.trace.time) - 1, y
            ghost = " (ghost)" if n else ""
            text = f"{clip.actor.name}{ghost}" + (f": {clip.outcome}, {clip.reason}" if over else "")
            for line in broken(text, font(24, bold=True), pen.im.size[0] - 60):
                _plated(pen, (44, y), line, font(24, bold=True), style.INK)
                y += 30
            pen.rectangle((18, top + 6, 34, top + 22), fill=style.colour(series))


def _plated(
    pen: ImageDraw.ImageDraw, at: tuple[int, int], text: str, letters: ImageFont.FreeTypeFont, tone: str,
) -> None:
    """Write on a plate of the sky's colour: behind a caption there may be dark ground."""
    box = pen.textbbox(at, text, font=letters)
    pen.rectangle((box[0] - 30, box[1] - 4, box[2] + 6, box[3] + 4), fill=style.SCENE["sky"])
    pen.text(at, text, font=letters, fill=tone)


class Strip:
    """Margin over time, drawn once, with a line that moves."""

    LEFT, RIGHT = 300, 24

    def __init__(self, film: Film, times: NDArray[np.float64]) -> None:
        box = film.layout.strip
        self.film = film
        self.size = (box[2] - box[0], box[3] - box[1])
        self.start, self.end = float(times[0]), float(times[-1])
        self.traces = [(c.trace.time, c.shown_margin) for c in film.clips]
        self.low = min(-8.0, *(float(np.nanmin(m)) for _, m in self.traces)) - 2.0
        self.high = max(40.0, *(float(np.nanmax(m)) for _, m in self.traces)) + 3.0
        self.ground = self._ground()

    def at(self, time: float, samples: Sequence[int]) -> Image.Image:
        """The strip at a moment, with the present margins as numbers."""
        picture = self.ground.copy()
        pen = ImageDraw.Draw(picture)
        x = self._x(time)
        pen.line((x, 0, x, self.size[1]), fill=style.INK, width=3)
        pen.text((18, 10), "tip-over margin", font=font(19), fill=style.QUIET)
        for n, ((_, margin), i, series) in enumerate(zip(self.traces, samples, self.film.series, strict=True)):
            value = float(margin[i])
            number = f"{value:.0f}°" if value > OVER else "over"
            word = next((word for limit, _, word in style.MARGIN_BANDS if OVER < value < limit), "")
            y = 38 + 62 * n
            pen.text((18, y), number, font=font(46, bold=True), fill=style.colour(series))
            pen.text((132, y + 20), word, font=font(20, bold=True), fill=style.FAILED)
            level = self._y(value)
            pen.ellipse((x - 7, level - 7, x + 7, level + 7), fill=style.colour(series), outline="white")
        return picture

    def _x(self, time: float) -> float:
        share = (time - self.start) / (self.end - self.start or 1.0)
        return self.LEFT + (self.size[0] - self.LEFT - self.RIGHT) * share

    def _y(self, margin: float) -> float:
        return 8.0 + (self.size[1] - 40.0) * (self.high - margin) / (self.high - self.low)

    def _ground(self) -> Image.Image:
        wide = (FINE * self.size[0], FINE * self.size[1])
        picture = Image.new("RGB", wide, style.PAPER)
        pen = ImageDraw.Draw(picture)
        right = self.size[0] - self.RIGHT
        pen.rectangle([FINE * v for v in (self.LEFT, self._y(0.0), right, self._y(self.low))], fill="#f9e4dc")
        for value in range(-40, 100, 20):
            if self.low < value < self.high:
                y = FINE * self._y(value)
                pen.line((FINE * self.LEFT, y, FINE * right, y), fill=style.INK if value == 0 else style.GRID, width=3)
        for n, ((time, margin), series) in enumerate(zip(self.traces, self.film.series, strict=True)):
            shown = time >= self.start
            points = [(FINE * self._x(t), FINE * self._y(m)) for t, m in zip(time[shown], margin[shown], strict=True)]
            pen.line(points, fill=style.colour(series), width=7 if n == 0 else 4, joint="curve")
        small = picture.reduce(FINE)
        pen = ImageDraw.Draw(small)
        for value in range(-40, 100, 20):
            if self.low < value < self.high:
                pen.text((self.LEFT - 8, self._y(value)), f"{value}°", font=font(17), fill=style.QUIET, anchor="rm")
        step = max(1, round((self.end - self.start) / 8))
        for second in range(int(np.ceil(self.start)), int(self.end) + 1, step):
            x = self._x(second)
            pen.text((x, self.size[1] - 6), f"{second} s", font=font(17), fill=style.QUIET, anchor="mb")
        return small


@lru_cache(maxsize=64)
def font(size: int, *, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The letters of all charts at a size in pixels."""
    wanted = font_manager.FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
    return ImageFont.truetype(font_manager.findfont(wanted), size)


def broken(text: str, letters: ImageFont.FreeTypeFont, wide: float) -> list[str]:
    """Lines of a text that fit a width in pixels."""
    return style.broken(text, lambda line: letters.getlength(line) <= wide)


def film(
    clips: Sequence[Clip], series: Sequence[int], shape: str = "wide", last: float | None = None, verdict: str = ""
) -> Film:
    """Make a film of one clip, or of two that drove the same ground.

    :raises SimError: Unknown shape, or clips of different grounds.
    """
    if shape not in LAYOUTS:
        raise SimError("no such shape", field="shape", value=shape, remedy=f"Choose one of: {', '.join(LAYOUTS)}")
    if len({clip.place for clip in clips}) > 1:
        raise SimError("the two trials drove different obstacles", field="against",
                       remedy="Choose trials of one obstacle and level")
    return Film(tuple(clips), tuple(series), LAYOUTS[shape], last, verdict)
