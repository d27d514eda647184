"""Evidence, by its hash and as its own kind only; parts of sounds and pictures; exports; our style and script."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from importlib.resources import files

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from front.evidence import crop, stretch
from front.office.desk import Opened
from front.office.exports import KINDS
from front.office.state import office_of
from front.show import verdicts
from jobs.blanking import told
from jobs.findings import check_job
from jobs.report_files import BESIDE, PAPERS, SCHEMA, schema_of_report
from jobs.timeline import Filed
from jobs.workbook import workbook
from schemas.errors import WrongUse
from schemas.readings import Source

__all__ = ["routes", "version"]

_FOREVER = {"cache-control": "private, max-age=31536000, immutable"}
_NOT_KEPT = {"cache-control": "private, no-store"}
"""Of sound: what is blanked later must not lie in a browser."""
_NOTHING = "default-src 'none'; sandbox; frame-ancestors 'none'"
_ENDINGS = {
    "audio/wav": "wav",
    "audio/flac": "flac",
    "audio/ogg": "ogg",
    "audio/mpeg": "mp3",
    "audio/mp4": "m4a",
    "audio/webm": "webm",
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
    "image/heif": "heif",
}
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)


def _opened(request: Request) -> Opened:
    try:
        return office_of(request).desk.open(request.path_params["number"])
    except WrongUse as error:
        raise HTTPException(404, str(error)) from error


def _filed(request: Request, kind: str = "") -> Filed:
    """Return the piece of evidence of an address; only what is in the job's journal is ever found."""
    sha256 = request.path_params["sha256"]
    found = next((one for one in _opened(request).job.filed if one.sha256 == sha256), None)
    if found is None or kind not in ("", found.evidence.kind):
        raise HTTPException(404, "There is no such evidence in this job.")
    return found


def evidence(request: Request) -> Response:
    """The file as it was given."""
    filed = _filed(request)
    media_type = "audio/wav" if filed.blanked else filed.evidence.media_type
    ending = _ENDINGS.get(media_type, "txt" if filed.evidence.kind == "typed" else "bin")
    if ending == "bin":
        media_type = "application/octet-stream"
    headers = {
        **(_FOREVER if filed.evidence.kind != "sound" else _NOT_KEPT),
        "content-security-policy": _NOTHING,
        "content-disposition": f'inline; filename="{filed.sha256[:16]}.{ending}"',
    }
    path = office_of(request).desk.store.evidence.path(filed.kept)
    if not path.is_file():
        raise HTTPException(503, f"The evidence is missing; run sayback verify {request.path_params['number']}.")
    return FileResponse(path, media_type=media_type, headers=headers)


def upright(request: Request) -> Response:
    """A photo as every browser can show it: upright, at most 1600 pixels, as JPEG."""
    import cv2
    import numpy as np

    from capture.photo import open_photo

    filed = _filed(request, "photo")
    pixels = open_photo(office_of(request).desk.store.evidence.path(filed.sha256)).pixels
    side = max(pixels.shape[:2])
    if side > 1600:
        smaller = cv2.resize(pixels, None, fx=1600 / side, fy=1600 / side, interpolation=cv2.INTER_AREA)
        pixels = np.asarray(smaller, np.uint8)
    _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 86])
    return Response(data.tobytes(), media_type="image/jpeg", headers=_FOREVER)


def said(request: Request) -> Response:
    """One utterance, a second wider on both sides."""
    filed = _filed(request, "sound")
    number = request.path_params["utterance"]
    found = next((one for one in filed.utterances if one.number == number), None)
    if found is None:
        raise HTTPException(404, "Nothing of that number was heard in this file.")
    return _stretch(request, filed, found.start, found.end)


def heard(request: Request) -> Response:
    """The stretch of sound that a reading was heard in."""
    source, filed = _source(request)
    if filed.evidence.kind != "sound" or source.start is None or source.end is None:
        raise HTTPException(404, "That reading was not heard; it has no sound.")
    return _stretch(request, filed, source.start, source.end)


def _stretch(request: Request, filed: Filed, start: float, end: float) -> Response:
    """A second more on both sides; a sentence where it was taken off the record."""
    if gone := filed.blanked_in(start, end):
        raise HTTPException(410, f"That sound cannot be heard any more: {told(gone, filed.evidence.name)}.")
    path = office_of(request).desk.store.evidence.path(filed.kept)
    return Response(stretch(path, start, end), media_type="audio/wav", headers=_NOT_KEPT)


def boxed(request: Request) -> Response:
    """The part of the picture that a reading was seen in."""
    source, filed = _source(request)
    if filed.evidence.kind != "photo" or source.box is None:
        raise HTTPException(404, "That reading was not seen in a picture.")
    path = office_of(request).desk.store.evidence.path(filed.sha256)
    return Response(crop(path, source.box), media_type="image/png", headers=_FOREVER)


def _source(request: Request) -> tuple[Source, Filed]:
    opened, key = _opened(request), request.path_params["reading"]
    row = opened.job.rows.get(key) or next((one for one in opened.job.gone if one.reading.id == key), None)
    if row is None:
        raise HTTPException(404, "There is no such reading in this job.")
    source = row.reading.source
    filed = next((one for one in opened.job.filed if one.sha256 == source.evidence), None)
    if filed is None:
        raise HTTPException(404, "The evidence of that reading is not in this job.")
    return source, filed


def export(request: Request) -> Response:
    """The report, the workbook or the zip of a job."""
    office, number, kind = office_of(request), _opened(request).job.number, request.path_params["kind"]
    if kind not in KINDS:
        raise HTTPException(404, f"There is no export {kind!r}; there are {', '.join(KINDS)}.")
    opened = office.desk.open(number)
    paper = request.query_params.get("paper", "letter" if opened.job.head.units == "us" else "a4")
    beside = request.query_params.get("beside", "")
    if paper not in PAPERS:
        raise HTTPException(400, f"There is no paper {paper!r}; use one of {', '.join(PAPERS)}.")
    if beside not in ("", *BESIDE):
        raise HTTPException(400, f"There are no such units {beside!r}; use one of {', '.join(BESIDE)}.")
    check_job(office.desk.store, number)
    if kind == "zip":
        data = office.exports.zip(number)
    elif kind == "xlsx":
        opened = office.desk.open(number)
        data = workbook(opened.job, opened.sheet, opened.found, verdicts(opened.found))
    else:
        data = office.exports.report(number, kind, paper, beside)
    shown = "inline" if kind in ("html", "pdf") else "attachment"
    headers = {"content-disposition": f'{shown}; filename="{number}.{kind}"'}
    if kind == "html":
        headers["content-security-policy"] = _report_policy(data.decode())
    return Response(data, media_type=KINDS[kind], headers=headers)


def _report_policy(html: str) -> str:
    """Return what the browser may do with a report: its own style and pictures, by their hash, and nothing else."""
    hashes = [base64.b64encode(hashlib.sha256(one.encode()).digest()).decode() for one in _STYLE.findall(html)]
    styles = " ".join(f"'sha256-{one}'" for one in hashes)
    return (
        f"default-src 'none'; style-src {styles or chr(39) + 'none' + chr(39)}; img-src data:; frame-ancestors 'none'"
    )


@cache
def _own(name: str) -> bytes:
    return files("front.office").joinpath(name).read_bytes()


@cache
def version() -> str:
    """Return what tells one edition of our style and script from another, so that a browser may keep them."""
    return hashlib.sha256(_own("office.css") + _own("office.js")).hexdigest()[:12]


def style(request: Request) -> Response:
    """Our style."""
    return Response(_own("office.css"), media_type="text/css", headers=_FOREVER)


def script(request: Request) -> Response:
    """Our script."""
    return Response(_own("office.js"), media_type="text/javascript", headers=_FOREVER)


def icon(request: Request) -> Response:
    """Our mark: what was said, and a line under it."""
    return Response(_own("office.svg"), media_type="image/svg+xml", headers={"cache-control": "max-age=86400"})


def schema(request: Request) -> Response:
    """The JSON Schema of a report's JSON."""
    return Response(schema_of_report(), media_type="application/schema+json")


routes = [
    Route(f"/{SCHEMA}", schema),
    Route("/office.svg", icon),
    Route("/office.css", style),
    Route("/office.js", script),
    Route("/job/{number}/evidence/{sha256}", evidence),
    Route("/job/{number}/evidence/{sha256}/upright.jpg", upright),
    Route("/job/{number}/sound/{sha256}/{utterance:int}.wav", said),
    Route("/job/{number}/reading/{reading}/sound.wav", heard),
    Route("/job/{number}/reading/{reading}/crop.png", boxed),
    Route("/job/{number}/export/{kind}", export),
]
