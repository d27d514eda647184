"""Sheets and appliance files from TOML, with errors that name the file, the key or line, and what was expected."""

from __future__ import annotations

import hashlib
import tomllib
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from schemas.appliance import ApplianceFile
from schemas.base import Model
from schemas.errors import BadInput, WrongUse
from schemas.sheet import Sheet

__all__ = ["load_appliance", "load_sheet", "shipped"]

M = TypeVar("M", bound=Model)


def shipped(kind: str) -> list[str]:
    """Return the names of the shipped files of a kind (``sheets`` or ``appliances``), sorted."""
    return sorted(f.name.removesuffix(".toml") for f in files("schemas").joinpath(kind).iterdir() if _is_toml(f))


def load_sheet(name: str) -> tuple[Sheet, str]:
    """Return a sheet and the SHA-256 of its file. ``name`` is a shipped sheet or the path of a TOML file.

    Raises:
        WrongUse: there is no such sheet.
        BadInput: the file is not a valid sheet.
    """
    return _load(name, "sheets", Sheet)


def load_appliance(name: str) -> tuple[ApplianceFile, str]:
    """Return an appliance file and the SHA-256 of its bytes. ``name`` is a shipped one or a path.

    Raises:
        WrongUse: there is no such file.
        BadInput: the file is not a valid appliance file.
    """
    return _load(name, "appliances", ApplianceFile)


def _is_toml(entry: Traversable) -> bool:
    return entry.name.endswith(".toml")


def _load(name: str, kind: str, model: type[M]) -> tuple[M, str]:
    place: Traversable | Path = files("schemas").joinpath(kind, f"{name}.toml")
    if name.endswith(".toml") or "/" in name:
        place = Path(name)
    if not place.is_file():
        known = ", ".join(shipped(kind))
        raise WrongUse(f"There is no {kind[:-1]} {name!r}; give the path of a TOML file or one of: {known}.")
    data = place.read_bytes()
    try:
        raw = tomllib.loads(data.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise BadInput(f"{name}: byte {error.start} is not UTF-8; save the file as UTF-8.") from error
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{name}: not valid TOML: {error}.") from error
    try:
        return model.model_validate(raw), hashlib.sha256(data).hexdigest()
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the file as a whole"
        more = f" ({error.error_count() - 1} more)" if error.error_count() > 1 else ""
        raise BadInput(f"{name}: {where}: {first['msg'].removeprefix('Value error, ')}{more}.") from error
