"""What a comparison does not show, and why: rows of other versions, damaged rows, trucks without a description."""

from __future__ import annotations

from sim.batch.version import versions
from sim.compare.comparison import Comparison
from sim.store.store import Store


def left_out(store: Store, comparison: Comparison) -> list[str]:
    """Sentences without a full stop, the gravest first; none when the store is whole and of this version."""
    told = []
    damaged = list(store.damaged.values())
    if damaged:
        first = damaged[0]
        some = f"{first.trial}: {first.why}" + (f", and {len(damaged) - 1} more" if len(damaged) > 1 else "")
        told.append(f"{_trials(len(damaged))} left out as damaged ({some}); see cragbench store check {store.path}")
    if comparison.other_versions:
        told.append(f"{_trials(comparison.other_versions)} of other versions of the physics or the trucks left out")
    of, here = comparison.versions, versions()
    if (of.code, of.engine) != (here.code, here.engine):
        told.append(f"these results were computed by another version ({of.code}, {of.engine}; this one is {here.code}, "
                    f"{here.engine}): a batch would drive all of them again")
    known = store.configurations()
    strange = sorted({cell.config for cell in comparison.cells} - set(known)) if known else []
    if strange:
        told.append(f"the store does not describe {', '.join(strange)}: these trials may be from somebody else's store")
    return told


def _trials(count: int) -> str:
    return "1 trial" if count == 1 else f"{count} trials"
