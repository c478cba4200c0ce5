"""Many comparisons and places: worked examples, coverage by simulation."""

from __future__ import annotations

import numpy as np
import pytest

from sim.compare.holm import holm
from sim.statistics.ranking import RankedPlace, ordinal, ranking, sentence


def test_holm_worked_example():
    # p 0.01, 0.04, 0.03, 0.005: times 4, 3, 2, 1 in ascending order, made monotone (Holm 1979; arithmetic by hand).
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([]) == []


def test_holm_is_never_below_p_nor_above_bonferroni():
    p = [0.004, 0.2, 0.012, 0.5, 0.03, 0.0007]
    found = holm(p)
    assert all(own <= got <= min(1.0, len(p) * own) for own, got in zip(p, found, strict=True))
    assert [found[k] for k in np.argsort(p)] == sorted(found)


def test_a_clear_order_is_sure():
    rng = np.random.default_rng(1)
    luck = rng.random(80)
    places = ranking({"good": [luck < 0.9], "fair": [luck < 0.5], "poor": [luck < 0.1]})
    assert [place.name for place in places] == ["good", "fair", "poor"]
    assert [place.words for place in places] == ["first", "second", "third"]


def test_alike_trucks_share_their_places():
    rng = np.random.default_rng(2)
    places = ranking({name: [rng.random(30) < 0.5, rng.random(30) < 0.5] for name in "abc"})
    assert all((place.best, place.worst) == (1, 3) for place in places)
    assert all(place.words == "first to third" for place in places)
    assert sum(place.first for place in places) == pytest.approx(1.0)


def test_a_few_clean_runs_are_no_certainty():
    places = ranking({"a": [np.ones(3)], "b": [np.ones(3)]})
    assert {place.words for place in places} == {"first or second"}


def test_pairs_stay_pairs():
    # The same luck: b fails exactly where a does and once more. Unpaired, 20 of 40 against 17 of 40 would be open.
    luck = np.arange(40) % 2
    worse = luck.copy()
    worse[[1, 9, 17, 25, 33]] = 0
    places = ranking({"a": [luck, luck], "b": [worse, worse]})
    assert places[0].name == "a"
    assert places[0].first > 0.97


def test_places_cover_the_truth():
    """The better of two trucks (60 against 50 %, same luck otherwise independent) is within its places."""
    rng = np.random.default_rng(5)
    held = []
    for _ in range(60):
        places = {p.name: p for p in ranking({"a": [rng.random(25) < 0.6], "b": [rng.random(25) < 0.5]})}
        held.append(places["a"].best <= 1 <= places["a"].worst)
    assert np.mean(held) >= 0.95 - 3 * 0.028


def test_words():
    assert ordinal(2) == "second"
    assert ordinal(11) == "11th"
    assert RankedPlace("x", 0.5, 2, 3, 0.1).words == "second or third"
    assert sentence([RankedPlace("x", 0.5, 1, 1, 1.0)]) == ""
    assert "x first; y second" in sentence([RankedPlace("x", 0.5, 1, 1, 1.0), RankedPlace("y", 0.4, 2, 2, 0.0)])
