"""A readings file and a build sheet brought together: everything the bench can say from them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from models.bench.agreement import Finding, findings
from models.bench.gain import Gain, gains
from models.bench.intake import Weighing, masses, weighing
from models.bench.interval import of_limits, of_step, pooled_scatter
from models.bench.measure import measure, settings_of
from models.bench.measure_tyres import tilt_readings
from models.bench.measurement import Measurement
from models.bench.readings import Readings, load_readings
from models.bench.reconcile import Fit, reconcile, warnings
from models.bench.rewrite import Draft, fitted, loose_part
from models.bench.weighing import Balance, balance
from models.defaults import resolve
from models.errors import BuildSheetError
from models.part_mass import single_grams
from models.plausible import usual_mass_g
from models.spec import PAIRED, Sheet


@dataclass(frozen=True)
class WeighingResult:
    """What weighing gave."""

    readings: Readings
    weighing: Weighing
    balance: Balance
    findings: tuple[Finding, ...]


def weigh(file: Path, sheet: Sheet | None = None) -> WeighingResult:
    """Read and work out the weighing part of a readings file.

    :param sheet: as loaded.
    :raises BuildSheetError: see :func:`models.bench.intake.weighing`.
    """
    readings = load_readings(file)
    try:
        taken = weighing(readings, None if sheet is None else resolve(sheet))
    except BuildSheetError as fault:
        raise fault.at(file) from None
    found = balance(taken)
    return WeighingResult(readings, taken, found, tuple(findings(taken, found)))


def measured(file: Path, sheet: Sheet, only: str | None = None) -> list[Measurement]:
    """Work out the measurements of a readings file.

    :raises BuildSheetError: a reading that cannot be.
    """
    try:
        return measure(load_readings(file), resolve(sheet), only)
    except BuildSheetError as fault:
        raise fault.at(file) from None


def part_masses(readings: Readings, sheet: Sheet) -> dict[str, tuple[float, float]]:
    """Mass of a single part and its standard uncertainty, kg, for parts weighed by themselves or by difference.

    :raises BuildSheetError: a part given in no usable way, or a mass no such part has.
    """
    if not readings.part:
        return {}
    if readings.scale is None:
        raise BuildSheetError("the scale is not described.", remedy='Add [scale] with step = "1 g".', field="scale")
    step = readings.read("mass", readings.scale.step, "scale.step")
    found = {}
    for entry in readings.part:
        field = f"part.{entry.name}"
        if (entry.mass is None) == (entry.with_it is None or entry.without_it is None):
            raise BuildSheetError("a part is weighed by itself or by difference.",
                                  remedy="Give either mass, or with_it and without_it (the truck before and after).",
                                  field=field)
        if entry.mass is not None:
            groups = [masses(readings, entry.mass, f"{field}.mass")]
            mass = float(groups[0].mean())
        else:
            groups = [masses(readings, v or (), f"{field}.{k}") for k, v in
                      (("with_it", entry.with_it), ("without_it", entry.without_it))]
            mass = float(groups[0].mean() - groups[1].mean())
        scatter, _ = pooled_scatter(groups)
        single = 0.5 * step if scatter != scatter else scatter
        doubt = (sum(single**2 / len(g) + of_step(step) ** 2 for g in groups)) ** 0.5
        if entry.mass is not None:
            doubt = (doubt**2 + of_limits(_accuracy(readings, step)) ** 2) ** 0.5
        _check_part(mass, entry.name, sheet, field)
        found[entry.name] = (mass, max(doubt, 1e-6))
    return found


def _accuracy(readings: Readings, step: float) -> float:
    assert readings.scale is not None
    given = readings.scale.accuracy
    # Near nothing on the pan a scale is off by less than at full load; the tare takes most of it away.
    return 0.25 * (step if given is None else readings.read("mass", given, "scale.accuracy"))


def _check_part(mass: float, name: str, sheet: Sheet, field: str) -> None:
    if mass <= 0.0:
        raise BuildSheetError("weighs nothing or less.",
                              remedy="with_it is the heavier reading, without_it the lighter.", field=field)
    part = next((p for p in sheet.parts if p.name == name), None)
    if part is None:
        return
    given = single_grams(part) / 1000.0
    ratio = mass / given if given else 1.0
    if part.body in PAIRED and 1.8 < ratio < 2.2:
        raise BuildSheetError(f"is twice what the sheet has for one ({1000 * given:g} g).",
                              remedy="The sheet counts this part once for each side: give the mass of a single one.",
                              field=field, value=f"{1000 * mass:.1f} g")
    for factor, unit in ((28.35, "ounces"), (1000.0, "kilograms"), (453.6, "pounds")):
        if given and (0.85 < ratio * factor < 1.18 or 0.85 < ratio / factor < 1.18):
            raise BuildSheetError(f"is a factor of {factor:g} off the sheet's {1000 * given:g} g.",
                                  remedy=f"One of the two is in {unit}: check the unit.", field=field,
                                  value=f"{1000 * mass:.4g} g")
    if 1000.0 * mass > 2.0 * usual_mass_g(sheet.scale):
        raise BuildSheetError("is more than a whole truck of this scale.", remedy="Check the unit.", field=field,
                              value=f"{1000 * mass:.4g} g")


@dataclass(frozen=True)
class Reconciled:
    """A fit, ready to be written."""

    draft: Draft
    sheet: Sheet
    """Resolved, with what was measured directly, before the fit."""
    measurements: tuple[Measurement, ...]
    weighed: WeighingResult | None
    fit: Fit
    warnings: tuple[str, ...]
    gains: tuple[Gain, ...]


def fit(build: Path, file: Path) -> Reconciled:
    """Reconcile a sheet file with a readings file, in memory.

    :raises BuildSheetError: either file cannot be used, or the readings say nothing about the sheet.
    """
    readings = load_readings(file)
    draft = Draft(build)
    before = draft.sheet()
    _check_truck(readings, before, file)
    measurements = measured(file, before)
    settings = settings_of(measurements)
    draft.put(settings)
    sheet = resolve(draft.sheet())
    weighed = weigh(file, sheet) if _was_weighed(readings) else None
    try:
        masses = part_masses(readings, sheet)
        keys = {setting.key[-1] for setting in settings}
        known = ("rate_n_per_mm" in keys, bool(keys & {"squish", "stiffness_n_per_mm"}))
        tilts = tilt_readings(readings)
        done = reconcile(sheet, None if weighed is None else weighed.balance, tilts, masses, known)
    except BuildSheetError as fault:
        raise fault.at(file) from None
    step = weighed.weighing.step if weighed is not None else 1e-3
    return Reconciled(
        draft, sheet, tuple(measurements), weighed, done, tuple(warnings(done, sheet)),
        tuple(gains(done, step, sheet.wheelbase_mm / 1000.0)),
    )  # fmt: skip


def write(done: Reconciled, target: Path, name: str | None = None) -> Sheet:
    """Write the fitted sheet to a new file and give it back as it reads.

    :raises BuildSheetError: the file is there already or cannot be written.
    """
    draft = done.draft
    draft.put(fitted(done.fit, done.sheet))
    loose = loose_part(done.fit, draft.sheet())
    if loose is not None:
        doubt = next(m.doubt_after for m in done.fit.moved if m.unknown.key[1:] == (loose["name"], "mass"))
        draft.add_part(loose, f"fitted: what the scale shows beyond the parts, ±{1.96 * doubt:.1f} g")
    date = "" if done.weighed is None else done.weighed.readings.date
    simulated = done.weighed is not None and done.weighed.readings.simulated
    note = f"Fitted to {'simulated ' if simulated else ''}bench readings{f' of {date}' if date else ''}."
    draft.say(name or f"{done.sheet.name}, fitted", note)
    draft.write(target)
    return draft.sheet()


def _check_truck(readings: Readings, sheet: Sheet, file: Path) -> None:
    if readings.truck.strip().lower() != sheet.name.strip().lower():
        raise BuildSheetError(f'these readings are of another truck: the sheet is "{sheet.name}".',
                              remedy="Name the right file, or correct truck = ... if it is the same one.", file=file,
                              field="truck", value=readings.truck)


def _was_weighed(readings: Readings) -> bool:
    return readings.whole is not None or readings.wheels is not None or readings.axles is not None
