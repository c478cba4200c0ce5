"""Shares of a common gain against published games; whole answers on made-up trucks; grams by hand."""

from __future__ import annotations

import math
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.change import Change, load_change
from models.edit import apply
from models.errors import BuildSheetError
from models.massprops import truck_properties, wheel_loads
from models.scenario import builds, change
from models.sheet import load_sheet
from models.stability import tip_angles
from sim.decision import worth
from sim.decision.ballast import ballast, grams_for_bias, grams_for_tip, offers
from sim.decision.change_sets import drawer, prices
from sim.decision.obstacle_mix import Line
from sim.errors import SimError
from sim.statistics import shapley

GUNDI = load_sheet(builds()[0])


def game(value, players):
    return [value({k + 1 for k in range(players) if mask >> k & 1}) for mask in range(1 << players)]


def three(coalition):
    table = {(1,): 2.0, (1, 2): 2.0, (1, 3): 2.0, (2, 3): 6.0, (1, 2, 3): 8.0}
    return table.get(tuple(sorted(coalition)), 0.0)


PUBLISHED = [
    # Glove game, two left and one right: of the six orders the right one completes a pair in four, a left one in one.
    ("gloves", lambda s: float(3 in s and bool(s & {1, 2})), (1 / 6, 1 / 6, 2 / 3)),
    # Example of Shapley_value() in the manual of the R package GameTheoryAllocation 1.0.
    ("manual", lambda s: float(bool(s)) + float(3 in s), (1 / 3, 1 / 3, 4 / 3)),
    # Player 1 adds 2 to every coalition, players 2 and 3 are alike: their values follow from Shapley's axioms.
    ("three players", three, (2.0, 3.0, 3.0)),
    # An additive game pays everybody his own (its value is each number by additivity).
    ("additive", lambda s: float(sum(s)), (1.0, 2.0, 3.0)),
    # Airport game with costs 8, 11, 13, 18: each step shared evenly by those who need it: 8/4, 3/3, 2/2, 5
    # (S. C. Littlechild, G. Owen,
    # Management Science 20, 1973, as the manual of the R package AirportProblems 0.1.0 has it).
    ("airport", lambda s: max(({1: 8.0, 2: 11.0, 3: 13.0, 4: 18.0}[k] for k in s), default=0.0), (2, 3, 4, 9)),
]


@pytest.mark.parametrize(("value", "want"), [p[1:] for p in PUBLISHED], ids=[p[0] for p in PUBLISHED])
def test_published_games(value, want):
    assert shapley.exact(game(value, len(want))) == pytest.approx(want, abs=1e-12)


@pytest.mark.parametrize(("value", "want"), [p[1:] for p in PUBLISHED], ids=[p[0] for p in PUBLISHED])
def test_sampled_orders_come_close_and_say_how_close(value, want):
    values = game(value, len(want))
    chosen = shapley.orders(len(want), 400, seed=1)
    found, error = shapley.sampled(lambda mask: np.array([values[mask]]), chosen)
    # Four standard errors of the sampling, and rounding where there is none to speak of.
    assert np.all(np.abs(found[:, 0] - want) <= 4.0 * error + 1e-9)
    assert found.sum() == pytest.approx(sum(want))


@given(st.lists(st.floats(-10, 10), min_size=8, max_size=8))
@settings(max_examples=50, deadline=None)
def test_shares_add_up_to_the_whole(values):
    assert shapley.exact(values).sum() == pytest.approx(values[-1] - values[0], abs=1e-9)


def test_every_order_gives_the_exact_values():
    from itertools import permutations

    values = game(three, 3)
    found, _ = shapley.sampled(lambda mask: np.array([values[mask]]), list(permutations(range(3))))
    assert found[:, 0] == pytest.approx(shapley.exact(values))


# --- grams at the front axle, against statics ----------------------------------------------------------------

def test_grams_for_bias_by_hand():
    # 400 g at 50 % front: 100 g on the front axle make (200 + 100) / 500 = 60 %.
    assert grams_for_bias(400.0, 0.5, 0.6) == pytest.approx(100.0)
    assert grams_for_bias(400.0, 0.5, 0.4) == 0.0
    assert math.isinf(grams_for_bias(400.0, 0.5, 1.0))


def test_grams_for_tip_by_hand():
    # 400 g, a = 70, h = 50, wheelbase 140, r = 27: atan(70 / 50). With 40 g: a = (28000 + 5600) / 440,
    # h = (20000 + 1080) / 440.
    wanted = math.atan2(33600.0, 21080.0)
    assert grams_for_tip(400.0, 70.0, 50.0, 140.0, 27.0, wanted) == pytest.approx(40.0)
    assert grams_for_tip(400.0, 70.0, 50.0, 140.0, 27.0, math.atan2(70.0, 50.0)) == pytest.approx(0.0, abs=1e-9)
    # No weight at the axle reaches the angle at which the ground passes through axle and contact.
    assert math.isinf(grams_for_tip(400.0, 70.0, 50.0, 140.0, 27.0, math.atan2(140.0, 27.0)))


def test_that_many_grams_really_do_the_same():
    moved = apply(GUNDI, [load_change(change("gundi", "battery-forward"))])
    like = ballast(GUNDI, moved)
    for grams, what in ((like.for_bias_g, "bias"), (like.for_climb_g, "climb")):
        part = {"name": "ballast", "body": "front_axle", "mass_g": grams, "at_mm": [134, 0, 27], "size_mm": [30] * 3}
        heavy = apply(GUNDI, [Change.model_validate({"schema": 1, "name": "ballast", "add": [part]})])
        if what == "bias":
            assert wheel_loads(heavy).front_percent == pytest.approx(wheel_loads(moved).front_percent, abs=1e-6)
        else:
            assert back(heavy) == pytest.approx(back(moved), abs=1e-6)


def back(sheet):
    from models.massprops import contact_places

    return tip_angles(contact_places(sheet), truck_properties(sheet).cg).in_degrees().back


def test_offers_are_weights_at_the_front_axle():
    some = [load_change(change("gundi", name)) for name in
            ("front-wheel-rings", "knuckle-weights", "brass-hub-covers", "light-shell", "battery-forward")]
    found = offers(GUNDI, some)
    # 16 USD for 28 g; 15 for 20 g and 12 for 16 g cost the same per gram.
    assert found[0].name == "weighted front wheel rings"
    assert {offer.name for offer in found[1:]} == {"brass hub covers", "knuckle weights"}
    assert found[0].grams == pytest.approx(28.0)
    assert found[0].per_gram == pytest.approx(16.0 / 28.0)


# --- the whole answer on made-up trucks ------------------------------------------------------------------------

LINES = tuple(Line(name, 1.0, None, "deg", 0.01, 0.0, 200.0, 45.0, (0.0, 100.0)) for name in ("climb", "descent"))
NAMES = ("battery-forward", "front-wheel-rings", "brass-hub-covers")


class MadeUp:
    """A field whose trucks have limits by formula: so many degrees (points) a change, less what two of them share."""

    def __init__(self, box, gains, shared=0.0):
        self.searches, self.box, self.gains, self.shared = self, box, gains, shared
        self.by_hash = {box.truck(mask).hash: mask for mask in range(1 << len(gains))}

    def find(self, trucks, repeats, lines=None):
        self.asked = list(trucks)

    def driver(self, case):
        return "steady"

    def value(self, truck, line, repeat):
        mask = self.by_hash[truck]
        gain = sum(g for k, g in enumerate(self.gains) if mask >> k & 1)
        gain -= self.shared if mask & 3 == 3 else 0.0
        return 40.0 + (repeat * 37 % 11) / 10.0 + gain


@cache
def box(names=NAMES):
    return drawer(GUNDI, [load_change(change("gundi", name)) for name in names])


def test_worth_of_changes_that_clash():
    made = box()
    answer = worth.worth(made, MadeUp(made, (10.0, 8.0, 2.0), shared=4.0), LINES, 12)
    by_name = {share.name: share for share in answer.shares}
    # The shared 4 are split: 10 - 2, 8 - 2, 2 points.
    for name, points in (("battery forward", 8.0), ("weighted front wheel rings", 6.0), ("brass hub covers", 2.0)):
        assert by_name[name].together.value == pytest.approx(points, abs=1e-6)
    assert by_name["battery forward"].alone.value == pytest.approx(10.0, abs=1e-6)
    assert sum(share.together.value for share in answer.shares) == pytest.approx(answer.whole.value)
    assert [by_name[n].first for n in ("battery forward", "brass hub covers")] == [1.0, 0.0]
    clash = worth.clashing(answer.pairings)
    assert clash is not None
    assert set(clash.names) == {"battery forward", "weighted front wheel rings"}
    assert [share.name for share in answer.ranked()] == [
        "battery forward", "weighted front wheel rings", "brass hub covers"]
    said = worth.sentence(answer)
    assert said.startswith("The free move first: battery forward, +8.0 points")
    assert "best purchase: weighted front wheel rings" in said
    assert "31 USD" in said
    assert by_name["brass hub covers"].per_money == pytest.approx(by_name["brass hub covers"].together.value / 15.0)


def test_keep_the_money_unless_the_lower_bound_clears_the_least():
    made = box()
    answer = worth.worth(made, MadeUp(made, (10.0, 8.0, 2.0)), LINES, 12, least=9.0)
    assert answer.bought() is None
    said = worth.sentence(answer)
    assert "keep the money: nothing shown to bring more than 9 points" in said
    assert said.startswith("No free move is shown to bring more than 9 points (best: battery forward, +10.0")
    assert worth.cost_of_error(answer) == ""
    with pytest.raises(SimError, match="fewer than 12"):
        worth.worth(made, MadeUp(made, (10.0, 8.0, 2.0)), LINES, 11)


def test_changes_that_exclude_each_other_are_refused():
    with pytest.raises(SimError, match="cannot be on the truck together"):
        worth.needed_sets(box(("knuckle-weights", "brass-hub-covers")))


def test_faults_of_a_drawer():
    with pytest.raises(SimError, match="no change is given"):
        drawer(GUNDI, [])
    one = load_change(change("gundi", "front-wheel-rings"))
    with pytest.raises(SimError, match="same name"):
        drawer(GUNDI, [one, one])
    other = Change.model_validate({"schema": 1, "name": "x", "remove": ["no such thing"]})
    with pytest.raises(BuildSheetError, match="no such part"):
        drawer(GUNDI, [other])
    euro = one.model_copy(update={"name": "y", "currency": "EUR"})
    with pytest.raises(SimError, match="several currencies"):
        prices([one, euro])


def test_many_changes_are_sampled():
    names = ("battery-forward", "front-wheel-rings", "knuckle-weights", "light-shell", "stronger-servo", "wide-hubs",
             "front-overdrive")
    masks, chosen = worth.needed_sets(box(names), 6)
    assert len(chosen) == 6
    assert len(masks) < 1 << 7
    assert {1 << k for k in range(7)} <= set(masks)


def test_a_free_gain_is_beyond_any_price():
    free = worth.Share("a", None, SimpleNamespace(value=2.0), 0.0, 0.0, 0.0)
    lossy = worth.Share("b", None, SimpleNamespace(value=-2.0), 0.0, 0.0, 0.0)
    assert free.per_money == math.inf
    assert lossy.per_money == -math.inf
    assert math.isnan(worth.Share("c", None, SimpleNamespace(value=2.0), None, 0.0, 0.0).per_money)
