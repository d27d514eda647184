"""Sound to utterances with the real model, on phrases of espeak-ng, and the promises around it."""

from __future__ import annotations

import re
from itertools import islice, pairwise
from pathlib import Path

import numpy as np
import pytest

from bench.intervals import wilson
from capture import models, sniff
from capture.hear import Recogniser, hear, load_recogniser
from capture.models import find_speech_model
from capture.prompt import NUMBERS, Expected, expected_on, leaks, prompt_of, prompts_of_alarms
from capture.recogniser import _Spoken, _together, same_words
from capture.typed import typed_utterance
from schemas.errors import BadInput
from schemas.evidence import Utterance
from schemas.load import load_sheet
from tests.sounds import RATE, roar, silence, spoken, write

pytestmark = pytest.mark.slow

SHA = "0" * 64
PHRASES = ("The pressure is seven point two inches.", "It is nineteen degrees.", "Thank you.")


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return load_recogniser()


@pytest.fixture(scope="module")
def talk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three phrases, 1.2 s apart, the first after a second of silence."""
    pieces = [silence(1)]
    for text in PHRASES:
        pieces += [spoken(text, speed=140), silence(1.2)]
    return write(tmp_path_factory.mktemp("talk") / "talk.flac", np.concatenate(pieces), form="flac")


@pytest.fixture(scope="module")
def heard(talk: Path, recogniser: Recogniser) -> list[Utterance]:
    return list(hear(talk, SHA, recogniser))


def test_what_is_said_is_heard(heard: list[Utterance]) -> None:
    assert len(heard) == 3
    assert re.search(r"(seven point two|7\.2) inches", heard[0].text)
    assert re.search(r"nineteen|19", heard[1].text)
    assert [u.number for u in heard] == [0, 1, 2]


def test_an_utterance_carries_all_that_doubt_needs(heard: list[Utterance]) -> None:
    first = heard[0]
    assert len(first.hypotheses) > 1
    assert sum(h.mass for h in first.hypotheses) == pytest.approx(1, abs=0.01)
    assert first.text == max(first.hypotheses, key=lambda h: h.mass).text
    assert len({h.text for h in first.hypotheses}) == len(first.hypotheses)
    assert first.second_opinion is not None
    assert "pressure" in first.second_opinion.lower()
    assert first.snr_db is not None
    assert first.snr_db > 30
    assert not first.clipped
    assert first.made_by.model_sha256 == models.find_speech_model().sha256
    assert dict(first.made_by.options)["temperature"] == "0"


def test_word_times_are_right_within_a_second(heard: list[Utterance]) -> None:
    first = heard[0]
    assert first.start == pytest.approx(1, abs=0.2)
    words = first.hypotheses[0].words
    assert "".join(w.text for w in words).replace(" ", "") == first.text.replace(" ", "")
    assert all(a.start <= b.start for a, b in pairwise(words))
    said = len(spoken(PHRASES[0], speed=140)) / 16_000
    seven = next(w for w in words if re.match("seven|7", w.text))
    before = len(spoken("The pressure is", speed=140)) / 16_000
    assert seven.start == pytest.approx(1 + before, abs=0.5)
    assert 0.5 < first.start < words[-1].end < 1 + said + 0.5


def test_the_same_sound_gives_the_same_utterances(talk: Path, recogniser: Recogniser, heard: list[Utterance]) -> None:
    assert list(hear(talk, SHA, recogniser)) == heard


def test_hearing_goes_on_where_it_was_killed(talk: Path, recogniser: Recogniser, heard: list[Utterance]) -> None:
    assert list(hear(talk, SHA, recogniser, skip=2)) == heard[2:]


def test_hearing_is_lazy_and_tells_how_far_it_is(talk: Path, recogniser: Recogniser, heard: list[Utterance]) -> None:
    seconds: list[float] = []
    first = list(islice(hear(talk, SHA, recogniser, progress=seconds.append), 1))
    assert first == heard[:1]
    assert set(seconds) <= {0.0}  # between the steps of the first stretches
    seconds.clear()
    list(hear(talk, SHA, recogniser, progress=seconds.append))
    assert seconds == sorted(seconds)
    assert seconds[-1] == sniff.identify(talk).seconds


def test_what_progress_raises_ends_the_hearing_between_two_steps(talk: Path, recogniser: Recogniser) -> None:
    calls = []

    def give_up(done: float) -> None:
        calls.append(done)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(hear(talk, SHA, recogniser, progress=give_up))
    assert set(calls) == {0.0}


def test_noise_silence_and_a_short_word_invent_nothing(tmp_path: Path, recogniser: Recogniser) -> None:
    assert list(hear(write(tmp_path / "roar.wav", roar(20)), SHA, recogniser)) == []
    assert list(hear(write(tmp_path / "quiet.wav", silence(5)), SHA, recogniser)) == []
    nine = list(hear(write(tmp_path / "nine.wav", spoken("nine", speed=220)), SHA, recogniser))
    assert len(nine) <= 1
    assert all(re.fullmatch(r"\W*(nine|9)\W*", u.text, re.IGNORECASE) for u in nine)


def test_the_prompt_is_made_of_the_sheets_words_with_numbers_that_cannot_be() -> None:
    words = Expected(names=(*(f"word {n}" for n in range(40)), "ambient co2", "rpm", "at rest"))
    prompt = prompt_of(words, lambda text: len(text) < 300)
    assert "ambient C O two, R P M, at rest" in prompt
    assert len(prompt) < 300
    assert "word 0," not in prompt
    assert all(number in prompt for number in NUMBERS)


def test_a_sheets_sentences_come_before_its_words_with_numbers_where_values_stand() -> None:
    talk = (*(f"Sentence {n} is {{}} inches." for n in range(40)), "Low fire.", "High fire, C O two {}, C O {}.")
    prompt = prompt_of(Expected(talk=talk, names=("flue",)), lambda text: len(text) < 400)
    assert re.fullmatch(r"Sentence .* inches\. Low fire\. High fire, C O two [a-z ]+, C O [a-z ]+\.", prompt)
    assert len(prompt) < 400
    assert "{" not in prompt
    assert "flue" not in prompt
    assert all(number in prompt for number in NUMBERS)


def test_the_start_up_sheets_sentences_all_fit_and_a_leak_of_each_number_is_known() -> None:
    sheet = load_sheet("gas-boiler-start-up")[0]
    prompt = dict(load_recogniser(expected=expected_on(sheet)).made_by.options)["prompt"]
    assert prompt.startswith(sheet.talk[0].split("{}")[0])
    assert prompt.count("nine") >= sum(one.count("{}") for one in sheet.talk) // len(NUMBERS)
    assert not any(c.isdigit() for c in " ".join(sheet.talk))
    assert all(leaks(sentence) for sentence in prompt.split(". ") if any(n in sentence for n in NUMBERS))


def test_what_stops_the_work_is_for_the_second_opinion_only() -> None:
    sheet = load_sheet("gas-boiler-start-up")[0]
    expected = expected_on(sheet)
    assert all(stop.expect in expected.aside for stop in sheet.stops)
    assert "alarm" in expected.aside
    assert not leaks(expected.aside)
    assert "alarm is going off" not in prompt_of(expected, lambda text: len(text) < 5000)
    digits = set(re.findall(r"\d", expected.aside.replace("CO2", "").replace("O2", "")))
    assert not digits  # else the second opinion would be told how to write numbers


def test_all_wordings_of_what_stops_the_work_are_listened_for_and_in_no_other_prompt() -> None:
    sheet = load_sheet("gas-boiler-start-up")[0]
    expected = expected_on(sheet)
    prompts = prompts_of_alarms(expected.alarms, lambda text: len(text) < 500)
    assert all(len(prompt) < 500 for prompt in prompts)
    assert all(any(stop.wordings in prompt for prompt in prompts) for stop in sheet.stops)
    assert len(prompts) < sum(bool(stop.wordings) for stop in sheet.stops)
    assert "rotten egg" not in expected.aside + prompt_of(expected, lambda text: len(text) < 5000)
    assert prompts_of_alarms((), lambda text: True) == []


def test_unclear_speech_in_noise_is_listened_to_for_what_stops_the_work() -> None:
    told = load_recogniser(expected=expected_on(load_sheet("gas-boiler-start-up")[0]))
    passes = 2 * sum(name.startswith("prompt of alarms") for name, _ in told.made_by.options)
    said = spoken("My lad reckons he can smell gas by the riser.", voice="en-gb")
    around = np.concatenate([silence(0.4), said, silence(0.4)])
    level = float(np.sqrt(np.mean(said**2))) / 10 ** (8 / 20)
    noisy = told.hear(np.asarray(around + roar(len(around) / RATE, level), np.float32), 0.0)
    assert noisy is not None
    assert 0 < len(noisy.perhaps) <= passes
    assert all(sum(one.mass for one in heard) == pytest.approx(1, abs=0.01) for heard in noisy.perhaps)
    clear = told.hear(around, 0.0)
    assert clear is not None
    assert clear.perhaps == ()


def test_hypotheses_that_differ_in_marks_are_one_and_views_weigh_the_same() -> None:
    def spoken(*texts: tuple[str, float]) -> list[_Spoken]:
        return [_Spoken((1, 2), text, float(np.log(share))) for text, share in texts]

    first = spoken(("Low fire, CO 18", 0.6), ("low fire CO 18.", 0.2), ("Low fire CO 80.", 0.2))
    second = spoken(("Low fire, C O 80.", 0.9), ("low fire, CO 18", 0.1))
    found = {one.text: mass for one, mass in _together([first, second])}
    assert found == {"Low fire, CO 18": 0.45, "Low fire, C O 80.": 0.45, "Low fire CO 80.": 0.1}
    assert same_words("C O two, nine point oh.") == same_words("c o two nine point oh")
    assert same_words("It is 7.2.") != same_words("It is 72.")


def test_a_sheets_words_are_said_once_and_the_conditions_stand_last() -> None:
    sheet = load_sheet("gas-boiler-start-up")[0]
    words = expected_on(sheet).names
    assert words[-1] == sheet.conditions[0].said[0]
    assert {condition.said[0] for condition in sheet.conditions} <= set(words[-len(sheet.conditions) :])
    for n, name in enumerate(words):
        assert not {w for later in words[n + 1 :] for w in later.split()}.issuperset(name.split())


@pytest.mark.parametrize(
    ("text", "leaked"),
    [
        ("Flow, nine thousand and one, return.", True),
        ("Minus seven hundred and one.", True),
        ("It is minus seven point one.", False),
        ("High fire, C O two nine point nine nine.", False),
        ("", False),
    ],
)
def test_a_prompt_that_was_written_down_is_known(text: str, leaked: bool) -> None:
    assert leaks(text) is leaked


def test_a_model_that_is_not_the_measured_one_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(models, "_PACKAGED_SHA256", "0" * 64)
    with pytest.raises(BadInput, match="not the one that was measured"):
        find_speech_model()


def test_a_model_that_is_not_there_is_said_and_not_downloaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HF_HUB_CACHE", str(tmp_path))
    with pytest.raises(BadInput, match=r"no speech model 'medium\.en' on this disk"):
        find_speech_model("medium.en")
    with pytest.raises(BadInput, match=r"holds no model\.bin"):
        find_speech_model(str(tmp_path))


def test_a_models_folder_can_be_given() -> None:
    packaged = find_speech_model()
    given = find_speech_model(str(packaged.folder))
    assert (given.folder, given.sha256) == (packaged.folder, packaged.sha256)


def test_what_is_given_up_is_not_decoded(recogniser: Recogniser, monkeypatch: pytest.MonkeyPatch) -> None:
    decoded: list[object] = []
    monkeypatch.setattr(recogniser, "_generate", lambda *given, **more: decoded.append(given))

    def given_up() -> None:
        raise InterruptedError

    with pytest.raises(InterruptedError):
        recogniser.hear(np.zeros(RATE, np.float32), 0.0, given_up)
    assert not decoded


def test_typed_text_is_certain_of_its_words() -> None:
    utterance = typed_utterance("  high fire   CO2 9.2\n", SHA)
    assert utterance.text == "high fire CO2 9.2"
    assert (utterance.number, utterance.start, utterance.end) == (0, 0.0, 0.0)
    assert [h.mass for h in utterance.hypotheses] == [1.0]
    assert utterance.second_opinion is None


@pytest.mark.parametrize("text", ["", " \n\t", "CO2 9.2\x00", "x" * 5_000])
def test_text_that_cannot_be_used_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        typed_utterance(text, SHA)


@pytest.mark.parametrize(
    ("hits", "total", "low", "high"),
    [(81, 263, 25.53, 36.62), (15, 148, 6.24, 16.05), (0, 20, 0.00, 16.11), (1, 29, 0.61, 17.18)],
)
def test_the_benchs_interval_is_wilsons(hits: int, total: int, low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (values from memory)."""
    assert wilson(hits, total) == pytest.approx((low, high), abs=0.006)
