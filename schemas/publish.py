"""The JSON Schemas of our files: ``python -m schemas.publish`` writes them to ``schemas/published``.

JSON Schema 2020-12, made from the models, so that an editor can check a sheet or an appliance file while it is written.
"""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import TypeAdapter

from schemas.appliance import ApplianceFile
from schemas.base import Model
from schemas.evidence import Look, Utterance
from schemas.findings import Finding
from schemas.job import JobHead
from schemas.questions import Answer, Question
from schemas.readings import Operation, Reading
from schemas.sheet import Sheet

__all__ = ["PLACE", "published"]

PLACE = Path(__file__).parent / "published"

_MODELS: dict[str, type[Model]] = {
    "sheet": Sheet,
    "appliance": ApplianceFile,
    "job": JobHead,
    "utterance": Utterance,
    "look": Look,
    "reading": Reading,
    "question": Question,
    "answer": Answer,
    "finding": Finding,
}


def published() -> dict[str, str]:
    """Return the text of every schema by its file name."""
    made = {name: model.model_json_schema() for name, model in _MODELS.items()}
    made["operation"] = TypeAdapter(Operation).json_schema()
    dialect = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    return {
        f"{name}.schema.json": json.dumps({**dialect, **schema}, indent=1, ensure_ascii=False) + "\n"
        for name, schema in made.items()
    }


def main() -> None:
    """Write the schemas."""
    PLACE.mkdir(exist_ok=True)
    for name, text in published().items():
        (PLACE / name).write_text(text, encoding="utf-8")
        print(PLACE / name)


if __name__ == "__main__":
    main()
