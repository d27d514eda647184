"""What all our models share: they never change once made, and they accept nothing they do not know."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints

from schemas.errors import BadInput

__all__ = ["Model", "Name", "Sha256", "ValueText", "decimal_of", "is_value_text"]

# Plain decimal notation and nothing else: Decimal() and pydantic also take " 9.3 ", "1_000", "٩.٣" and "1e400".
_VALUE = re.compile(r"-?(0|[1-9][0-9]{0,11})(\.[0-9]{1,9})?", re.ASCII)


class Model(BaseModel):
    """Base of every model: frozen, and an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)


def is_value_text(text: str) -> bool:
    """Say whether ``text`` is a decimal as we write it in files: ``-0.02``, ``9.0``, ``4980``.

    At most twelve digits before the point and nine after it. Minus zero is refused, since no gauge shows a sign that
    means nothing.
    """
    return bool(_VALUE.fullmatch(text)) and not (text.startswith("-") and not re.search(r"[1-9]", text))


def decimal_of(text: str) -> Decimal:
    """Return the exact decimal of a value text.

    Raises:
        BadInput: ``text`` is not a decimal in plain notation.
    """
    if not is_value_text(text):
        raise BadInput(f"{text!r} is not a number that can be recorded; write it like 9.3 or -0.02.")
    return Decimal(text)


def _checked(text: str) -> str:
    if not is_value_text(text):
        raise ValueError(f"{text!r} is not a decimal in plain notation such as 9.3 or -0.02")
    return text


ValueText = Annotated[str, AfterValidator(_checked)]
"""A number as it was said or shown, with the precision it was given: ``"9.0"`` is not ``"9"``."""

Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
"""The SHA-256 of some bytes, in lower-case hexadecimal: the name of a piece of evidence."""

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_-]{0,63}$")]
"""An identifier in data files: ``inlet_pressure``, ``high_fire``."""
