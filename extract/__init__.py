"""Evidence in, candidate readings out: numbers, units, phrases, running context, corrections, doubts."""

from extract.context import AGAIN, CHANGED, Context, Known, Setting, apply, at_appliance
from extract.lexicon import Grammar, compile_sheet
from extract.looks import bind_look
from extract.nearly import Nearly
from extract.step import start, step

__all__ = [
    "AGAIN",
    "CHANGED",
    "Context",
    "Grammar",
    "Known",
    "Nearly",
    "Setting",
    "apply",
    "at_appliance",
    "bind_look",
    "compile_sheet",
    "start",
    "step",
]
