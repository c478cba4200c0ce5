"""Trials on a graphics processor sit beside their like, and no seat stays empty for it."""

from __future__ import annotations

import numpy as np

from sim.batch.seating import seating


def test_newcomers_share_warps_with_their_like() -> None:
    pairs = seating(range(8), ["a", "b", "a", "b", "a", "b", "a", "b"], [None] * 8, 4)
    warps = [{"abababab"[place] for seat, place in pairs if seat // 4 == warp} for warp in (0, 1)]
    assert sorted(map(sorted, warps)) == [["a"], ["b"]]


def test_a_seat_that_falls_free_goes_to_the_first_of_its_neighbours_kind() -> None:
    sitting = ["a", None, "a", "a", "b", "b", None, "b"]
    assert sorted(seating([6, 1], ["c", "b", "a", "a"], sitting, 4)) == [(1, 2), (6, 1)]


def test_without_a_like_it_goes_to_whoever_waits() -> None:
    assert seating([1], ["c"], ["a", None, "a", "a"], 4) == [(1, 0)]


def test_nobody_is_lost_and_nobody_sits_twice() -> None:
    chance = np.random.default_rng(1)
    for _ in range(200):
        seats, width = int(chance.integers(1, 40)), int(chance.integers(1, 6))
        sitting = [chance.choice(["a", "b", "c", ""]) or None for _ in range(seats)]
        empty = [seat for seat, kind in enumerate(sitting) if kind is None]
        kinds = chance.choice(["a", "b", "d"], int(chance.integers(0, 50))).tolist()
        pairs = seating(empty, kinds, sitting, width)
        assert len(pairs) == min(len(empty), len(kinds))
        assert len({seat for seat, _ in pairs}) == len({place for _, place in pairs}) == len(pairs)
        assert {seat for seat, _ in pairs} <= set(empty)
