"""Ways of hearing that differ in more than the number: place, appliance, unit, quantity, denial. Each asks."""

from __future__ import annotations

import pytest

from extract import Setting, start, step
from schemas.evidence import Hypothesis, MadeBy, Utterance
from schemas.job import JobAppliance
from schemas.readings import Reading
from tests.test_extract_talk import grammar, heard

BY = MadeBy(reader="test", version="1")


def two_ways(best: str, other: str, second: str) -> Utterance:
    """An utterance of which half the hypotheses, and the second opinion, have something else than the best."""
    return Utterance(
        evidence="e" * 64, number=1, start=5.0, end=7.0, made_by=BY, second_opinion=second,
        hypotheses=(Hypothesis(text=best, mass=0.5), Hypothesis(text=other, mass=0.5)),
    )  # fmt: skip


def readings(*told: str | Utterance, tags: tuple[str, ...] = ()) -> list[Reading]:
    context = start(Setting(units="us", appliances=tuple(JobAppliance(tag=tag) for tag in tags)))
    for n, one in enumerate(told):
        utterance = one if isinstance(one, Utterance) else heard(one, n)
        context, _ = step(utterance, 5.0 * n, context, grammar())
    return list(context.live())


@pytest.mark.parametrize(
    ("best", "other", "second"),
    [
        ("Supply one sixty.", "Return one sixty.", "Return 160."),
        ("Inlet twenty millibar.", "Inlet twenty inches.", "Inlet 20 inches."),
        ("CO eighty.", "CO air free eighty.", "CO air free 80."),
        ("CO2 nine point three.", "CO2 not nine point three.", "CO2 not 9.3."),
        ("CO2 nine point three.", "CO2 should be nine point three.", "CO2 should be 9.3."),
    ],
)
def test_the_same_number_as_something_else_is_asked(best: str, other: str, second: str) -> None:
    assert [r.taken for r in readings("High fire.", two_ways(best, other, second))][:1] == [False]


def test_ways_that_agree_are_taken() -> None:
    assert [r.taken for r in readings("High fire.", two_ways("Supply one sixty.", "supply 160", "Supply 160."))] == [
        True
    ]


def test_what_is_read_where_only_some_heard_it_go_is_asked() -> None:
    going = two_ways("Low fire.", "High fire.", "High fire.")
    assert [r.taken for r in readings("High fire, CO2 nine point three.", going, "O2 four point four.")] == [
        True, False,
    ]  # fmt: skip


def test_the_appliance_that_only_some_heard_is_asked() -> None:
    first = "Boiler one high fire CO2 nine point three."
    going = two_ways("Boiler two.", "Boiler one.", "Boiler one.")
    assert [r.taken for r in readings(first, going, "O2 four point four.", tags=("one", "two"))] == [True, False]
    within = two_ways("Boiler two high fire O2 four four.", "Boiler one high fire O2 four four.", "Boiler one O2 4.4.")
    assert [r.taken for r in readings(first, within, tags=("one", "two"))] == [True, False]


def test_on_two_is_the_second_of_two() -> None:
    found = readings("Boiler one high fire CO2 nine point three.", "On two nine point one.", tags=("one", "two"))
    assert [(r.appliance, r.quantity, r.value) for r in found] == [("one", "co2", "9.3"), ("two", "co2", "9.1")]


def test_a_correction_that_the_best_way_of_hearing_lost_is_asked() -> None:
    """ "Know that's the static." was "No, that's the static."."""
    behind = Utterance(
        evidence="e" * 64, number=1, start=5.0, end=7.0, made_by=BY, second_opinion="No, that's the static.",
        hypotheses=(Hypothesis(text="Know that's the static.", mass=1.0),),
    )  # fmt: skip
    assert [r.taken for r in readings("Inlet at high fire is seven nine.", behind)] == [False]


def test_a_name_that_the_second_opinion_has_too_stands_against_other_hypotheses() -> None:
    """ "Flow" for "flue" in half of the hypotheses says nothing where both opinions have "flue"."""
    one = two_ways("Flue one twelve.", "Flow one twelve.", "Flue 112.")
    assert [r.taken for r in readings("High fire.", one)] == [True]
    other = two_ways("Flow one twelve.", "Flue one twelve.", "Flue 112.")
    assert not any(r.taken for r in readings("High fire.", other))


def test_readings_from_before_the_second_boiler_was_named_are_asked_whose_they_are() -> None:
    found = readings("High fire, CO2 nine point three.", "Boiler two.", "CO2 nine point one.")
    assert [(r.appliance, r.taken) for r in found] == [(None, False), ("2", True)]


@pytest.mark.parametrize(
    ("snr_db", "clipped", "second", "taken"),
    [(0.0, False, None, False), (25.0, True, None, False), (0.0, False, "CO2 9.3", True), (25.0, False, None, True)],
)
def test_in_noise_or_clipped_only_what_is_confirmed_is_taken(
    snr_db: float, clipped: bool, second: str | None, taken: bool
) -> None:
    one = Utterance(
        evidence="e" * 64, number=1, start=5.0, end=7.0, made_by=BY, second_opinion=second, snr_db=snr_db,
        clipped=clipped, hypotheses=(Hypothesis(text="CO2 nine point three.", mass=1.0),),
    )  # fmt: skip
    assert [r.taken for r in readings("High fire.", one)] == [taken]
