"""``sayback ready``: what is installed, which models with which hashes, and how to get what is missing."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from collections.abc import Iterator
from ctypes.util import find_library
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, packages_distributions, version
from importlib.util import find_spec
from pathlib import Path

import typer

from capture.models import find_speech_model
from front.options import Json
from front.screen import columns, out, print_json
from jobs.store import home_folder
from schemas.errors import ExitCode, SaybackError

__all__ = ["Part", "parts", "put_on"]

_OURS = ("schemas", "physics", "capture", "extract", "checks", "jobs", "front")
_LIBRARIES = {
    "faster-whisper": "hears",
    "ctranslate2": "runs the speech model",
    "opencv-python-headless": "finds displays in pictures",
    "rapidocr": "first reader of displays and slips",
    "onnxruntime": "runs the display readers",
    "pytesseract": "calls tesseract, the third reader of numbers",
    "sounddevice": "hears the microphone",
    "pi-heif": "opens HEIC pictures",
    "spacy": "cuts text into words",
    "weasyprint": "makes the PDF report",
}


@dataclass(frozen=True)
class Part:
    """One part: its name, what it is for, whether it is there, its version or hash, and how to get it."""

    name: str
    purpose: str
    there: bool
    found: str
    needed: bool = True
    get: str = ""


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(ready)


def ready(json: Json = False) -> int:
    """Say what is installed and what is missing; exit code 1 if a part that is needed is missing."""
    found = tuple(parts())
    whole = all(one.there or not one.needed for one in found)
    if json:
        print_json({"ready": whole, "parts": [vars(one) for one in found]})
    else:
        table = columns("part", "what for", "found")
        for one in found:
            state = one.found if one.there else f"missing{'' if one.needed else ', optional'}: {one.get}"
            table.add_row(one.name, one.purpose, state)
        out().print(table)
        out().print("\nReady. Nothing here needs a network." if whole else "\nNot ready: see what is missing above.")
    return int(ExitCode.DONE if whole else ExitCode.FINDINGS_OPEN)


def parts() -> Iterator[Part]:
    """Yield every part that sayback stands on."""
    yield _names()
    for name, purpose in _LIBRARIES.items():
        yield _library(name, purpose)
    yield _speech_model()
    yield from _display_models()
    yield _program(
        "tesseract",
        "third reader of numbers in tables",
        "tesseract-ocr",
        ("--version",),
        needed=False,
    )
    yield _program("espeak-ng", "speaks questions", "espeak-ng", ("--version",), needed=False)
    yield _portaudio()
    yield _player()
    yield _home()


def _names() -> Part:
    """Our packages have common names; another distribution of the same name would be imported in their place."""
    owners = packages_distributions()
    strange = [name for name in _OURS if set(owners.get(name, ["sayback"])) != {"sayback"}]
    get = f"another package owns {', '.join(strange)}; install sayback in an environment of its own"
    return Part("sayback", "this program", not strange, version("sayback"), get=get)


def _library(name: str, purpose: str) -> Part:
    try:
        return Part(name, purpose, True, version(name))
    except PackageNotFoundError:
        return Part(name, purpose, False, "", get="script/bootstrap run")


def _speech_model() -> Part:
    try:
        model = find_speech_model()
    except SaybackError as error:
        return Part("speech model", "hears", False, "", get=str(error))
    return Part("speech model", f"Whisper {model.name}", True, f"sha256 {model.sha256}")


def _display_models() -> Iterator[Part]:
    spec = find_spec("rapidocr")
    folder = Path(spec.origin).parent / "models" if spec and spec.origin else None
    for file in sorted(folder.glob("*.onnx")) if folder else []:
        yield Part("display model", file.stem, True, f"sha256 {hashlib.sha256(file.read_bytes()).hexdigest()}")


def _program(name: str, purpose: str, package: str, ask: tuple[str, ...], *, needed: bool = True) -> Part:
    place = shutil.which(name)
    if place is None:
        return Part(name, purpose, False, "", needed, f"apt-get install {package}")
    said = subprocess.run([place, *ask], capture_output=True, text=True, check=False, timeout=20).stdout
    return Part(name, purpose, True, said.splitlines()[0].strip() if said else place, needed)


def _portaudio() -> Part:
    place = find_library("portaudio")
    get = "apt-get install libportaudio2, to listen to a microphone"
    return Part("portaudio", "opens the microphone", place is not None, place or "", False, get)


def _player() -> Part:
    """What plays both the tool's own voice (front/voice/speakers.py) and a stretch of sound (front/evidence.py)."""
    place = next((found for name in ("aplay", "play") if (found := shutil.which(name))), None)
    get = "apt-get install alsa-utils, to hear questions and stretches of sound"
    return Part("player", "plays questions and sound", place is not None, place or "", False, get)


def _home() -> Part:
    home = home_folder()
    nearest = next(folder for folder in (home, *home.absolute().parents) if folder.exists())
    there = os.access(nearest, os.W_OK)
    return Part("store", "jobs and evidence", there, str(home), get=f"{nearest} cannot be written; set SAYBACK_HOME")
