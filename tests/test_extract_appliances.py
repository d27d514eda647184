"""Which appliance of the job's own list is meant; one that the job does not have is asked, never lost."""

from __future__ import annotations

import pytest

from capture.typed import typed_utterance
from extract import Setting, start, step
from schemas.doubts import DoubtKind
from schemas.job import JobAppliance
from schemas.readings import Reading
from tests.test_extract_talk import grammar, kinds


def said(tags: tuple[str, ...], *texts: str) -> list[Reading]:
    context = start(Setting(units="us", appliances=tuple(JobAppliance(tag=tag) for tag in tags)))
    for n, text in enumerate(texts):
        one = typed_utterance(text, "0" * 64).model_copy(update={"number": n})
        context, _ = step(one, 5.0 * n, context, grammar())
    return list(context.readings.values())


@pytest.mark.parametrize(
    ("tags", "word", "tag"),
    [
        (("B-1", "B-2"), "one", "B-1"),
        (("b1", "b2", "b12"), "two", "b2"),
        (("number one", "number two"), "two", "number two"),
        (("boiler 1", "boiler 2"), "two", "boiler 2"),
        (("boiler",), "one", "boiler"),
    ],
)
def test_a_number_is_that_of_one_tag(tags: tuple[str, ...], word: str, tag: str) -> None:
    (one,) = said(tags, f"Boiler {word}. High fire, CO2 is nine point three.")
    assert (one.appliance, one.taken) == (tag, True)


@pytest.mark.parametrize(
    ("tags", "word"), [(("B-1", "B-2"), "three"), (("boiler",), "two"), (("north", "south"), "one")]
)
def test_an_appliance_that_the_job_does_not_have_is_asked(tags: tuple[str, ...], word: str) -> None:
    (one,) = said(tags, f"Boiler {word}. High fire, CO2 is nine point three.")
    assert (one.appliance, kinds(one)) == (None, {DoubtKind.APPLIANCE_UNCLEAR})


def test_so_is_one_that_is_named_behind() -> None:
    (one,) = said(("B-1", "B-2"), "Boiler one. High fire, CO2 is nine point three.", "That was boiler three.")
    assert kinds(one) == {DoubtKind.APPLIANCE_UNCLEAR}


def test_a_check_of_no_named_one_of_several_is_asked() -> None:
    (one,) = said(("B-1", "B-2"), "High limit test passed.")
    assert kinds(one) == {DoubtKind.APPLIANCE_UNCLEAR}
    (one,) = said(("boiler",), "High limit test passed.")
    assert (one.appliance, one.taken) == ("boiler", True)


@pytest.mark.parametrize("tags", [(), ("1", "2")])
def test_a_value_of_two_appliances_named_together_is_asked_of_each(tags: tuple[str, ...]) -> None:
    """ "Boiler one and two both nine one CO2" was CO2 2 % of boiler one."""
    found = said(tags, "Boiler one and two both nine one CO2 at high fire.")
    assert [(r.appliance, r.value, r.taken) for r in found] == [("1", "9.1", False), ("2", "9.1", False)]
