"""From one utterance and the context before it to operations and the context after it."""

from __future__ import annotations

from extract.context import Context, Setting
from extract.lexicon import Grammar
from extract.parse import parse
from extract.work import Work
from schemas.evidence import Utterance
from schemas.readings import Operation

__all__ = ["start", "step"]


def start(setting: Setting) -> Context:
    """Return the context at the beginning of a job."""
    context = Context(setting)
    if len(setting.appliances) == 1:
        context.appliance = setting.appliances[0].tag
    return context


def step(
    utterance: Utterance, at: float, context: Context, grammar: Grammar
) -> tuple[Context, tuple[Operation, ...]]:
    """Return the context after ``utterance`` and the operations that it means, in order.

    ``at`` is the utterance's start in seconds of the job's time. Pure: the same arguments give the same result, and
    ``context`` is left as it was.
    """
    after = context.copy()
    parsed = parse(utterance.text, after, grammar)
    work = Work(after, grammar, utterance, at, parsed)
    for sentence in parsed.sentences:
        work.sentence(sentence)
    work.finish()
    return work.c, tuple(work.operations)
