"""Which readings a stop that stands no longer let nothing be told of, and that were not read again since."""

from __future__ import annotations

from collections.abc import Iterable

from jobs.fold import Job
from jobs.journal import StopDealtWith
from jobs.stops import was_put_right, words_meet
from jobs.timeline import in_order
from schemas.findings import Finding
from schemas.readings import Source
from schemas.sheet import Sheet

__all__ = ["outlived"]

_Place = tuple[int, int]
"""How-many-eth utterance or look in the order of the work, and the character in it."""


def outlived(job: Job, sheet: Sheet, findings: Iterable[Finding]) -> dict[str, str]:
    """Return the readings, by id, of which nothing can be told for a stop that is over, and why.

    An analyser that holds its zero now says nothing of what was read before: that is to be read again. A measured stop
    is over with the next other state of its quantity; one that was said, of those among ``findings``, likewise, and
    without such a state when somebody has dealt with it.
    """
    order = {(each.filed.sha256, each.number): n for n, each in enumerate(in_order(job.filed))}

    def place(source: Source) -> _Place:
        return order.get((source.evidence, source.utterance), -1), source.span[0] if source.span else 0

    passed = [one for one in job.passed if not was_put_right(one)]
    went = [each for one in passed if (each := job.as_settled(one.reading)) is not None]
    rows = {row.reading.id: row for row in (*job.gone, *job.rows.values())}
    dealt = {mark: e.seq for e in job.dealt_with if isinstance(e.body, StopDealtWith) for mark in e.body.covers}
    said = [one for one in findings if one.said is not None and one.verdict == "stop" and one.mark in dealt]
    found: dict[str, str] = {}
    for stop in sheet.stops:
        if not stop.voids:
            continue
        states = [each for each in (*went, *job.readings) if each.quantity in (stop.quantity, *stop.also)]
        good = [(each.quantity, place(each.source)) for each in states if each.taken and each.value not in stop.states]

        def end(quantity: str | None, start: _Place, good: list[tuple[str | None, _Place]] = good) -> _Place | None:
            return min((at for name, at in good if name == quantity and at > start), default=None)

        failed = [each for each in states if each.value in stop.states]
        until = [end(each.quantity, place(each.source)) or (len(order), 0) for each in failed if each in went]
        by_entry = 0
        for one in said:
            assert one.said is not None
            if one.rule != stop.id or any(words_meet(one.said, each.source) for each in failed):
                continue  # the same words are a reading, which says by itself when it is over
            over = end(stop.quantity, place(one.said))
            if over is None:
                by_entry = max(by_entry, dealt[one.mark])
            else:
                until.append(over)
        last = max(until, default=(-1, 0))
        for key, row in rows.items():
            before = place(row.reading.source) < last or any(one.seq < by_entry for one in row.history[:1])
            if row.reading.quantity in stop.voids and before:
                found[key] = f"not read again since this was put right ({stop.name})"
    for step in job.passed:
        corrected = was_put_right(step) and not step.why.startswith("said again")
        if step.now is not None and step.reading.id in found and corrected:
            found[step.now.id] = found[step.reading.id]  # that is no reading anew
    return found
