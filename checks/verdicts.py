"""All that can be said of the readings of one appliance, what is to be done first in front."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType
from typing import get_args

from checks.adjustments import adjustment_findings
from checks.combustion import combustion_findings
from checks.failed import failed_findings
from checks.fan import fan_findings
from checks.gas_input import input_findings
from checks.heat import heat_findings
from checks.limits import known_limits, limit_findings, limits_of_another_gas, open_limits
from checks.ranges import range_findings
from checks.relations import relation_findings
from checks.rows import Rows
from checks.stops import said_stops, stop_findings
from schemas.appliance import ApplianceFile
from schemas.findings import Finding, Limit, Verdict
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["check", "measured_stops", "said_stops"]

# What a person has to do something about comes first; what is in order comes last.
_ORDER: tuple[Verdict, ...] = (
    "stop",
    "caution",
    "conflicting",
    "outside",
    "cannot tell",
    "look again",
    "missing",
    "within",
)
assert set(_ORDER) == set(get_args(Verdict))


def check(
    readings: Sequence[Reading],
    sheet: Sheet,
    *,
    appliance: ApplianceFile | None = None,
    file_sha256: str | None = None,
    limits: Sequence[Limit] = (),
    tag: str | None = None,
    said: Collection[str] = (),
    outlived: Mapping[str, str] = MappingProxyType({}),
) -> tuple[Finding, ...]:
    """Return the findings on one appliance: stops, laws, limits, relations; what is to be done first in front.

    Only readings without doubts are judged; a doubtful one gives "cannot tell", except that stops take the worst it
    may be. Findings on readings of the visit (ambient CO) have no appliance and are the same for every appliance.

    Args:
        readings: the live readings of the job, in the order they were given.
        sheet: the job's sheet.
        appliance: the appliance file, where there is one, and its hash in ``file_sha256``.
        limits: the job's own limits, once read back: from the plate or quoted on site.
        tag: the appliance; readings of others are left out. None takes every reading.
        said: the stops that were said aloud and that nobody has dealt with, by id.
        outlived: readings that stood while a stop did that is gone and of which nothing can be told, by id, and why.
    """
    rows = _rows(readings, sheet, tag)
    known = known_limits(rows, sheet, appliance, file_sha256, limits)
    strange = limits_of_another_gas(rows, appliance, file_sha256)
    unsettled = open_limits(rows, sheet, appliance, file_sha256)
    found = [
        *stop_findings(rows, sheet, appliance, (*known, *strange), unsettled),
        *failed_findings(rows, sheet),
        *combustion_findings(rows, sheet, appliance),
        *adjustment_findings(rows, sheet, appliance),
        *limit_findings(rows, sheet, known, appliance, said, outlived, unsettled),
        *relation_findings(rows, sheet, appliance),
        *input_findings(rows, sheet, appliance),
        *heat_findings(rows, sheet),
    ]
    found += [*fan_findings(rows, sheet, appliance, found), *range_findings(rows, sheet, found)]
    quantities = {q.id: n for n, q in enumerate(sheet.quantities)}
    conditions = {c.id: n for n, c in enumerate(sheet.conditions)}

    def place(finding: Finding) -> tuple[bool, int, int, int]:
        return (
            finding.superseded,
            _ORDER.index(finding.verdict),
            quantities.get(finding.quantity or "", len(quantities)),
            conditions.get(finding.condition or "", -1),
        )

    return tuple(sorted(found, key=place))


def measured_stops(
    readings: Sequence[Reading],
    sheet: Sheet,
    *,
    appliance: ApplianceFile | None = None,
    file_sha256: str | None = None,
    limits: Sequence[Limit] = (),
    tag: str | None = None,
) -> tuple[Finding, ...]:
    """Return the findings of :func:`check` that stop the work, and none but those."""
    rows = _rows(readings, sheet, tag)
    known = known_limits(rows, sheet, appliance, file_sha256, limits)
    strange = limits_of_another_gas(rows, appliance, file_sha256)
    unsettled = open_limits(rows, sheet, appliance, file_sha256)
    found = (
        *stop_findings(rows, sheet, appliance, (*known, *strange), unsettled),
        *input_findings(rows, sheet, appliance),
    )
    return tuple(one for one in found if one.verdict == "stop")


def _rows(readings: Sequence[Reading], sheet: Sheet, tag: str | None) -> Rows:
    on_sheet = {q.id for q in sheet.quantities}
    return Rows([r for r in readings if r.quantity is None or r.quantity in on_sheet], tag)
