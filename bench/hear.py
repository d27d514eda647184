"""How well talk is heard and understood: ``python -m bench.hear MANIFEST.jsonl [--out PREDICTIONS.jsonl]``.

MANIFEST.jsonl is a gold file whose items also name a sound file beside it and its level of noise (``file``, ``snr_db``,
``seconds``). Every item is its own job: its sound is heard, its utterances are extracted, and what is taken and asked
is counted by the corpus' own scorer, level by level, with 95 % intervals. Accuracy and speed come from the same run.
Exits 1 where a bar of the issue is not met, 3 where the manifest cannot be used.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import sys
import tempfile
import time
import wave
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

from bench.extract import rows, scorer
from capture.hear import Recogniser, hear, load_recogniser, words_of
from capture.sound import RATE, samples
from extract import Grammar, Setting, compile_sheet, start, step
from schemas.errors import BadInput
from schemas.evidence import Utterance
from schemas.load import load_sheet

__all__ = ["Bar", "main", "wilson"]

LEVELS = ("clean and 20 dB", "10 dB", "5 dB")


@dataclass(frozen=True)
class Bar:
    """One line of the table: how it is counted, and its bars by level, for the dev set and for another set."""

    words: str
    count: tuple[str, ...]
    of: tuple[str, ...]
    dev: tuple[float, float, float]
    other: tuple[float, float, float]
    at_least: bool = False


_WRONG = (
    "wrong_phase", "wrong_condition", "wrong_appliance", "wrong_value", "wrong_quantity", "accepted_doubtful", "extra",
)  # fmt: skip
_ENTRIES = ("gold", "gold_asks")
BARS = (
    Bar("silently wrong, of entries", _WRONG, _ENTRIES, (1, 3, 5), (2, 4, 6)),
    Bar("right: taken, or asked with the true value", ("correct", "asked_right"), ("gold",), (90, 72, 50),
        (82, 60, 35), True),
    Bar("  of these taken unasked", ("correct",), ("gold",), (75, 45, 20), (66, 35, 0), True),
    Bar("  asked with the true value first", ("asked_right",), ("gold",), (12, 30, 40), (16, 30, 100)),
    Bar("questions about nothing, of entries", ("spurious_ask",), _ENTRIES, (5, 12, 20), (8, 15, 100)),
)  # fmt: skip
HELD = (80.0, 70.0)
REAL_TIME = 0.25


def main(argv: list[str] | None = None) -> int:
    """Measure and print; see the head of this file."""
    parser = argparse.ArgumentParser(prog="python -m bench.hear", description=__doc__)
    parser.add_argument("manifest", type=Path)
    parser.add_argument("--out", type=Path, help="write the predictions here")
    parser.add_argument("--sheet", default="gas-boiler-start-up")
    parser.add_argument("--model", help="a speech model's folder, or a size that is on this disk")
    parser.add_argument(
        "--bars", choices=("dev", "other"), default="dev", help="the bars of the dev set, or of another"
    )
    parser.add_argument(
        "--transcripts", type=Path, help="for work on extraction: keep what was heard here, and do not hear it again"
    )
    args = parser.parse_args(argv)
    if not args.manifest.is_file():
        print(f"There is no manifest {args.manifest}; give a path such as ../shared/audio/manifest.jsonl.")
        return 3
    items = [json.loads(line) for line in args.manifest.read_text("utf-8").splitlines() if line.strip()]
    sheet = load_sheet(args.sheet)[0]
    grammar = compile_sheet(sheet)
    try:
        recogniser = load_recogniser(args.model, words=words_of(sheet))
        heard, seconds = _hear_all(items, args.manifest.parent, recogniser, args.transcripts)
    except BadInput as error:
        print(error)
        return 3
    predictions = [_predict(item, heard[item["id"]], grammar) for item in items]
    if args.out:
        args.out.write_text("".join(json.dumps(p) + "\n" for p in predictions), encoding="utf-8")
    score = scorer(args.manifest)
    if score is None:
        print("score.py is not beside the manifest nor in ../shared/corpus: nothing can be scored; --out still works.")
        return 3
    print(f"{args.manifest}: {len(items)} items; {recogniser.made_by.reader}, {recogniser.made_by.version}")
    print("  " + "; ".join(f"{name} {value}" for name, value in recogniser.made_by.options))
    met = _table(_counts(score, items, predictions), other=args.bars == "other")
    if seconds is None:
        print(f"time not measured: transcripts came from {args.transcripts}")
        return 0 if met else 1
    length = sum(item["seconds"] for item in items)
    print(f"item by item: {length:.0f} s of sound in {seconds:.0f} s")
    quick = _joined([args.manifest.parent / item["file"] for item in items], recogniser)
    return 0 if met and quick else 1


def _joined(paths: list[Path], recogniser: Recogniser) -> bool:
    """Hear all the sounds as one long recording, print what it takes, and say whether that is quick enough."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "joined.wav")
        with wave.open(str(path), "wb") as file:
            file.setparams((1, 2, RATE, 0, "NONE", ""))
            for one in paths:
                for block in samples(one):
                    file.writeframes((block * 32767).astype("<i2").tobytes())
            length = file.getnframes() / RATE
        begun, cpu = time.perf_counter(), time.process_time()
        count = sum(1 for _ in hear(path, "0" * 64, recogniser))
        seconds, cpu = time.perf_counter() - begun, time.process_time() - cpu
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    quick = seconds <= REAL_TIME * length
    print(
        f"joined: {count} utterances in {length:.0f} s of sound, heard in {seconds:.0f} s: {seconds / length:.3f} × "
        f"real time (≤ {REAL_TIME}: {'met' if quick else 'NOT MET'}); {cpu:.0f} s of processor time = "
        f"{cpu / length:.3f}; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; at most {memory:.0f} MB"
    )
    return quick


def _hear_all(
    items: list[dict[str, Any]], folder: Path, recogniser: Recogniser, kept: Path | None
) -> tuple[dict[str, list[Utterance]], float | None]:
    """Return the utterances of every item and the seconds it took, None where they were kept from an earlier run."""
    if kept and kept.is_file():
        lines = kept.read_text("utf-8").splitlines()
        return {(row := json.loads(line))["id"]: [Utterance(**u) for u in row["utterances"]] for line in lines}, None
    heard: dict[str, list[Utterance]] = {}
    begun = time.perf_counter()
    for n, item in enumerate(items):
        path = folder / item["file"]
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        heard[item["id"]] = list(hear(path, sha256, recogniser))
        if sys.stderr.isatty():
            print(f"\r{n + 1} of {len(items)}", end="", file=sys.stderr)
    seconds = time.perf_counter() - begun
    if sys.stderr.isatty():
        print("\r", end="", file=sys.stderr)
    if kept:
        kept.write_text("".join(_line(name, utterances) + "\n" for name, utterances in heard.items()), encoding="utf-8")
    return heard, seconds


def _line(name: str, utterances: list[Utterance]) -> str:
    return json.dumps({"id": name, "utterances": [u.model_dump(mode="json") for u in utterances]})


def _predict(item: dict[str, Any], utterances: list[Utterance], grammar: Grammar) -> dict[str, Any]:
    context = start(Setting(units=item["units"]))
    for utterance in utterances:
        context, _ = step(utterance, utterance.start, context, grammar)
    return {"id": item["id"], **rows(context.readings.values(), grammar)}


def _counts(
    score: ModuleType, items: list[dict[str, Any]], predictions: list[dict[str, Any]]
) -> dict[str, Counter[str]]:
    by_level: dict[str, Counter[str]] = {level: Counter() for level in LEVELS}
    for item, prediction in zip(items, predictions, strict=True):
        snr = item.get("snr_db")
        level = LEVELS[0] if snr is None or snr >= 15 else LEVELS[1] if snr >= 7.5 else LEVELS[2]
        by_level[level] += score.score_item(item, prediction)[0]
    return by_level


def _table(by_level: Mapping[str, Counter[str]], *, other: bool) -> bool:
    """Print a line a bar and a column a level; say whether all are met."""
    met = True
    print(f"{'per 100 [95 % interval] (bar)':44}" + "".join(f"{level:>34}" for level in LEVELS))
    for bar in BARS:
        cells = []
        for counts, limit in zip(by_level.values(), bar.other if other else bar.dev, strict=True):
            hits, total = sum(counts[k] for k in bar.count), sum(counts[k] for k in bar.of)
            rate = 100 * hits / max(1, total)
            good = rate >= limit if bar.at_least else rate <= limit
            met = met and (good or not total)
            low, high = wilson(hits, total)
            cells.append(
                f"{hits}/{total} {rate:.1f} [{low:.0f}–{high:.0f}] {'≥' if bar.at_least else '≤'}{limit:g}"
                f"{' ' if good or not total else '!'}"
            )
        print(f"{bar.words:44}" + "".join(f"{cell:>34}" for cell in cells))
    for name in ("asked", "missed", "asked_other", "lucky", "dropped_ask"):
        print(f"{name:44}" + "".join(f"{counts[name]:>33} " for counts in by_level.values()))
    held, needed = (sum(counts[k] for counts in by_level.values()) for k in ("held", "gold_asks"))
    limit = HELD[other]
    good = not needed or 100 * held / needed >= limit
    low, high = wilson(held, needed)
    print(
        f"needed questions asked: {held} of {needed} [{low:.0f}–{high:.0f} %] (≥ {limit:g} %: "
        f"{'met' if good else 'NOT MET'})"
    )
    print(f"a bar marked ! is not met; silently wrong: {dict(_parts(by_level))}")
    return met and good


def _parts(by_level: Mapping[str, Counter[str]]) -> Iterator[tuple[str, int]]:
    for name in _WRONG:
        count = sum(counts[name] for counts in by_level.values())
        if count:
            yield name, count


def wilson(hits: int, total: int) -> tuple[float, float]:
    """Return the 95 % interval of a rate in percent (E. B. Wilson 1927, score interval)."""
    if not total:
        return 0.0, 100.0
    z, p = 1.959964, hits / total
    middle = (p + z * z / (2 * total)) / (1 + z * z / total)
    half = z * (p * (1 - p) / total + z * z / (4 * total * total)) ** 0.5 / (1 + z * z / total)
    return 100 * max(0.0, middle - half), 100 * min(1.0, middle + half)


if __name__ == "__main__":
    sys.exit(main())
