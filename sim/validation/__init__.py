"""Checks of the tool against closed forms, published numbers, other engines and other libraries.

A check is data plus a function (:mod:`sim.validation.check`); each group of checks has a file of its own, listed in
:mod:`sim.validation.catalogue`. The same checks are a command and tests.
"""
