"""How well photos are read: ``python -m bench.see LABELS.csv [--out PREDICTIONS.jsonl] [--every N] [--kind seg]``, or
``python -m bench.see --hidden 300``, which draws photos whose minus, first digit, point or unit is hidden, and reads
them on all processors unless ``--jobs`` says otherwise. With ``--peers`` plain tesseract and plain rapidocr read the
same pictures; with ``--large`` each picture is read again at 12 million pixels, for the time of a phone's photo.

LABELS.csv has the columns file, kind and values(label,value,unit), the last as JSON; pictures lie beside it. The
predictions are what ``capture.see`` finds: taken where it has no doubt, asked otherwise. Counting is that of
score_see.py in the shared displays. Exits 1 where a bar of the issue is not met, 3 where the labels cannot be read.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import json
import os
import re
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

import cv2
from rich.console import Console
from rich.progress import track

from bench.see_peers import PEERS, found_among, run_peer
from capture.readers import Readers
from capture.see import load_readers, look
from schemas.errors import BadInput
from schemas.evidence import Look
from schemas.units import show_unit
from training.make_photos import make_photo

__all__ = ["Bar", "main", "predictions_of", "score"]


@dataclass(frozen=True)
class Bar:
    """What a kind must reach, in percent of the true values, and seconds a picture on one thread."""

    wrong: float
    right: float
    asked_though_right: float
    seconds: float


BARS = {
    "seg": Bar(0.5, 93, 15, 1.5),
    "dot": Bar(1, 85, 15, 3),
    "slip": Bar(1, 85, 15, 3),
    "plate": Bar(1, 85, 15, 3),
    "real": Bar(1.5, 80, 30, 1.5),
}
MEMORY_MB = 700
LARGE = 12_000_000
_HIDDEN = "seg_hidden"
_SEED = 5
"""of the photos that are drawn"""
HIDDEN_TAKEN = 0.5
"""percent of the photos with a hidden place that may be taken"""

Label = tuple[str, str, list[list[str]]]
"""File, kind, true values as [label, value, unit]."""
Item = TypeVar("Item")

_SAME_UNIT = {
    "degc": "c", "celsius": "c", "cel": "c", "degf": "f", "fahrenheit": "f", "inwc": "inwc", "inh2o": "inwc",
    "inchesofwatercolumn": "inwc", "percent": "%", "pct": "%", "litres": "l", "liter": "l", "litre": "l",
}  # fmt: skip


def predictions_of(found: Look) -> list[dict[str, str]]:
    """A look in the form that the scorer reads."""
    return [
        {
            "label": figure.label,
            "value": figure.value,
            "unit": show_unit(figure.unit),
            "state": "asked" if figure.doubts else "taken",
        }
        for figure in found.figures
    ]


def canon(text: str) -> str:
    match = re.fullmatch(r"\s*([-−–+]?)\s*(\d*)[.,]?(\d*)\s*", text)
    if not match or not (match[2] or match[3]):
        return "".join(re.findall(r"[a-z0-9.\-]+", text.lower()))
    sign = "-" if match[1] in ("-", "−", "–") else ""
    return sign + (match[2].lstrip("0") or "0") + ("." + match[3] if match[3] else "")


def key(label: str) -> str:
    return "".join(re.findall(r"[a-z0-9]+", label.lower()))


def unit_key(text: str) -> str:
    bare = "".join(re.findall(r"[a-z0-9%µ/]+", text.lower().replace("°", "")))
    return _SAME_UNIT.get(bare, bare)


def outcome(hit: dict[str, str] | None, value: str, unit: str) -> str:
    """One of: taken right, taken wrong, asked right, asked other, missed."""
    if hit is None:
        return "missed"
    same = canon(hit["value"]) == canon(value) and (not unit or unit_key(hit["unit"]) == unit_key(unit))
    return f"{hit['state']} {'right' if same else 'wrong' if hit['state'] == 'taken' else 'other'}"


def score(kind: str, true: list[list[str]], found: list[dict[str, str]]) -> tuple[Counter[str], list[str]]:
    """Count the outcomes of one picture, and say what went wrong in it."""
    if kind.endswith("illegible") or kind.startswith(_HIDDEN) or kind == "none":
        wrong = [f"took {hit['value']}" for hit in found if hit["state"] == "taken"]
        return Counter({"true": 1, "taken wrong" if wrong else "left alone": 1}), wrong
    count: Counter[str] = Counter()
    notes: list[str] = []
    used: list[int] = []
    for label, value, unit in true:
        if len(true) == 1:
            at = 0 if found else None
        else:
            at = next((i for i, hit in enumerate(found) if key(hit["label"]) == key(label) and i not in used), None)
        hit = None if at is None else found[at]
        if at is not None:
            used.append(at)
        result = outcome(hit, value, unit)
        count.update(["true", result])
        if result != "taken right":
            got = f"{hit['value']} {hit['unit']}" if hit else "nothing"
            notes.append(f"{result}: {label} {value} {unit} <- {got}")
    extra = [hit for i, hit in enumerate(found) if hit["state"] == "taken" and i not in used]
    count["extra"] += len(extra)
    notes += [f"taken beyond: {hit['label']} {hit['value']} {hit['unit']}" for hit in extra]
    return count, notes


class Memory:
    """The highest sum of PSS (memory, shared pages by share) over this process and its children, in MB.

    With ``children_only`` this process is left out.
    """

    def __init__(self, *, children_only: bool = False) -> None:
        self.peak = 0.0
        self._first = int(children_only)
        self._stop = threading.Event()
        self._watch = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Memory:
        self._watch.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._watch.join()

    def _run(self) -> None:
        while not self._stop.wait(0.1):
            self.peak = max(self.peak, sum(_pss(pid) for pid in _family(os.getpid())[self._first :]) / 1024)


def _pss(pid: int) -> int:
    try:
        text = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii")
    except (OSError, ValueError):
        return 0
    match = re.search(r"^Pss:\s+(\d+) kB", text, re.M)
    return int(match[1]) if match else 0


def _family(pid: int) -> list[int]:
    children: list[int] = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            children += [int(word) for word in task.read_text(encoding="ascii").split()]
        except (OSError, ValueError):
            continue
    return [pid, *(one for child in children for one in _family(child))]


def read_labels(path: Path) -> list[Label]:
    """File, kind and true values of every picture.

    Raises:
        BadInput: the file is missing or not in the form of the head of this module.
    """
    try:
        with path.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        return [
            (row["file"], row["kind"], json.loads(next(v for k, v in row.items() if k.startswith("values"))))
            for row in rows
        ]
    except (OSError, KeyError, ValueError, StopIteration) as error:
        raise BadInput(f"{path} cannot be read as labels of pictures ({error}).") from error


def main(arguments: list[str] | None = None) -> int:
    """Run the bench; the exit code is 0 only if every bar is met."""
    parser = argparse.ArgumentParser(prog="python -m bench.see", description=__doc__)
    parser.add_argument("labels", type=Path, nargs="?")
    parser.add_argument("--every", type=int, default=1, help="read every so many pictures of each kind only")
    parser.add_argument("--hidden", type=int, metavar="COUNT", help="draw so many photos with a place hidden instead")
    parser.add_argument("--out", type=Path, help="write the predictions here, one line a picture")
    parser.add_argument("--kind", default="", help="read only pictures whose kind begins so: seg, dot, slip, plate")
    parser.add_argument("--peers", action="store_true", help="also read them with plain tesseract and plain rapidocr")
    parser.add_argument("--large", type=int, default=0, metavar="COUNT", help="time so many at 12 million pixels")
    parser.add_argument("--jobs", type=int, default=0, help="processes; one if not said, with --hidden one a processor")
    parser.add_argument("--notes", action="store_true", help="say for each picture what was not taken and right")
    chosen = parser.parse_args(arguments)
    if (chosen.labels is None) == (chosen.hidden is None):
        parser.error("give a labels file, or --hidden and how many")
    try:
        with tempfile.TemporaryDirectory() as scratch:
            if chosen.labels is None:
                read = partial(_draw_and_read, Path(scratch))
                return _run(read, range(0, chosen.hidden, chosen.every), chosen, chosen.jobs or os.cpu_count() or 1)
            folder = chosen.labels.parent
            every = [one for one in read_labels(chosen.labels) if one[1].startswith(chosen.kind)]
            labels = _thinned(every, chosen.every)
            code = _run(partial(_read, folder), labels, chosen, chosen.jobs or 1)
            if chosen.large:
                _large(folder, labels[:: max(len(labels) // chosen.large, 1)], Path(scratch))
            if chosen.peers:
                _peers(folder, labels)
            return code
    except BadInput as error:
        print(error, file=sys.stderr)
        return int(error.exit_code)


def _thinned(labels: list[Label], every: int) -> list[Label]:
    """Every so many pictures of each kind."""
    seen: Counter[str] = Counter()
    kept = []
    for label in labels:
        if seen[label[1]] % every == 0:
            kept.append(label)
        seen[label[1]] += 1
    return kept


@dataclass(frozen=True)
class _Outcome:
    """What came of one picture: counts and notes as ``score`` gives them, predictions, seconds of one thread."""

    file: str
    kind: str
    count: Counter[str]
    notes: list[str]
    found: list[dict[str, str]]
    seconds: float


def _draw_and_read(folder: Path, index: int) -> _Outcome:
    """Draw a photo with a hidden place, and read it."""
    label = make_photo(folder, index, _SEED, hidden=True)
    try:
        return _read(folder, label)
    finally:
        (folder / label[0]).unlink()


def _read(folder: Path, label: Label) -> _Outcome:
    """Read one picture of a folder."""
    file, kind, true = label
    path = folder / file
    readers = _readers()
    start, cpu = time.perf_counter(), _cpu()
    try:
        found = predictions_of(look(path, hashlib.sha256(path.read_bytes()).hexdigest(), readers))
    except (BadInput, OSError) as error:
        print(f"{file}: {error}", file=sys.stderr)
        found = []
    seconds = min(time.perf_counter() - start, _cpu() - cpu)
    return _Outcome(file, kind, *score(kind, true, found), found, seconds)


@cache
def _readers() -> Readers:
    """This process's readers."""
    return load_readers()


def _each(read: Callable[[Item], _Outcome], items: Sequence[Item], jobs: int) -> Iterator[_Outcome]:
    """The outcome of every item in their order, read in this process or in so many."""
    if jobs == 1:
        yield from map(read, items)
        return
    with ProcessPoolExecutor(jobs, get_context("spawn")) as pool:
        yield from pool.map(read, items)


def _run(read: Callable[[Item], _Outcome], items: Sequence[Item], chosen: argparse.Namespace, jobs: int) -> int:
    """Read all items, show how far it is, and report."""
    table: dict[str, Counter[str]] = defaultdict(Counter)
    clock: dict[str, list[float]] = defaultdict(list)
    lines: list[str] = []
    shown = Console(stderr=True)
    with Memory() as memory:
        for one in track(_each(read, items, jobs), "reading", len(items), console=shown):
            for kind in {one.kind, _HIDDEN if one.kind.startswith(_HIDDEN) else one.kind}:
                table[kind].update(one.count)
                clock[kind].append(one.seconds)
            lines.append(json.dumps({"file": one.file, "values": one.found}, ensure_ascii=False))
            if chosen.notes and one.notes:
                print(f"{one.file}: {'; '.join(one.notes)}")
    if chosen.out:
        chosen.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return _report(table, clock, memory.peak, alone=jobs == 1 and chosen.labels is not None)


def _large(folder: Path, labels: list[Label], scratch: Path) -> None:
    """Print the time that pictures take at the size of a phone's photo."""
    readers = _readers()
    clock: dict[str, list[float]] = defaultdict(list)
    for file, kind, _ in labels:
        picture = cv2.imread(str(folder / file))
        if picture is None:
            continue
        grow = (LARGE / (picture.shape[0] * picture.shape[1])) ** 0.5
        path = scratch / "large.jpg"
        cv2.imwrite(str(path), cv2.resize(picture, None, fx=grow, fy=grow, interpolation=cv2.INTER_CUBIC))
        start, cpu = time.perf_counter(), _cpu()
        look(path, hashlib.sha256(path.read_bytes()).hexdigest(), readers)
        clock[kind].append(min(time.perf_counter() - start, _cpu() - cpu))
    for kind, times in sorted(clock.items()):
        print(f"{kind} at {LARGE // 10**6} million pixels: {sorted(times)[len(times) // 2]:.2f} s (of {len(times)})")


def _peers(folder: Path, labels: list[Label]) -> None:
    """Print the share of the true values that stand anywhere in what each peer reads, by kind, with time and memory."""
    for name in PEERS:
        table: dict[str, Counter[str]] = defaultdict(Counter)
        times = []
        with Memory(children_only=True) as memory:
            for (_, kind, true), (lines, seconds) in zip(
                labels, run_peer(name, [folder / label[0] for label in labels]), strict=True
            ):
                times.append(seconds)
                table[kind]["true"] += len(true)
                table[kind]["found"] += sum(found_among(value, lines) for _, value, _ in true)
        shares = ", ".join(f"{kind} {100 * one['found'] / one['true']:.1f} %" for kind, one in sorted(table.items()))
        middle = sorted(times)[len(times) // 2]
        print(f"plain {name}: values found anywhere: {shares}; {middle:.2f} s a picture; {memory.peak:.0f} MB")


def _cpu() -> float:
    """Processor seconds of this process and its finished children: the clock of a busy machine would count others."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def _report(table: dict[str, Counter[str]], clock: dict[str, list[float]], peak: float, *, alone: bool) -> int:
    """Print a row for each kind and the memory, which has a bar where reading was ``alone``; 1 if a bar is not met."""
    failed = False
    print(
        f"{'kind':24s} {'true':>5s} {'taken wrong':>12s} {'right':>8s} {'asked though right':>19s}"
        f" {'asked other':>12s} {'missed':>8s} {'s a picture':>12s}  bars"
    )
    for kind, count in sorted(table.items()):
        share = {name: 100 * count[name] / count["true"] for name in count}
        wrong = share.get("taken wrong", 0.0) + share.get("extra", 0.0)
        right = sum(share.get(name, 0.0) for name in ("taken right", "asked right", "left alone"))
        asked = share.get("asked right", 0.0)
        times = sorted(clock[kind])
        middle = times[len(times) // 2]
        verdict = _verdict(kind, wrong, right, asked, middle)
        failed = failed or "not met" in verdict
        other, missed = share.get("asked other", 0.0), share.get("missed", 0.0)
        print(
            f"{kind:24s} {count['true']:5d} {wrong:10.1f} % {right:6.1f} % {asked:17.1f} %"
            f" {other:10.1f} % {missed:6.1f} % {middle:12.2f}  {verdict}"
        )
    over = alone and peak >= MEMORY_MB
    verdict = ("not met" if over else "met") if alone else "is for one job that draws nothing"
    print(f"peak memory (PSS, all processes): {peak:.0f} MB; bar {MEMORY_MB} MB {verdict}")
    return 1 if failed or over else 0


def _verdict(kind: str, wrong: float, right: float, asked: float, seconds: float) -> str:
    if kind.startswith(f"{_HIDDEN} "):
        return "part of the row above"
    if kind == _HIDDEN:
        return "met" if wrong <= HIDDEN_TAKEN else f"not met: taken {wrong:.1f} (<= {HIDDEN_TAKEN:g})"
    if kind.endswith("illegible") or kind == "none":
        return "met" if wrong == 0 else "not met: nothing may be taken"
    bar = next((bar for name, bar in BARS.items() if kind.startswith(name)), None)
    if bar is None:
        return "no bar for this kind"
    misses = [
        f"{name} {value:.1f} ({sign} {limit:g})"
        for name, value, limit, sign in (
            ("taken wrong", wrong, bar.wrong, "<="),
            ("right", right, bar.right, ">="),
            ("asked though right", asked, bar.asked_though_right, "<="),
            ("seconds", seconds, bar.seconds, "<="),
        )
        if (value > limit if sign == "<=" else value < limit)
    ]
    return "not met: " + ", ".join(misses) if misses else "met"


if __name__ == "__main__":
    sys.exit(main())
