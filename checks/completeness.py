"""What the sheet requires and the job does not have yet, in the order of the work."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from checks.words import slot_name
from schemas.findings import Finding, NotApplicable
from schemas.readings import Reading
from schemas.sheet import Required, Sheet

__all__ = ["missing"]

_NOT_DONE = "not yet"
_NOT_APPLICABLE = "not applicable"


def missing(
    readings: Sequence[Reading], sheet: Sheet, tags: Sequence[str], not_applicable: Sequence[NotApplicable] = ()
) -> tuple[Finding, ...]:
    """Return what is missing, appliance by appliance, each in the order of the work.

    Args:
        readings: the live readings of the whole job. A reading whose question is open is asked about, not missing.
        sheet: the job's sheet.
        tags: the appliances of the job. With one, readings without an appliance are its own.
        not_applicable: what does not apply here, each with its reason; ``appliance`` None counts for all.
    """
    found: list[Finding] = []
    for place, tag in enumerate(tags):
        mine = [r for r in readings if r.appliance == tag or (r.appliance is None and len(tags) == 1)]
        for required in sheet.required:
            if required.once and place > 0:
                continue
            pool = readings if required.once else mine
            waived = any(
                (n.quantity, n.condition) == (required.quantity, required.condition) and n.appliance in (None, tag)
                for n in not_applicable
            )
            if not waived:
                found += _missing(pool, sheet, required, None if required.once else tag)
        found += _after_without_before(mine, sheet, tag)
    return tuple(found)


def _missing(pool: Sequence[Reading], sheet: Sheet, required: Required, tag: str | None) -> Iterator[Finding]:
    there = [r for r in pool if (r.quantity, r.condition) == (required.quantity, required.condition)]
    if required.when is not None and not any(
        (r.quantity, r.condition) == (required.when, required.condition) for r in pool
    ):
        return
    if required.phase:
        there = [r for r in there if r.phase == required.phase]
    name = slot_name(sheet, required.quantity, required.condition, required.phase)
    if not there:
        yield _finding(required, tag, f"{name}: not recorded yet.", there)
    elif there[-1].taken and there[-1].value == _NOT_DONE:
        yield _finding(required, tag, f"{name}: said to be not done yet.", there)
    elif there[-1].taken and there[-1].value == _NOT_APPLICABLE and not there[-1].note.strip():
        yield _finding(required, tag, f"{name}: said not to apply here; the reason is missing.", there)


def _finding(required: Required, tag: str | None, text: str, readings: Sequence[Reading]) -> Finding:
    return Finding(
        rule="required",
        verdict="missing",
        text=text,
        appliance=tag,
        quantity=required.quantity,
        condition=required.condition,
        readings=tuple(r.id for r in readings[-1:]),
    )


def _after_without_before(mine: Sequence[Reading], sheet: Sheet, tag: str) -> Iterator[Finding]:
    """Tell, once for each condition, which readings after an adjustment have none from before it. They are kept.

    Only quantities that the sheet asks for after an adjustment: the others need not be read twice.
    """
    for condition in sheet.conditions:
        compared = {r.quantity for r in sheet.required if r.phase == "after" and r.condition == condition.id}
        rows = [r for r in mine if r.condition == condition.id and r.quantity in compared]
        before = {r.quantity for r in rows if r.phase == "before"}
        alone = [r for r in rows if r.phase == "after" and r.quantity not in before]
        if alone:
            names = ", ".join(dict.fromkeys(sheet.quantity(r.quantity).name for r in alone if r.quantity is not None))
            yield Finding(
                rule="after_without_before",
                verdict="look again",
                text=f"After the adjustment, {condition.name}: kept without a reading from before it: {names}.",
                appliance=tag,
                condition=condition.id,
                readings=tuple(r.id for r in alone),
            )
