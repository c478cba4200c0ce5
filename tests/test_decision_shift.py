"""A part moved: plan, sweep and verdict on made-up limits; the commands' messages."""

from __future__ import annotations

import math
from functools import cache

import pytest

from models.change import load_change
from models.errors import BuildSheetError
from models.scenario import builds, change
from models.sheet import load_sheet
from sim.chart.budget import budget as draw_budget
from sim.chart.doubt import doubt as draw_doubt
from sim.chart.shift import shift as draw_shift
from sim.chart.worth import worth as draw_worth
from sim.cli.budget_cmd import sentences
from sim.cli.shift_cmd import as_data, equivalent, sentence
from sim.decision import shift
from sim.decision.ballast import Ballast, WeightOffer
from sim.decision.budget import budget, choices
from sim.decision.change_sets import drawer
from sim.decision.doubt import Unknown, analyse, design
from sim.decision.obstacle_mix import Line
from sim.decision.wording import cost_of_error
from sim.decision.worth import cost_of_error as cost_of_purchase
from sim.decision.worth import worth
from sim.errors import SimError

GUNDI = load_sheet(builds()[0])
LINES = tuple(Line(name, 1.0, None, "deg", 1.0, 0.0, 75.0, 45.0) for name in ("climb", "descent"))


@cache
def plan(*to):
    return shift.plan(GUNDI, (), "battery", along=("battery tray",), to=to)


class Slope:
    """A field in which moving forward gains on the first line and loses on the second, per mm."""

    def __init__(self, trucks, move, gain, loss, noise):
        spots = (move.room.now, *move.targets)
        self.searches = self
        self.at = {truck.hash: spot - move.room.now for truck, spot in zip(trucks, spots, strict=True)}
        self.gain, self.loss, self.noise = gain, loss, noise

    def find(self, trucks, repeats, lines=None):
        """Nothing to run."""

    def value(self, truck, line, repeat):
        rate = (self.gain, -self.loss)[line]
        own = self.noise * (repeat * 7 % 5 - 2) if self.at[truck] else 0.0
        return round(45.0 + (repeat * 5 % 3) + rate * self.at[truck] + own) + 0.5


@cache
def look(gain, loss, *to, most=12, noise=0.0):
    move = plan(*to)
    trucks = [move.truck(None), *(move.truck(t) for t in move.targets)]
    return shift.investigate(move, Slope(trucks, move, gain, loss, noise), LINES, trucks, most=most, least=1.0)


def test_the_sweep_spans_the_room_and_follows_the_lever():
    move = plan(117.0)
    found = shift.static_sweep(move)
    assert found[0].position == pytest.approx(move.room.low)
    assert found[-1].position == pytest.approx(move.room.high)
    by = {s.position: s for s in found}
    # Battery and tray of 32 g moved by 100 mm over a wheelbase of 134 mm.
    grams = sum(part.mass_g or 0.0 for part in GUNDI.parts if part.name in ("battery", "battery tray"))
    total = 1000.0 * move.truck(None).model.mass
    shift_percent = 100.0 * grams * 100.0 / 134.0 / total
    assert by[117.0].front_percent - by[17.0].front_percent == pytest.approx(shift_percent, abs=1e-6)
    assert by[117.0].tip_deg.back > by[17.0].tip_deg.back
    assert by[117.0].tip_deg.front < by[17.0].tip_deg.front


def test_a_gain_without_a_loss_is_worth_it_at_the_first_look():
    found = look(0.10, 0.0, 117.0)
    assert found.verdict.word == "worth it"
    assert found.verdict.n == 5
    assert found.verdict.more == 0
    assert found.verdict.by_line[0].shown == 1
    assert found.verdict.by_line[1].shown == 0
    assert sentence(found).startswith("Worth it: battery at x = 117 mm (now 17)")


def test_a_gain_bought_with_a_loss_shows_both():
    found = look(0.10, 0.04, 117.0)
    said = sentence(found)
    assert "gains" in said
    assert "loses -4" in said
    assert [one.shown for one in found.verdict.by_line] == [1, -1]


def test_the_cost_of_being_wrong_is_the_wrong_end_of_the_intervals():
    found = look(0.10, 0.04, 117.0)
    low, loss = found.verdict.score.low, found.verdict.by_line[1].difference.low
    said = cost_of_error(found.verdict, False)
    assert said == ("Cost of being wrong (95 %): done, it may bring as little as "
                    f"{low:+.0f} %, and {loss:+.1f}° on descent.")
    left = look(-0.06, 0.05, 117.0).verdict
    high = left.score.high
    assert cost_of_error(left, False).endswith(f"left as it is, at most {high:+.0f} % over the mix is given away.")
    both = cost_of_error(look(0.02, 0.0, 117.0, most=5, noise=2.0).verdict, False)
    assert "done, it may bring -" in both
    assert "left as it is, +" in both


def test_a_loss_is_not_worth_it():
    assert look(-0.06, 0.05, 117.0).verdict.word == "not worth it"


def test_nothing_is_not_called_something():
    found = look(0.0, 0.0, 117.0)
    assert found.verdict.word in ("not shown", "not worth it")
    assert not any(one.shown for one in found.verdict.by_line)


def test_an_open_case_says_how_many_more():
    found = look(0.02, 0.0, 117.0, most=5, noise=2.0)
    assert found.verdict.word == "not shown"
    assert found.verdict.more > 0
    assert f"about {found.verdict.more} more repeats" in sentence(found)


def test_several_positions_share_the_error():
    two, one = look(0.1, 0.0, 30.0, 46.0), look(0.1, 0.0, 46.0)
    assert two.level < one.level
    assert two.position == 46.0
    assert two.likely_best == pytest.approx(46.0, abs=1.0)


def test_positions_are_chosen_where_the_part_is_free():
    move = plan()
    assert move.targets
    for target in move.targets:
        assert not move.room.at(target)
        assert abs(target - move.room.now) >= shift.LEAST_MOVE_MM


def test_faults_of_a_move():
    with pytest.raises(BuildSheetError, match="no such part"):
        shift.plan(GUNDI, (), "jet engine")
    with pytest.raises(BuildSheetError, match="out of reach"):
        shift.plan(GUNDI, (), "battery", to=(400.0,))
    with pytest.raises(BuildSheetError, match="pair"):
        shift.plan(GUNDI, (), "front wheel", to=(10.0,))
    with pytest.raises(SimError, match="nowhere to go"):
        shift.plan(GUNDI, (), "battery", to=(17.0,))


def test_the_price_of_the_same_by_weight():
    offer = WeightOffer("rings", 28.0, load_change(change("gundi", "front-wheel-rings")).cost)
    said = equivalent(Ballast(58.0, 36.0), (offer,))
    assert "58 g would give the same front bias and 36 g" in said
    assert "up to 33 USD, 2.1 sets" in said  # 58 / 28 x 16
    assert "no weight" in equivalent(Ballast(0.0, 0.0), (offer,))
    assert "no change with a price" in equivalent(Ballast(5.0, 5.0), ())
    assert "no weight the same" in equivalent(Ballast(5.0, math.inf), ())


def test_the_data_hold_everything():
    data = as_data(look(0.10, 0.04, 117.0), Ballast(1.0, 2.0), ())
    assert data["verdict"] == "worth it"
    assert data["positions"][1]["differences"]["descent"]["high"] < 0.0
    assert {"front_percent", "tip_deg", "in_the_way"} <= set(data["statics"][0])


# --- pictures: every one is drawn, with its finding on it -------------------------------------------------------

def words(figure):
    return " ".join(text.get_text() for text in figure.findobj() if hasattr(text, "get_text"))


def test_the_picture_of_a_move():
    found = look(0.10, 0.04, 117.0)
    drawn = draw_shift(found, "Worth it")
    assert len(drawn.axes) == 3 + len(LINES)
    assert "weight on the front wheels" in words(drawn)


class Additive(Slope):
    """Every change gains a tenth."""

    def __init__(self, box):
        self.searches = self
        self.at = {box.truck(mask).hash: mask.bit_count() for mask in range(1 << len(box.changes))}

    def value(self, truck, line, repeat):
        return 45.0 * 1.1 ** self.at[truck] + repeat % 2


def test_pictures_of_worth_budget_and_doubt():
    names = ("battery-forward", "front-wheel-rings")
    box = drawer(GUNDI, [load_change(change("gundi", name)) for name in names])
    drawn = draw_worth(worth(box, Additive(box), LINES, 4), "Best first purchase")
    assert "weighted front wheel rings" in words(drawn)
    said = cost_of_purchase(worth(box, Additive(box), LINES, 4))
    assert said.startswith("Cost of being wrong (95 %): weighted front wheel rings may bring as little as +")
    assert "for 16 USD" in said
    bought = budget(choices(box, 20.0), Additive(box), LINES, repeats=4, sets=3)
    assert "buy in this order" in words(draw_budget(bought, "Buy"))
    low = bought.best.gain.low
    assert f"Cost of being wrong (95 %): as little as {low:+.0f} % for 16 USD" in " ".join(sentences(bought))
    unknowns = (Unknown("grip", -10.0, 10.0, "%", ""), Unknown("driver", 0.0, 1.0, "kind", ""))
    points = design(unknowns, 3, 1)
    answer = analyse(unknowns, points, 1.0 + points[:, 0] / 5.0, 1.0)
    assert "flips near" in words(draw_doubt(answer, "It could flip", False))
