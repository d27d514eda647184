"""No wording of the checks tells anyone to turn a screw, or calls anything safe; they speak of the technician's turns.

Every text that a check can give is put together from the wordings in ``checks/*.py``, which are all read here, not only
what some readings happen to bring out, and from those of the sheets, which tests/test_sheets.py reads.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import checks

INSTRUCTION = re.compile(
    r"\b(turn|adjust|screw|wind|back|set|richen|lean|open|close|lower|raise|increase|decrease|reduce)\s+"
    r"(it|the (screw|throttle|offset|valve|governor|ratio|regulator|mixture|gas valve|adjustment|fan|reading)|"
    r"(this|that) screw|in|out|off|down|a (quarter|half|eighth)|clockwise|counterclockwise|anti-?clockwise)\b"
    r"|\bshould be (turned|adjusted|set|raised|lowered)\b|\bneeds? (turning|adjusting)\b",
    re.IGNORECASE,
)
PRAISE = re.compile(r"\b(safe|safely|harmless|all clear|fine to|good to go|ok to|okay to)\b", re.IGNORECASE)


def wordings(path: Path) -> Iterator[tuple[int, str]]:
    """Yield every string of a module but its docstrings, an f-string as one, its values as ``…``."""
    tree = ast.parse(path.read_text("utf-8"))
    inner: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            inner.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            inner |= {id(part) for part in node.values}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = (part.value if isinstance(part, ast.Constant) else "…" for part in node.values)
            yield node.lineno, "".join(str(part) for part in parts)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inner:
            yield node.lineno, node.value


MODULES = sorted(Path(checks.__file__).parent.glob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_no_check_gives_an_instruction_or_praise(path: Path) -> None:
    said = [(line, text) for line, text in wordings(path) if INSTRUCTION.search(text) or PRAISE.search(text)]
    assert said == []


def test_all_wordings_are_read() -> None:
    found = [text for path in MODULES for _, text in wordings(path)]
    assert len(found) > 300
    assert any(text.startswith("the maker says that … makes it …, and CO2 went the other way") for text in found)
    assert any("A qualified person has to put it right" in text for text in found)


@pytest.mark.parametrize(
    "text",
    ["Turn the screw a quarter.", "then turn it clockwise", "back off the throttle", "The offset should be turned.",
     "CO rises: open the throttle", "Reduce the fan", "adjust it by an eighth"],
)  # fmt: skip
def test_an_instruction_would_be_found(text: str) -> None:
    assert INSTRUCTION.search(text)


@pytest.mark.parametrize("text", ["This boiler is safe.", "All clear.", "It is fine to go on."])
def test_praise_would_be_found(text: str) -> None:
    assert PRAISE.search(text)
