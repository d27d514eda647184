"""What was looked at and is not in order, where the sheet has no stop for it: nobody may miss it."""

from __future__ import annotations

from collections.abc import Iterator

from checks.rows import Rows
from checks.words import slot_name
from schemas.findings import Finding
from schemas.sheet import Sheet

__all__ = ["failed_findings"]

_FAILED = "failed"
_SAY = (
    "recorded as failed. A qualified person has to put it right, after the maker's instructions and local code; then "
    "it is looked at and recorded again"
)
_BASIS = "common practice, no source; the maker's instructions and local code rule"


def failed_findings(rows: Rows, sheet: Sheet) -> Iterator[Finding]:
    """Yield a caution for each check that stands as failed and that no stop of the sheet is about."""
    stopped = {name for stop in sheet.stops if _FAILED in stop.states for name in (stop.quantity, *stop.also)}
    for quantity in sheet.quantities:
        if quantity.kind != "check" or quantity.id in stopped:
            continue
        for condition in quantity.conditions or ("",):
            reading = rows.standing(quantity.id, condition)
            if reading is not None and reading.value == _FAILED:
                yield Finding(
                    rule="check_failed",
                    verdict="caution",
                    text=f"{slot_name(sheet, quantity.id, condition)}: {_SAY}.",
                    appliance=reading.appliance,
                    quantity=quantity.id,
                    condition=condition,
                    readings=(reading.id,),
                    basis=_BASIS,
                )
