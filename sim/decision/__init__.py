"""Decisions before money is spent or a hole is drilled: what a move, a part or a whole budget buys.

Trials come from :mod:`sim.decision.limit_search`, the error of looking early is kept by
:mod:`sim.statistics.group_sequential`; the questions are :mod:`~sim.decision.shift`, :mod:`~sim.decision.worth`,
:mod:`~sim.decision.budget` and :mod:`~sim.decision.doubt`.
"""
