"""What to mind of a handful of changes: each alone, and what only their company brings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sim.decision.caution import Caution, beyond, cautions
from sim.decision.change_sets import Drawer
from sim.decision.limit_search import Searches
from sim.decision.obstacle_mix import Line

Named = tuple[str, list[Caution]]


def warned(drawer: Drawer, sets: Iterable[int], searches: Searches, lines: Sequence[Line]) -> list[Named]:
    """Cautions of the truck as it is, of single changes against it, and of sets beyond those of their single changes.

    :param drawer: The changes.
    :param sets: Sets of them to look at, as numbers; their single changes are always among them.
    :param searches: Trials that were driven.
    :param lines: What is asked of the trucks.
    """
    base = drawer.truck(0)
    found: list[Named] = [(drawer.base_name, cautions(base.configuration.sheet, None, lines,
                                                      searches.exertion(base.hash)))]
    wanted = sorted(set(sets) - {0})
    alone: dict[int, list[Caution]] = {}
    for k in sorted({k for mask in wanted for k in drawer.members(mask)}):
        alone[k] = _against(drawer, 1 << k, searches, lines)
        found.append((drawer.names[k], alone[k]))
    for mask in wanted:
        members = drawer.members(mask)
        if len(members) > 1:
            known = [caution for k in members for caution in alone[k]]
            found.append((drawer.label(mask), beyond(_against(drawer, mask, searches, lines), known)))
    return found


def _against(drawer: Drawer, mask: int, searches: Searches, lines: Sequence[Line]) -> list[Caution]:
    base, truck = drawer.truck(0), drawer.truck(mask)
    return cautions(truck.configuration.sheet, base.configuration.sheet, lines, searches.exertion(truck.hash),
                    searches.exertion(base.hash))


def as_data(found: Sequence[tuple[str, Sequence[Caution]]]) -> list[dict[str, object]]:
    """Cautions as plain data, each with the truck it holds for."""
    return [{"truck": name} | vars(caution) for name, some in found for caution in some]
