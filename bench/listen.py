"""How well and how fast listening answers: ``python -m bench.listen MANIFEST.jsonl [--part …] [--items N]``.

Parts, all on real sound, the packaged recogniser and ``front.voice.session``, each item its own job:

``technician``  a scripted technician in a process of his own (``bench/technician.py``) hears the tool's tones and
                words, answers questions, corrects what is read back wrongly and never what is right; then the job is
                scored as ``bench.hear`` scores, with what was asked and settled counting as settled. Prints the seconds
                of speech of the tool an appliance.
``latency``     items in real time: from the true end of the last word (``spans``) and from the decision that it was
                the end, to the tone or question. What is held back on purpose is counted apart. Beside it a plain
                faster-whisper run of the same files in the same process.
``noise``       ten minutes of a burner's noise: readings must not come of it.
``strays``      "yes", "no" and "take that back", 50 times each, some seconds after a reading and between two: nothing
                may be confirmed or removed.
``echo``        the tool's own voice through the microphone, at four levels: nothing may be taken, settled or removed,
                and no stop be heard.

Exits 1 where a bar of issue 4 is not met, 3 where the manifest cannot be used.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from bench.extract import rows, scorer
from bench.hear import LEVELS
from bench.intervals import wilson
from bench.technician import Apart, voice
from capture.microphone import BLOCK, FileMicrophone, Microphone, pcm
from capture.models import find_speech_model
from capture.sound import RATE, samples
from front.voice import events
from front.voice.session import Session, warm_up
from front.voice.sounds import Sound
from front.voice.speakers import FolderSpeakers, NoSpeakers, Speakers
from jobs.book import NewAppliance, job_of, new_job
from jobs.extraction import grammar_of
from jobs.fold import Job
from jobs.senses import Senses, senses
from jobs.store import Store
from schemas.load import load_sheet
from schemas.readings import Reading

__all__ = ["main"]

PARTS = ("technician", "latency", "noise", "strays", "echo")
SHEET = "gas-boiler-start-up"
WRONG = (
    "wrong_phase",
    "wrong_condition",
    "wrong_appliance",
    "wrong_value",
    "wrong_quantity",
    "accepted_doubtful",
    "extra",
)
AFTER_READ_BACK = (0.5, 1.0, 1.5)
SPEECH_S = 90.0
OTHERS = 0.15
"""Cores that other programs may use while a latency counts as measured on a machine that does nothing else."""


@dataclass
class Seen:
    """What happened, with the moment on the wall's clock."""

    lines: list[tuple[str, str, float]] = field(default_factory=list)

    def line(self, kind: str, text: str, at: float) -> None:
        """Keep a line."""
        self.lines.append((kind, text, time.monotonic()))

    def level(self, decibels: float, speaking: bool) -> None:
        """Levels are of no interest here."""


# -- sessions ----------------------------------------------------------------------------------------------------------


class Unheard(NoSpeakers):
    """Speakers of which nobody but the technician hears anything."""

    audible = True


class Room:
    """Speakers whose sound the microphone hears, ``gain`` times as loud and an eighth of a second later."""

    audible = True

    def __init__(self, gain: float) -> None:
        self._gain = gain
        self._sound = np.zeros(0, np.float32)

    def play(self, sound: Sound, at: float, what: str, text: str) -> None:
        """Let a sound be heard."""
        first = int((at + 0.125) * RATE)
        grown = np.zeros(max(len(self._sound), first + len(sound)), np.float32)
        grown[: len(self._sound)] = self._sound
        grown[first : first + len(sound)] += self._gain * sound
        self._sound = grown

    def stop(self, at: float) -> None:
        """Be silent."""
        self._sound = self._sound[: int((at + 0.125) * RATE)]

    def at(self, first: int, count: int) -> Sound:
        """Return what is heard of it in ``count`` samples from ``first`` on."""
        out = np.zeros(count, np.float32)
        part = self._sound[first : first + count]
        out[: len(part)] = part
        return out


@dataclass
class Steady:
    """A microphone that plays fixed sound, with what the room adds."""

    sound: Sound
    room: Room | None = None
    name: str = "bench"

    def blocks(self) -> Iterator[bytes | None]:
        """Yield it."""
        for at in range(0, len(self.sound) - BLOCK, BLOCK):
            block = self.sound[at : at + BLOCK]
            yield pcm(block if self.room is None else np.asarray(block + self.room.at(at, BLOCK), np.float32))


@dataclass
class Listening(Session):
    """A session that notes what was said, and when what was decided and answered."""

    said: list[str] = field(default_factory=list)
    ended: float = 0.0
    answered: list[tuple[float, float, float]] = field(default_factory=list)
    """End of the utterance in the session, seconds from its end's decision to the tone or words, and the moment."""
    held: int = 0

    def seen(self, kind: str) -> list[str]:
        """Return what was shown of a kind."""
        assert isinstance(self.watcher, Seen)
        return [text for one, text, _ in self.watcher.lines if one == kind]

    def _say(self, say: events.Say) -> None:
        super()._say(say)
        self.said.append(say.text)

    def _step(self, event: events.Event) -> None:
        if isinstance(event, events.Ended):
            self.ended = time.monotonic()
        before = len(self.watcher.lines) if isinstance(self.watcher, Seen) else 0
        super()._step(event)
        if isinstance(event, events.Changed) and isinstance(self.watcher, Seen):
            if not [kind for kind, _, _ in self.watcher.lines[before:] if kind in ("tone", "said")]:
                super()._step(events.Tick(self._now))
            answers = [moment for kind, _, moment in self.watcher.lines[before:] if kind in ("tone", "said")]
            if answers:
                self.answered.append((event.end, answers[0] - self.ended, answers[0]))
            elif self._talk.waiting:
                self.held += 1


@dataclass
class Bench:
    """What all parts share: where jobs are kept, the senses, loaded once."""

    home: Path
    senses: Senses
    count: int = 0

    def run(
        self,
        microphone: Microphone,
        *,
        units: str = "us",
        speakers: Speakers | None = None,
        appliances: Sequence[NewAppliance] = (NewAppliance("boiler"),),
        patient: bool = True,
    ) -> tuple[Listening, Job]:
        """Listen to a microphone to its end, as a job of its own."""
        self.count += 1
        with Store(self.home / str(self.count)) as store:
            job = new_job(
                store,
                sheet=SHEET,
                site="bench",
                technician="bench",
                units="uk" if units == "uk" else "us",
                appliances=appliances,
            )
            session = Listening(
                store,
                job.number,
                self.senses,
                "bench",
                microphone,
                speakers or Unheard(),
                Seen(),
                patient=patient,
            )
            session.run()
            return session, job_of(store, job.number)


def _sounds(item: dict[str, Any], folder: Path) -> tuple[list[Sound], Sound]:
    """Return the utterances of an item, and a stretch of its noise."""
    sound = np.concatenate([*samples(folder / item["file"])])
    spans = [(max(0.0, first - 0.25), last + 0.2) for first, last in item["spans"]]
    said = [sound[int(first * RATE) : int(last * RATE)] for first, last in spans]
    gaps = [
        sound[int(a * RATE) : int(b * RATE)]
        for a, b in zip([0.0, *(b for _, b in spans)], [a for a, _ in spans], strict=False)
    ]
    noise = max(gaps, key=len, default=np.zeros(0, np.float32))
    if item["snr_db"] is None or len(noise) < RATE // 4:
        return said, np.zeros(RATE, np.float32)
    return said, np.tile(np.concatenate([noise, noise[::-1]]), 1 + 20 * RATE // len(noise))


def _words(item: dict[str, Any]) -> list[tuple[str, str]]:
    """Return each utterance, and the tag of the appliance that it is said at; empty where none was named yet."""
    words, at = [], ""
    for text in item["said"]:
        found = re.findall(r"\b(?:boiler|number) (one|two)\b", text.lower())
        at = {"one": "1", "two": "2"}[found[-1]] if found else at
        words.append((text.lower(), at))
    return words


def _level(item: dict[str, Any]) -> str:
    snr = item["snr_db"]
    return LEVELS[0] if snr is None or snr >= 15 else LEVELS[1] if snr >= 7.5 else LEVELS[2]


# -- parts -------------------------------------------------------------------------------------------------------------


def technician(bench: Bench, items: Sequence[dict[str, Any]], folder: Path, manifest: Path, *, show: bool) -> bool:
    """Play all items to a technician and score what stands in the end."""
    score = scorer(manifest)
    if score is None:
        print("score.py is not beside the manifest nor in ../shared/corpus: nothing can be scored.")
        return False
    grammar = grammar_of(load_sheet(SHEET)[0])
    counts: dict[str, Counter[str]] = {level: Counter() for level in LEVELS}
    speech: list[float] = []
    for item in items:
        said, background = _sounds(item, folder)
        tags = sorted({one["appliance"] for one in item["readings"] if one.get("appliance")})
        appliances = [NewAppliance(tag, (f"boiler {tag}",)) for tag in ("1", "2")] if tags else [NewAppliance("boiler")]
        place = bench.home / f"technician-{bench.count}"
        with Apart(place, said, _words(item), item["readings"], background, SHEET) as person:
            session, job = bench.run(person, units=item["units"], speakers=FolderSpeakers(place), appliances=appliances)
        prediction = _prediction(item, job.readings, grammar)
        found, log = score.score_item(item, prediction)
        counts[_level(item)] += found
        speech.append(person.seconds / len(appliances))
        if show and (sum(found[name] for name in WRONG) or person.seconds > SPEECH_S / 3):
            wrong = [f"{kind}: {got} for {true}" for kind, got, true in log if kind in WRONG]
            print(f"  {item['id']}, {item['snr_db']} dB, {person.seconds:.0f} s of speech: {item['said']}\n    {wrong}")
            print(f"    stands: {prediction['readings']}\n    answers: {person.answers}\n    said: {session.said}")
    met = True
    print("after the read-back, per 100 entries [95 % interval] (bar)")
    for level, limit in zip(LEVELS, AFTER_READ_BACK, strict=True):
        met = _print_level(level, counts[level], limit) and met
    longest = max(speech, default=0.0)
    median = statistics.median(speech)
    print(f"  speech of the tool an appliance: median {median:.1f} s, at most {longest:.1f} s (≤ {SPEECH_S:g})")
    return met and longest <= SPEECH_S


def _print_level(level: str, one: Counter[str], limit: float) -> bool:
    entries = one["gold"] + one["gold_asks"]
    wrong = sum(one[name] for name in WRONG)
    rate = 100 * wrong / max(1, entries)
    low, high = wilson(wrong, entries)
    good = rate <= limit or not entries
    asked = one["asked_right"] + one["asked_other"] + one["spurious_ask"]
    kinds = ", ".join(f"{name} {one[name]}" for name in WRONG if one[name])
    print(
        f"  {level:18} silently wrong {wrong}/{entries} {rate:.1f} [{low:.0f}–{high:.0f}] ≤{limit:g}"
        f"{'' if good else ' !'}  right {one['correct']}/{one['gold']}, still asked {asked}, missed {one['missed']}  "
        f"{kinds}"
    )
    return good


def _prediction(item: dict[str, Any], readings: Sequence[Reading], grammar: Any) -> dict[str, Any]:
    found = rows(readings, grammar)
    if not any(one.get("appliance") for one in item["readings"]):
        for one in (*found["readings"], *found["asks"]):
            one.pop("appliance", None)
    return {"id": item["id"], **found}


def latency(bench: Bench, items: Sequence[dict[str, Any]], folder: Path) -> bool:
    """Play items in real time and measure how long an answer takes.

    The bars hold for a machine that does nothing else: items during which other programs computed are listed apart.
    """
    calm, disturbed = list[tuple[float, float]](), list[tuple[float, float]]()
    held = 0
    for item in items:
        file = _Timed(folder / item["file"])
        before, begun = _others_s(), time.monotonic()
        session, _ = bench.run(file, units=item["units"], patient=False)
        others = (_others_s() - before) / (time.monotonic() - begun)
        held += session.held
        for end, waited, moment in session.answered:
            true = min((last for _, last in item["spans"]), key=lambda last: abs(last - end))
            (calm if others <= OTHERS else disturbed).append((moment - (file.begun + true), waited))
    print(f"latency on {os.cpu_count()} cores; {held} answers held back on purpose")
    good = _print_latency("while nothing else computed", calm)
    _print_latency(f"while other programs took more than {OTHERS:g} of a core", disturbed)
    print(f"  plain faster-whisper, beam 5, one pass over the whole file: median {_plain(items, folder):.2f} s")
    return good


def _print_latency(when: str, answers: Sequence[tuple[float, float]]) -> bool:
    print(f" {len(answers)} answers {when}")
    if not answers:
        return False
    word, decided = np.array(answers).T
    table = (
        ("last word to answer, median", float(np.median(word)), 1.2),
        ("last word to answer, 95 %", float(np.percentile(word, 95)), 1.6),
        ("end decided to answer, 95 %", float(np.percentile(decided, 95)), 1.0),
    )
    for name, seconds, bar in table:
        print(f"  {name}: {seconds:.2f} s (≤ {bar:g}: {'met' if seconds <= bar else 'NOT MET'})")
    return all(seconds <= bar for _, seconds, bar in table)


def _others_s() -> float:
    """Return the seconds of processor time that all other programs of this machine took so far (Linux)."""
    user, nice, system, _, _, irq, soft = (int(one) for one in Path("/proc/stat").read_text("ascii").split()[1:8])
    own = os.times()
    all_s = (user + nice + system + irq + soft) / os.sysconf("SC_CLK_TCK")
    return all_s - own.user - own.system - own.children_user - own.children_system


def _plain(items: Sequence[dict[str, Any]], folder: Path) -> float:
    """Return the median seconds that faster-whisper's own transcription takes for a file, in this process."""
    import faster_whisper

    place = str(find_speech_model().folder)
    model = faster_whisper.WhisperModel(place, device="cpu", compute_type="int8", cpu_threads=1)
    times = []
    for item in items:
        begun = time.monotonic()
        list(model.transcribe(str(folder / item["file"]), language="en", beam_size=5, temperature=0.0)[0])
        times.append(time.monotonic() - begun)
    return statistics.median(times)


class _Timed(FileMicrophone):
    """A file that knows when its first sample was played."""

    begun = 0.0

    def blocks(self) -> Iterator[bytes | None]:
        """Yield it as fast as it was spoken."""
        self.begun = time.monotonic()
        yield from super().blocks()


def noise(bench: Bench, minutes: float = 10.0) -> bool:
    """Listen to a burner's noise: most of it low, with a hum and the tone of a fan's blades."""
    white = np.random.default_rng(4).standard_normal(int(minutes * 60 * RATE))
    shape = np.fft.rfft(white) / np.maximum(np.fft.rfftfreq(len(white), 1 / RATE), 60.0)
    roar = np.fft.irfft(shape, len(white))
    at = 2 * np.pi * np.arange(len(roar)) / RATE
    sound = 0.1 * roar / np.sqrt(np.mean(roar**2)) + 0.02 * np.sin(100 * at) + 0.01 * np.sin(396 * at)
    session, job = bench.run(Steady(np.asarray(sound, np.float32)))
    heard, tones = session.seen("heard"), dict(Counter(session.seen("tone")))
    print(f"noise: {minutes:g} minutes; {len(job.rows)} readings (0); heard {heard}; tones {tones}")
    return not job.rows


def strays(bench: Bench, each: int = 50) -> bool:
    """Say yes, no and take that back between colleagues, after a reading and after a question nobody answered."""
    wait, hiss = np.random.default_rng(2), np.random.default_rng(3)
    gap = np.zeros(14 * RATE, np.float32)
    parts = [gap[:RATE], voice("high fire now"), gap, voice("C O two is nine point one percent"), gap]
    parts += [voice("oxygen is four point five and change"), gap, gap]
    chatter = [voice(text) for text in ("yes", "no", "take that back")]
    for _ in range(each):
        for one in chatter:
            parts += [one, np.zeros(int(wait.uniform(1.5, 9.0) * RATE), np.float32)]
    sound = np.concatenate(parts)
    session, job = bench.run(Steady(np.asarray(sound + 0.001 * hiss.standard_normal(len(sound)), np.float32)))
    settled = ("answered", "edited", "left out", "dropped")
    changed = [row for row in (*job.rows.values(), *job.gone) if row.how in settled]
    print(
        f"strays: {3 * each} said; {len(job.rows)} readings stand or are asked, {len(changed)} of them confirmed, "
        f"changed or removed (0), {len(job.answers)} answers (0); the tool said {len(session.said)} things"
    )
    return not changed and not job.answers and bool(job.rows)


ECHO = ("high fire now", "C O is seventy six parts per million", "C O two is nine point one percent and change")
ECHO_TRUE = {("co", "high_fire"): "76", ("co2", "high_fire"): "9.1"}


def echo(bench: Bench) -> bool:
    """Let the microphone hear the tool's own voice, loud, faint and very faint."""
    good = True
    gap = np.zeros(16 * RATE, np.float32)
    for gain in (0.8, 0.3, 0.1, 0.07):
        room = Room(gain)
        parts = [gap[:RATE], *(part for text in ECHO for part in (voice(text), gap))]
        sound = np.concatenate([*parts, voice("going down to low fire now"), gap, gap, gap])
        hiss = 0.002 * np.random.default_rng(1).standard_normal(len(sound))
        session, job = bench.run(Steady(np.asarray(sound + hiss, np.float32), room), speakers=room)
        stand = {(row.reading.quantity, row.reading.condition): row for row in job.rows.values()}
        settled = [key for key, row in stand.items() if row.how in ("answered", "edited", "left out")]
        wrong = [key for key, row in stand.items() if row.reading.value != ECHO_TRUE.get((key[0] or "", key[1] or ""))]
        asked = stand.get(("co2", "high_fire"))
        is_open, tones = asked is not None and asked.how == "open", Counter(session.seen("tone"))
        print(
            f"echo × {gain}: heard {len(session.seen('heard'))} utterances, 4 of them a person's; {len(session.said)} "
            f"things said; settled {settled}, wrong {wrong} (none), the question is {'' if is_open else 'NOT '}open; "
            f"tones {dict(tones)} (no stop)"
        )
        good = good and not settled and not wrong and is_open and not tones["stop"]
    return good


def main(argv: list[str] | None = None) -> int:
    """Measure and print; see the head of this file."""
    parser = argparse.ArgumentParser(prog="python -m bench.listen", description=__doc__)
    parser.add_argument("manifest", type=Path)
    parser.add_argument("--part", action="append", choices=PARTS)
    parser.add_argument("--items", type=int, help="so many items, spread over the set")
    parser.add_argument("--first", type=int, default=0, help="the first item to take, counted from 0")
    parser.add_argument("--show", action="store_true", help="show the items in which something is wrong in the end")
    args = parser.parse_args(argv)
    if not args.manifest.is_file():
        print(f"There is no manifest {args.manifest}; give a path such as ../shared/audio/manifest.jsonl.")
        return 3
    items = [json.loads(line) for line in args.manifest.read_text("utf-8").splitlines() if line.strip()]
    if args.items:
        items = items[args.first :: max(1, len(items) // args.items)][: args.items]
    folder = args.manifest.parent
    good = True
    with tempfile.TemporaryDirectory(prefix="sayback-bench-") as home:
        sheet = load_sheet(SHEET)[0]
        sense = senses(sheet=sheet)
        warm_up(sense, sheet)
        bench = Bench(Path(home), sense)
        for part in args.part or PARTS:
            if part == "technician":
                good = technician(bench, items, folder, args.manifest, show=args.show) and good
            elif part == "latency":
                good = latency(bench, items, folder) and good
            else:
                good = {"noise": noise, "strays": strays, "echo": echo}[part](bench) and good
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
