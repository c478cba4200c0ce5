"""All groups of checks, in the order they are shown."""

from __future__ import annotations

from functools import cache
from importlib import import_module

from sim.errors import SimError
from sim.validation.check import Check, Group

MODULES = (
    "statics",
    "tipping",
    "holding",
    "motion",
    "bouncing",
    "driving",
    "engines",
    "pair",
    "rods",
    "linkage",
    "tyre",
    "judges",
    "contact",
    "convergence",
    "grids",
    "trade",
    "hobby",
    "statistics",
    "coverage",
    "ladders",
    "unknowns",
)
"""Files of this package that hold a ``GROUP``; a new file of checks is a new line here."""


@cache
def groups() -> tuple[Group, ...]:
    """Every group with its checks.

    :raises SimError: Two checks of one name.
    """
    found = tuple(import_module(f"sim.validation.{name}").GROUP for name in MODULES)
    names = [check.name for group in found for check in group.checks]
    twice = {name for name in names if names.count(name) > 1}
    if twice:
        raise SimError("two checks have one name", field="validation", value=sorted(twice)[0])
    return found


def checks(only: tuple[str, ...] = (), *, quick: bool = False) -> tuple[Check, ...]:
    """Checks of the groups, or with the names, that are given; all without.

    :raises SimError: No such group or check.
    """
    everything = tuple(check for group in groups() for check in group.checks)
    known = {group.name for group in groups()} | {check.name for check in everything}
    unknown = [word for word in only if word not in known]
    if unknown:
        groups_ = ", ".join(group.name for group in groups())
        raise SimError("no such group or check", field="validate", value=unknown[0], remedy=f"Groups: {groups_}")
    return tuple(
        check
        for check in everything
        if (not only or check.group in only or check.name in only) and not (quick and check.slow)
    )


def named(name: str) -> Check:
    """The check of that name."""
    return next(check for check in checks((name,)) if check.name == name)
