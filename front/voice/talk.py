"""The rules of the conversation, as a pure state machine: (talk, event) -> (talk, actions). No sound, no clock, no job.

Times are seconds of the session. The loop around it (``front/voice/session.py``) turns sound and the job's changes into
events and carries the actions out; everything about *when* to speak and *what an answer binds to* is decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from front.voice.events import (
    Action,
    Agree,
    Answering,
    Began,
    Changed,
    Edit,
    Ended,
    Event,
    Heard,
    Hush,
    Lost,
    Mark,
    News,
    Note,
    Play,
    Played,
    Playing,
    Say,
    Settle,
    Show,
    Stopped,
    TakeBack,
    Tick,
)
from front.voice.replies import Reply
from front.voice.wording import LIMIT, Asked
from schemas.questions import Candidate

__all__ = ["BARE_S", "Talk", "step"]

BARE_S = 4.0
"""A bare yes or no binds only if it begins within so many seconds of the end of a question."""
CARRIES_S = 12.0
"""An answer that carries its value may take a little longer: a gauge has to be looked at."""
HEARD_ENOUGH_S = 1.0
"""Who interrupts a question sooner than this cannot have heard what it is about."""
TAKE_BACK_S = 8.0
"""Within so many seconds of a value that was taken, and nothing said in between, "take that back" means it."""
COUNT_GAP_S = 5.0
"""Utterances with readings nearer to each other than this are one count."""
COUNT_OVER_S = 2.5
"""So long a pause ends a count; questions wait for it."""
MOST_TIMES = 2
"""A question is said aloud at most so often before its place is left."""

# -- state -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Talk:
    """Where the conversation stands."""

    now: float = 0.0
    person_speaks: bool = False
    tool_until: float = -1e9
    asked: Asked | None = None
    asked_from: float = -1e9
    asked_until: float = -1e9
    """When the question was over; a number of the future while it is being spoken."""
    waiting: tuple[Say, ...] = ()
    saying: Say | None = None
    last_said: Say | None = None
    repeated: str = ""
    """What was said once more because somebody spoke over it."""
    times: dict[tuple[str, ...], int] = field(default_factory=dict)
    """How often the question of a slot was said since it is open."""
    skipped: frozenset[tuple[str, ...]] = frozenset()
    elsewhere: bool = False
    """Whether it was said that the work is at an appliance that the job does not have."""
    denied: frozenset[str] = frozenset()
    """Readings that were left out because a no came when they were said back, until a value is given."""
    held: bool = False
    quiet: bool = False
    """After a stop that was said aloud: nothing more but replies until a person resumes."""
    last_taken: tuple[str, ...] = ()
    last_taken_at: float = -1e9
    last_reading_end: float = -1e9
    count: int = 0
    last_end: float = -1e9
    """Where the utterance that was recognised last ended."""


def step(talk: Talk, event: Event) -> tuple[Talk, tuple[Action, ...]]:
    """Return the conversation after an event, and what is to be done, in order."""
    match event:
        case Began(at):
            talk = replace(talk, now=max(talk.now, at), person_speaks=True)
            if talk.saying is not None and talk.saying.priority > 0:
                return talk, (Hush(),)
            return talk, ()
        case Ended(at):
            return replace(talk, now=max(talk.now, at), person_speaks=False), ()
        case Playing(until):
            return replace(talk, tool_until=until), ()
        case Played():
            return _played(talk, event), ()
        case Answering(say):
            return _queue(talk, say), ()
        case Tick(at):
            return _speak(replace(talk, now=max(talk.now, at)))
        case Heard():
            return _heard(talk, event)
        case Changed():
            return _changed(talk, event)
        case Stopped(at, stops):
            return _stopped(replace(talk, now=max(talk.now, at)), stops)
        case Lost(at, words, back):
            talk = replace(talk, now=max(talk.now, at))
            return _urgent(talk, Say(words, 0, tone=None if back else "hearing lost"))


def _heard(talk: Talk, event: Heard) -> tuple[Talk, tuple[Action, ...]]:
    """Decide whether an utterance is for the tool, and do what it asks."""
    nothing_between = talk.last_taken_at >= talk.last_end
    talk = replace(talk, last_end=max(talk.last_end, event.end))
    if event.own:
        mark = Mark("own voice", note=event.beyond)
        return (_once_more(talk), (mark, Play("nothing kept"))) if event.beyond else (talk, (mark,))
    if event.note is not None:
        return talk, (
            Mark("note", note=event.note),
            Note(event.note),
            Show("only_noted" if event.only_noted else "noted"),
        )
    after = event.start - talk.asked_until
    binds = talk.asked is not None and not event.over
    if event.command is not None:
        if event.over and event.command in ("no", "take_back"):
            return _once_more(talk), (Mark("command"), Play("nothing kept"))
        if event.over and event.command not in ("hold", "say_again", "carry_on"):
            return talk, (Mark("stray"),)
        return _command(talk, event, bare=binds and -0.2 <= after <= BARE_S, fresh=nothing_between)
    listened = event.start - talk.asked_from >= HEARD_ENOUGH_S
    if talk.asked is not None and event.reply is not None and after <= CARRIES_S and listened:
        return _reply(talk, talk.asked, event.reply, event.back or talk.asked)
    return talk, ()


def _command(talk: Talk, event: Heard, *, bare: bool, fresh: bool) -> tuple[Talk, tuple[Action, ...]]:
    asked = talk.asked
    question = asked.question.id if asked and asked.question else None
    if asked is not None and event.command in ("yes", "no", "take_back"):
        talk = _settled(talk, asked)
    if asked is not None and asked.limit:
        return _on_limit(talk, asked, event, bare=bare)
    match event.command:
        case "yes" if bare and asked is not None and asked.question is None and asked.wants == "yes":
            given = replace(talk, asked=None, denied=talk.denied - set(asked.readings))
            return given, (Mark("answer"), Edit(asked.candidates[0]))
        case "yes" if bare and asked is not None and _is_heard(talk, asked):
            return talk, (Mark("command"), Play("taken"))  # it stands anyway
        case "yes" if bare and asked is not None and asked.question is not None:
            if asked.wants in ("yes", "offer"):
                done = replace(talk, asked=None)
                return done, (_answer(asked, asked.candidates[0]), Settle(asked, asked.candidates[0]))
            again = replace(talk, asked_until=1e9)
            return _queue(again, Say(asked.text, 1, asked)), (Mark("command", question),)
        case "no" if asked is not None and asked.question is None and len(asked.readings) == 1:
            return _denied(talk, asked, event, bare=bare)
        case "no" if bare and asked is not None:
            return replace(talk, asked_until=event.end), (Mark("command", question), Show("what_is_it"))
        case "yes" | "no":
            return talk, (Mark("stray"),)
        case "skip" if asked is not None and asked.question is not None:
            skipped = talk.skipped | {asked.slot}
            return replace(talk, asked=None, skipped=skipped), (Mark("command", question), Show("skipped"))
        case "cannot_tell" if bare and asked is not None and asked.question is not None:
            return replace(talk, asked=None), (Mark("answer", question), Settle(asked, None))
        case "take_back":
            return _take_back(talk, event, bare=bare, fresh=fresh)
        case "say_again" if talk.last_said is not None:
            return _queue(talk, replace(talk.last_said, priority=1)), (Mark("command"),)
        case "what_taken" | "what_missing" | "there":
            return talk, (Mark("command"), Show(event.command))
        case "finished":  # the last place is read back as one that is left, with what is missing of the visit
            return talk, (Mark("command"), Show("what_taken"), Show("all_missing"))
        case "hold":
            waits = asked is not None and asked.question is not None
            talk = _ask(talk, asked, again=True) if waits and asked is not None else talk
            return replace(talk, held=True), (Mark("command"), Show("held"))
        case "carry_on" if talk.held or talk.quiet:
            return replace(talk, held=False, quiet=False), (Mark("command"), Show("carried_on"))
        case _:
            return talk, (Mark("stray"),)


def _is_heard(talk: Talk, asked: Asked) -> bool:
    """Say whether one value was said back that stands, and is not asked for."""
    return asked.question is None and len(asked.candidates) == 1 and not talk.denied & set(asked.readings)


def _on_limit(talk: Talk, asked: Asked, event: Heard, *, bare: bool) -> tuple[Talk, tuple[Action, ...]]:
    """Answer a limit that was read back; any other command is what it always is."""
    done = replace(talk, asked=None)
    if event.command in ("yes", "no", "take_back") and bare:
        if event.command != "yes":
            return done, (Mark("command"), Agree((asked.limit,), False), Show("limit_refused"))
        if asked.wants == "yes":
            return done, (Mark("command"), Agree((asked.limit,), True), Play("taken"))
        return _queue(replace(talk, asked_until=1e9), Say(asked.text, 1, asked)), (Mark("command"),)
    return (
        (talk, (Mark("stray"),)) if event.command in ("yes", "no") else _command(done, event, bare=False, fresh=False)
    )


def _once_more(talk: Talk) -> Talk:
    """Say again what somebody spoke over, once: it may have been denied, and is not asked about forever."""
    said = talk.last_said
    if said is None or said.about is None or (talk.repeated == said.text and not _waits(talk, said.about)):
        return talk
    talk = _settled(talk, said.about)
    return _queue(replace(talk, repeated=said.text), replace(said, priority=1))


def _denied(talk: Talk, asked: Asked, event: Heard, *, bare: bool) -> tuple[Talk, tuple[Action, ...]]:
    """A no to one value that was said back: it does not stand any longer, whether or not another is given for it.

    A no too late to bind has it said again, so that it can be denied or corrected.
    """
    if not bare:
        again = replace(talk, asked_until=1e9)
        return _queue(again, Say(asked.text, 1, asked)), (Mark("command"),)
    if talk.denied & set(asked.readings):
        return replace(talk, asked_until=event.end), (Mark("command"), Show("what_is_it"))
    done = replace(talk, asked_until=event.end, last_taken=(), denied=talk.denied | set(asked.readings))
    return done, (Mark("command"), TakeBack(asked.readings), Show("what_is_it"))


def _take_back(talk: Talk, event: Heard, *, bare: bool, fresh: bool) -> tuple[Talk, tuple[Action, ...]]:
    """Take back what the tool has just asked or said, else what was just taken; never anything else in its place."""
    asked = talk.asked
    if asked is not None and bare:
        if len(asked.readings) > 1:
            return replace(talk, asked_until=event.end), (Mark("command"), Show("what_is_it"))
        return replace(talk, last_taken=(), asked=None), (Mark("command"), TakeBack(asked.readings))
    near = event.start - max(talk.last_taken_at, talk.tool_until) <= TAKE_BACK_S
    if asked is None and talk.last_taken and near and fresh:
        return replace(talk, last_taken=()), (Mark("command"), TakeBack(talk.last_taken))
    if asked is not None:
        again = replace(talk, asked_until=1e9)
        return _queue(again, Say(asked.text, 1, asked)), (Mark("command"),)
    if talk.last_taken:
        return talk, (Mark("stray"), Show("stands_still"))
    return talk, (Mark("stray"),) if talk.last_taken_at < 0 else (Mark("stray"), Show("nothing_to_take_back"))


def _reply(talk: Talk, asked: Asked, reply: Reply, back: Asked) -> tuple[Talk, tuple[Action, ...]]:
    """Take an answer that carries a value or names a candidate."""
    talk = _settled(talk, asked)
    if asked.limit:
        if not reply.clear:
            return _ask_back(talk, asked, reply, asked)
        return replace(talk, asked=None), (Mark("answer"), Agree((asked.limit,), True), Play("taken"))
    first = next(one for one in asked.candidates if one.reading == reply.candidate.reading)
    same = (first.value, first.unit) == (reply.candidate.value, reply.candidate.unit)
    denied = reply.denies and (same or reply.kind == "choice")
    # What was offered from the start and is said again is as good as a yes, where a yes is enough and only the hearing
    # was poor. Not so what was only heard in the answers: the same noise makes the same word of the same word.
    offered = asked.question is not None and (first.value, first.unit) in (
        (one.value, one.unit) for one in asked.question.candidates
    )
    again_faintly = same and reply.faint and asked.wants == "yes" and offered
    # Without a no, another value than the one said back may be of something else: it is asked which of them is right.
    instead = asked.question is None and not (same or reply.denies or reply.candidate in asked.candidates)
    instead = instead and reply.candidate.reading not in talk.denied
    if denied or instead or not (reply.clear or again_faintly):
        as_asked = same and reply.kind != "choice" and not (reply.denies and asked.was is not None)
        return _ask_back(talk, asked, reply, asked if as_asked else back)
    talk = replace(talk, asked=None, last_taken=(reply.candidate.reading,), last_taken_at=talk.now)
    if asked.question is not None:
        return talk, (_answer(asked, reply.candidate), Settle(asked, reply.candidate))
    if same and reply.candidate.reading not in talk.denied:
        return talk, (Mark("answer"), Play("taken"))
    return replace(talk, denied=talk.denied - {reply.candidate.reading}), (Mark("answer"), Edit(reply.candidate))


def _answer(asked: Asked, given: Candidate) -> Mark:
    question = asked.question.id if asked.question else None
    return Mark("answer", question, appliance=given.appliance if asked.which_appliance else None)


def _ask_back(talk: Talk, asked: Asked, reply: Reply, again: Asked) -> tuple[Talk, tuple[Action, ...]]:
    """Ask an answer back that settles nothing. A value said back that it denies stands no longer."""
    question = asked.question.id if asked.question else None
    done: tuple[Action, ...] = (Mark("answer", question),)
    either = asked.was is not None and reply.candidate.value == asked.candidates[0].value  # which of them is denied?
    denies = reply.denies and not (either or asked.limit) and question is None and len(asked.readings) == 1
    if denies and not talk.denied & set(asked.readings):
        talk = replace(talk, last_taken=(), denied=talk.denied | set(asked.readings))
        done = (*done, TakeBack(asked.readings))
    times = talk.times.get(asked.slot, 0)
    if times > MOST_TIMES:
        return replace(talk, asked=None), (*done, Show("skipped"))
    talk = replace(talk, times={**talk.times, asked.slot: times + 1}, asked_until=1e9)
    if again is asked and talk.denied & set(asked.readings[:1]):
        return talk, (*done, Show("what_is_it"))
    return _queue(talk, Say(again.text, 1, again)), done


def _changed(talk: Talk, event: Changed) -> tuple[Talk, tuple[Action, ...]]:
    """Tell what an utterance changed: a tone at once; words when nobody speaks."""
    news = event.news
    talk = _renew(talk, news)
    talk, first = _stopped(talk, news.stops)
    actions = list(first)
    if talk.quiet:
        return talk, first
    if news.taken or news.new:
        in_a_row = event.start - talk.last_reading_end < COUNT_GAP_S
        talk = replace(talk, last_reading_end=event.end, count=talk.count + 1 if in_a_row else 1)
    for text in news.gone:
        talk = _queue(talk, Say(text, 1))
    if news.elsewhere and not talk.elsewhere:
        talk = _queue(talk, Say(news.elsewhere, 1))
    talk = replace(talk, elsewhere=bool(news.elsewhere) or (talk.elsewhere and not news.taken))
    for changed in news.replaced:
        talk = _queue(talk, Say(changed.text, 1, changed))
    if news.taken:
        talk = replace(talk, last_taken=news.taken[-1:], last_taken_at=max(talk.now, event.end))
        actions.append(Play("taken"))
    elif news.number and not (_asked_aloud(news) or news.gone or news.replaced or news.limits or event.answered):
        actions.append(Play("nothing kept"))
    for limit, alike in news.limits:
        if talk.asked is not None and talk.asked.limit in alike and event.start >= talk.asked_until:
            actions += [Agree((talk.asked.limit, limit.limit), True), Play("taken")]
            talk = replace(talk, asked=None)
        else:
            talk = _queue(talk, Say(limit.text, 3, limit, tone="question"))
    for back in news.said_back:
        talk = _queue(talk, Say(back.text, 2, back))
    talk = _drop_settled(talk, news)
    for asked in news.questions:
        if news.new & set(asked.readings):
            talk = _ask(talk, asked)
    if news.left is not None:
        for asked in news.left.questions:
            talk = _ask(talk, asked, again=True)
        talk = _queue(talk, Say(news.left.missing, 4)) if news.left.missing else talk
        talk = _queue(talk, Say(news.left.row.text, 4, news.left.row, row=True)) if news.left.row else talk
    return talk, tuple(actions)


def _stopped(talk: Talk, stops: Sequence[tuple[str, str, bool]]) -> tuple[Talk, tuple[Action, ...]]:
    """Tell what stops the work, cutting short whatever is being said; behind one that was said, nothing else waits."""
    actions = list[Action]()
    for _, words, aloud in stops:
        talk, hush = _urgent(replace(talk, quiet=talk.quiet or aloud), Say(words, 0, tone="stop"))
        actions += [one for one in hush if one not in actions]
    if stops and talk.quiet:
        talk = replace(talk, waiting=tuple(say for say in talk.waiting if say.priority == 0))
    return talk, tuple(actions)


def _renew(talk: Talk, news: News) -> Talk:
    """Say nothing of values that do not stand so any more, and let no answer be about them.

    What was denied is still asked for.
    """
    for old, new in news.renewed:
        if old.about is None or (not old.row and talk.denied & set(old.about.readings)):
            continue
        waiting = (new if say == old else say for say in talk.waiting)
        talk = replace(
            talk,
            waiting=tuple(say for say in waiting if say is not None),
            last_said=new if talk.last_said == old else talk.last_said,
            asked=None if talk.asked == old.about else talk.asked,
        )
    return talk


def _asked_aloud(news: News) -> bool:
    return any(news.new & set(asked.readings) for asked in news.questions)


def _ask(talk: Talk, asked: Asked, *, again: bool = False) -> Talk:
    talk = _settled(talk, asked)  # the question says it
    if any(say.about is not None and say.about.question and say.about.slot == asked.slot for say in talk.waiting):
        return talk
    if not again and (talk.times.get(asked.slot, 0) >= MOST_TIMES or asked.slot in talk.skipped):
        return talk
    return _queue(talk, Say(asked.text, 3, asked, tone="question"))


def _drop_settled(talk: Talk, news: News) -> Talk:
    """Forget questions that are not open any more."""
    open_now = {asked.question.id for asked in news.questions if asked.question}

    def stays(asked: Asked | None) -> bool:
        return asked is None or asked.question is None or asked.question.id in open_now

    asked, waiting = talk.asked if stays(talk.asked) else None, [say for say in talk.waiting if stays(say.about)]
    # An answer that was asked back may be about another slot than the question as it stands open.
    slots = {one.slot for one in (*news.questions, asked, *(say.about for say in waiting)) if one is not None}
    return replace(
        talk,
        waiting=tuple(waiting),
        asked=asked,
        times={slot: times for slot, times in talk.times.items() if slot in slots or slot[0] == LIMIT},
        skipped=frozenset(slot for slot in talk.skipped if slot in slots),
    )


def _queue(talk: Talk, say: Say) -> Talk:
    waiting = sorted((*talk.waiting, say), key=lambda one: one.priority)
    return replace(talk, waiting=tuple(waiting))


def _urgent(talk: Talk, say: Say) -> tuple[Talk, tuple[Action, ...]]:
    """Queue what cannot wait until the tool has finished saying something else."""
    cuts = talk.saying is not None and talk.saying.priority > 0
    return _queue(talk, say), (Hush(),) if cuts else ()


def _speak(talk: Talk) -> tuple[Talk, tuple[Action, ...]]:
    """Say the next thing, if it is the moment for it."""
    if talk.asked is not None and talk.now - talk.asked_until > CARRIES_S:
        talk = replace(talk, asked=None)
    if not talk.waiting or talk.saying is not None or talk.now < talk.tool_until:
        return talk, ()
    say = talk.waiting[0]
    if not _is_time(talk, say):
        return talk, ()
    talk = replace(talk, waiting=talk.waiting[1:], saying=say, last_said=say)
    if say.about is not None:
        key = say.about.slot
        times = talk.times if say.priority != 3 else {**talk.times, key: talk.times.get(key, 0) + 1}
        talk = replace(talk, asked=say.about, asked_from=talk.now, asked_until=1e9, times=times)
    return talk, (say,)


def _is_time(talk: Talk, say: Say) -> bool:
    if say.priority == 0:
        return True
    if talk.person_speaks or ((talk.held or talk.quiet) and say.priority > 1):
        return False
    if say.priority >= 3:
        if talk.asked is not None and talk.now - talk.asked_until <= BARE_S:
            return False  # one question at a time
        counting = talk.count > 1 and talk.now - talk.last_reading_end < COUNT_OVER_S
        return not counting
    return True


def _played(talk: Talk, event: Played) -> Talk:
    talk = replace(talk, saying=None, tool_until=event.at, now=max(talk.now, event.at))
    if talk.asked is not None and event.say.about is talk.asked:
        talk = replace(talk, asked_until=event.at)
    if not event.whole and event.say.priority == 3 and talk.times.get(_key(event.say), 0) < MOST_TIMES:
        return _queue(talk, event.say)  # whoever interrupted may answer it; else it is said again
    if not event.whole and event.say.priority in (1, 2) and _is_value(event.say) and talk.repeated != event.say.text:
        # Once more, when the count that it was said into is over: who went on reading has not heard it.
        return _queue(replace(talk, repeated=event.say.text), replace(event.say, priority=3))
    return talk


def _settled(talk: Talk, asked: Asked) -> Talk:
    """Say no value once more of which something is said in answer."""
    said = _waits(talk, asked)
    return replace(talk, waiting=tuple(say for say in talk.waiting if say not in said))


def _waits(talk: Talk, asked: Asked) -> tuple[Say, ...]:
    """Return the values that wait to be said of what was asked or said."""
    readings = set(asked.readings)
    return tuple(say for say in talk.waiting if say.about and _is_value(say) and readings & set(say.about.readings))


def _is_value(say: Say) -> bool:
    """Say whether one value is said back, or said with what stood there."""
    about = say.about
    return about is not None and about.question is None and not (about.limit or say.row) and say.text == about.text


def _key(say: Say) -> tuple[str, ...]:
    return say.about.slot if say.about is not None else ()
