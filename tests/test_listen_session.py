"""A whole session with real sound and a double for the recogniser: quick, and sure of what was "heard"."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import extract
from capture.endpoint import WINDOW, Endpointer
from capture.microphone import BLOCK, pcm
from capture.sniff import identify
from capture.speech import stretches
from extract.parse import parse
from extract.tokens import _pipeline
from front.voice import session
from front.voice.session import Session, warm_up
from front.voice.sounds import RATE
from jobs.add import Added, Typed, add
from jobs.book import NewAppliance, job_of, new_job
from jobs.extraction import grammar_of
from jobs.fold import Job
from jobs.journal import SetAside, Told
from jobs.senses import Senses, senses
from jobs.store import Store
from jobs.told import read_back
from schemas.evidence import Hypothesis, Look, MadeBy, Utterance
from schemas.load import load_sheet
from tests.sounds import Sound, roar, silence, spoken

pytestmark = pytest.mark.slow

MADE_BY = MadeBy(reader="double", version="1")


@dataclass
class Ears:
    """Hears in each piece with speech the next line of a script."""

    script: list[str]
    known: dict[str, list[Utterance]] = field(default_factory=dict)

    def __call__(self, path: Path, sha256: str, *, skip: int, progress: Callable[[float], None]) -> Iterator[Utterance]:
        if sha256 not in self.known:
            from capture.sound import samples

            self.known[sha256] = [
                Utterance(
                    evidence=sha256,
                    number=one.number,
                    start=one.start,
                    end=one.end,
                    hypotheses=(Hypothesis(text=text, mass=1.0),),
                    second_opinion=text,
                    snr_db=30.0,
                    made_by=MADE_BY,
                )
                for one in stretches(samples(path))
                for text in (self.script.pop(0),)
            ]
        return iter([one for one in self.known[sha256] if one.number >= skip])


def nothing_to_see(path: Path, sha256: str) -> Look:
    raise AssertionError("no picture is part of this")


@dataclass
class Room:
    """A microphone that hears what is played to it and, ``gain`` as loud, the tool; also the tool's speakers.

    ``cues`` are sounds that begin once the tool said something that holds the words, so many seconds after; ``answers``
    are, after its last word.
    """

    sound: Sound
    gain: float = 0.0
    cues: list[tuple[str, float, Sound]] = field(default_factory=list)
    answers: list[tuple[str, float, Sound]] = field(default_factory=list)
    name: str = "room"
    audible: bool = True
    played: list[tuple[float, str, str]] = field(default_factory=list)
    stopped: list[float] = field(default_factory=list)

    def play(self, sound: Sound, at: float, what: str, text: str) -> None:
        self.played.append((at, what, text))
        if self.gain:
            self._mix(self.gain * sound, at + 0.12)
        for cue in [one for one in self.cues if one[0] in text]:
            self.cues.remove(cue)
            self._mix(cue[2], at + cue[1])
        for cue in [one for one in self.answers if one[0] in text]:
            self.answers.remove(cue)
            self._mix(cue[2], at + len(sound) / RATE + cue[1])

    def stop(self, at: float) -> None:
        self.stopped.append(at)

    def blocks(self) -> Iterator[bytes | None]:
        for at in range(0, len(self.sound), BLOCK):
            yield pcm(self.sound[at : at + BLOCK])

    def _mix(self, sound: Sound, at: float) -> None:
        first = round(at * RATE)
        part = self.sound[first : first + len(sound)]
        part += sound[: len(part)]


@dataclass
class Lines:
    """Keeps what is shown."""

    seen: list[tuple[str, str]] = field(default_factory=list)

    def line(self, kind: str, text: str, at: float) -> None:
        self.seen.append((kind, text))

    def level(self, decibels: float, speaking: bool) -> None:
        assert -120 < decibels < 10


@dataclass
class Heard:
    """What came of a session."""

    job: Job
    lines: Lines
    aside: list[str]
    notes: list[str]
    told: list[str]

    def value(self, quantity: str) -> tuple[str, str] | None:
        found = [row for row in self.job.rows.values() if row.reading.quantity == quantity]
        return (found[0].reading.value, found[0].how) if found else None


WORD = 0.5 * spoken("the pressure is steady", speed=170)
"""What everything sounds like here; what was "said" is the script."""


def room(*parts: float | Sound, gain: float = 0.0, length: float | None = None) -> Room:
    sounds = [silence(one) if isinstance(one, float) else one for one in parts]
    sound = np.concatenate(sounds)
    if length is not None:
        sound = np.concatenate([sound, silence(max(0.0, length - len(sound) / RATE))])
    return Room(np.asarray(sound + roar(len(sound) / RATE, level=0.002)[: len(sound)], np.float32), gain)


@contextmanager
def boiler(tmp_path: Path) -> Iterator[Store]:
    """A store with one job, of one boiler."""
    with Store(tmp_path / "store") as store:
        new_job(
            store,
            sheet="gas-boiler-start-up",
            site="Brackley Wharf Bakehouse",
            technician="Una Farrow",
            units="us",
            appliances=[NewAppliance("boiler")],
        )
        yield store


def listen(tmp_path: Path, place: Room, script: Sequence[str], boilers: Sequence[NewAppliance] = ()) -> Heard:
    lines = Lines()
    with Store(tmp_path / "store") as store:
        job = new_job(
            store,
            sheet="gas-boiler-start-up",
            site="Brackley Wharf Bakehouse",
            technician="Una Farrow",
            units="us",
            appliances=boilers or [NewAppliance("boiler")],
        )
        ears = Ears(list(script))
        heard_by = Senses(identify, ears, nothing_to_see)
        Session(store, job.number, heard_by, "Una Farrow", place, place, lines, patient=True).run()
        entries = [one.body for one in store.entries(job.number)]
        return Heard(
            job_of(store, job.number),
            lines,
            [one.what for one in entries if isinstance(one, SetAside)],
            [one.note for one in entries if isinstance(one, SetAside)],
            [one.text for one in entries if isinstance(one, Told)],
        )


def test_a_reading_is_taken_with_a_tone_and_talk_is_left_alone(tmp_path: Path) -> None:
    place = room(1.0, WORD, 2.0, WORD, 2.0)
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one percent.", "pass me that wrench"])
    assert heard.value("co2") == ("9.1", "taken unasked")
    assert [what for _, what, _ in place.played] == ["taken"]
    assert ("kept", "high fire: CO2 9.1 %") in heard.lines.seen
    assert len(heard.job.rows) == 1


def test_a_question_is_said_and_a_spoken_value_answers_it(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=25.0)
    place.cues = [("what is it?", 4.5, WORD)]
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one and change.", "nine point two"])
    assert heard.value("co2") == ("9.2", "answered")
    assert heard.aside == ["answer"]
    assert heard.told == [
        "C O two, high fire: what is it?",
        "C O two, high fire, nine point two. It was nine point one.",
    ]


def test_an_answer_after_the_move_to_another_boiler_is_asked_back_with_its_place(tmp_path: Path) -> None:
    place = room(1.0, WORD, 8.0, WORD, 4.0, WORD, length=24.0)
    boilers = [NewAppliance("1", ("boiler 1", "boiler one")), NewAppliance("2", ("boiler 2", "boiler two"))]
    script = ["Boiler one, low fire. O2 is five and change.", "on to boiler two now", "five point three"]
    heard = listen(tmp_path, place, script, boilers)
    assert {row.how for row in heard.job.rows.values()} == {"open"}
    assert heard.told[:3] == [*["1, O two, low fire: what is it?"] * 2, "1, O two, low fire, five point three, right?"]


def test_co_is_said_back_and_corrected_by_saying_it(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=25.0)
    place.cues = [("seventy-six", 4.0, WORD)]
    heard = listen(tmp_path, place, ["High fire. CO is seventy-six.", "no, sixty-six"])
    assert heard.value("co") == ("66", "edited")
    assert heard.told[0] == "C O, high fire, seventy-six."
    assert heard.told[1] == "C O, high fire, sixty-six. It was seventy-six."


def test_a_kill_right_after_a_correction_was_heard_does_not_lose_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Killed(BaseException):
        """As SIGKILL, once what was heard is filed."""

    times = iter((False, True))

    def killed(*given: Any, **named: Any) -> Added:
        added = add(*given, **named)
        if next(times):
            raise Killed
        return added

    monkeypatch.setattr(session, "add", killed)
    place = room(1.0, WORD, length=25.0)
    place.cues = [("seventy-six", 4.0, WORD)]
    with pytest.raises(Killed):
        listen(tmp_path, place, ["High fire. CO is seventy-six.", "no, sixty-six"])
    with Store(tmp_path / "store") as store:
        assert [(row.reading.value, row.how) for row in job_of(store, "job-1").rows.values()] == [("66", "edited")]


@pytest.mark.parametrize("stray", ["Yes.", "No.", "Take that back."])
def test_a_stray_word_long_after_changes_nothing(tmp_path: Path, stray: str) -> None:
    place = room(1.0, WORD, 14.0, WORD, 3.0, WORD, 2.0)
    script = ["High fire. CO2 is nine point one percent.", stray, "O2 is four point seven percent."]
    heard = listen(tmp_path, place, script)
    assert heard.value("co2") == ("9.1", "taken unasked")
    assert heard.value("o2") == ("4.7", "taken unasked")
    assert heard.aside == ["stray"]


def test_take_that_back_right_after_takes_back_and_says_what_stood_there(tmp_path: Path) -> None:
    heard = listen(
        tmp_path,
        room(1.0, WORD, 2.0, WORD, length=12.0),
        ["High fire. CO2 is nine point one percent.", "Take that back."],
    )
    assert heard.value("co2") == ("9.1", "left out")
    assert heard.told == ["Taken back: C O two, high fire, nine point one."]


@pytest.mark.parametrize("gain", [1.0, 0.3])
def test_its_own_voice_in_the_microphone_is_set_aside_whatever_it_says(tmp_path: Path, gain: float) -> None:
    place = room(1.0, WORD, length=30.0, gain=gain)
    own = ["C O two high fire what is it", *["yes, nine point one"] * 8]
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one and change.", *own])
    assert heard.value("co2") == ("9.1", "open")
    assert heard.aside
    assert set(heard.aside) == {"own voice"}
    assert place.stopped == []  # it does not interrupt itself


@pytest.mark.parametrize(
    "words", ["I smell gas.", "C O two high fire, the CO alarm is going off.", "I smell gas, C O 76."]
)
def test_what_stops_the_work_is_heard_over_its_own_voice_and_none_of_its_values_is_taken(
    tmp_path: Path, words: str
) -> None:
    place = room(1.0, WORD, length=60.0, gain=1.0)
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one and change.", *[words] * 20])
    assert heard.job.alarms
    assert [what for _, what, _ in place.played].count("speech") >= 2
    assert heard.value("co") in (None, ("76", "left out"))


def test_its_own_stop_heard_by_the_microphone_is_no_new_alarm(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=60.0, gain=1.0)
    heard = listen(tmp_path, place, ["I smell gas.", *["gas was smelt, everyone out", "the gas smell"] * 10])
    assert len(heard.job.alarms) == 1
    assert set(heard.aside) == {"own voice"}


def test_a_number_spoken_over_its_own_voice_sounds_and_the_question_comes_again(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=30.0, gain=1.0)
    own = ["C O two high fire no nine point four"] * 20
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one and change.", *own])
    assert heard.value("co2") == ("9.1", "open")
    assert set(heard.aside) == {"own voice"}
    assert "nothing kept" in [what for _, what, _ in place.played]
    assert set(heard.notes) == {"no 94"}
    assert len(heard.told) <= 3  # it does not go on answering itself


def test_whoever_speaks_over_it_makes_it_silent(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=20.0)
    place.cues = [("what is it?", 1.0, WORD)]
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one and change.", "hold on, Pete is calling"])
    (stopped,) = place.stopped
    begun = next(at for at, _, text in place.played if "what is it?" in text)
    assert 1.0 <= stopped - begun <= 1.8
    assert heard.value("co2") == ("9.1", "open")


class Clicks(Endpointer):
    """Takes 64 ms of the fourth second for speech, as of a click."""

    def __init__(self) -> None:
        super().__init__()
        detect, first = self._detect, round(4.0 * RATE / WINDOW)

        def chances(windows: Sound) -> Sound:
            own = np.arange(self._count, self._count + len(windows))
            return np.where((own >= first) & (own < first + 2), np.float32(0.9), detect(windows))

        vars(self)["_detect"] = chances


def test_a_question_that_a_click_cut_off_comes_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(session, "Endpointer", Clicks)
    place = room(1.0, WORD, length=20.0)
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one and change."])
    assert len(place.stopped) == 1
    assert heard.told == ["C O two, high fire: what is it?"] * 2


def test_gas_is_told_once_and_then_it_is_quiet(tmp_path: Path) -> None:
    place = room(1.0, WORD, 30.0, WORD, 10.0)
    listen(tmp_path, place, ["I smell gas.", "High fire. CO2 is nine point one and change."])
    assert len(place.played) == 1
    assert "gas" in place.played[0][2].lower()


def test_a_stop_that_another_process_brings_is_told_with_what_to_do(tmp_path: Path) -> None:
    class Shared(Room):
        def play(self, sound: Sound, at: float, what: str, text: str) -> None:
            super().play(sound, at, what, text)
            if what == "taken":
                with Store(tmp_path / "store") as other:
                    add(other, "job-1", [Typed("Low fire CO is eight hundred.")], senses=senses(), author="Una Farrow")

    place = room(1.0, WORD, length=12.0)
    heard = listen(tmp_path, Shared(place.sound), ["High fire. CO2 is nine point one percent."])
    stopped = [text for _, text in heard.lines.seen if "Shut the appliance off" in text]
    assert len(stopped) == 1


def test_gas_smelt_stops_the_work_also_in_a_note_and_each_time_it_is_said(tmp_path: Path) -> None:
    place = room(1.0, WORD, 20.0, WORD, length=60.0)
    heard = listen(tmp_path, place, ["Note that I can smell gas.", "Note, I still smell gas here."])
    assert len(heard.job.alarms) == 2
    assert len([text for _, what, text in place.played if what == "speech" and "gas" in text.lower()]) == 2
    assert heard.aside == []


def test_who_tells_a_value_in_a_note_hears_that_no_reading_was_taken(tmp_path: Path) -> None:
    heard = listen(tmp_path, room(1.0, WORD, length=12.0), ["Note, high fire CO forty."])
    assert heard.value("co") is None
    assert heard.aside == ["note"]
    assert heard.told == ["Noted; no reading is taken from it."]


def test_a_note_is_kept(tmp_path: Path) -> None:
    heard = listen(tmp_path, room(1.0, WORD, length=8.0), ["Note, valve cover cracked."])
    assert heard.aside == ["note"]
    assert heard.told == ["Noted."]


def test_a_quoted_limit_is_read_back_and_binds_once_it_is_agreed_to(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=40.0)
    place.cues = [("Limit, ", 7.0, WORD)]
    heard = listen(tmp_path, place, ["The manual says CO2 between 8.5 and 9.50 at high fire.", "yes"])
    assert heard.told == ["Limit, C O two, high fire, eight point five to nine point five zero, right?"]
    assert [one.agreed for one in heard.job.limits] == [True]
    place = room(1.0, WORD, length=40.0)
    place.cues = [("Limit, ", 7.0, WORD)]
    heard = listen(tmp_path / "co", place, ["At high fire CO no more than one hundred ppm.", "yes"])
    assert heard.told[0] == "Limit, C O, high fire, at most one hundred? Say the limit again."
    assert [one.agreed for one in heard.job.limits] == [None]
    place = room(1.0, WORD, length=40.0)
    place.cues = [("Limit, ", 7.0, WORD)]
    heard = listen(tmp_path / "again", place, ["At high fire CO no more than one hundred ppm."] * 2)
    assert [one.agreed for one in heard.job.limits] == [True, True]


@pytest.mark.parametrize(
    ("gain", "after", "agreed"),
    [(0.0, 0.05, True), (0.0, 0.3, True), (0.0, -0.5, None), (0.3, 0.3, True), (0.3, None, None), (1.0, None, None)],
)
def test_a_prompt_yes_binds_and_neither_the_own_voice_nor_a_yes_said_over_it_does(
    tmp_path: Path, gain: float, after: float | None, agreed: bool | None
) -> None:
    place = room(1.0, WORD, length=16.0, gain=gain)
    if after is not None:
        place.answers = [("right?", after, 0.5 * spoken("yes", speed=170))]
    heard = listen(tmp_path, place, ["The manual says CO2 between 8.5 and 9.50 at high fire.", *["yes"] * 20])
    assert [one.agreed for one in heard.job.limits] == [agreed]


def test_a_value_said_back_and_denied_is_out_until_another_is_given(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=30.0)
    place.cues = [("C O, high fire, seventy-six.", 3.5, WORD)]
    heard = listen(tmp_path, place, ["High fire. CO is seventy-six.", "no"])
    assert heard.value("co") == ("76", "left out")
    assert heard.told[1:] == ["Taken back: C O, high fire, seventy-six.", "What is it?"]
    place = room(1.0, WORD, length=40.0)
    place.cues = [("C O, high fire, seventy-six.", 3.5, WORD), ("What is it?", 2.0, WORD)]
    heard = listen(tmp_path / "again", place, ["High fire. CO is seventy-six.", "no", "seventy-six"])
    assert heard.value("co") == ("76", "edited")


def test_a_no_to_a_colleague_after_hearing_what_still_stands_takes_nothing_out(tmp_path: Path) -> None:
    place = room(1.0, WORD, 14.0, WORD, length=35.0)
    place.cues = [("still stands", 4.5, WORD)]
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one percent.", "scratch that", "no"])
    assert heard.value("co2") == ("9.1", "taken unasked")
    assert heard.told == ["C O two, high fire, nine point one, still stands."]
    assert heard.aside == ["stray", "stray"]


def test_before_the_firing_rate_changes_what_is_missing_and_the_row_are_said(tmp_path: Path) -> None:
    place = room(1.0, WORD, 3.0, WORD, length=45.0)
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one percent.", "Going down to low fire now."])
    assert heard.told[0].startswith("Missing, high fire: ")
    assert heard.told[1] == "high fire: C O two nine point one."


def test_what_is_only_shown_is_not_marked_as_read_back(tmp_path: Path) -> None:
    place = room(1.0, WORD, length=12.0)
    place.audible = False
    heard = listen(tmp_path, place, ["High fire. CO is seventy-six."])
    assert ("said", "C O, high fire, seventy-six.") in heard.lines.seen
    assert [what for _, what, _ in place.played] == ["taken"]
    with Store(tmp_path / "store") as store:
        told = [one.body for one in store.entries(heard.job.number) if isinstance(one.body, Told)]
        assert [(one.kind, one.readings) for one in told] == [("shown", ())]
        assert read_back(store.entries(heard.job.number), heard.job) == frozenset()


def test_every_sample_is_evidence_and_the_spool_is_gone(tmp_path: Path) -> None:
    place = room(1.0, WORD, 50.0, WORD, 0.1)
    heard = listen(tmp_path, place, ["High fire. CO2 is nine point one percent.", "O2 is four point seven percent."])
    assert sum(round((one.seconds or 0) * RATE) for one in heard.job.filed) == pytest.approx(len(place.sound), abs=99)
    assert all(one.read for one in heard.job.filed)
    left = sorted(path.name for path in (tmp_path / "store" / "listening").rglob("*") if path.is_file())
    assert left == ["lock"]


def test_what_was_tried_and_given_up_leaves_no_file_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    left: list[str] = []

    class Looked(tempfile.TemporaryDirectory[str]):
        def cleanup(self) -> None:
            left.extend(path.name for path in Path(self.name).iterdir())
            super().cleanup()

    monkeypatch.setattr(tempfile, "TemporaryDirectory", Looked)
    place = room(1.0, WORD, 0.3, WORD, 2.0)  # a pause in which the utterance may be over, and is not
    heard = listen(tmp_path, place, ["not yet", "High fire. CO2 is nine point one percent."])
    assert heard.value("co2") == ("9.1", "taken unasked")
    assert left == []


def test_the_first_word_has_not_to_wait_for_what_reads_it() -> None:
    sheet = load_sheet("gas-boiler-start-up")[0]
    _pipeline.cache_clear()
    warm_up(Senses(identify, Ears([]), nothing_to_see), sheet)
    loaded = _pipeline.cache_info().misses
    parse("CO2 nine point one", extract.start(extract.Setting(units="us")), grammar_of(sheet))
    assert _pipeline.cache_info().misses == loaded
