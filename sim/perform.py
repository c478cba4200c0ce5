"""Carrying out one task: the truck and ground it names, varied by its draw, handed to the trial.

This is what a worker process calls. Everything a batch knows about physics is behind :func:`perform`; a batch can
be given any other callable of the same form.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from models.rigid import Body, RigidModel
from sim import driver, place, trial
from sim.draw import Draw
from sim.result import TrialResult
from sim.task import Task

Trucks = Mapping[str, RigidModel]
"""Configurations of a study by their content hash: sent to every worker once."""


def perform(trucks: Trucks, task: Task) -> TrialResult:
    """Run the trial that a task describes; the same task gives the same bits in any process."""
    luck = task.draw
    return trial.run(
        vary(trucks[task.config], luck),
        place.place(task.obstacle, task.level, task.yard, luck),
        driver.named(task.driver),
        luck.driver_seed,
        trace=task.keep_trace,
        grip_scale=luck.grip_scale,
    )


def vary(truck: RigidModel, luck: Draw) -> RigidModel:
    """The truck with the draw's battery voltage and centre of gravity."""
    varied = replace(truck, drive=replace(truck.drive, voltage=truck.drive.voltage * luck.voltage_scale))
    if any(luck.cg_mm):
        varied = replace(varied, bodies=(_shifted(truck, luck), *truck.bodies[1:]))
    return varied


def _shifted(truck: RigidModel, luck: Draw) -> Body:
    """Chassis whose centre of mass moves so far that the whole truck's moves by ``luck.cg_mm``."""
    chassis = truck.bodies[0]
    share = truck.mass / chassis.mass
    shift = [1e-3 * share * mm for mm in luck.cg_mm]
    return replace(chassis, p_BBcm=chassis.p_BBcm + shift)
