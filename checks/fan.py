"""Fan speed against input: law F2, for burners that mix gas with the air that the fan brings. Soft, common practice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from checks.gas_input import input_kilowatt
from checks.rows import Rows, number
from checks.words import named
from schemas.appliance import ApplianceFile
from schemas.findings import Finding
from schemas.sheet import Sheet

__all__ = ["fan_findings"]

_ALLOWED = Decimal("0.15")
_BASIS = "air follows the speed of the fan and gas follows the air; 15 % is common practice, no source"


def fan_findings(rows: Rows, sheet: Sheet, file: ApplianceFile | None, others: Sequence[Finding]) -> Iterator[Finding]:
    """Yield a finding where the fan speeds of low and high fire stand in another ratio than the inputs.

    The inputs are those that were clocked at both, else those of maker or plate. Nothing is said where ``others`` find
    both speeds within the maker's own limits: the maker's word goes before the rule.
    """
    low, high = (rows.standing("fan_speed", condition) for condition in ("low_fire", "high_fire"))
    inputs = input_kilowatt(rows, file)
    if low is None or high is None or inputs is None:
        return
    slow, fast = number(low), number(high)
    within = {name for f in others if f.verdict == "within" for name in f.readings}
    if not slow or not fast or {low.id, high.id} <= within:
        return
    speeds, heat = slow / fast, inputs[0] / inputs[1]
    if abs(speeds / heat - 1) > _ALLOWED:
        text = (
            f"the fan turns at {speeds * 100:.0f} % of its high-fire speed for {heat * 100:.0f} % of the input; "
            "look at both speeds"
        )
        yield Finding(
            rule="fan_speed_and_input",
            verdict="look again",
            text=f"{named(sheet, low)}; {named(sheet, high)}: {text}.",
            appliance=low.appliance,
            quantity=low.quantity,
            condition=low.condition,
            readings=(low.id, high.id),
            basis=_BASIS,
        )
