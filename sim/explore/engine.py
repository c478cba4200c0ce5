"""Who proposes the next set-ups: NSGA-II, by pymoo.

On an invented truck with a known front of three aims, ten things that may change and two bounds, 200 set-ups driven 8
times each reached 57 to 87 % of the front's volume with pymoo's NSGA-II and uniform crossover, 63 to 83 % with
optuna's NSGA-II, 62 to 87 % with its independent TPE, 45 to 64 % with its multivariate one and 70 to 72 % with random
draws (three seeds): at this size the seeds differ more than the methods. A run took 0.2 s, 1.9 s, 82 s, 5.3 s and 19 s,
and TPE's cost grows with what it remembers, so that thousands of set-ups are pymoo's. Botorch would bring torch along.

Source of the method: Deb, Pratap, Agarwal & Meyarivan, IEEE Trans. Evol. Comput. 6 (2002) 182-197. Blank & Deb, IEEE
Access 8 (2020) 89497-89509 describe the library.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sim.explore.workshop import Genes

Array = NDArray[np.float64]
POPULATION = 40


class Optimiser:
    """Asks and is told. The same seed and the same answers give the same questions."""

    def __init__(
        self, sizes: Sequence[int], aims: int, seed: int, now: Genes, first: Sequence[Genes], batch: int
    ) -> None:
        """Begin with the set-ups given and random ones besides.

        :param sizes: Number of choices of every dimension.
        :param aims: Number of objectives.
        :param now: The truck as it is.
        :param first: Set-ups to begin with.
        :param batch: How many are asked for at a time after that.
        """
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # other people's imports
            from pymoo.algorithms.moo.nsga2 import NSGA2
            from pymoo.core.problem import Problem
            from pymoo.operators.crossover.ux import UX
            from pymoo.operators.mutation.pm import PM
            from pymoo.operators.repair.rounding import RoundingRepair
        top = np.array(sizes) - 1
        self._problem = Problem(n_var=len(sizes), n_obj=aims, n_ieq_constr=1, xl=np.zeros(len(sizes)), xu=top,
                                vtype=int)
        rng = np.random.default_rng(seed)
        random = rng.integers(0, top + 1, size=(max(POPULATION - len(first), batch), len(sizes)))
        # Everything changed at once costs more than most budgets hold.
        random = np.where(rng.random(random.shape) < 0.5, random, np.array(now))
        start = np.unique(np.vstack([np.array(first, dtype=int).reshape(-1, len(sizes)), random]), axis=0)
        mutation = PM(prob=1.0, eta=3.0, vtype=float, repair=RoundingRepair())
        self._method = NSGA2(pop_size=max(len(start), POPULATION), n_offsprings=batch, sampling=start, crossover=UX(),
                             mutation=mutation, eliminate_duplicates=True)
        self._method.setup(self._problem, termination=("n_gen", 10**9), seed=seed, verbose=False)
        self._asked = None

    def ask(self) -> list[Genes]:
        """Set-ups to look at next; empty when the method has run dry."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self._asked = self._method.ask()
        if self._asked is None or not len(self._asked):
            return []
        return [tuple(int(g) for g in row) for row in np.rint(self._asked.get("X"))]

    def tell(self, chance: Array, fault: Array) -> None:
        """Answer all of the last question.

        :param chance: (set-ups, aims), anything where there is a fault.
        :param fault: (set-ups,) 0 for one that can be built, else how far it is from that.
        """
        from pymoo.core.evaluator import Evaluator
        from pymoo.problems.static import StaticProblem

        found = StaticProblem(self._problem, F=-chance, G=fault[:, None])
        Evaluator().eval(found, self._asked)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self._method.tell(infills=self._asked)

    def parents(self) -> list[Genes]:
        """Who the next set-ups will come from."""
        return [tuple(int(g) for g in row) for row in np.rint(self._method.pop.get("X"))]

    def correct(self, chance: Mapping[Genes, Array]) -> None:
        """Tell better numbers of parents that were driven again; a lucky first try must not stay for ever."""
        for one in self._method.pop:
            better = chance.get(tuple(int(g) for g in np.rint(one.X)))
            if better is not None:
                one.F = -better
