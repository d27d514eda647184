"""python -m bench.extract GOLD.jsonl [--out PRED.jsonl] [--sheet NAME] [--curve] [--peers]

Runs every item of a gold file as its own job, in one run with one set of options, and prints the bars of the issue.
Exit 1 where a bar is not met, 3 where the file cannot be used.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import json
import statistics
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType
from typing import Any

from bench import peers
from bench.names import QUANTITIES, UNITS, note_for, to_corpus
from extract import (
    Context,
    Grammar,
    Setting,
    compile_sheet,
    start,
    step,
    values,  # its margin is what the curve is drawn over
)
from schemas.evidence import Hypothesis, MadeBy, Utterance
from schemas.load import load_sheet
from schemas.readings import Reading
from schemas.sheet import Sheet

BY = MadeBy(reader="typed", version="1")
# (name in the scorer's summary, words, bar on dev, bar on the hidden file, whether more is better)
BARS = (
    ("silent_wrong", "silent-wrong", 1.0, 3.0, False),
    ("exact", "record exact", 93.0, 80.0, True),
    ("right", "right: taken, or asked with the true value first", 97.0, 88.0, True),
    ("held", "needed questions asked", 93.0, 85.0, True),
    ("asked", "asked though right", 5.0, 10.0, False),
    ("spurious_asks", "questions about nothing", 3.0, 6.0, False),
    ("questions", "all questions", 18.0, 25.0, False),
    ("median_ms", "CPU time per utterance, median ms", 1.0, 1.0, False),
    ("p95_ms", "CPU time per utterance, 95th percentile ms", 5.0, 5.0, False),
)


def predict(item: dict[str, Any], grammar: Grammar, times: list[float]) -> dict[str, Any]:
    """Return the prediction for one item, as corpus/FORMAT.md says."""
    context: Context = start(Setting(units=item["units"]))
    sha = hashlib.sha256(item["id"].encode()).hexdigest()
    for n, u in enumerate(item["utterances"]):
        utterance = Utterance(
            evidence=sha, number=n, start=u["t"], end=u["t"] + 3.0,
            hypotheses=(Hypothesis(text=u["text"], mass=1.0),), made_by=BY,
        )  # fmt: skip
        begun = time.thread_time()  # CPU time: what one core needs, whatever else the machine does
        context, _ = step(utterance, u["t"], context, grammar)
        times.append(1000 * (time.thread_time() - begun))
    return {"id": item["id"], **rows(context.readings.values(), grammar)}


def rows(readings: Iterable[Reading], grammar: Grammar) -> dict[str, list[dict[str, Any]]]:
    """Split readings into those taken and those asked about, in the corpus' names."""
    taken: list[dict[str, Any]] = []
    asks: list[dict[str, Any]] = []
    asked: set[str] = set()
    live = {r.id: r for r in readings}
    for r in live.values():
        if r.quantity is None or r.quantity not in QUANTITIES:
            continue
        kind = grammar.quantities[r.quantity].kind
        row: dict[str, Any] = {
            "quantity": r.quantity,
            "condition": (r.condition or "") + (f"/{r.phase}" if r.phase else ""),
            "value": to_corpus(r.value, kind),
            "unit": UNITS.get(r.unit, r.unit),
            "note": note_for(r.note),
        }
        if r.appliance is not None:
            row["appliance"] = r.appliance
        if r.taken:
            taken.append(row)
            continue
        asked.add(r.id)
        if r.asked_with in asked:
            continue
        names = [r.quantity, *(a.quantity for a in r.alternatives if a.quantity)]
        partner = live.get(r.asked_with or "")
        if partner is not None and partner.quantity and not partner.taken:
            names.append(partner.quantity)
        names = [n for n in dict.fromkeys(names) if n in QUANTITIES][:3]
        ask = {
            "quantity": names,
            "condition": row["condition"],
            "value": row["value"],
            "reason": r.doubts[0].kind.value,
        }
        if r.appliance is not None:
            ask["appliance"] = r.appliance
        asks.append(ask)
    return {"readings": taken, "asks": asks}


def scorer(gold: Path) -> ModuleType | None:
    """Load score.py, which lies beside the gold file or in ../shared/corpus."""
    for place in (gold.parent / "score.py", Path(__file__).parents[2] / "shared" / "corpus" / "score.py"):
        if place.is_file():
            spec = importlib.util.spec_from_file_location("corpus_score", place)
            if spec is not None and spec.loader is not None:
                module = importlib.util.module_from_spec(spec)
                spec.loader.exec_module(module)
                return module
    return None


def main(argv: list[str] | None = None) -> int:
    """Measure and print; see the head of this file."""
    parser = argparse.ArgumentParser(prog="python -m bench.extract", description=__doc__)
    parser.add_argument("gold", type=Path)
    parser.add_argument("--out", type=Path, help="write the predictions here")
    parser.add_argument("--sheet", default="gas-boiler-start-up")
    parser.add_argument("--curve", action="store_true", help="also show silent-wrong against asked for other margins")
    parser.add_argument("--peers", action="store_true", help="also measure other people's readers of numbers and units")
    args = parser.parse_args(argv)
    if not args.gold.is_file():
        print(f"There is no gold file {args.gold}; give the path of a JSONL file such as ../shared/corpus/dev.jsonl.")
        return 3
    items = [json.loads(line) for line in args.gold.read_text("utf-8").splitlines() if line.strip()]
    begun = time.perf_counter()
    sheet = load_sheet(args.sheet)[0]
    grammar = compile_sheet(sheet)
    compiled = time.perf_counter() - begun
    times: list[float] = []
    predictions = [predict(item, grammar, times) for item in items]
    if args.out:
        args.out.write_text("".join(json.dumps(p) + "\n" for p in predictions), encoding="utf-8")
    score = scorer(args.gold)
    if score is None:
        print(
            "score.py is not beside the gold file nor in ../shared/corpus, so nothing can be scored; --out still works."
        )
        return 3
    total, perfect = score.collections.Counter(), 0
    for item, prediction in zip(items, predictions, strict=True):
        counts, log = score.score_item(item, prediction)
        total += counts
        perfect += not any(k in (*score.SW, "missed", "asked", "dropped_ask", "spurious_ask") for k, _, _ in log)
    summary = score.summary(total)
    times.sort()
    summary["median_ms"] = statistics.median(times)
    summary["p95_ms"] = times[int(0.95 * (len(times) - 1))]
    print(
        f"{args.gold}: {len(items)} items, {len(times)} utterances, {total['gold']} readings, "
        f"{total['gold_asks']} needed questions"
    )
    hidden = "dev" not in args.gold.name
    met_all = True
    print(f"{'per 100 (readings or entries, as the scorer says)':52} {'bar':>8} {'here':>8}")
    for key, words, dev, other, more in BARS:
        bar = other if hidden else dev
        met = summary[key] >= bar if more else summary[key] <= bar
        met_all = met_all and met
        print(f"{words:52} {'≥' if more else '≤'}{bar:7g} {summary[key]:8.2f}  {'met' if met else 'NOT MET'}")
    wrong = {k: total[k] for k in score.SW if total[k]}
    print(
        f"silent-wrong {sum(wrong.values())} {wrong or ''}; asked {total['asked']}, missed {total['missed']}; "
        f"held {total['held']}, lucky {total['lucky']}, dropped {total['dropped_ask']}; "
        f"about nothing {total['spurious_ask']}; items wholly right {perfect}; "
        f"sheet compiled in {1000 * compiled:.0f} ms"
    )
    if args.curve:
        _curve(items, grammar, score)
    if args.peers:
        _peers(items, summary, sheet, score)
    return 0 if met_all else 1


def _peers(items: list[dict[str, Any]], ours: dict[str, float], sheet: Sheet, score: ModuleType) -> None:
    """Print the peers' figures beside ours: the same items, one adapter (bench/peers.py) for all of them."""
    readers, missing = peers.load()
    print(f"{'per 100':18} {'silent-wrong':>12} {'exact':>6} {'right':>6} {'needed asked':>13} {'values found':>13}")
    table = {"sayback": ours}
    for name, read in readers.items():
        total = score.collections.Counter()
        for item in items:
            total += score.score_item(item, peers.predict(item, read, sheet))[0]
        table[name] = score.summary(total)
    for name, s in table.items():
        row = f"{name:18} {s['silent_wrong']:12.1f} {s['exact']:6.1f} {s['right']:6.1f}"
        print(f"{row} {s['held']:13.1f} {s['value_recall']:13.1f}")
    for sentence in missing:
        print(sentence)


def _curve(items: list[dict[str, Any]], grammar: Grammar, score: ModuleType) -> None:
    """What the margin costs: how much better the best value must be than the second to be taken unasked."""
    kept = values.MARGIN
    print("margin  silent-wrong  exact  right  asked though right  needed asked")
    for margin in (0.0, 0.25, 0.5, kept, 1.5, 2.0, 3.0):
        values.MARGIN = margin
        values.fit.cache_clear()
        total = score.collections.Counter()
        for item in items:
            total += score.score_item(item, predict(item, grammar, []))[0]
        s = score.summary(total)
        row = f"{margin:6g} {s['silent_wrong']:13.2f} {s['exact']:6.1f} {s['right']:6.1f}"
        print(f"{row} {s['asked']:19.2f} {s['held']:13.1f}")
    values.MARGIN = kept
    values.fit.cache_clear()


if __name__ == "__main__":
    sys.exit(main())
