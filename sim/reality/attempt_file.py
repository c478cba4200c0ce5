"""Attempts on real lines: a log file in TOML or CSV, that a phone can edit, read with checks.

A log names its lines (an obstacle with its measured height or angle, and the surface), its configurations (build sheet
and changes) and its tries. Outcomes are those of the simulation, so that the two can be compared; ``void`` is a try
that does not count (something broke, somebody was in the way).
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from sim.errors import SimError

Name = Annotated[str, Field(min_length=1, max_length=200)]
Text = Annotated[str, Field(max_length=2000)]
VOID = "void"
REASONS: dict[str, tuple[str, ...]] = {
    "cleared": ("crossed the finish",),
    "rolled": ("tipped back", "nosed over", "tipped left", "tipped right"),
    "stuck": ("belly hung", "axle hung", "wheels in the air", "tyres slipped", "drive stalled"),
    "slid": ("slid back", "slid sideways", "left the lane"),
    "timeout": ("time ran out",),
    VOID: (),
}
"""Outcomes and the reason codes that the simulation gives them; a reason may also be free text."""


class LogError(SimError):
    """A log that cannot be imported as it stands."""


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class LineEntry(_Record):
    """One line on the rocks."""

    name: Name
    obstacle: Name
    """As for the simulation, with what was measured: ``ledge-on-slope:24,slope=15``."""
    surface: Name
    note: Text = ""


class TruckEntry(_Record):
    """One configuration that was driven."""

    name: Name
    build: Name
    changes: tuple[Name, ...] = ()


class TryEntry(_Record):
    """One try, or several in a row alike in all but the outcome."""

    line: Name
    configuration: Name
    outcome: Name | None = None
    tries: tuple[Name, ...] = ()
    """Several outcomes in order, each may carry its reason: ``"stuck: tyres slipped"``."""
    reason: Text = ""
    note: Text = ""
    video: Text = ""
    battery: Text = ""
    weather: Text = ""
    date: datetime.date | str = ""
    driver: Text = ""


class LogFile(_Record):
    """A day's log."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    date: datetime.date | str = ""
    place: Text = ""
    driver: Name = "driver"
    weather: Text = ""
    battery: Text = ""
    note: Text = ""
    invented: bool = False
    simulated: bool = False
    line: tuple[LineEntry, ...] = ()
    configuration: tuple[TruckEntry, ...] = ()
    attempt: tuple[TryEntry, ...] = ()


@dataclass(frozen=True)
class Attempt:
    """One try as it goes into the store."""

    day: str
    """ISO 8601."""
    line: str
    obstacle: str
    """Without its level, as in the store's trials."""
    level: float
    surface: str
    configuration: str
    """Name in the log."""
    driver: str
    outcome: str
    reason: str
    note: str = ""
    video: str = ""
    battery: str = ""
    weather: str = ""
    simulated: bool = False

    @property
    def counts(self) -> bool:
        """Whether it is a try at all."""
        return self.outcome != VOID

    @property
    def cleared(self) -> bool:
        """Whether it was a success."""
        return self.outcome == "cleared"


STARTER = """\
# A day on the rocks. Any number of tries per line; outcomes: cleared, rolled, stuck, slid, timeout (void: does not
# count). A reason is one of the simulation's codes or your own words, after a colon.
schema = 1
date = 2026-11-22
place = ""
driver = "me"
weather = ""
battery = ""

[[configuration]]
name = "as it is"
build = "my-truck.toml"     # from this file's folder
changes = []                # as ["battery-forward.toml"]

[[line]]
name = "step by the oak"
obstacle = "ledge:24"       # family and what you measured: ledge:mm, climb:deg, side-hill:deg, descent:deg, ...
surface = "sandstone, dry"

[[attempt]]
line = "step by the oak"
configuration = "as it is"
tries = ["cleared", "stuck: tyres slipped", "cleared"]
video = "0:42"
note = ""
"""
