"""The picture that stands for a study where a link or a post is shown: question, verdict, a moment, what it is."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from PIL import Image, ImageDraw

from sim.chart import style
from sim.chart.film import broken, font

SIZES = {"wide": (1200, 630), "square": (1080, 1080)}
"""Pixels of a link's picture and of a post's."""


def share(question: str, verdict: str, foot: str, stills: Sequence[bytes], shape: str) -> Image.Image:
    """Draw the picture; ``stills`` are one or two JPEG files that stand side by side."""
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
        wide = (width - 2 * edge - 16 * (len(stills) - 1)) // len(stills)
        for n, data in enumerate(stills):
            still = Image.open(BytesIO(data)).convert("RGB")
            tall = min(bottom - y, wide * still.height // still.width)
            scale = max(wide / still.width, tall / still.height)
            still = still.resize((round(still.width * scale), round(still.height * scale)))
            left, top = (still.width - wide) // 2, (still.height - tall) // 2
            picture.paste(still.crop((left, top, left + wide, top + tall)), (edge + n * (wide + 16), y))
    size = 22
    while size > 12 and font(size).getlength(foot) > width - 2 * edge:
        size -= 1
    pen.text((edge, height - 46), foot, font=font(size), fill=style.QUIET)
    return picture
