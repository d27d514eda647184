"""What sounds like a text is held against the sound itself, with the real model, in noise."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from capture.hear import hear, load_recogniser
from tests.sounds import RATE, roar, silence, spoken, write

pytestmark = pytest.mark.slow

SAID, OTHER = "The pressure is seven point two inches", "There are flames coming out of the front"


@pytest.mark.parametrize(("noise", "kept"), [(0.05, [SAID]), (0.0, [])])
def test_of_what_a_noisy_sound_may_have_been_what_fits_it_is_kept(
    tmp_path: Path, noise: float, kept: list[str]
) -> None:
    asked: list[tuple[str, ...]] = []

    def nearly(texts: Sequence[str], clear: bool) -> Sequence[str]:
        asked.append(tuple(texts))
        return [SAID, OTHER]

    speech = np.concatenate([silence(1), spoken(f"{SAID}.", speed=140), silence(1)])
    noisy = np.asarray(speech + roar(len(speech) / RATE, noise), np.float32)
    (heard,) = hear(write(tmp_path / "a.wav", noisy, form="wav"), "0" * 64, load_recogniser(nearly=nearly))
    assert [one.text for (one,) in heard.perhaps] == kept
    assert all(heard.text in texts for texts in asked)
    assert len(asked) == len(kept)
