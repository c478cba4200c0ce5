"""The picture that stands for a study where a link or a post is shown: question, verdict, a moment, what it is."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from PIL import Image, ImageDraw

from sim.chart import style
from sim.chart.film import broken, font

SIZES = {"wide": (1200, 630), "square": (1080, 1080)}
"""Pixels of a link's picture and of a post's."""
GAP = 16
"""Pixels between two moments."""
CAPTION = 19
"""Size of the words in a moment."""


def share(question: str, verdict: str, foot: str, stills: Sequence[tuple[bytes, str]], shape: str) -> Image.Image:
    """Draw the picture; ``stills`` are one or two JPEG files with what they show.

    They stand side by side, or one over the other where that shows more of them.
    """
    width, height = SIZES[shape]
    picture = Image.new("RGB", (width, height), style.PAPER)
    pen = ImageDraw.Draw(picture)
    y, edge = 36, 44
    for text, largest, bold, lines in ((question, 46, True, 3), (verdict, 30, False, 6)):
        size = largest
        while size > 16 and len(broken(text, font(size, bold=bold), width - 2 * edge)) > lines:
            size -= 2
        rows = broken(text, font(size, bold=bold), width - 2 * edge)
        pen.multiline_text((edge, y), "\n".join(rows), font=font(size, bold=bold), fill=style.INK, spacing=6)
        y += len(rows) * (size + 10) + 14
    bottom = height - 62
    if stills and bottom - y > 60:
        shown = [(Image.open(BytesIO(data)).convert("RGB"), words) for data, words in stills]
        _place(picture, shown, (edge, y, width - edge, bottom))
    size = 22
    while size > 12 and font(size).getlength(foot) > width - 2 * edge:
        size -= 1
    pen.text((edge, height - 46), foot, font=font(size), fill=style.QUIET)
    return picture


def _place(picture: Image.Image, stills: Sequence[tuple[Image.Image, str]], room: tuple[int, int, int, int]) -> None:
    """Cut pictures to the room (left, top, right, bottom) that they share, in the order that shows more of them."""
    left, top, right, bottom = room
    count, shape = len(stills), stills[0][0].height / stills[0][0].width
    beside = (right - left - GAP * (count - 1)) // count
    below = (bottom - top - GAP * (count - 1)) // count
    in_row = (beside, min(bottom - top, round(beside * shape)))
    in_column = (right - left, min(below, round((right - left) * shape)))
    stacked = in_column[0] * in_column[1] > in_row[0] * in_row[1]
    wide, tall = in_column if stacked else in_row
    for n, (still, words) in enumerate(stills):
        scale = max(wide / still.width, tall / still.height)
        large = still.resize((round(still.width * scale), round(still.height * scale)))
        x, y = (large.width - wide) // 2, (large.height - tall) // 2
        at = (left, top + n * (tall + GAP)) if stacked else (left + n * (wide + GAP), top)
        picture.paste(large.crop((x, y, x + wide, y + tall)), at)
        pen, lines = ImageDraw.Draw(picture), "\n".join(broken(words, font(CAPTION), wide - 24))
        box = pen.multiline_textbbox((at[0] + 10, at[1] + 8), lines, font=font(CAPTION))
        pen.rectangle((box[0] - 6, box[1] - 4, box[2] + 6, box[3] + 4), fill=style.PAPER)
        pen.multiline_text((at[0] + 10, at[1] + 8), lines, font=font(CAPTION), fill=style.INK)
