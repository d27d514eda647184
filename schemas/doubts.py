"""Doubts: the named reasons not to take a reading unasked."""

from __future__ import annotations

from enum import StrEnum

from schemas.base import Model

__all__ = ["LABEL_TWICE", "Doubt", "DoubtKind"]

LABEL_TWICE = "two rows have this label"
"""What is said of rows of a picture with one label and different values; extraction knows whether one is an average."""


class DoubtKind(StrEnum):
    """Why a reading is asked about. The value is the plain wording that people see."""

    HEARD_UNCLEARLY = "heard unclearly"
    DIGIT_UNSURE = "reader unsure of a digit"
    RUN_TOGETHER = "digits run together"
    IMPOSSIBLE = "outside what is possible"
    UNUSUAL = "outside what is usual"
    RELATION = "breaks a physical relation"
    SOURCES_DISAGREE = "two sources disagree"
    CONFLICT = "another value was given before"
    HEDGED = "not given exactly"
    RANGE = "a range, not one value"
    CUT_OFF = "cut off"
    UNIT_UNCLEAR = "unit not clear"
    QUANTITY_UNCLEAR = "quantity not clear"
    CONDITION_UNCLEAR = "condition not clear"
    APPLIANCE_UNCLEAR = "appliance not clear"
    SIGN_UNCLEAR = "sign not clear"
    VALUE_UNCLEAR = "value not clear"
    DIRECTION_UNCLEAR = "direction not said"
    SCREW_UNCLEAR = "screw not said"
    LIMIT_QUOTED = "may be a limit being quoted"
    CORRECTED_AFTER_USE = "corrected after it was used"
    HIDDEN = "partly hidden in the picture"
    TO_CONFIRM = "to be confirmed"


class Doubt(Model):
    """One reason, and the particulars in words a person can use: ``CO2 9.2 % and O2 9.2 % cannot both be right``."""

    kind: DoubtKind
    detail: str = ""
