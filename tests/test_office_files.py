"""Evidence, uploads and what leaves the office: only by hash, only as its own kind, never a formula, never half."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest

from bench.office_jobs import seed, tone
from front.office import act
from front.office.reader import Reader, clean_name, incoming, read_all
from jobs.book import job_of
from jobs.bundle import pack, unpack, verify_bundle
from jobs.decisions import edit
from jobs.store import Store
from jobs.verify import verify
from schemas.errors import BadInput, SaybackError, StoreFailed, WrongUse
from schemas.questions import Candidate
from tests import jobs_doubles as doubles
from tests.jobs_doubles import Ears
from tests.office import Browser, office

JOBS = {1: {"readings": 20, "questions": 2}, 2: {"readings": 3, "questions": 0, "sound": tone(1.0)}}
"""What the store of these tests holds: see conftest.py."""


# -- evidence ----------------------------------------------------------------------------------------------------------


def test_evidence_is_handed_out_as_its_own_kind_and_nothing_else(store: Store, clerk: Browser) -> None:
    (filed,) = job_of(store, "job-1").filed
    answered = clerk.get(f"/job/job-1/evidence/{filed.sha256}")
    assert answered.content == store.evidence.path(filed.sha256).read_bytes()
    assert answered.headers["content-type"] == "audio/wav"
    assert answered.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in answered.headers["content-security-policy"]
    assert filed.evidence.name not in answered.headers["content-disposition"]


def test_evidence_of_another_job_sheets_and_paths_are_not_there(store: Store, clerk: Browser) -> None:
    other = job_of(store, "job-2").filed[0].sha256
    sheet = job_of(store, "job-1").head.sheet_sha256
    for name in (other, sheet, "0" * 64, "..%2f..%2fbook.sqlite", "%00"):
        assert clerk.get(f"/job/job-1/evidence/{name}").status_code == 404


def test_the_second_of_sound_is_played_with_a_second_around_it(store: Store, clerk: Browser) -> None:
    reading = next(iter(job_of(store, "job-1").rows))
    answered = clerk.get(f"/job/job-1/reading/{reading}/sound.wav")
    assert answered.headers["content-type"] == "audio/wav"
    # 16-bit mono at 16 kHz; the tone is 2 s long, the stretch 0.2 to 1.2 s and one more on both sides.
    assert 1.9 < (len(answered.content) - 44) / 32000 < 2.1
    assert clerk.get(f"/job/job-1/reading/{reading}/crop.png").status_code == 404


# -- uploads -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("../../x.wav", "x.wav"),
        ("..\\..\\x.wav", "x.wav"),
        ("a\x00b.wav", "ab.wav"),
        ("gnp\u202e.wav", "gnp.wav"),
        ("", "file"),
        ("/", "file"),
        ("n" * 500, "n" * 120),
    ],
)
def test_a_name_is_a_label_and_never_a_path(name: str, label: str) -> None:
    assert clean_name(name) == label


def test_an_upload_is_safe_when_it_is_answered_and_read_by_a_process_of_its_own(
    store: Store, clerk: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Reader, "poke", lambda self: None)
    files = [("files", ("../a.wav", doubles.sound(["1.0 talk"]))), ("files", ("b.exe", b"MZ nothing"))]
    assert clerk.send("/job/job-1/evidence", files=files).status_code == 200
    state = clerk.client.get("/job/job-1/state").json()
    assert [one["name"] for one in state["uploads"]] == ["a.wav", "b.exe"]
    read_all(store, Ears().senses())
    assert [one.evidence.name for one in job_of(store, "job-1").filed] == ["talk.wav", "a.wav"]
    (left,) = incoming(store.home)
    assert left.refused.startswith("b.exe is neither sound nor picture")
    assert "b.exe is neither sound nor picture" in clerk.get_page("/job/job-1")
    assert clerk.send("/job/job-1/forget", upload=left.folder.name).status_code == 200
    assert list(incoming(store.home)) == []


def test_an_upload_that_was_cut_off_leaves_nothing_behind_that_counts(store: Store, tmp_path: Path) -> None:
    folder = Reader(store.home).place()
    (folder / "upload.bin").write_bytes(b"half")
    assert list(incoming(store.home)) == []
    read_all(store, Ears().senses())
    assert len(job_of(store, "job-1").filed) == 1


def test_a_reader_that_was_killed_goes_on(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    reader = Reader(store.home)
    folder = reader.place()
    (folder / "upload.bin").write_bytes(doubles.sound(["1.0 talk", "2.0 talk"]))
    reader.give(folder, "job-1", "a.wav", "Ines Pell")

    class Killed(BaseException):
        pass

    def dies() -> None:
        raise Killed

    with pytest.raises(Killed):
        read_all(store, Ears(wait=dies).senses())
    read_all(store, Ears().senses())
    last = job_of(store, "job-1").filed[-1]
    assert (last.evidence.name, last.read, len(last.utterances)) == ("a.wav", True, 2)
    assert list(incoming(store.home)) == []


def test_an_upload_into_a_job_that_is_not_there_is_kept_and_told(store: Store) -> None:
    reader = Reader(store.home)
    folder = reader.place()
    (folder / "upload.bin").write_bytes(b"x")
    reader.give(folder, "job-9", "a.wav", "Ines Pell")
    read_all(store, Ears().senses())
    (left,) = incoming(store.home)
    assert "no job 'job-9'" in left.refused


def test_an_upload_has_its_limit(clerk: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(act, "MOST_UPLOADED", 1 << 20)
    refused = clerk.send("/job/job-1/evidence", files=[("files", ("a.wav", b"x" * (1 << 21)))])
    assert refused.status_code == 413
    assert "one by one" in refused.json()["error"]

    def endless() -> Iterator[bytes]:
        yield b"x" * 100

    headers = {"content-type": "multipart/form-data; boundary=x", "x-form-token": clerk.token}
    assert clerk.client.post("/job/job-1/evidence", content=endless(), headers=headers).status_code == 411


def test_a_broken_form_is_refused_in_a_sentence(clerk: Browser) -> None:
    headers = {"content-type": "multipart/form-data; boundary=x", "x-form-token": clerk.token}
    for body in (b"", b"--x\r\n", b"--x\r\nContent-Disposition: form-data\r\n\r\nz\r\n--x--\r\n"):
        answered = clerk.client.post("/job/job-1/evidence", content=body, headers=headers)
        assert 400 <= answered.status_code < 500
        assert answered.json()["error"]


# -- exports -----------------------------------------------------------------------------------------------------------

FORMULAS = ("=HYPERLINK(1)", "+1", "@SUM(1)", "-2+3")


def with_formulas(store: Store) -> None:
    """Let a person give texts that a spreadsheet would run."""
    rows = job_of(store, "job-2").rows
    for key, text in zip(rows, FORMULAS, strict=False):
        after = Candidate(reading=key, quantity="site", condition="", value=text, unit="", appliance="number one")
        edit(store, "job-2", after, by="Ada", why="=1+1")


def test_no_cell_of_the_workbook_is_a_formula(store: Store, clerk: Browser) -> None:
    with_formulas(store)
    book = openpyxl.load_workbook(io.BytesIO(clerk.get("/job/job-2/export/xlsx").content))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {str(cell.value) for cell in cells} >= set(FORMULAS[:3])
    assert {cell.data_type for cell in cells} <= {"s", "n"}


def test_a_number_in_the_workbook_keeps_its_decimals(store: Store, clerk: Browser) -> None:
    sheet = openpyxl.load_workbook(io.BytesIO(clerk.get("/job/job-1/export/xlsx").content))["Readings"]
    heads = [str(cell.value) for cell in sheet[1]]
    said = {row.reading.id: row.reading.value for row in job_of(store, "job-1").rows.values()}
    for row in sheet.iter_rows(min_row=2):
        cells = dict(zip(heads, row, strict=True))
        value = said.pop(str(cells["reading"].value))
        if value != "passed":
            decimals = len(value.partition(".")[2])
            assert f"{cells['number'].value:.{decimals}f}" == value
            assert cells["number"].number_format == (f"0.{'0' * decimals}" if decimals else "0")
    assert said == {}


@pytest.mark.slow
def test_the_report_leaves_in_each_format(store: Store, clerk: Browser) -> None:
    with_formulas(store)
    page = clerk.get("/job/job-2/export/html")
    assert page.headers["content-type"].startswith("text/html")
    assert "sha256-" in page.headers["content-security-policy"]
    assert "unsafe" not in page.headers["content-security-policy"]
    assert clerk.get("/job/job-2/export/pdf").content.startswith(b"%PDF-")
    schema = clerk.get("/report.schema.json").json()
    data = clerk.get("/job/job-2/export/json").json()
    jsonschema.Draft202012Validator(schema).validate(data)
    assert data["number"] == "job-2"
    rows = list(csv.reader(io.StringIO(clerk.get("/job/job-2/export/csv").content.decode("utf-8-sig"))))
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "@"))]
    assert clerk.get("/job/job-2/export/exe").status_code == 404
    assert clerk.get("/job/job-2/export/pdf?paper=a0").status_code == 400
    assert clerk.get("/job/job-2/export/pdf?beside=stones").status_code == 400


# -- the zip -----------------------------------------------------------------------------------------------------------


def packed(store: Store, to: Path, number: str = "job-1") -> Path:
    path = to / f"{number}.zip"
    with path.open("wb") as file:
        pack(store, number, file)
    return path


def test_the_zip_is_whole_and_the_same_each_time(store: Store, tmp_path: Path) -> None:
    path = packed(store, tmp_path)
    first = path.read_bytes()
    assert packed(store, tmp_path).read_bytes() == first
    number, found = verify_bundle(path)
    assert (number, found.entries, found.hash) == (
        "job-1",
        job_of(store, "job-1").position,
        job_of(store, "job-1").hash,
    )


def test_a_job_is_taken_over_whole_and_twice_is_as_once(store: Store, tmp_path: Path) -> None:
    path = packed(store, tmp_path)
    with Store(tmp_path / "other") as other:
        first, again = unpack(other, path), unpack(other, path)
        assert (first.entries, again.entries, again.files) == (job_of(store, "job-1").position, 0, 0)
        assert job_of(other, "job-1") == job_of(store, "job-1")
        assert verify(other, "job-1").hash == job_of(store, "job-1").hash
        assert packed(other, tmp_path / "other").read_bytes() == path.read_bytes()


def test_what_went_on_since_is_added_and_what_is_ahead_here_stays(store: Store, tmp_path: Path) -> None:
    early = packed(store, tmp_path)
    early = early.rename(tmp_path / "early.zip")
    key = next(k for k, row in job_of(store, "job-1").rows.items() if row.how == "taken unasked")
    one = job_of(store, "job-1").rows[key].reading
    assert one.quantity is not None
    after = Candidate(
        reading=key, quantity=one.quantity, condition=one.condition or "", value=one.value, unit=one.unit,
        appliance=one.appliance,
    )  # fmt: skip
    edit(store, "job-1", after, by="Ada", why="looked at again")
    late = packed(store, tmp_path)
    with Store(tmp_path / "other") as other:
        unpack(other, early)
        assert unpack(other, late).entries == 1
        assert unpack(other, early).entries == 0
        assert job_of(other, "job-1") == job_of(store, "job-1")


def test_another_job_of_that_number_is_not_touched(store: Store, tmp_path: Path) -> None:
    path = packed(store, tmp_path)
    with Store(tmp_path / "other") as other:
        before = seed(other, 1, readings=2, questions=0)
        with pytest.raises(WrongUse, match="another job"):
            unpack(other, path)
        assert job_of(other, "job-1") == before


def rewritten(path: Path, change: Any) -> Path:
    """Write a zip anew with its parts changed: ``change`` gets and returns a dict from name to bytes."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts = change(dict(parts))
    bad = path.with_name("bad.zip")
    with zipfile.ZipFile(bad, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return bad


def drop_last_entry(parts: dict[str, bytes]) -> dict[str, bytes]:
    lines = parts["journal.jsonl"].splitlines(keepends=True)
    return {**parts, "journal.jsonl": b"".join(lines[:-1])}


def with_own_hashes(parts: dict[str, bytes]) -> dict[str, bytes]:
    """Change a value in the journal and set the manifest right, as somebody would who knows the format."""
    journal = parts["journal.jsonl"].replace(b'\\"value\\":\\"', b'\\"value\\":\\"1', 1)
    assert journal != parts["journal.jsonl"]
    manifest = json.loads(parts["manifest.json"])
    manifest["files"]["journal.jsonl"] = {"sha256": hashlib.sha256(journal).hexdigest(), "size": len(journal)}
    return {**parts, "journal.jsonl": journal, "manifest.json": json.dumps(manifest).encode()}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda p: {**p, next(n for n in p if n.startswith("evidence/")): b"other"}, "has another size"),
        (lambda p: {n: d for n, d in p.items() if not n.startswith("evidence/")}, "is missing"),
        (lambda p: {**p, "../../x": b"x"}, "not in the manifest"),
        (drop_last_entry, "journal.jsonl' has another size"),
        (with_own_hashes, "was changed"),
    ],
)
def test_a_zip_that_was_meddled_with_is_refused_and_nothing_is_taken_over(
    store: Store, tmp_path: Path, change: Any, told: str
) -> None:
    bad = rewritten(packed(store, tmp_path), change)
    with Store(tmp_path / "other") as other:
        with pytest.raises(StoreFailed, match=told):
            unpack(other, bad)
        assert other.heads() == {}
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("data", [b"", b"PK", b"not a zip at all", bytes(range(1, 101))])
def test_what_is_no_zip_of_ours_is_refused_in_a_sentence(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "job.zip"
    path.write_bytes(data)
    with pytest.raises(BadInput, match="zip"):
        verify_bundle(path)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("manifest.json", "{}")
    with pytest.raises(BadInput, match="sayback pack"):
        verify_bundle(path)


def test_a_zip_cut_anywhere_is_never_taken_over(store: Store, tmp_path: Path) -> None:
    data = packed(store, tmp_path, "job-2").read_bytes()
    path = tmp_path / "cut.zip"
    with Store(tmp_path / "other") as other:
        for end in range(0, len(data) - 1, max(1, len(data) // 40)):
            path.write_bytes(data[:end])
            with pytest.raises(SaybackError):
                unpack(other, path)
        assert other.heads() == {}


def test_the_page_hands_the_zip_out_and_takes_it_over(store: Store, tmp_path: Path, clerk: Browser) -> None:
    data = clerk.get("/job/job-1/export/zip").content
    again = clerk.send("/import", files={"zip": ("job.zip", data)})
    assert again.json()["go"] == "/job/job-1"
    refused = clerk.send("/import", files={"zip": ("job.zip", data[:-30])})
    assert refused.status_code == 422
    with Store(tmp_path / "other") as other, office(other) as client:
        ines = Browser(client)
        assert ines.send("/import", files={"zip": ("job.zip", data)}).status_code == 200
        assert "job-1" in ines.get_page("/")
