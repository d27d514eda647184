"""The report as files: HTML and PDF from one template, CSV and JSON of the same data."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import jinja2
from markupsafe import Markup
from numpy.typing import NDArray

from jobs.findings import trails_of
from jobs.fold import Job
from jobs.report_data import Report
from jobs.show import signed, verdict_words
from jobs.store import Store
from jobs.trail_plot import trail_svg
from schemas.errors import StoreFailed
from schemas.evidence import Look
from schemas.sheet import Sheet
from schemas.units import units

__all__ = ["BESIDE", "PAPERS", "SCHEMA", "html_of", "schema_of_report", "write_report"]

SCHEMA = "report.schema.json"
"""The file beside a report's JSON that describes it."""

PAPERS = {"a4": "A4", "letter": "Letter"}
"""Paper sizes by the name that a command takes."""

BESIDE: dict[str, Literal["us", "uk"]] = {"us": "us", "metric": "uk"}
"""Systems of units that values can be followed by, by the name that a command takes, and as the sheet calls them."""

_PICTURE_SIDE = 1100
"""Pixels of the long side of a photo in the report; the evidence itself stays as it was taken."""

_HEADS = (
    *("job", "appliance", "group", "quantity", "condition", "phase", "value"),
    *("limit", "limit_from", "verdict", "settled", "evidence", "reading"),
)
_PHASES = {"": "", "before": "as found", "after": "as left"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What makes a spreadsheet take a cell for a formula, in full width too (OWASP, CSV Injection)."""
_UNITS = "|".join(re.escape(one.show) for one in units().values() if one.show)
_NUMBER = re.compile(rf"-[0-9]+(\.[0-9]+)?( ?({_UNITS}))?", re.ASCII)


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
    status = report.status.partition(":")[0]
    here, looks = files("jobs"), {one.evidence: one for one in job.looks}
    template = _environment().from_string(here.joinpath("report.html").read_text(encoding="utf-8"))
    return template.render(
        report=report,
        css=here.joinpath("report.css").read_text(encoding="utf-8"),
        paper=PAPERS[paper],
        foot=f"Report {report.number}/{report.position} · {status} · record {report.head[:16]}",
        visit=_visit(report),
        plotted=" (line, dots) and ".join(sheet.quantity(one).name for one in sheet.plotted) + " (dashes, squares)",
        trails=[(one.tag, svg) for one in trails_of(store, job, sheet) if (svg := trail_svg(one, sheet))],
        photos=[(picture, _photo(store, looks[picture.sha256])) for picture in report.pictures],
    )


def _environment() -> jinja2.Environment:
    made = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    made.filters["css"] = _css
    made.filters["signed"] = signed
    made.filters["unbroken"] = lambda refs: refs.replace(" ", "\N{NO-BREAK SPACE}").replace(",\N{NO-BREAK SPACE}", ", ")
    made.filters["words"] = verdict_words
    return made


def _css(text: str) -> Markup:
    """Return a text as a string of a style sheet: every character that could end it or mean markup is a code point."""
    told = "".join(one if one.isalnum() or one in " ,./-·" else f"\\{ord(one):x} " for one in text)
    return Markup(f'"{told}"')


def _visit(report: Report) -> str:
    """Return from when to when the evidence of a visit was taken; the day once where it is one."""
    if report.began is None or report.ended is None:
        return "time not known"
    began, ended = report.began, report.ended.astimezone(report.began.tzinfo)
    last = f"{ended:%H:%M %z}" if began.date() == ended.date() else f"{ended:%Y-%m-%d %H:%M %z}"
    return f"{began:%Y-%m-%d %H:%M} to {last}"


def _is_formula(text: str) -> bool:
    """Say whether a spreadsheet would take a text for a formula; a whole number, with a unit or without, is none."""
    return text.lstrip(" ").startswith(_FORMULA) and not _NUMBER.fullmatch(text)


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
    pixels: NDArray[Any] = photo.pixels
    scale = min(1.0, _PICTURE_SIDE / max(pixels.shape[:2]))
    pixels = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    for figure in look.figures:
        corners = (np.array(figure.box.corners, np.float32) * scale / photo.scale).round().astype(np.int32)
        for shade, width in (((255, 255, 255), 7), ((74, 65, 20), 3)):
            cv2.polylines(pixels, [corners], True, shade, width, cv2.LINE_AA)
    _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 82])
    return f"data:image/jpeg;base64,{base64.b64encode(data.tobytes()).decode()}"


def _csv(report: Report) -> str:
    """Return one row a value. A cell that a spreadsheet would take for a formula is quoted as text; numbers are not."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(_HEADS)
    for section in report.sections:
        for line in section.lines:
            for value in (line.found, line.left):
                if value is not None:
                    row = [report.number, section.appliance, section.title, line.quantity, line.condition]
                    row.append(_PHASES[value.phase])
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
    return [f"'{one}" if _is_formula(one) else one for one in cells]
