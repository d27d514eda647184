"""How well talk is heard and understood: ``python -m bench.hear MANIFEST.jsonl [--out PREDICTIONS.jsonl]``.

MANIFEST.jsonl is a gold file whose items also name a sound file beside it and its level of noise (``file``, ``snr_db``,
``seconds``). Every item is its own job: its sound is heard, its utterances are extracted, and what is taken and asked
is counted by the corpus' own scorer, level by level, with 95 % intervals. Accuracy and speed come from the same run.
Beside it stands a plain reader of numbers (text2num with the adapter of bench/peers.py) on the same transcripts.

``--headset KIND`` hears the manifest as a headset gives it, ``--every N`` only each Nth item of it; ``--own N`` adds N
sentences of our own (bench/own_sound.py) at 10 and at 5 dB; ``--negatives N`` speaks N negative values, clean to 5 dB,
and counts the minus signs that were lost; ``--nothing M`` hears M minutes of a burner and M of talk about other things.
``--calibrate`` hears the manifest as it is and in a room, moves every threshold of certainty over its steps, prints
what that gives and writes ``extract/certainty.toml`` (bench/calibrate.py says by which rule).
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
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from bench import own_sound, peers
from bench.calibrate import FILE, START, calibrate, written
from bench.extract import rows, scorer
from bench.intervals import wilson
from bench.names import UNITS
from capture.hear import Recogniser, expected_on, hear, load_recogniser
from capture.sound import RATE, samples
from extract import Certainty, Grammar, Nearly, Setting, compile_sheet, start, step
from extract.certainty import Measured
from schemas.base import decimal_of
from schemas.errors import BadInput
from schemas.evidence import Utterance
from schemas.load import load_sheet
from schemas.readings import Reading
from schemas.sheet import Sheet

__all__ = ["Bar", "main"]

LEVELS = ("clean and 20 dB", "10 dB", "5 dB")
AS_IT_IS = "as it is"
HEARINGS = (AS_IT_IS, "room")
"""How a manifest is heard for the thresholds: untouched, and with a room's echo, where more is heard unclearly."""


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
    parser.add_argument(
        "--calibrate", type=Path, nargs="?", const=FILE, metavar="FILE",
        help="find how certain a value must be, print the curves, and write them here (extract/certainty.toml)",
    )  # fmt: skip
    parser.add_argument("--headset", choices=sorted(own_sound.HEADSETS), help="hear it as a headset gives it")
    parser.add_argument("--every", type=int, default=1, metavar="N", help="only each Nth item")
    parser.add_argument("--own", type=int, default=0, metavar="N", help="N sentences of our own at 10 and at 5 dB")
    parser.add_argument("--negatives", type=int, default=0, metavar="N", help="N negative values, and nothing else")
    parser.add_argument("--nothing", type=float, default=0.0, metavar="M", help="M minutes of noise and of other talk")
    args = parser.parse_args(argv)
    if not args.manifest.is_file():
        print(f"There is no manifest {args.manifest}; give a path such as ../shared/audio/manifest.jsonl.")
        return 3
    items = [json.loads(line) for line in args.manifest.read_text("utf-8").splitlines() if line.strip()][:: args.every]
    sheet = load_sheet(args.sheet)[0]
    grammar = compile_sheet(sheet, START if args.calibrate else None)
    try:
        recogniser = load_recogniser(args.model, expected=expected_on(sheet), nearly=Nearly(sheet, grammar.alarms))
        if args.negatives or args.nothing:
            signs = not args.negatives or _negatives(args.negatives, recogniser, grammar)
            quiet = not args.nothing or _nothing(args.nothing, recogniser, grammar)
            return 0 if signs and quiet else 1
        with tempfile.TemporaryDirectory() as folder:
            items += list(_own(args.own, Path(folder)))
            hearings = HEARINGS if args.calibrate else (args.headset or AS_IT_IS,)
            items = [
                {**item, "id": f"{item['id']} in a {one}" if again else item["id"], "worn": one}
                for again, one in enumerate(hearings)
                for item in items
            ]
            heard, seconds = _hear_all(items, args.manifest.parent, recogniser, args.transcripts)
    except BadInput as error:
        print(error)
        return 3
    score = scorer(args.manifest)
    if args.calibrate and score is not None:
        grammar = _calibrate(score, items, heard, args, sheet, recogniser)
        items = [item for item in items if item["worn"] == AS_IT_IS]
    predictions = [_predict(item, heard[item["id"]], grammar) for item in items]
    if args.out:
        args.out.write_text("".join(json.dumps(p) + "\n" for p in predictions), encoding="utf-8")
    if score is None:
        print("score.py is not beside the manifest nor in ../shared/corpus: nothing can be scored; --out still works.")
        return 3
    print(f"{args.manifest}: {len(items)} items; {recogniser.made_by.reader}, {recogniser.made_by.version}")
    print("  " + "; ".join(f"{name} {value}" for name, value in recogniser.made_by.options))
    if args.headset:
        print(f"  as a headset gives it: {args.headset}")
    met = _table(_counts(score, items, predictions), other=args.bars == "other")
    _peer(score, items, heard, sheet)
    if seconds is None:
        print(f"time not measured: transcripts came from {args.transcripts}")
        return 0 if met else 1
    length = sum(item["seconds"] for item in items)
    print(f"item by item: {length:.0f} s of sound in {seconds:.0f} s")
    if args.headset or args.own or args.calibrate:
        return 0 if met else 1
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


def _own(count: int, folder: Path) -> Iterator[dict[str, Any]]:
    """Yield sentences of our own as items of a gold file, their sound in ``folder``."""
    for snr_db in (10.0, 5.0):
        for n, one in enumerate(own_sound.positives(count, snr_db)):
            path = own_sound.wav(folder / f"{snr_db:.0f}-{n}.wav", one.sound)
            yield {
                "id": f"own-{snr_db:.0f}-{n}", "units": "us", "ask": [], "tags": ["own"], "file": str(path),
                "snr_db": snr_db, "seconds": len(one.sound) / RATE, "spans": [],
                "readings": [{
                    "quantity": one.said.quantity, "condition": one.said.condition, "value": float(one.said.value),
                    "unit": UNITS[one.said.unit], "note": "",
                }],
            }  # fmt: skip


def _negatives(count: int, recogniser: Recogniser, grammar: Grammar) -> bool:
    """Speak negative values and print how many were taken, asked, missed, and taken without their minus."""
    by_level: dict[str, Counter[str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for one in own_sound.negatives(count):
            path = own_sound.wav(Path(folder, "said.wav"), one.sound)
            found = _readings(hear(path, "0" * 64, recogniser), grammar)
            counts = by_level.setdefault("clean" if one.snr_db is None else f"{one.snr_db:.0f} dB", Counter())
            counts["said"] += 1
            mine = [r for r in found if r.quantity in ("outlet_pressure", "draft")]
            taken = [r for r in mine if r.taken]
            counts["minus lost without a question"] += any(decimal_of(r.value) > 0 for r in taken)
            counts["taken right"] += any(r.value == one.said.value for r in taken)
            counts["taken wrong"] += any(decimal_of(r.value) < 0 and r.value != one.said.value for r in taken)
            counts["asked"] += bool(mine) and not taken
            counts["missed"] += not mine
    lost = 0
    for level, counts in by_level.items():
        said = counts.pop("said")
        lost += counts["minus lost without a question"]
        parts = [f"{name} {n} [{wilson(n, said)[0]:.0f}–{wilson(n, said)[1]:.0f} %]" for name, n in counts.items()]
        print(f"negative values, {level}, {said}: {'; '.join(parts)}")
    print(f"minus signs lost without a question: {lost} (none may be: {'NOT MET' if lost else 'met'})")
    return not lost


def _nothing(minutes: float, recogniser: Recogniser, grammar: Grammar) -> bool:
    """Hear a burner, and talk about other things, and print the readings and questions that came of it."""
    met = True
    with tempfile.TemporaryDirectory() as folder:
        for name, sound in (("a burner", own_sound.roaring(minutes)), ("other talk", own_sound.chatter(minutes))):
            heard = list(hear(own_sound.wav(Path(folder, "nothing.wav"), sound), "0" * 64, recogniser))
            found = _readings(heard, grammar)
            taken = [r for r in found if r.taken and grammar.quantities[str(r.quantity)].kind == "number"]
            print(
                f"{len(sound) / RATE / 60:.1f} minutes of {name}: {len(heard)} utterances, {len(taken)} readings taken "
                f"(none may be), {sum(not r.taken for r in found)} asked about"
            )
            met = met and not taken
    return met


def _readings(utterances: Iterable[Utterance], grammar: Grammar) -> list[Reading]:
    context = start(Setting(units="us"))
    for utterance in utterances:
        context, _ = step(utterance, utterance.start, context, grammar)
    return list(context.readings.values())


def _calibrate(
    score: ModuleType, items: list[dict[str, Any]], heard: Mapping[str, list[Utterance]], args: argparse.Namespace,
    sheet: Sheet, recogniser: Recogniser,
) -> Grammar:  # fmt: skip
    """Find the thresholds of certainty on all that was heard, print their curves, write them, and return a grammar with
    them."""

    grammars: dict[Certainty, Grammar] = {}

    def judge(n: int, certain: Certainty) -> tuple[str, Counter[str]]:
        if certain not in grammars:
            grammars[certain] = compile_sheet(sheet, certain)
        prediction = _predict(items[n], heard[items[n]["id"]], grammars[certain])
        counts = score.score_item(items[n], prediction)[0]
        return json.dumps(prediction), Counter(
            wrong=sum(counts[k] for k in _WRONG), questions=counts["asked"] + counts["spurious_ask"],
            right=counts["correct"] + counts["asked_right"], readings=counts["gold"],
            entries=sum(counts[k] for k in _ENTRIES),
        )  # fmt: skip

    made_by = recogniser.made_by
    found = calibrate(judge, len(items), Measured(
        manifest=args.manifest.name, sha256=hashlib.sha256(args.manifest.read_bytes()).hexdigest(),
        items=len(items) // len(HEARINGS), hearings=HEARINGS, reader=made_by.reader, version=made_by.version,
        options={"model": made_by.model_sha256 or "", **dict(made_by.options)},
    ))  # fmt: skip
    for name, curve in found.thresholds.items():
        print(f"{name}: {Certainty.model_fields[name].description}")
        for point in curve.curve:
            here = f" ← {curve.silently_wrong} silently wrong, {curve.asked} asked" if point.at == curve.value else ""
            print(f"  {point.at:5g}: {point.wrong:3} wrong, {point.questions:3} asked, {point.right:3} right{here}")
    print(f"rule: {found.measured.rule}")
    args.calibrate.write_text(written(found), encoding="utf-8")
    print(f"written: {args.calibrate}")
    return compile_sheet(sheet, found.certainty())


def _peer(score: ModuleType, items: list[dict[str, Any]], heard: Mapping[str, list[Utterance]], sheet: Sheet) -> None:
    """Print what a plain reader of numbers makes of the same transcripts."""
    readers, missing = peers.load()
    read = readers.get("text2num")
    if read is None:
        print("; ".join(missing))
        return
    said = [{**i, "utterances": [{"t": u.start, "text": u.text} for u in heard[i["id"]]]} for i in items]
    by_level = _counts(score, items, [peers.predict(item, read, sheet) for item in said])
    for level, counts in by_level.items():
        wrong, entries = sum(counts[k] for k in _WRONG), sum(counts[k] for k in _ENTRIES)
        exact, (low, high) = counts["correct"], wilson(counts["correct"], counts["gold"])
        print(
            f"plain peer (our transcripts, text2num, nearest name), {level}: silently wrong {wrong}/{entries} "
            f"{100 * wrong / max(1, entries):.1f}; exact {exact}/{counts['gold']} [{low:.0f}–{high:.0f} %]"
        )


def _hear_all(
    items: list[dict[str, Any]],
    folder: Path,
    recogniser: Recogniser,
    kept: Path | None,
) -> tuple[dict[str, list[Utterance]], float | None]:
    """Return the utterances of every item and the seconds it took, None where they were kept from an earlier run."""
    if kept and kept.is_file():
        lines = kept.read_text("utf-8").splitlines()
        heard = {(row := json.loads(line))["id"]: [Utterance(**u) for u in row["utterances"]] for line in lines}
        if missing := [item["id"] for item in items if item["id"] not in heard]:
            raise BadInput(f"{kept} lacks {missing[0]!r}: it is of a run with other options; name another file.")
        return heard, None
    heard = {}
    begun = time.perf_counter()
    for n, item in enumerate(items):
        path = folder / item["file"]
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        worn = own_sound.HEADSETS.get(item["worn"])
        with tempfile.TemporaryDirectory() as worn_at:
            if worn is not None:
                path = own_sound.wav(
                    Path(worn_at, "worn.wav"), worn(np.concatenate(list(samples(path))), item["spans"])
                )
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


if __name__ == "__main__":
    sys.exit(main())
