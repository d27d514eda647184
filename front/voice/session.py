"""Listening to one job: sound to the disk, pieces to evidence, changes to the conversation, the conversation to sound.

 microphone ─ recorder thread ─▶ spool on the disk ─▶ endpointer ─▶ pieces ─ recogniser threads ─▶ jobs.add ─▶ News
                                                                                    talk.step ◀──────────────┘
                                                                                        └─▶ tones, speech, answers

Nothing here decides when to speak or what an answer binds to; that is ``front/voice/talk.py``. Nothing the tool does
keeps the recorder waiting: it has a thread of its own and a queue without end.
"""

from __future__ import annotations

import hashlib
import queue
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent import futures
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from subprocess import SubprocessError

import numpy as np

from capture.endpoint import Endpointer, Mark, Piece
from capture.microphone import Microphone
from capture.sound import RATE, Samples
from capture.typed import typed_utterance
from extract.tokens import tokenize
from front.voice import events
from front.voice.deeds import Deeds
from front.voice.echo import ECHO, LATEST_S, Echo
from front.voice.news import has_number, news_of, stops_of
from front.voice.over import alarm_beyond, words_beyond
from front.voice.replies import Place, Replies
from front.voice.screen import Watcher
from front.voice.sounds import decibels, level_for, speak, tone
from front.voice.speakers import PlayerSpeakers, Speakers, wav
from front.voice.talk import BARE_S, Talk, step
from front.voice.wording import Wording
from front.voice.words import command_of, note_of, spoken_on
from jobs.add import Event as AddEvent
from jobs.add import Named, add
from jobs.book import job_of, sheet_of
from jobs.extraction import grammar_of, place_now, setting_of
from jobs.fold import Job
from jobs.senses import Senses
from jobs.spool import Spool
from jobs.store import Store
from schemas.errors import BadInput, SaybackError
from schemas.evidence import Utterance
from schemas.sheet import Sheet

__all__ = ["Session", "warm_up"]

FAINT_DB = 15.0
"""What is heard while the tool speaks, so far below what people say here, is the tool itself, too faint to be known by
its wave."""
LOUD_NOISE_S = 8.0
CLIPPED = 0.98
READ_S = 0.3
"""Seconds in which a word on the screen is read."""
_SILENT_S = 6.0
LOOK_S = 1.0
"""How often it is looked whether others wrote to the job."""
STALLED_S = 2.0
"""Seconds without anything from the microphone, not even that it is away, after which hearing is lost."""


def warm_up(senses: Senses, sheet: Sheet) -> None:
    """Load all that hearing and reading need, so that the first word has not to wait for it.

    Raises:
        BadInput: the speech model is not there or is not the one that was measured.
    """
    with tempfile.TemporaryDirectory(prefix="sayback-") as folder:
        quiet = Path(folder) / "quiet.wav"
        quiet.write_bytes(wav(np.zeros(RATE, np.float32)))
        senses.identify(quiet)
        list(senses.hear(quiet, "0" * 64, skip=0, progress=lambda done: None))
    tokenize("quiet", grammar_of(sheet).glued)


class _Away:
    """The microphone gave nothing for a while."""


class _GivenUp(Exception):
    """What is being recognised is no piece: more came."""


@dataclass(frozen=True)
class _Recognising:
    """A piece that is being recognised, from when it may be over on; ``given_up`` is set if it was not."""

    piece: Piece
    future: Future[tuple[str, list[Utterance]]]
    given_up: threading.Event


@dataclass
class Session:
    """One session of listening. ``run`` returns when the microphone has no more or ``stop`` is called.

    ``patient``: time stands still while sound is read and filed. For a microphone that need not be listened to as fast
    as it speaks, such as a bench's.
    """

    store: Store
    number: str
    senses: Senses
    by: str
    microphone: Microphone
    speakers: Speakers
    watcher: Watcher
    clock: Callable[[], float] = time.monotonic
    patient: bool = False
    beat: Callable[[], None] = lambda: None
    """Called several times a second as long as all is well: see ``front/voice/keeper.py``."""

    told: Callable[[], None] = lambda: None
    """Called once it was told aloud why the session ends."""

    _queue: queue.SimpleQueue[bytes | _Away | Exception | None] = field(default_factory=queue.SimpleQueue)
    _stopped: threading.Event = field(default_factory=threading.Event)

    def stop(self) -> None:
        """End after what was heard so far."""
        self._stopped.set()

    def run(self) -> None:
        """Listen until there is no more sound.

        Raises:
            StoreFailed: the disk refuses; whatever had reached it is safe.
            WrongUse: no such job.
        """
        job = job_of(self.store, self.number)
        self._sheet = sheet_of(self.store, job.head)
        self._grammar = grammar_of(self._sheet)
        self._setting = setting_of(self.store, job, self._sheet)
        self._said = spoken_on(self._sheet)
        self._wording = Wording(self._sheet, several=len(job.appliances) > 1, units=job.head.units)
        self._replies = Replies(self._sheet, self._grammar, self._setting, self._said)
        self._deeds = Deeds(self.store, self.number, self._sheet, self._wording, self.by)
        self._place: Place = place_now(self.store, job, self._sheet)
        self._moved_at = -1e9
        self._warned_of, self._looked_at = job, 0.0
        self._talk = Talk()
        self._echo = Echo()
        self._endpointer = Endpointer()
        self._recent: deque[Samples] = deque()
        self._recent_from = 0
        self._samples = 0
        self._noise_db: float | None = None
        self._told_began = False
        self._echoes = False
        self._loudness: deque[float] = deque(maxlen=15)
        self._filing: list[Utterance] = []
        self._later: list[events.Action] = []
        self._mixed: list[Utterance] = []
        self._answered = False
        self._ends: deque[tuple[float, events.Say, bool]] = deque()  # until when, what, and whether it is played
        self._known: dict[str, list[Utterance]] = {}
        self._waiting: deque[_Recognising] = deque()
        self._trial: _Recognising | None = None
        self._quiet_since = 0
        self._warned: set[str] = set()
        begun = self.store.clock()
        self._spool = Spool(self.store.home, self.number, begun)
        recorder = threading.Thread(target=self._record, name="recorder", daemon=True)
        with tempfile.TemporaryDirectory(prefix="sayback-") as folder, ThreadPoolExecutor(2) as pool:
            self._folder, self._pool = Path(folder), pool
            try:
                if self.patient:
                    self._listen_patiently()
                else:
                    recorder.start()
                    self._listen()
                self._take(self._endpointer.finish())
                self._file(wait=True)
            except Exception as error:
                self._lose(str(error) if isinstance(error, SaybackError) else self._wording.phrase("fault"))
                self.told()
                raise
            finally:
                self._stopped.set()
                if recorder.is_alive():
                    recorder.join(timeout=2)
                self._spool.close(job_of(self.store, self.number))

    # -- the recorder's thread -----------------------------------------------------------------------------------------

    def _record(self) -> None:
        """Write what is heard to the disk, and only then hand it on."""
        last = self.clock()
        try:
            for block in self.microphone.blocks():
                if self._stopped.is_set():
                    break
                sound = block
                if sound is None:  # keep the session's time: what could not be heard is silence in the record
                    self._queue.put(_Away())
                    sound = bytes(2 * int((self.clock() - last) * RATE))
                last = self.clock()
                self._spool.write(sound)
                self._queue.put(sound)
        except Exception as error:  # whatever it is, this thread ends with it, and the loop has to know
            self._queue.put(error)
        self._queue.put(None)

    # -- the loop ------------------------------------------------------------------------------------------------------

    @property
    def _now(self) -> float:
        return self._samples / RATE

    def _listen(self) -> None:
        lost, last = False, self.clock()
        while not self._stopped.is_set():
            self.beat()
            try:
                block = self._queue.get(timeout=0.03)
            except queue.Empty:
                if not lost and self.clock() - last > STALLED_S:
                    lost = True
                    self._lose(self.microphone.name)
                self._file()
                continue
            last = self.clock()
            if block is None:
                return
            if isinstance(block, Exception):
                raise block
            if isinstance(block, _Away):
                if not lost:
                    what = self._wording.phrase("hearing_lost", what=self.microphone.name)
                    self._step(events.Lost(self._now, what))
                lost = True
                continue
            if lost and any(block):
                lost = False
                self._step(events.Lost(self._now, self._wording.phrase("hearing_back"), back=True))
            self._hear(block)
            self._file()
            self._tick()

    def _lose(self, what: str) -> None:
        """Tell that hearing is lost, now: where no more sound comes, the session's time stands still."""
        self._step(events.Lost(self._now, self._wording.phrase("hearing_lost", what=what)))
        while any(say.tone == "hearing lost" for say in self._talk.waiting):  # behind a stop that waits, too
            self._talk = replace(self._talk, saying=None, tool_until=-1e9)
            self._step(events.Tick(self._now))

    def _listen_patiently(self) -> None:
        for block in self.microphone.blocks():
            if block and not self._stopped.is_set():
                self._spool.write(block)
                self._hear(block)
                self._file(wait=True)
                self._tick()

    def _hear(self, block: bytes) -> None:
        sound = np.asarray(np.frombuffer(block, "<i2"), np.float32) / np.float32(32768)
        self._recent.append(sound)
        while len(self._recent) > 1 and self._samples - self._recent_from > 20 * RATE:
            self._recent_from += len(self._recent.popleft())
        self._samples += len(sound)
        self._take(self._endpointer.take(sound))
        self._meter(sound)
        if self._endpointer.speaking and not self._told_began and self._is_person():
            self._told_began = True
            self._step(events.Began(self._now))

    def _is_person(self) -> bool:
        """Say whether who speaks now is not (only) the tool itself, heard by the microphone."""
        if self._echo.overlap(self._now - 0.4, self._now) <= 0.0:
            return True
        if self._endpointer.spoken_for < 0.35:
            return False
        return self._echo.share(self._last(0.4), self._now - 0.4) < ECHO

    def _take(self, marks: Iterator[Mark]) -> None:
        for mark in marks:
            if mark.kind in ("may end", "piece") and mark.piece is not None:
                if self._trial is None or self._trial.piece != mark.piece:
                    self._give_up()
                    self._trial = self._recognise(mark.piece)
            elif mark.kind == "goes on":
                self._give_up()
            if mark.kind == "piece" and self._trial is not None:
                self._waiting.append(self._trial)
                self._trial = None
                if mark.piece is not None and mark.piece.speech is not None and not self._endpointer.speaking:
                    self._ended()
            elif mark.kind == "nothing":
                self._ended()

    def _ended(self) -> None:
        self._told_began = False
        self._step(events.Ended(self._now))

    def _give_up(self) -> None:
        if self._trial is not None:
            path = self._path(self._trial.piece)
            self._trial.given_up.set()
            self._trial.future.add_done_callback(lambda _: path.unlink(missing_ok=True))
            self._trial = None

    def _recognise(self, piece: Piece) -> _Recognising:
        given_up = threading.Event()
        return _Recognising(piece, self._pool.submit(self._read, piece, given_up), given_up)

    def _path(self, piece: Piece) -> Path:
        return self._folder / f"{piece.first}-{piece.last}.wav"

    def _read(self, piece: Piece, given_up: threading.Event) -> tuple[str, list[Utterance]]:
        """Read a piece as it will be read again by anyone who adds it: the same bytes, the same code."""
        data = self._spool.wav(piece.first, piece.last)
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._path(piece)
        path.write_bytes(data)

        def progress(done: float) -> None:
            if given_up.is_set():
                raise _GivenUp

        return sha256, list(self.senses.hear(path, sha256, skip=0, progress=progress))

    # -- pieces to evidence --------------------------------------------------------------------------------------------

    def _file(self, *, wait: bool = False) -> None:
        """Make evidence of the pieces that are recognised, in their order."""
        while self._waiting:
            while wait and not self._waiting[0].future.done():
                self.beat()
                futures.wait([self._waiting[0].future], timeout=0.2)
            if not self._waiting[0].future.done():
                return
            done = self._waiting.popleft()
            sha256, found = done.future.result()
            path = self._path(done.piece)
            self._known[sha256] = found
            before = job_of(self.store, self.number)
            self._offset = done.piece.first / RATE
            self._filing, self._later, self._mixed, self._answered = [], [], [], False
            name = self._spool.name(done.piece.first, done.piece.last)
            added = add(
                self.store,
                self.number,
                [Named(path, name)],
                senses=Senses(self.senses.identify, self._hear_known, self.senses.look),
                author=self.by,
                progress=self._progress,
            )
            path.unlink(missing_ok=True)
            del self._known[sha256]
            job = added.job
            for one in self._mixed:
                self._deeds.leave_out_own(one)
            if self._later:
                self._act(tuple(self._later))
            if self._later or self._mixed:
                job = job_of(self.store, self.number)
            if found:
                self._tell(before, job, self._answered)

    def _hear_known(
        self, path: Path, sha256: str, *, skip: int, progress: Callable[[float], None]
    ) -> Iterator[Utterance]:
        if sha256 in self._known:
            return (one for one in self._known[sha256] if one.number >= skip)
        return self.senses.hear(path, sha256, skip=skip, progress=progress)

    def _progress(self, event: AddEvent) -> None:
        """Before extraction sees an utterance, decide whether it is for the tool."""
        if event.kind != "heard" or not isinstance(event.found, Utterance):
            return
        utterance = event.found
        start, end = self._offset + utterance.start, self._offset + utterance.end
        self.watcher.line("heard", utterance.text, start)
        said = self._said
        own, over, faint = self._own(start, end)
        asked = self._talk.asked
        told = self._echo.words(start, end) if own else ()
        alarm = alarm_beyond(utterance, told, self._grammar, self._sheet, faint=faint)
        if own and alarm:  # extraction has to see what stops the work, and no value that the tool said with it
            self._mixed.append(utterance)
        own = own and not alarm
        beyond = words_beyond(utterance, told, self._setting, self._grammar, said) if own else ""
        signed = asked is not None and self._replies.sign(utterance, asked) is not None
        command = None if alarm or signed else command_of(utterance, said)
        reply = (
            None
            if alarm or command or asked is None
            else self._replies.understand(
                utterance,
                asked,
                here=self._place,
                left=self._moved_at > self._talk.asked_from,
                prompt=start - self._talk.asked_until <= BARE_S,
            )
        )
        back = None
        if asked is not None and reply is not None and not asked.limit:
            stands = asked.question is None and not reply.denies and reply.candidate.reading not in self._talk.denied
            back = self._wording.back(asked, reply.candidate, stands=stands)
        note = None if alarm else note_of(utterance, said)
        only_noted = note is not None and has_number(typed_utterance(note, "0" * 64), self._setting, self._grammar)
        heard = events.Heard(start, end, command, reply, back, note, only_noted, own, over, beyond)
        self._talk, actions = step(self._talk, heard)
        mark = next((one for one in actions if isinstance(one, events.Mark)), None)
        deeds = events.Settle | events.Edit | events.TakeBack | events.Agree
        deed = next((one for one in actions if isinstance(one, deeds)), None)
        if mark is None:
            self._filing.append(utterance)
            self._later += actions
            return
        self._answered = self._answered or isinstance(deed, events.Settle | events.Edit)
        for line in self._deeds.set_aside(utterance, mark, deed):
            self._step(events.Answering(events.Say(line, 1)))
        self._later += [one for one in actions if one not in (mark, deed)]

    def _own(self, start: float, end: float) -> tuple[bool, bool, bool]:
        """Say whether an utterance is the tool's own voice, was spoken over it, and is faint beside what people say."""
        known = self._echo.until
        overlap = self._echo.overlap(start, end, tones=False, until=LATEST_S if known is None else known)
        first = max(0, round(start * RATE) - self._recent_from)
        sound = np.concatenate([*self._recent])[first : max(first, round(end * RATE) - self._recent_from)]
        loudness = decibels(sound)
        if overlap <= 0.0:
            self._loudness.append(loudness)
            return False, False, False
        share, late = self._echo.share(sound, start), overlap > 0.5 * (end - start)
        self._echoes = self._echoes or share >= ECHO
        faint = late and bool(self._loudness) and loudness < float(np.median(self._loudness)) - FAINT_DB
        # Where it hears itself at all, faint pieces of it cannot be told from somebody who speaks over it.
        own = share >= ECHO or faint or (late and (self._echoes or share >= ECHO / 2))
        # Where it never heard itself, who is not alike and begins right after its last word is a person who answers.
        sounding = self._echo.overlap(start, end, tones=False, until=known or 0.0)
        return own, sounding > 0.5 * (end - start), faint

    def _tell(self, before: Job, job: Job, answered: bool) -> None:
        place = place_now(self.store, job, self._sheet)
        news = news_of(
            before,
            job,
            self._sheet,
            self._wording,
            utterances=self._filing,
            was_at=self._place,
            is_at=place,
            number=any(has_number(one, self._setting, self._grammar) for one in self._filing),
            warned=self._warned_of,
            said=(*self._talk.waiting, *((self._talk.last_said,) if self._talk.last_said else ())),
        )
        self._warned_of = job
        if place != self._place:
            self._place, self._moved_at = place, self._now
        start = min((self._offset + one.start for one in self._filing), default=self._now)
        end = max((self._offset + one.end for one in self._filing), default=self._now)
        for text in news.shown:
            self.watcher.line("open", text, self._now)
        for key in news.taken:
            self.watcher.line("kept", self._wording.shown(job.rows[key].reading), self._now)
        self._step(events.Changed(start, end, news, answered))
        self._tick()

    def _look(self) -> None:
        """Tell what stops the work by something that others brought to the job, such as a photo that was added."""
        self._looked_at = self._now
        job = job_of(self.store, self.number)
        if job.position != self._warned_of.position:
            stops, self._warned_of = stops_of(self._warned_of, job, self._sheet), job
            if stops:
                self._step(events.Stopped(self._now, stops))

    # -- the conversation ----------------------------------------------------------------------------------------------

    def _tick(self) -> None:
        if self._now - self._looked_at >= LOOK_S:
            self._look()
        while self._ends and self._ends[0][0] <= self._now:
            _, say, played = self._ends.popleft()
            if self._endpointer.spoken_for > 0.3 and self._echo.share(self._last(0.5), self._now - 0.5) >= ECHO:
                self._take(self._endpointer.cut())  # what follows is somebody else's, such as the answer
            self._over(say, whole=True, played=played)
        self._step(events.Tick(self._now))

    def _step(self, event: events.Event) -> None:
        self._talk, actions = step(self._talk, event)
        self._act(actions)

    def _act(self, actions: tuple[events.Action, ...]) -> None:
        for action in actions:
            match action:
                case events.Play(name):
                    self._play(tone(name), name, name)
                    self.watcher.line("tone", name, self._now)
                case events.Say():
                    self._say(action)
                case events.Hush():
                    self.speakers.stop(self._now)
                    self._echo.stopped(self._now)
                    for _, say, played in self._ends:
                        self._over(say, whole=False, played=played)
                    self._ends.clear()
                case events.Show(what):
                    said = self._deeds.reply(what, self._talk, self._place)
                    self._step(events.Answering(said))
                case _:
                    for line in self._deeds.do(action):
                        self._step(events.Answering(events.Say(line, 1)))

    def _say(self, say: events.Say) -> None:
        parts = [tone(say.tone), np.zeros(RATE // 10, np.float32)] if say.tone is not None else []
        speech = self._speech(say.text)
        sound = np.asarray(np.concatenate([*parts, speech]), np.float32)
        what = "hearing lost" if say.tone == "hearing lost" else "speech"
        begun = self.speakers.audible and len(sound) > 0 and self._play(sound, what, say.text)
        played = begun and len(speech) > 0
        if not played:  # the time that it takes to read
            sound = np.zeros(int(READ_S * len(say.text.split()) * RATE), np.float32)
        if say.tone is not None:
            self.watcher.line("tone", say.tone, self._now)
        self.watcher.line("said", say.text, self._now)
        if say.tone == "stop" and self._talk.quiet:
            self.watcher.line("warning", self._wording.phrase("quiet"), self._now)
        until = self._now + len(sound) / RATE
        self._ends.append((until, say, played))
        self._step(events.Playing(until))

    def _speech(self, text: str) -> Samples:
        """Return a text as it is spoken; nothing where nobody could hear it or nothing speaks it."""
        try:
            return speak(text) if self.speakers.audible else np.zeros(0, np.float32)
        except (OSError, SubprocessError, BadInput):  # whatever ails the voice, listening goes on
            self._warn("unheard")
            return np.zeros(0, np.float32)

    def _over(self, say: events.Say, *, whole: bool, played: bool) -> None:
        if played and isinstance(self.speakers, PlayerSpeakers) and self.speakers.failed:
            played = False
            self._warn("unheard")
        elif played:
            self._warned.discard("unheard")
        self._deeds.told(say, whole=whole, aloud=played)
        self._step(events.Played(self._now, say, whole))

    def _play(self, sound: Samples, what: str, text: str) -> bool:
        """Begin to play a sound, and say whether it could be begun."""
        loud = np.asarray(level_for(self._noise_db) * sound, np.float32)
        try:
            self.speakers.play(loud, self._now, what, text)
        except OSError:  # no player, or no room where the sound files go
            self._warn("unheard")
            return False
        self._echo.played(loud, self._now, "" if text == what else text)
        return True

    # -- the level -----------------------------------------------------------------------------------------------------

    def _last(self, seconds: float) -> Samples:
        wanted, parts = int(seconds * RATE), []
        for block in reversed(self._recent):
            parts.append(block)
            wanted -= len(block)
            if wanted <= 0:
                break
        return np.concatenate(parts[::-1])[-int(seconds * RATE) :]

    def _meter(self, sound: Samples) -> None:
        power = decibels(sound)
        self.watcher.level(power, self._endpointer.speaking)
        if not self._endpointer.speaking and self._echo.overlap(self._now - 0.1, self._now) <= 0.0:
            share = min(1.0, len(sound) / RATE / LOUD_NOISE_S)
            self._noise_db = power if self._noise_db is None else self._noise_db + share * (power - self._noise_db)
        if np.mean(np.abs(sound) >= CLIPPED) > 0.02:
            self._warn("clipping", aloud=True)
        if np.any(sound):
            self._quiet_since = self._samples
            self._warned.discard("silence")
        elif self._samples - self._quiet_since > _SILENT_S * RATE:
            self._warn("silence")

    def _warn(self, what: str, *, aloud: bool = False) -> None:
        if what in self._warned:
            return
        self._warned.add(what)
        self.watcher.line("warning", self._wording.phrase(what), self._now)
        if aloud:
            self._step(events.Answering(events.Say(self._wording.phrase(what), 3)))
