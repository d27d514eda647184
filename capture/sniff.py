"""What a file is: its bytes decide, never its name or its times on disk."""

from __future__ import annotations

from pathlib import Path

from capture.media import Media
from capture.sound import identify_sound, sound_type
from schemas.errors import BadInput

__all__ = ["Media", "identify"]


def identify(path: Path) -> Media:
    """Say whether a file is sound or a picture, of which type, and when it was made where it says so itself.

    Raises:
        BadInput: it cannot be read, is empty, is neither, or cannot be used; one sentence says why and what to do.
    """
    try:
        with path.open("rb") as file:
            head = file.read(64)
    except FileNotFoundError:
        raise BadInput(f"There is no file {path}; check the name.") from None
    except IsADirectoryError:
        raise BadInput(f"{path} is a folder; name the files in it.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read ({error.strerror}); check its permissions.") from error
    if not head:
        raise BadInput(f"{path.name} is empty; copy it again from where it was made.")
    if sound_type(head):
        return identify_sound(path)
    from capture.photo import MachineZone, identify_photo, sniff_photo

    if sniff_photo(head) is None:
        raise BadInput(
            f"{path.name} is neither sound nor a picture that sayback knows (wav, flac, ogg, opus, mp3, m4a, webm; "
            "jpeg, png, webp, heic)."
        )
    facts = identify_photo(path, MachineZone())
    return Media("photo", facts.media_type, facts.at, facts.clock)
