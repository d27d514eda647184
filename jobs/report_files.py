"""The report as files: HTML and PDF from one template, CSV and JSON of the same data."""

from __future__ import annotations

import base64
import csv
import io
import json
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import jinja2
from numpy.typing import NDArray

from jobs.findings import trails_of
from jobs.fold import Job
from jobs.report import Report
from jobs.show import signed, verdict_words
from jobs.store import Store
from jobs.trail_plot import trail_svg
from schemas.errors import StoreFailed
from schemas.evidence import Look
from schemas.sheet import Sheet

__all__ = ["BESIDE", "PAPERS", "SCHEMA", "html_of", "schema_of_report", "write_report"]

SCHEMA = "report.schema.json"
"""The file beside a report's JSON that describes it."""

PAPERS = {"a4": "A4", "letter": "Letter"}
"""Paper sizes by the name that a command takes."""

BESIDE: dict[str, Literal["us", "uk"]] = {"us": "us", "metric": "uk"}
"""Systems of units that values can be followed by, by the name that a command takes, and as the sheet calls them."""

_PICTURE_SIDE = 900
"""Pixels of the long side of a photo in the report; the evidence itself stays as it was taken."""

_HEADS = (
    *("job", "appliance", "group", "quantity", "condition", "phase", "value"),
    *("limit", "limit_from", "verdict", "settled", "evidence", "reading"),
)
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def write_report(
    store: Store, job: Job, sheet: Sheet, report: Report, folder: Path, *, paper: str = "letter"
) -> tuple[Path, ...]:
    """Write ``JOB.html``, ``.pdf``, ``.csv`` and ``.json`` into a folder, with its schema, and return their paths.

    Raises:
        StoreFailed: the folder cannot be written.
    """
    html = html_of(store, job, sheet, report, paper=paper)
    data = json.dumps(report.model_dump(mode="json"), indent=2, ensure_ascii=False) + "\n"
    made = {
        f"{report.number}.html": html.encode(),
        f"{report.number}.pdf": _pdf(html),
        f"{report.number}.csv": _csv(report).encode("utf-8-sig"),
        f"{report.number}.json": data.encode(),
        SCHEMA: schema_of_report().encode(),
    }
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in made.items():
            path = folder / name
            part = path.with_name(f".{path.name}.part")
            part.write_bytes(content)
            part.replace(path)
            paths.append(path)
    except OSError as error:
        raise StoreFailed(f"The report cannot be written to {folder} ({error.strerror}); give another --to.") from error
    return tuple(paths)


def schema_of_report() -> str:
    """Return the JSON Schema of a report's JSON."""
    dialect = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    return json.dumps({**dialect, **Report.model_json_schema()}, indent=1, ensure_ascii=False) + "\n"


def html_of(store: Store, job: Job, sheet: Sheet, report: Report, *, paper: str = "letter") -> str:
    """Return the whole report as one HTML page that needs nothing else."""
    here = files("jobs")
    template = _environment().from_string(here.joinpath("report.html").read_text(encoding="utf-8"))
    return template.render(
        report=report,
        css=here.joinpath("report.css").read_text(encoding="utf-8"),
        paper=PAPERS[paper],
        plotted=" (line, dots) and ".join(sheet.quantity(one).name for one in sheet.plotted) + " (dashes, squares)",
        trails=[(one.tag, svg) for one in trails_of(store, job, sheet) if (svg := trail_svg(one, sheet))],
        photos=[(picture, _photo(store, look)) for picture, look in zip(report.pictures, job.looks, strict=True)],
    )


def _environment() -> jinja2.Environment:
    made = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    made.filters["signed"] = signed
    made.filters["words"] = verdict_words
    return made


def _is_number(text: str) -> bool:
    return text.startswith("-") and text[1:2].isdigit()


def _pdf(html: str) -> bytes:
    import weasyprint
    from weasyprint.urls import URLFetcher

    # Everything is in the page; whatever else asks to be fetched is refused.
    fetcher = URLFetcher(allowed_protocols={"data"}, allow_redirects=False)
    made: bytes = weasyprint.HTML(string=html, url_fetcher=fetcher).write_pdf()
    return made


def _photo(store: Store, look: Look) -> str:
    """Return a photo with the boxes that were read drawn in, as a data address."""
    import cv2
    import numpy as np

    from capture.photo import open_photo

    photo = open_photo(store.evidence.path(look.evidence))
    pixels: NDArray[Any] = photo.pixels.copy()
    for figure in look.figures:
        corners = (np.array(figure.box.corners, np.float32) / photo.scale).round().astype(np.int32)
        cv2.polylines(pixels, [corners], True, (20, 20, 20), max(2, pixels.shape[1] // 400))
        cv2.polylines(pixels, [corners], True, (255, 255, 255), max(1, pixels.shape[1] // 800))
    side = max(pixels.shape[:2])
    if side > _PICTURE_SIDE:
        scale = _PICTURE_SIDE / side
        pixels = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 82])
    return f"data:image/jpeg;base64,{base64.b64encode(data.tobytes()).decode()}"


def _csv(report: Report) -> str:
    """Return one row a value. A cell that a spreadsheet would take for a formula is quoted as text; numbers are not."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(_HEADS)
    for section in report.sections:
        for line in section.lines:
            for phase, value in (("before", line.found), ("", line.left)):
                if value is not None:
                    row = [report.number, section.appliance, section.title, line.quantity, line.condition, phase]
                    row += [
                        value.text,
                        line.limit,
                        line.limit_from,
                        verdict_words(value.verdict),
                        value.settled,
                        value.ref,
                    ]
                    writer.writerow(_plain([*row, value.reading]))
    return buffer.getvalue()


def _plain(cells: Sequence[str]) -> list[str]:
    return [f"'{one}" if one.startswith(_FORMULA) and not _is_number(one) else one for one in cells]
