"""A first build sheet from a dozen answers: what was measured stands, the rest is a typical truck made to agree.

Masses of parts that nobody weighed, and the places of those on the chassis, are moved from their usual values by as
little as the scale readings ask for, each counted in the width of its usual range (least squares with the readings
as conditions). So the sheet shows the mass and the axle loads of the truck on the bench.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.answers import Answers
from models.errors import BuildSheetError
from models.part_mass import mass_key
from models.short import filled
from models.size_slips import check_sizes
from models.spec import PAIRED
from models.typical import LOADED_RADIUS, Frame, Usual, between, tables, tenth, typical
from models.vector import Vector

_LIGHTEST = 0.4
"""Of the usual mass of what was not weighed: no truck is lighter throughout (assumed)."""
_FAR = 4.0
"""Widths of its range beyond which a part would have to be moved: then the readings are not of such a truck."""
_PLACES = {"front": 0.86, "middle": 0.5, "rear": 0.18}
"""Where a pack sits, in wheelbases ahead of the rear axle."""


@dataclass
class _Piece:
    """A part of the sheet being made; g and mm."""

    entry: Mapping[str, Any]
    usual: Usual
    mass: float
    at: list[float]
    weighed: bool = False
    placed: bool = False
    """Stands where the builder says: it is not moved to meet the readings."""
    place_measured: bool = False

    @property
    def count(self) -> int:
        return 2 if self.entry.get("body", "chassis") in PAIRED else 1

    @property
    def on_chassis(self) -> bool:
        return self.entry.get("body", "chassis") == "chassis"


@dataclass(frozen=True)
class Started:
    """A sheet that was started."""

    data: dict[str, Any]
    """As the file holds it, blocks of the typical truck left out."""
    ranges: dict[str, Usual]
    """Usual figures of assumed masses (g, by the part's name) and sizes (by the key)."""
    notes: tuple[str, ...]


def start(answers: Answers) -> Started:
    """Make a sheet.

    :raises BuildSheetError: readings that no such truck shows, with the likely slip.
    """
    check_sizes(answers)
    scale, assumed, ranges = answers.scale, [], {}

    def size(key: str, given: float | None, field: str) -> float:
        if given is not None:
            return given
        ranges[field] = typical(f"size.{key}", scale)
        assumed.append(field)
        return ranges[field].value

    wheelbase = size("wheelbase_mm", answers.wheelbase_mm, "wheelbase_mm")
    data: dict[str, Any] = {"schema": 1, "name": answers.name, "scale": scale, "wheelbase_mm": wheelbase}
    axles: dict[str, Any] = {}
    tyres: dict[str, Any] = {}
    for number, end in enumerate(("front", "rear")):
        axles[end] = {"track_mm": size("track_mm", _of(answers.track_mm, number), f"axles.{end}.track_mm")}
        if answers.portal_drop_mm:
            axles[end]["portal_drop_mm"] = answers.portal_drop_mm
        tyres[end] = {
            "outside_diameter_mm": size(
                "tyre_diameter_mm", _of(answers.tyre_diameter_mm, number), f"tyres.{end}.outside_diameter_mm"),
            "width_mm": size("tyre_width_mm", _of(answers.tyre_width_mm, number), f"tyres.{end}.width_mm"),
        }
    frame = Frame(
        scale, wheelbase, (axles["front"]["track_mm"], axles["rear"]["track_mm"]),
        (LOADED_RADIUS * tyres["front"]["outside_diameter_mm"], LOADED_RADIUS * tyres["rear"]["outside_diameter_mm"]),
        (answers.portal_drop_mm or 0.0, answers.portal_drop_mm or 0.0),
    )  # fmt: skip
    pieces = _pieces(answers, frame)
    rods = _rods({**data, "axles": axles, "tyres": tyres, "parts": []})
    notes = _agree(pieces, answers, frame, rods)
    _write_off(pieces, answers, frame, rods)
    data["weighed"] = {k: v for k, v in (("mass_g", answers.total_g), ("front_g", answers.front_g),
                                         ("rear_g", answers.rear_g), ("left_g", answers.left_g)) if v is not None}
    data["parts"] = [_part(piece, frame, tyres) for piece in pieces]
    ranges |= {piece.entry["name"]: piece.usual for piece in pieces if not piece.weighed}
    data |= {"axles": axles, "tyres": tyres, "assumed": assumed}
    return Started(data, ranges, tuple(notes))


def _of(pair: tuple[float, float] | None, number: int) -> float | None:
    return None if pair is None else pair[number]


def _pieces(answers: Answers, frame: Frame) -> list[_Piece]:
    made = []
    for entry in tables()["part"]:
        range_ = between(entry["mass"], frame.scale)
        wheel = entry.get("body", "").endswith("_wheels")
        made.append(_Piece(entry, range_, range_.value, frame.place(entry["at"], on_wheel=wheel)))
    by_name = {piece.entry["name"]: piece for piece in made}
    for name, grams in answers.weighed_g.items():
        for found in named(name, list(by_name)):
            by_name[found].mass, by_name[found].weighed = grams, True
    battery = by_name["battery"]
    if answers.battery_g is not None:
        battery.mass, battery.weighed = answers.battery_g, True
    place = answers.battery_at
    if place is not None:
        x = _PLACES[place] * frame.wheelbase if isinstance(place, str) else place
        moved = x - battery.at[0]
        for piece in (battery, *(p for p in made if p.entry.get("with") == "battery")):
            piece.at[0] = tenth(piece.at[0] + moved)
            piece.placed, piece.place_measured = True, not isinstance(place, str)
    return made


def named(words: str, known: Sequence[str]) -> list[str]:
    """Parts of a typical truck that these words mean; front and rear of one kind count as one.

    :raises BuildSheetError: none, or several kinds.
    """
    said = [w.removesuffix("s") for w in words.lower().replace("_", " ").split()]
    said = [w for word in said for w in tables()["words"].get(word, word).split()]
    found = [name for name in known if all(any(p.startswith(w) for p in name.split()) for w in said)]
    found = [name for name in found if name.split() == said] or found
    if words.lower().strip().removesuffix("s") in ("tyre", "tire"):
        raise BuildSheetError("a tyre is no part by itself here.", remedy="Weigh a wheel with its tyre: wheel 29 g.",
                              field="weighed", value=words)  # fmt: skip
    kinds = {name.removeprefix("front ").removeprefix("rear ") for name in found}
    if len(kinds) != 1:
        raise BuildSheetError(
            "a typical truck has no such part." if not found else "this could be more than one part.",
            remedy=f"{'Parts' if not found else 'Choose one of'}: {', '.join(found or known)}.",
            field="weighed", value=words,
        )  # fmt: skip
    return found


def _rods(data: dict[str, Any]) -> Vector:
    """Mass (g) of links and shocks with their moments about the rear axle and the middle (g mm)."""
    total = np.zeros(3)
    for axle in filled(data)["axles"].values():
        for link in axle["links"]:
            middle = (np.array(link["chassis_mm"]) + np.array(link["axle_mm"])) / 2.0
            total += link["mass_g"] * np.array([1.0, middle[0], middle[1]])
        shock = axle["shock"]
        x = (shock["chassis_mm"][0] + shock["axle_mm"][0]) / 2.0
        total += 2.0 * shock["mass_g"] * np.array([1.0, x, 0.0])
    return total


def _sums(pieces: Sequence[_Piece], rods: Vector) -> Vector:
    total = rods.copy()
    for piece in pieces:
        y = 0.0 if piece.count == 2 else piece.at[1]
        total += piece.count * piece.mass * np.array([1.0, piece.at[0], y])
    return total


def _wanted(answers: Answers, frame: Frame) -> dict[int, float]:
    """What the scale says of the sums: 0 mass, 1 moment about the rear axle, 2 about the middle."""
    wanted: dict[int, float] = {}
    if answers.total_g is not None:
        wanted[0] = answers.total_g
        if answers.front_g is not None:
            wanted[1] = answers.front_g * frame.wheelbase
        if answers.left_g is not None:
            # Wheels of one side carry their load at half the track; of unequal tracks at the mean by load.
            share = 0.5 if answers.front_g is None else answers.front_g / answers.total_g
            track = share * frame.track[0] + (1.0 - share) * frame.track[1]
            wanted[2] = (answers.left_g - answers.total_g / 2.0) * track
    return wanted


def _agree(pieces: list[_Piece], answers: Answers, frame: Frame, rods: Vector) -> list[str]:
    """Move masses and places, each by its range, as little as the readings ask for."""
    wanted = _wanted(answers, frame)
    if not wanted:
        return []
    doubt = tables()["doubt"]["place"]
    moves: list[tuple[_Piece, str, float, float]] = []
    for piece in pieces:
        if not piece.weighed:
            sigma = float(np.log(piece.usual.high / piece.usual.low)) / 4.0
            moves.append((piece, "mass", piece.mass, sigma))
        if piece.on_chassis and not piece.placed:
            moves.append((piece, "x", piece.at[0], doubt[0] * frame.wheelbase))
        if piece.on_chassis and 2 in wanted:
            moves.append((piece, "y", piece.at[1], doubt[1] * frame.track[0]))
    unit = np.array([1.0, frame.wheelbase, frame.track[0]])
    steps, told = _solved(pieces, moves, wanted, unit, rods), []
    if steps is None and 0 in wanted:
        # A light truck is light throughout: what was not weighed then begins lighter by one factor.
        factor = _factor(pieces, moves, answers, rods)
        if factor is not None:
            moves = [(piece, what, factor * begin if what == "mass" else begin, sigma)
                     for piece, what, begin, sigma in moves]
            steps = _solved(pieces, moves, wanted, unit, rods)
            told = [f"all that was not weighed alone is taken to be {factor:.2f} times as heavy as in usual trucks; "
                    "weigh the heaviest parts"]
    if steps is None:
        raise BuildSheetError(
            f"no usual 1/{answers.scale:g} truck shows these readings: {_against(pieces, moves, answers, rods)}",
            remedy="Check the unit of every reading, that front and rear are not swapped, and what was weighed alone.",
            field="mass",
        )
    unusual = [(m, s) for m, s in zip(moves, steps, strict=True) if abs(s) > 2.0]
    return [*told, *(f"{piece.entry['name']}: {what} had to go {abs(s) / 2.0:.1f} times the usual range's half-width "
                     "from what is usual to meet the readings; weigh or measure it"
                     for (piece, what, _, _), s in unusual)]


def _solved(
    pieces: list[_Piece], moves: list[tuple[_Piece, str, float, float]], wanted: Mapping[int, float], unit: Vector,
    rods: Vector,
) -> Vector | None:  # fmt: skip
    """Steps of the moves, in their ranges, that meet the readings and are least; None if they go too far."""
    rows = sorted(wanted)
    target = np.array([wanted[k] for k in rows])
    unit = unit[rows] * wanted[0]
    steps = np.zeros(len(moves))
    for _ in range(60):
        _set(moves, steps)
        off = (_sums(pieces, rods)[rows] - target) / unit
        if float(np.max(np.abs(off))) < 1e-10:
            break
        slope = _slope(moves, rows) / unit[:, None]
        wish = np.linalg.lstsq(slope, slope @ steps - off, rcond=None)[0]
        steps = steps + np.clip(wish - steps, -1.0, 1.0)
    if float(np.max(np.abs(off))) > 1e-4 or not len(steps) or float(np.max(np.abs(steps))) > _FAR:
        return None
    return steps


def _factor(
    pieces: Sequence[_Piece], moves: Sequence[tuple[_Piece, str, float, float]], answers: Answers, rods: Vector
) -> float | None:
    """How much heavier than usual all that was not weighed is; None where no truck of the scale is like that."""
    usual = typical("size.mass_g", answers.scale)
    total = answers.total_g or 0.0
    if not usual.low <= total <= usual.high:
        return None
    _set(moves, np.zeros(len(moves)))
    open_ = sum(p.count * p.mass for p in pieces if not p.weighed)
    factor = (total - float(_sums(pieces, rods)[0]) + open_) / open_ if open_ > 0.0 else 0.0
    return factor if _LIGHTEST <= factor <= 1.0 / _LIGHTEST else None


def _set(moves: Sequence[tuple[_Piece, str, float, float]], steps: Vector) -> None:
    for (piece, what, start_, sigma), step in zip(moves, steps, strict=True):
        if what == "mass":
            piece.mass = start_ * float(np.exp(sigma * step))
        else:
            piece.at["xy".index(what)] = start_ + sigma * float(step)


def _slope(moves: Sequence[tuple[_Piece, str, float, float]], rows: Sequence[int]) -> Vector:
    columns = []
    for piece, what, _, sigma in moves:
        grams, y = piece.count * piece.mass, 0.0 if piece.count == 2 else piece.at[1]
        columns.append({
            "mass": grams * sigma * np.array([1.0, piece.at[0], y]),
            "x": np.array([0.0, grams * sigma, 0.0]), "y": np.array([0.0, 0.0, grams * sigma]),
        }[what][list(rows)])  # fmt: skip
    return np.array(columns).T.reshape(len(rows), len(moves))


def _against(
    pieces: Sequence[_Piece], moves: Sequence[tuple[_Piece, str, float, float]], answers: Answers, rods: Vector
) -> str:
    weighed = sum(p.count * p.mass for p in pieces if p.weighed)
    total = answers.total_g or 0.0
    if weighed > 0.9 * total:
        return f"what was weighed alone sums to {weighed:.0f} g of {total:.0f} g."
    _set(moves, np.zeros(len(moves)))
    usual = _sums(pieces, rods)
    return f"with the usual parts it has {usual[0]:.0f} g, the scale says {total:.0f} g."


def _write_off(pieces: list[_Piece], answers: Answers, frame: Frame, rods: Vector) -> None:
    """Round to what a sheet shows, and let the heaviest part that nobody weighed take up what rounding left."""
    for piece in pieces:
        piece.mass = float(f"{piece.mass:.3g}") if not piece.weighed else piece.mass
        piece.at = [tenth(v) for v in piece.at]
    rest = [p for p in pieces if p.on_chassis and not p.weighed and not p.placed and p.entry.get("shape") != "shell"]
    wanted = _wanted(answers, frame)
    if not rest or not wanted:
        return
    taker = max(rest, key=lambda p: p.mass)
    off = {k: v - float(_sums(pieces, rods)[k]) for k, v in wanted.items()}
    old = taker.mass
    taker.mass = round(old + off.get(0, 0.0), 2)
    for k in (1, 2):
        if k in off:
            taker.at[k - 1] = round((old * taker.at[k - 1] + off[k]) / taker.mass, 2)


def _part(piece: _Piece, frame: Frame, tyres: Mapping[str, Any]) -> dict[str, Any]:
    entry, part = piece.entry, {"name": piece.entry["name"]}
    body = entry.get("body", "chassis")
    if body != "chassis":
        part["body"] = body
    part[mass_key(body)] = piece.mass
    part["at_mm"] = piece.at
    if "bore" in entry:
        tyre = tyres[body.removesuffix("_wheels")]
        across = tyre["outside_diameter_mm"]
        part["size_mm"] = [across, tyre["width_mm"], across]
        part["bore_mm"] = tenth(entry["bore"] * across)
    else:
        part["size_mm"] = frame.size(entry["size"], entry["at"][0])
    if "shape" in entry:
        part["shape"] = entry["shape"]
    part["source"] = "measured" if piece.weighed else "assumed"
    placed = "measured" if piece.place_measured else "assumed"
    if placed != part["source"]:
        part["place_source"] = placed
    return part
