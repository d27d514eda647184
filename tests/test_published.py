"""The published JSON Schemas are those of the models, and the shipped files are valid by them.

Checked with jsonschema (a general-purpose reference library for JSON Schema 2020-12), which knows nothing of ours.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from schemas.publish import PLACE, published

SCHEMAS = Path("schemas")


@pytest.mark.parametrize("name", sorted(published()))
def test_published_schema_is_that_of_the_models(name: str) -> None:
    assert (PLACE / name).read_text(encoding="utf-8") == published()[name], "run python -m schemas.publish"


@pytest.mark.parametrize("file", sorted(SCHEMAS.glob("sheets/*.toml")) + sorted(SCHEMAS.glob("appliances/*.toml")))
def test_shipped_file_is_valid_by_its_published_schema(file: Path) -> None:
    kind = file.parent.name.removesuffix("s")
    schema = json.loads((PLACE / f"{kind}.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(tomllib.loads(file.read_text(encoding="utf-8")))


def test_published_schema_refuses_what_the_model_refuses() -> None:
    schema = json.loads((PLACE / "appliance.schema.json").read_text(encoding="utf-8"))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate({"id": "x", "colour": "green"})
