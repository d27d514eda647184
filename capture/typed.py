"""A line of typed text, as an utterance that is certain of its words."""

from __future__ import annotations

from schemas.base import Sha256
from schemas.errors import BadInput
from schemas.evidence import Hypothesis, MadeBy, Utterance

__all__ = ["typed_utterance"]

LONGEST = 4_000


def typed_utterance(text: str, sha256: Sha256) -> Utterance:
    """Return typed text as one utterance at second 0 with one hypothesis of mass 1.

    Raises:
        BadInput: nothing but blanks, control characters, or longer than 4,000 characters.
    """
    line = " ".join(text.split())
    if not line:
        raise BadInput("There is no text; type what was read, such as: high fire CO2 9.2.")
    if len(line) > LONGEST:
        raise BadInput(f"The text has {len(line):,} characters; give it in pieces of {LONGEST:,} at most.")
    if not line.isprintable():
        raise BadInput("The text holds characters that cannot be printed; type it again in plain letters and digits.")
    return Utterance(
        evidence=sha256,
        number=0,
        start=0.0,
        end=0.0,
        hypotheses=(Hypothesis(text=line, mass=1.0),),
        made_by=MadeBy(reader="typed", version="1"),
    )
