"""``sayback trail``: what each turn of a screw did, and where the readings lie within the limits."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from front.options import JobNumber, Json
from front.screen import columns, out, print_json, rows_of
from jobs.book import job_of, sheet_of
from jobs.findings import trails_of
from jobs.show import show_value
from jobs.store import Store, home_folder
from jobs.trail import Trail, amount_words, change_words, sum_words
from jobs.trail_plot import trail_svg
from schemas.errors import StoreFailed
from schemas.sheet import Sheet

__all__ = ["put_on"]


def put_on(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(trail)


def trail(
    job: JobNumber,
    svg: Annotated[Path | None, typer.Option(help="Write the drawing here, one file an appliance.")] = None,
    json: Json = False,
) -> None:
    """Show each turn with the readings before and after it. It records; what to turn is the maker's word."""
    with Store(home_folder()) as store:
        one = job_of(store, job)
        sheet = sheet_of(store, one.head)
        trails = trails_of(store, one, sheet)
    if svg is not None:
        _write(svg, trails, sheet)
    if json:
        print_json({"job": job, "trails": [_data(each) for each in trails]})
        return
    told = [each for each in trails if each.moves]
    if not told:
        out().print("No turn of a screw is recorded.")
    for each in told:
        _print(each, sheet, named=len(trails) > 1)


def _print(trail: Trail, sheet: Sheet, *, named: bool) -> None:
    quantities = [sheet.quantity(change.quantity) for change in trail.moves[0].changes]
    table = columns("No.", "At", "Turn", *(q.name for q in quantities), "Then", "Sum of the screw", title="")
    rows = []
    for move in trail.moves:
        condition = move.reading.condition
        rows.append(
            [
                str(move.number),
                sheet.condition(condition).name if condition else "not told",
                amount_words(move, sheet),
                *(change_words(change, q) for change, q in zip(move.changes, quantities, strict=True)),
                "; ".join(part for part in (move.doubt, move.settled, *move.places, move.as_told) if part),
                sum_words(move),
            ]
        )
    if named:
        out().print(f"\n{trail.tag}")
    out().print(rows_of(table, rows))
    for condition, (readings, _) in trail.good.items():
        values = ", ".join(f"{sheet.quantity(r.quantity or '').name} {show_value(r.value, r.unit)}" for r in readings)
        where = f" at {sheet.condition(condition).name}" if condition else ""
        out().print(f"Last row within all limits{where}: {values}")


def _write(path: Path, trails: tuple[Trail, ...], sheet: Sheet) -> None:
    drawn = [(one.tag, text) for one in trails if (text := trail_svg(one, sheet))]
    if not drawn:
        out().print("There is nothing to draw: no turn with two readings about it.")
    for n, (_, text) in enumerate(drawn, 1):
        place = path if len(drawn) == 1 else path.with_stem(f"{path.stem}-{n}")
        try:
            place.write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            raise StoreFailed(f"The drawing cannot be written to {place} ({error.strerror}); give another.") from error


def _data(trail: Trail) -> dict[str, object]:
    return {
        "appliance": trail.tag,
        "moves": [
            {
                "number": move.number,
                "reading": move.reading,
                "doubt": move.doubt,
                "at": move.at,
                "screw": move.screw,
                "way": move.way,
                "turns": str(move.turns),
                "changes": [
                    {
                        "quantity": change.quantity,
                        "before": change.before,
                        "after": change.after,
                        "difference": None if change.difference is None else str(change.difference),
                        "per_turn": None if change.per_turn is None else str(change.per_turn),
                        "turns_between": change.over,
                        "screws_between": change.screws,
                        "open": sorted(change.open),
                        "never_settled": sorted(change.unsettled),
                    }
                    for change in move.changes
                ],
                "settled": move.settled,
                "within": list(move.places),
                "net": str(move.sums[0]),
                "in_all": str(move.sums[1]),
                "as_told": move.as_told,
            }
            for move in trail.moves
        ],
        "last_within": {
            condition: [{"quantity": r.quantity, "value": r.value, "unit": r.unit, "reading": r.id} for r in readings]
            for condition, (readings, _) in trail.good.items()
        },
    }
