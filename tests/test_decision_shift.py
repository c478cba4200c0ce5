"""A part moved: plan, sweep and verdict on made-up limits; the commands' messages."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
from sim.decision import judgement, part_move, shift
from sim.decision.ballast import Ballast, WeightOffer
from sim.decision.budget import budget, choices
from sim.decision.cases import drawn
from sim.decision.change_sets import drawer
from sim.decision.doubt import cast, investigate
from sim.decision.doubt import sentence as doubtful
from sim.decision.obstacle_mix import Line
from sim.decision.unknowns import priors
from sim.decision.wording import hanging, intervals, verdict
from sim.decision.worth import cost_of_error as cost_of_purchase
from sim.decision.worth import worth
from sim.errors import SimError
from sim.statistics.interval import Estimate

GUNDI = load_sheet(builds()[0])
LINES = tuple(Line(name, 1.0, None, "deg", 0.25, 0.0, 75.0, 45.0, (25.0, 65.0)) for name in ("climb", "descent"))


@cache
def plan(*to):
    return part_move.plan(GUNDI, (), "battery", along=("battery tray",), to=to)


@pytest.fixture(autouse=True)
def swept_once(monkeypatch):
    """The handbook's sweep is the same for every made-up gain."""
    monkeypatch.setattr(shift, "static_sweep", swept)


@cache
def swept(move):
    return part_move.static_sweep(move)


class Slope:
    """A field in which moving forward gains on the first line and loses on the second, per mm; in drawn cases each
    standard deviation of an unknown adds ``acts`` degrees to the moved truck on both lines."""

    def __init__(self, trucks, spots, gain, loss, noise=0.0, cases=None, acts=None):
        self.searches = self
        self.at = {truck.hash: spot - spots[0] for truck, spot in zip(trucks, spots, strict=True)}
        self.gain, self.loss, self.noise = gain, loss, noise
        self.cases, self.acts = cases, acts or {}

    def find(self, trucks, cases, lines=None):
        """Nothing to run."""

    def driver(self, case):
        return "steady"

    def value(self, truck, line, case):
        luck, added = case, 0.0
        if self.cases is not None and case in self.cases.numbers:
            index = case - self.cases.numbers[0]
            luck = self.cases.luck[index]
            added = sum(self.acts.get(u.name, 0.0) * z
                        for u, z in zip(self.cases.unknowns, self.cases.points[index], strict=True))
        moved = self.at[truck] != 0.0
        own = (self.noise * (luck * 7 % 5 - 2) + added) if moved else 0.0
        return 45.0 + (luck * 5 % 3) + (self.gain, -self.loss)[line] * self.at[truck] + own


def look(gain, loss, *to, most=12, noise=0.0, acts=None, least=1.0):
    move = plan(*to)
    trucks = [move.truck(None), *(move.truck(t) for t in move.targets)]
    cases = None if acts is None else drawn(priors(GUNDI, "steady"), "steady", 32)
    field = Slope(trucks, (move.room.now, *move.targets), gain, loss, noise, cases, acts)
    return shift.investigate(move, field, LINES, trucks, most=most, least=least, cases=cases)


def test_the_sweep_spans_the_room_and_follows_the_lever():
    move = plan(117.0)
    found = part_move.static_sweep(move)
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


def test_a_gain_on_every_line_is_worth_it():
    found = look(0.05, -0.04, 117.0).judgement
    assert found.word == "worth it"
    assert (found.effect.n, found.more) == (12, 0)
    # 0.05 and 0.04 degrees a millimetre over 100 mm, of a range of 40 degrees, half the weight each.
    assert found.effect.gain.value == pytest.approx(0.5 * (5.0 + 4.0) / 40.0 * 100.0)
    assert [one.shown for one in found.effect.by_line] == [1, 1]
    assert found.regret.above == 1.0
    assert found.regret.doing == 0.0


def test_one_line_that_carries_all_is_told():
    """Built so: all of the gain is on one line, the other gains nothing."""
    found = look(0.10, 0.0, 117.0)
    assert found.judgement.word == "hangs on climb"
    assert sentence(found).startswith("Hangs on climb: battery at x = 117 mm (now 17) brings +12.5 points")
    assert "without climb it would be +0.0 points" in hanging(found.judgement)


def test_a_gain_bought_with_a_loss_shows_both_and_hangs():
    found = look(0.10, 0.04, 117.0)
    said = sentence(found)
    assert "Its limit rises by +10.0° " in said
    assert "falls by -4.0° " in said
    assert found.judgement.word == "hangs on climb"


def test_unknowns_widen_the_interval_and_carry_the_word():
    """Four degrees a standard deviation of grip: sure with the sheet's values, open without them."""
    sure = look(0.05, -0.04, 117.0, acts={"grip": 0.1}).judgement
    assert sure.word == "worth it"
    found = look(0.05, -0.04, 117.0, acts={"grip": 4.0}).judgement
    assert found.word == "hangs on grip"
    assert found.shares["grip"] > 0.9
    # G = 11.25 + 10 z points: more than 1 point in P(z > -1.025) = 84.7 % of cases; draws and surface add a little.
    assert found.regret.above == pytest.approx(0.847, abs=0.02)
    # E max(-G, 0) = 10 (phi(a) - a Phi(-a)) with a = 1.125: 0.62 points (normal loss function).
    assert found.regret.doing == pytest.approx(0.62, abs=0.12)  # luck, with a made-up repeat, adds to it
    assert found.both is not None
    assert found.both.low == pytest.approx(11.25 - 19.6, abs=1.5)
    assert "grip makes 9" in hanging(found) or "grip makes 100" in hanging(found)


def test_what_luck_leaves_open_is_not_closed_by_unknowns_and_takes_half_the_cases():
    found = look(0.02, 0.0, 117.0, noise=2.0, acts={"grip": 1.0})
    one = found.judgement
    assert judgement.plain(one.effect.gain, 1.0) == one.word == "not decided"
    assert one.both is not None
    assert one.both.low <= one.effect.gain.low < one.effect.gain.high <= one.both.high
    assert one.spread is not None
    assert len(one.spread.added) == 16  # of 32
    column = [u.name for u in one.spread.unknowns].index("driver")
    assert sorted(one.spread.points[:, column]) == [0.0] * 8 + [1.0] * 8
    sure = look(0.05, -0.04, 117.0, acts={"grip": 0.1}).judgement
    assert sure.spread is not None
    assert len(sure.spread.added) == 32


@given(st.floats(-20, 20), st.floats(0, 15), st.floats(0, 15), st.floats(0, 30), st.floats(0, 30), st.floats(0.1, 5))
@settings(max_examples=200, deadline=None)
def test_a_wider_interval_never_closes_an_open_one(value, down, up, more_down, more_up, least):
    """The rule behind the half: whatever holds an interval that decides nothing decides nothing."""
    inner = Estimate(value, value - down, value + up)
    outer = Estimate(value, value - down - more_down, value + up + more_up)
    if judgement.plain(inner, least) == "not decided":
        assert judgement.plain(outer, least) == "not decided"


def test_unknowns_that_no_surface_tells_apart_are_not_named():
    """Luck alone decides, all together does not: the line is told, and an unknown only if it stands out."""
    one = look(0.10, 0.0, 117.0).judgement.effect
    both, shares = Estimate(6.0, -4.0, 13.0), {"grip": 0.6, "motor": 0.4}
    word, hangs = judgement._word(one, both, 1.0, shares, {}, {}, 0.0)
    assert hangs == ("climb", "what is not known")
    assert word == "hangs on climb and what is not known"
    assert judgement._word(one, both, 1.0, shares, {}, {}, 0.5)[1] == ("climb", "grip")


def test_a_driver_that_turns_it_round_is_told():
    found = look(0.05, -0.04, 117.0, acts={"driver": -6.0}).judgement
    assert found.by_driver["steady"] == pytest.approx(11.25, abs=0.8)  # twelve repeats, searched to a degree
    assert found.by_driver["bump"] == pytest.approx(11.25 - 15.0, abs=0.8)
    assert "driver" in found.word


def test_regrets_and_intervals_have_their_numbers():
    found = look(0.05, -0.04, 117.0, acts={"grip": 4.0}).judgement
    said = found.regret.text(price=16.0, currency="USD", holes=2)
    wrong = 1.0 - found.regret.above
    assert f"doing it: {found.regret.doing:.2f} points, {16.0 * wrong:.2f} of 16 USD in vain" in said
    assert f", {2.0 * wrong:.1f} of 2 holes in vain" in said
    forgone = f"{float(f'{16.0 * found.regret.beyond:.3g}'):g} USD of gain forgone (a point counted at 16 USD)"
    assert f"leaving it: {found.regret.leaving:.2f} points, {forgone}, no holes" in said
    assert "luck and unknowns: " in intervals(found)
    assert "Luck only: " in intervals(found)


def test_a_loss_is_not_worth_it():
    assert look(-0.06, 0.05, 117.0).judgement.word == "not worth it"


def test_nothing_is_practically_equal():
    found = look(0.0, 0.0, 117.0).judgement
    assert found.word == "practically equal"
    assert not any(one.shown for one in found.effect.by_line)


def test_the_verdict_names_both_sides():
    found = look(0.05, -0.04, 117.0).judgement
    sides = {"uphill left": Estimate(3.0, 1.0, 5.0), "uphill right": Estimate(-1.0, -4.0, 2.0)}
    assert "uphill" not in verdict(found, "it")
    said = verdict(replace(found, by_side=sides), "it")
    assert "; uphill left +3.0 (+1.0 to +5.0), uphill right -1.0 (-4.0 to +2.0)" in said
    assert "worse" not in said  # their intervals meet
    sides["uphill right"] = Estimate(-1.0, -4.0, 0.5)
    assert "+5.0), worse: uphill right -1.0 (" in verdict(replace(found, by_side=sides), "it")


def test_an_open_case_says_how_many_more():
    found = look(0.02, 0.0, 117.0, noise=2.0)
    assert found.judgement.word == "not decided"
    assert found.judgement.more > 0
    assert f"about {found.judgement.more} more repeats" in sentence(found)


def test_no_number_from_fewer_than_twelve():
    with pytest.raises(SimError, match="fewer than 12"):
        look(0.1, 0.0, 117.0, most=11)


def test_several_positions_share_the_error():
    two, one = look(0.1, 0.0, 30.0, 46.0), look(0.1, 0.0, 46.0)
    assert two.judgement.effect.level < one.judgement.effect.level
    assert two.position == 46.0
    assert two.likely_best == pytest.approx(46.0, abs=1.0)


def test_positions_are_chosen_where_the_part_is_free():
    move = plan()
    assert move.targets
    for target in move.targets:
        assert not move.room.at(target)
        assert abs(target - move.room.now) >= part_move.LEAST_MOVE_MM


def test_faults_of_a_move():
    with pytest.raises(BuildSheetError, match="no such part"):
        part_move.plan(GUNDI, (), "jet engine")
    with pytest.raises(BuildSheetError, match="out of reach"):
        part_move.plan(GUNDI, (), "battery", to=(400.0,))
    with pytest.raises(BuildSheetError, match="pair"):
        part_move.plan(GUNDI, (), "front wheel", to=(10.0,))
    with pytest.raises(SimError, match="nowhere to go"):
        part_move.plan(GUNDI, (), "battery", to=(17.0,))


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
    assert data["verdict"] == "hangs on climb"
    assert data["positions"][1]["shifts"]["descent"]["high"] < 0.0
    assert data["lines"][0]["contribution"]["value"] == pytest.approx(12.5)
    assert {"front_percent", "tip_deg", "in_the_way"} <= set(data["statics"][0])


# --- pictures: every one is drawn, with its finding on it -------------------------------------------------------

def words(figure):
    return " ".join(text.get_text() for text in figure.findobj() if hasattr(text, "get_text"))


def test_the_picture_of_a_move():
    found = look(0.10, 0.04, 117.0)
    drawn = draw_shift(found, "Worth it")
    assert len(drawn.axes) == 3 + len(LINES)
    assert "front bias" in words(drawn)


class Additive(Slope):
    """Every change gains three degrees on both lines."""

    def __init__(self, box):
        self.searches = self
        self.at = {box.truck(mask).hash: mask.bit_count() for mask in range(1 << len(box.changes))}

    def value(self, truck, line, case):
        return 45.0 + 3.0 * self.at[truck] + case % 2


def test_pictures_of_worth_and_budget():
    names = ("battery-forward", "front-wheel-rings")
    box = drawer(GUNDI, [load_change(change("gundi", name)) for name in names])
    answer = worth(box, Additive(box), LINES, 12)
    assert "weighted front wheel rings" in words(draw_worth(answer, "Best first purchase"))
    said = cost_of_purchase(answer)
    assert said.startswith("Cost of being wrong (95 %): weighted front wheel rings may bring as little as +")
    assert "for 16 USD" in said
    bought = budget(choices(box, 20.0), Additive(box), LINES, repeats=12, sets=3)
    assert "buy in this order" in words(draw_budget(bought, "Buy"))
    low = bought.best.gain.low
    assert f"Cost of being wrong (95 %): as little as {low:+.1f} points for 16 USD" in " ".join(sentences(bought))


# --- doubt: unknowns that act by formula --------------------------------------------------------------------------

def doubted(acts, gain=0.05):
    move = plan(117.0)
    trucks = [move.truck(None), move.truck(117.0)]
    cases = cast(priors(GUNDI, "steady"), "steady", 32)
    field = Slope(trucks, (17.0, 117.0), gain, -0.04, 0.0, cases, acts)
    return investigate(field, LINES, trucks[0].hash, trucks[1].hash, cases)


def test_the_unknown_that_flips_is_bracketed_and_measured_first():
    """G = 11.25 + 10 z points flips at z = -1.025; z is grip's, 10 or 4 % a standard deviation."""
    found = doubted({"grip": 4.0, "motor": 0.4})
    first = found.influences[0]
    assert first.unknown.name == "grip"
    sd = first.unknown.sd
    assert first.flips == pytest.approx((-1.0 * sd, -1.25 * sd))
    assert (first.low.value, first.high.value) == pytest.approx((11.25 - 20.0, 11.25 + 20.0))
    # Variance shares of 10 z + 1 z': 100 / 101 and 1 / 101.
    shares = {one.unknown.name: one.share for one in found.influences}
    assert shares["grip"] == pytest.approx(100 / 101, abs=0.03)
    assert shares["motor"] == pytest.approx(1 / 101, abs=0.03)
    # Perfect knowledge of grip saves the whole expected regret of doing it: 0.62 points, see above.
    assert first.saved == pytest.approx(0.62, abs=0.1)
    assert first.decides > 0.8
    said = doubtful(found)
    assert "It flips with grip between" in said
    assert "Measure grip first: it decides in" in said
    assert "grip, " in words(draw_doubt(found, "It flips"))
    assert found.spread.surface.explained > 0.99


def test_a_verdict_that_nothing_flips():
    found = doubted({"motor": 0.2}, gain=0.15)
    assert all(one.flips is None for one in found.influences)
    assert "No unknown alone flips it" in doubtful(found)
    assert "Measuring saves no expected regret" in doubtful(found)


def test_a_driver_flips_by_name():
    found = doubted({"driver": -6.0})
    assert "flips with the bump driver" in doubtful(found)
