"""A whole job as one zip: the journal and every file that it rests on, with a manifest of their hashes.

The zip of a job is the same, byte for byte, whenever the journal is the same. Names inside come from hashes; nothing
in it is ever used as a path. Photos leave without the place where they were taken, unless that is asked for: the
journal notes the hash of each without it.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any

from jobs.blanking import finish
from jobs.evidence import placeless
from jobs.journal import Body, EvidenceAdded, MovedIn, Row
from jobs.store import Store
from jobs.verify import Verified, evidence_of, faults_in_chain, readable, verified, without_places
from schemas.errors import BadInput, StoreFailed, WrongUse
from schemas.evidence import Evidence

__all__ = ["Unpacked", "is_bundle", "pack", "unpack", "verify_bundle"]

FORMAT = "sayback job 1"
_MANIFEST, _JOURNAL = "manifest.json", "journal.jsonl"
_MOST_JOURNAL = 256 << 20
_MOST_FILE = 4 << 30
_EPOCH = (1980, 1, 1, 0, 0, 0)
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Unpacked:
    """What came of taking a zip over: the job, and how many entries and files were new here."""

    number: str
    entries: int
    files: int


def is_bundle(path: Path) -> bool:
    """Say whether a path is that of a zip file, by its bytes."""
    return path.is_file() and zipfile.is_zipfile(path)


def pack(store: Store, number: str, to: IO[bytes], *, with_place: bool = False) -> None:
    """Write the zip of a job; ``with_place``: photos keep the place where they were taken.

    Raises:
        WrongUse: there is no such job, or a photo was added before its hash without the place was noted.
        StoreFailed: its evidence is not whole; nothing that is known to be wrong is handed over.
    """
    rows, (_, last) = store.rows(number)
    journal = "".join(json.dumps(vars(row), ensure_ascii=False, sort_keys=True) + "\n" for row in rows).encode()
    listed = {_JOURNAL: {"sha256": hashlib.sha256(journal).hexdigest(), "size": len(journal)}}
    bodies = readable(rows)
    noted = without_places(bodies)
    photos = {one.sha256 for one in _evidence(bodies) if one.kind == "photo"}
    files: dict[str, tuple[str, bool]] = {}
    for sha256 in sorted({sha256 for _, sha256 in evidence_of(bodies)}):
        if not store.evidence.is_sound(sha256):
            raise StoreFailed(f"The evidence {sha256} of job {number} is not whole; run sayback verify {number}.")
        blank = placeless(store.evidence.path(sha256)) if sha256 in photos and not with_place else None
        if blank is not None and hashlib.sha256(blank).hexdigest() != noted.get(sha256):
            raise WrongUse(
                f"The photo {sha256[:12]} tells where it was taken, and was added before that was noted; "
                f"sayback pack {number} --with-place hands it over as it is, with that place."
            )
        name = store.evidence.stand_in(sha256) or sha256 if blank is None else noted[sha256]
        files[name] = (sha256, blank is not None)
        listed[f"evidence/{name}"] = {"sha256": name, "size": store.evidence.path(sha256).stat().st_size}
    manifest = {"format": FORMAT, "job": number, "entries": len(rows), "head": last, "files": listed}
    with zipfile.ZipFile(to, "w") as archive:
        _write(archive, _MANIFEST, (json.dumps(manifest, indent=2, sort_keys=True) + "\n").encode(), squeeze=True)
        _write(archive, _JOURNAL, journal, squeeze=True)
        for name, (sha256, placed) in sorted(files.items()):
            path = store.evidence.path(sha256)
            entry = _entry(f"evidence/{name}", squeeze=False)
            with _source(path, placed) as source, archive.open(entry, "w", force_zip64=True) as target:
                while chunk := source.read(_CHUNK):
                    target.write(chunk)


def _source(path: Path, placed: bool) -> IO[bytes]:
    """Open a file of evidence; a photo that tells where it was taken (``placed``) without that."""
    return io.BytesIO(placeless(path) or b"") if placed else path.open("rb")


def _evidence(bodies: Sequence[Body]) -> list[Evidence]:
    return [body.evidence for body in bodies if isinstance(body, EvidenceAdded | MovedIn)]


def verify_bundle(path: Path) -> tuple[str, Verified]:
    """Work out every hash and the journal's chain of a zip anew; return the job's number and what is whole.

    Raises:
        BadInput: it is no zip of a job.
        StoreFailed: something in it was changed, dropped, swapped or added; the message names each.
    """
    with _opened(path) as archive:
        manifest, rows = _read(archive, path)
        found = list(_faults(archive, manifest, rows))
    if found:
        raise StoreFailed(f"{path.name} is not as it was written: {'; '.join(found)}. Ask for it again.")
    return manifest["job"], replace(verified(readable(rows), rows[-1].hash), evidence=len(manifest["files"]) - 1)


def unpack(store: Store, path: Path) -> Unpacked:
    """Take over the job in a zip: verified first, files before the journal that names them. Twice is as once.

    Raises:
        BadInput, StoreFailed: as :func:`verify_bundle`; nothing was taken over.
        WrongUse: there is another job of that number here.
    """
    number, _ = verify_bundle(path)
    with _opened(path) as archive:
        manifest, rows = _read(archive, path)
        here = store.heads().get(number)
        if here is not None and store.rows(number)[0][0].hash != rows[0].hash:
            raise WrongUse(f"There is another job {number!r} here; nothing was taken over.")
        lacking = {n: one["sha256"] for n, one in sorted(manifest["files"].items()) if n != _JOURNAL}
        lacking = {name: sha256 for name, sha256 in lacking.items() if not store.evidence.is_sound(sha256)}
        off_record = [sha256 for sha256 in lacking.values() if store.evidence.is_discarded(sha256)]
        if off_record and here is None:
            raise WrongUse(f"A sound in it ({off_record[0][:12]}) was blanked here; nothing was taken over.")
        noted = without_places(readable(rows))
        here_whole = {left for sha256, left in noted.items() if store.evidence.is_sound(sha256)}
        lacking = {n: sha256 for n, sha256 in lacking.items() if sha256 not in off_record and sha256 not in here_whole}
        for name in lacking:
            with archive.open(name) as source:
                store.evidence.keep_stream(source)
        for sha256, left in noted.items():
            if left in lacking.values():
                store.evidence.let_stand(sha256, left)
    unpacked = Unpacked(number, store.adopt(number, rows), len(lacking))
    finish(store, number)
    return unpacked


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except FileNotFoundError:
        raise BadInput(f"There is no file {path}; check the name.") from None
    except (zipfile.BadZipFile, OSError) as error:
        raise BadInput(f"{path.name} is no zip, or was cut short; copy it again.") from error


def _read(archive: zipfile.ZipFile, path: Path) -> tuple[dict[str, Any], tuple[Row, ...]]:
    try:
        manifest = json.loads(_bytes(archive, _MANIFEST))
        if manifest["format"] != FORMAT or not isinstance(manifest["job"], str):
            raise ValueError
        files = {
            str(name): {"sha256": str(f["sha256"]), "size": int(f["size"])} for name, f in manifest["files"].items()
        }
        rows = tuple(Row(**json.loads(line)) for line in _bytes(archive, _JOURNAL).decode().split("\n") if line)
    except (KeyError, TypeError, ValueError, AttributeError, zipfile.BadZipFile, RuntimeError) as error:
        raise BadInput(f"{path.name} is not a job that sayback packed; give one made by sayback pack.") from error
    if not rows:
        raise BadInput(f"{path.name} holds a job without a single entry; ask for it again.")
    return {**manifest, "files": files}, rows


def _bytes(archive: zipfile.ZipFile, name: str) -> bytes:
    with archive.open(name) as file:
        data = file.read(_MOST_JOURNAL + 1)
    if len(data) > _MOST_JOURNAL:
        raise ValueError("too large")
    return data


def _faults(archive: zipfile.ZipFile, manifest: dict[str, Any], rows: tuple[Row, ...]) -> Iterator[str]:
    names = archive.namelist()
    listed = manifest["files"]
    for name in sorted({*names, _MANIFEST} - {_MANIFEST, *listed}):
        yield f"{name!r} is in it and not in the manifest"
    for name in sorted(one for one in set(names) if names.count(one) > 1):
        yield f"{name!r} is in it twice"
    for name, facts in sorted(listed.items()):
        if name not in names:
            yield f"{name!r} is missing"
        elif name not in (_JOURNAL, f"evidence/{facts['sha256']}"):
            yield f"{name!r} is no name that sayback gives"
        elif archive.getinfo(name).file_size != facts["size"] or facts["size"] > _MOST_FILE:
            yield f"{name!r} has another size"
        elif _hash(archive, name) != facts["sha256"]:
            yield f"{name!r} was changed"
    ending = (manifest.get("entries"), manifest.get("head"))
    yield from faults_in_chain(rows, (len(rows), str(ending[1])))
    if ending[0] != len(rows):
        yield f"the journal has {len(rows)} entries, the manifest says {ending[0]}"
    if any(row.job != manifest["job"] for row in rows):
        yield "an entry is of another job"
    try:
        bodies = readable(rows)
        needed = {sha256 for _, sha256 in evidence_of(bodies)}
    except StoreFailed as error:
        yield str(error)
    else:
        there = {facts["sha256"] for facts in listed.values()}
        there |= {sha256 for sha256, left in without_places(bodies).items() if left in there}
        for sha256 in sorted(needed - there):
            yield f"the evidence {sha256} is missing"


def _hash(archive: zipfile.ZipFile, name: str) -> str:
    digest = hashlib.sha256()
    try:
        with archive.open(name) as file:
            while chunk := file.read(_CHUNK):
                digest.update(chunk)
    except (zipfile.BadZipFile, RuntimeError, EOFError, OSError):
        return "cannot be read"
    return digest.hexdigest()


def _entry(name: str, *, squeeze: bool) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _EPOCH)
    entry.compress_type = zipfile.ZIP_DEFLATED if squeeze else zipfile.ZIP_STORED
    entry.external_attr = 0o600 << 16
    return entry


def _write(archive: zipfile.ZipFile, name: str, data: bytes, *, squeeze: bool) -> None:
    archive.writestr(_entry(name, squeeze=squeeze), data)
