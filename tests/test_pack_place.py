"""A photo's place leaves this store only where that is asked for, and what leaves is known by the journal."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from capture.media import Media
from jobs.add import add
from jobs.book import NewAppliance, new_job
from jobs.bundle import pack, unpack, verify_bundle
from jobs.senses import Senses
from jobs.store import Store
from jobs.verify import verify
from schemas.errors import StoreFailed, WrongUse
from schemas.evidence import Look
from tests import jobs_doubles as doubles
from tests.test_gps import photo


def eyes(path: Path, sha256: str) -> Look:
    return Look(evidence=sha256, display="unknown", width=64, height=48, figures=(), made_by=(doubles.MADE_BY,))


SENSES = Senses(lambda path: Media("photo", "image/jpeg"), doubles.Ears().hear, eyes)


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    doubles.install(lambda where, name, what: monkeypatch.setattr(where, name, what, raising=False))
    (tmp_path / "plain.toml").write_text(doubles.SHEET)
    (tmp_path / "shot.jpg").write_bytes(photo("JPEG"))
    with Store(tmp_path / "home", clock=doubles.ticking()) as store:
        new_job(
            store, sheet=str(tmp_path / "plain.toml"), site="Mill", technician="Ada", units="us",
            appliances=[NewAppliance("boiler")],
        )  # fmt: skip
        add(store, "job-1", [tmp_path / "shot.jpg"], senses=SENSES, author="Ada")
        yield store


def packed(store: Store, to: Path, *, with_place: bool = False) -> Path:
    with to.open("wb") as file:
        pack(store, "job-1", file, with_place=with_place)
    return to


def places(path: Path) -> list[dict[int, object]]:
    """The place in each photo of a zip."""
    with zipfile.ZipFile(path) as archive:
        files = [archive.read(name) for name in archive.namelist()]
    return [dict(Image.open(BytesIO(f)).getexif().get_ifd(0x8825)) for f in files if f.startswith(b"\xff\xd8")]


def test_a_photo_leaves_without_its_place_and_stays_as_it_was(store: Store, tmp_path: Path) -> None:
    (sha256,) = [doubles.sha_of(photo("JPEG"))]
    out = packed(store, tmp_path / "out.zip")
    assert places(out) == [{}]
    verify_bundle(out)
    assert store.evidence.path(sha256).read_bytes() == photo("JPEG")
    assert places(packed(store, tmp_path / "all.zip", with_place=True))[0]
    with Store(tmp_path / "other", clock=doubles.ticking()) as other:
        assert unpack(other, out).files > 1
        assert unpack(other, out).files == 0
        verify(other, "job-1")
        assert out.read_bytes() == packed(other, tmp_path / "again.zip").read_bytes()
        add(other, "job-1", [tmp_path / "shot.jpg"], senses=SENSES, author="Ada")
        assert other.evidence.path(sha256).read_bytes() == photo("JPEG")
        verify(other, "job-1")


def test_a_photo_of_before_the_rule_is_refused_with_one_way_out(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jobs.add.placeless", lambda path: None)  # as it was before the place was noted
    (tmp_path / "old.jpg").write_bytes(photo("JPEG") + b"old")
    add(store, "job-1", [tmp_path / "old.jpg"], senses=SENSES, author="Ada")
    with pytest.raises(WrongUse, match="sayback pack job-1 --with-place"):
        packed(store, tmp_path / "out.zip")
    verify_bundle(packed(store, tmp_path / "all.zip", with_place=True))


def test_only_the_noted_photo_stands_in(store: Store, tmp_path: Path) -> None:
    out = packed(store, tmp_path / "out.zip")
    with Store(tmp_path / "other", clock=doubles.ticking()) as other:
        unpack(other, out)
        swapped, _ = other.evidence.keep_bytes(photo("JPEG", place=False) + b"another")
        other.evidence.let_stand(doubles.sha_of(photo("JPEG")), swapped)
        with pytest.raises(StoreFailed, match="was changed"):
            verify(other, "job-1")
