"""The front of best compromises, and success over two things that may change."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.chart import style
from sim.explore.dimension import Dimension
from sim.explore.proposal import Answer
from sim.explore.success_map import SuccessMap

Array = NDArray[np.float64]
WIDTH, TICK = 12.0, 8.5


def front(answer: Answer, title: str, assumed: str = "") -> Figure:
    """Draw every driven set-up by two aims at a time; the front joined, the truck as it is and the proposals marked."""
    kept, chance, _ = answer.search.table()
    aims = answer.search.scores.ground.aims
    pairs = list(combinations(range(len(aims)), 2)) or [(0, 0)]
    best = {one.genes for one in answer.front}
    subtitle = (f"{len(kept)} set-ups driven in common luck; blue: the best compromises among those driven most "
                f"often. Chances are those of the search; proposals were proved with fresh luck. {assumed}")
    keys = [style.Key("the truck as it is", {"color": style.INK, "marker": "X", "ms": 9, "lw": 0, "mec": style.PAPER})]
    keys += [style.key(f"{number}  {one.role}: {one.setup.name}", number, lw=0)
             for number, one in enumerate(answer.proposals, start=1)]
    made = style.figure(WIDTH, 4.6, title, subtitle, keys)
    height = made.get_figheight()
    low, high = 0.62 / height, style.top(made) - 0.1 / height
    wide = (WIDTH - 0.75 - 0.55 * (len(pairs) - 1) - 0.25) / len(pairs)
    for column, (a, b) in enumerate(pairs):
        axes = made.add_axes(((0.75 + column * (wide + 0.55)) / WIDTH, low, wide / WIDTH, high - low))
        style.frame(axes, grid="both")
        for one, row in zip(kept, chance, strict=True):
            on = one.genes in best
            axes.plot(100 * row[a], 100 * row[b], "o", ms=6 if on else 4, color=style.COLOURS[0] if on else style.FAINT,
                      mec="white", mew=0.5, zorder=3 if on else 2)
        base = answer.search.scores.chance(answer.base)
        axes.plot(100 * base[a], 100 * base[b], "X", ms=11, color=style.INK, mec="white", zorder=5)
        for number, proposal in enumerate(answer.proposals, start=1):
            spot = answer.search.scores.chance(proposal.setup)
            axes.plot(100 * spot[a], 100 * spot[b], style.mark(number), ms=12, color=style.colour(number), mec="white",
                      zorder=6)
            axes.annotate(str(number), (100 * spot[a], 100 * spot[b]), color="white", fontsize=8, weight="bold",
                          ha="center", va="center", zorder=7)
        axes.set_xlabel(f"{aims[a].name}, % cleared")
        axes.set_ylabel(f"{aims[b].name}, % cleared", labelpad=2)
    return made


def success_map(found: SuccessMap, aims: tuple[str, ...], title: str, assumed: str = "") -> Figure:
    """Draw one panel an aim and one for their mean; darker is better, a cross is a set-up that cannot be built."""
    subtitle = (f"{found.n} repeats in common luck at every place; around it: {found.around}. Ring: the best of the "
                f"map; crosses: cannot be built. {assumed}")
    panels = [*((name, found.chance[:, :, k]) for k, name in enumerate(aims)), ("mean", found.chance.mean(axis=2))]
    y = style.lines_of((_tick(found.up, k) for k in found.y), 1.6, TICK)
    left = 0.5 + max(style.text_width(line, TICK) for text in y for line in text.splitlines())
    wide = (WIDTH - left - 0.3 * len(panels) - 0.75) / len(panels)
    narrow = wide / len(found.x) < style.text_width("100", TICK)
    x = style.lines_of(_thinned([_tick(found.across, k) for k in found.x], wide), wide if narrow else
                       wide / len(found.x) - 0.06, TICK)
    least, most = _range(found.chance) if narrow else (0.0, 100.0)  # colours alone tell what numbers have no room for
    heads = style.lines_of((name for name, _ in panels), wide, style.SMALL)
    feet = style.lines_of([f"{found.across.name}, {found.across.unit}".rstrip(", ")], wide, style.SMALL)
    foot = 0.3 + style.tallest(x, TICK) + style.tallest(feet)
    tall = max(3.2, 1.05 * style.tallest(y, TICK) * len(y))
    made = style.figure(WIDTH, foot + 0.2 + style.tallest(heads) + tall, title, subtitle)
    height = made.get_figheight()
    low, high = foot / height, style.top(made) - (0.2 + style.tallest(heads)) / height
    for column, ((_, share), head) in enumerate(zip(panels, heads, strict=True)):
        axes = made.add_axes(((left + column * (wide + 0.3)) / WIDTH, low, wide / WIDTH, high - low))
        image = axes.imshow(100 * share.T, origin="lower", aspect="auto", cmap="cividis_r", vmin=least, vmax=most)
        for i, j in np.ndindex(share.shape):
            if np.isfinite(share[i, j]) and narrow:
                continue
            if np.isfinite(share[i, j]):
                axes.text(i, j, f"{100 * share[i, j]:.0f}", ha="center", va="center", fontsize=TICK,
                          color="white" if share[i, j] > 0.55 else style.INK)
            else:
                axes.text(i, j, "×", ha="center", va="center", fontsize=10, color=style.QUIET)
        if column == len(panels) - 1:
            axes.plot(*found.best, "o", ms=24, mfc="none", mec=style.COLOURS[1], mew=2.0)
        axes.set_title(head, fontsize=style.SMALL)
        axes.set_xticks(range(len(x)), x, fontsize=TICK)
        axes.set_yticks(range(len(y)), y if column == 0 else [""] * len(y), fontsize=TICK)
        axes.tick_params(length=0)
        axes.set_xlabel(feet[0], fontsize=style.SMALL)
        if column == 0:
            axes.set_ylabel("\n".join(style.wrapped(f"{found.up.name}, {found.up.unit}".rstrip(", "), 3.0)),
                            fontsize=style.SMALL)
    bar = made.add_axes(((WIDTH - 0.6) / WIDTH, low, 0.14 / WIDTH, high - low))
    made.colorbar(image, cax=bar)
    bar.tick_params(labelsize=TICK, length=0)
    bar.set_title("%", fontsize=style.SMALL)
    return made


def _thinned(labels: list[str], wide: float) -> list[str]:
    """Every so manieth label where not all have room side by side, of numbers alone: words are broken into lines."""
    each = 1.2 * max(style.text_width(label, TICK) for label in labels)
    step = math.ceil(each * len(labels) / wide)
    if step == 1 or not all(label.replace("-", "").replace(".", "").isdigit() for label in labels):
        return labels
    return [label if k % step == 0 else "" for k, label in enumerate(labels)]


def _range(chance: Array) -> tuple[float, float]:
    """Whole tens of percent around all that there is."""
    return 10.0 * math.floor(10.0 * np.nanmin(chance)), 10.0 * math.ceil(10.0 * np.nanmax(chance))


def _tick(dimension: Dimension, choice: int) -> str:
    option = dimension.options[choice]
    if dimension.unit and option.value == option.value:
        return f"{option.value:g}"
    return "now" if choice == dimension.now else option.label
