"""Evidence in, candidate readings out: numbers, units, phrases, running context, corrections, doubts."""

from extract.certainty import Certainty, certainty
from extract.context import MEASURED_ANEW, Bound, Context, Known, Setting, apply, at_appliance
from extract.lexicon import Grammar, compile_sheet
from extract.looks import bind_look
from extract.nearly import Nearly
from extract.step import start, step

__all__ = [
    "MEASURED_ANEW",
    "Bound",
    "Certainty",
    "Context",
    "Grammar",
    "Known",
    "Nearly",
    "Setting",
    "apply",
    "at_appliance",
    "bind_look",
    "certainty",
    "compile_sheet",
    "start",
    "step",
]
