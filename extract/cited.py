"""Where a quoted limit stands, as far as it was said: "book, page thirty four: eight five to nine five"."""

from __future__ import annotations

import re

from extract.numbers import numbers_at
from extract.tokens import tokenize

__all__ = ["cited"]

_DOCUMENT = re.compile(
    r"\b(?:(?:service|installation|maker's|commissioning) )?"
    r"(?:book|booklet|handbook|manual|instructions|leaflet|data sheet|datasheet|sheet|data plate|plate|label)\b",
    re.IGNORECASE,
)
_PAGES = frozenset({"page", "pages", "pg"})


def cited(text: str, start: int) -> tuple[str, str]:
    """Return the document and the page that a text names before character ``start``, in its sentence; "" where none."""
    begin = max((found.end() for found in re.finditer(r"[.?!]\s", text[:start])), default=0)
    told = text[begin:start]
    documents = _DOCUMENT.findall(told)
    tokens = tokenize(told)
    pages = [n for n, token in enumerate(tokens) if token.low in _PAGES]
    page = ""
    if pages and pages[-1] + 1 < len(tokens):
        found = min(numbers_at(tokens, pages[-1] + 1), key=lambda one: (one[2], -one[0]), default=None)
        page = found[1].choices[0][0] if found else ""
    return documents[-1].lower() if documents else "", page if page.isdecimal() else ""
