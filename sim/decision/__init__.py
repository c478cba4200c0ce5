"""Decisions before money is spent or a hole is drilled: what a move, a part or a whole budget buys.

Trials come from :mod:`sim.decision.search`, the error of looking early is kept by :mod:`sim.decision.stopping`; the
questions are :mod:`~sim.decision.shift`, :mod:`~sim.decision.worth`, :mod:`~sim.decision.budget` and
:mod:`~sim.decision.doubt`.
"""
