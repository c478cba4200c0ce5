"""Where the trials of a decision are run: worker processes and a store that keeps every one of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from sim.batch.batch import Supply
from sim.batch.session import Session, Watch, session
from sim.batch.study import yard_of
from sim.decision.limit_search import Case, Searches, SearchSetting
from sim.decision.obstacle_mix import Line
from sim.decision.unknowns import Variants
from sim.errors import SimError, make_folder
from sim.store.store import Store, StoredTruck
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation
from sim.trial.truck import Truck


class Stopped(Exception):
    """Ctrl-C: what was run is in the store."""


class Field:
    """Searches that can be asked for, run and read; workers stay between runs."""

    def __init__(self, searches: Searches, trucks: Sequence[Truck], session: Session) -> None:
        """Hold what :func:`opened` made."""
        self.searches = searches
        self.trucks = {truck.hash: truck for truck in trucks}
        self.run_trials = 0
        self.known_trials = 0
        self.trial_s = 0.0
        self._session = session

    def find(self, trucks: Iterable[str], cases: Iterable[int], lines: Sequence[int] | None = None) -> None:
        """Have the limits of trucks (hashes) found in these cases.

        :raises Stopped: Ctrl-C.
        :raises SimError: A trial crashes its worker whatever is done.
        """
        self.searches.ask(trucks, cases, lines)
        self.run(self.searches)

    def run(self, supply: Supply) -> None:
        """Run a supply of trials to its end. Errors as for :meth:`find`."""
        progress = self._session.run(supply)
        self.run_trials += progress.done
        self.known_trials += progress.known
        self.trial_s += progress.trial_s
        if progress.ending == "interrupted":
            raise Stopped
        if progress.faults:
            fault = progress.faults[0]
            raise SimError(f"a trial cannot be run: {fault.text}", field=fault.task.obstacle, value=fault.task.level,
                           remedy="Try again when the machine is less busy; if it stays, leave this obstacle out")


@contextmanager
def opened(
    trucks: Sequence[Truck],
    lines: tuple[Line, ...],
    yard: Yard,
    path: Path,
    *,
    workers: int,
    driver: str = "steady",
    seed: int = 1,
    variation: Variation | None = None,
    cases: Mapping[int, Case] | None = None,
    watch: Watch | None = None,
) -> Iterator[Field]:
    """Start workers and open (or make) the store; the first truck is the one compared with.

    Trucks that are the same truck are fine: one set of trials serves both.

    :raises StoreError: The store cannot be used.
    """
    make_folder(path.parent)
    setting = SearchSetting(lines, yard, driver, seed, Variation() if variation is None else variation, cases or {})
    payload = Variants({truck.hash: truck.model for truck in trucks}, [case.values for case in setting.cases.values()])
    with Store(path, write=True) as store:
        store.add_configurations([StoredTruck(truck.hash, truck.name, truck.facts) for truck in trucks])
        with session(store, payload, workers, watch) as here:
            yield Field(Searches(setting, trucks[0].hash), trucks, here)


def yard(truck: Truck) -> Yard:
    """The truck size that ground is made for: that of the truck compared with."""
    return yard_of(truck.model)
