"""Who sits beside whom: trials that share a warp wait for each other wherever they go different ways."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Hashable, Sequence


def seating(
    empty: Sequence[int], kinds: Sequence[Hashable], sitting: Sequence[Hashable | None], width: int
) -> list[tuple[int, int]]:
    """Seats for newcomers, beside their like where there is room, and no seat is kept for a like to come.

    :param empty: Seats to fill.
    :param kinds: Of the newcomers, in the order in which they came.
    :param sitting: Kind of who has each seat, None where nobody has.
    :param width: Neighbouring seats that share a warp.
    :returns: Pairs of a seat and the place of a newcomer in ``kinds``.
    """
    waiting: dict[Hashable, deque[int]] = defaultdict(deque)
    for place, kind in enumerate(kinds):
        waiting[kind].append(place)
    warps: dict[int, list[int]] = defaultdict(list)
    for seat in sorted(empty):
        warps[seat // width].append(seat)
    found: list[tuple[int, int]] = []
    alone: list[int] = []
    beside: list[int] = []
    for warp, seats in warps.items():
        there = [kind for kind in sitting[warp * width : (warp + 1) * width] if kind is not None]
        for seat in seats:
            like = next((kind for kind in there if waiting.get(kind)), None)
            if like is not None:
                found.append((seat, waiting[like].popleft()))
            else:
                (beside if there else alone).append(seat)
    rest = [place for group in waiting.values() for place in group]
    return found + list(zip(alone + beside, rest, strict=False))
