"""Words of everyday talk beside what is read: they delete nothing, pass no check, and move the work nowhere."""

from __future__ import annotations

import pytest

from schemas.readings import Alarm
from tests.test_extract_banter import placed
from tests.test_extract_talk import talk
from tests.test_extract_told import plainly, told


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("Ambient CO is forty five, the neighbours want to know.", [("ambient_co", "45")]),
        ("High fire CO five hundred, flat above is complaining.", [("co", "500")]),
        ("It was serviced on Friday, ambient CO is sixty ppm.", [("ambient_co", "60")]),
        ("We came on Monday to do this, high fire CO2 nine two.", [("co2", "9.2")]),
        ("Next service on Wednesday, high fire CO2 nine two, CO sixty.", [("co2", "9.2"), ("co", "60")]),
        ("CO alarm from the neighbour, CO in here forty five.", [("ambient_co", "45")]),
        ("The commissioning figures, high fire CO2 nine two.", [("co2", "9.2")]),
    ],
)
def test_neighbours_and_weekdays_delete_no_value_that_stands_beside_them(
    text: str, readings: list[tuple[str, str]]
) -> None:
    assert [(r.quantity, r.value) for r in told(text)] == readings


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("CO sixty in the flat above.", "60"),
        ("Ambient CO sixty at the neighbour's.", "60"),
        ("High fire CO2 nine two on Friday.", "9.2"),
    ],
)
def test_a_value_told_of_a_neighbour_or_of_a_weekday_is_asked(text: str, value: str) -> None:
    assert [(r.value, r.taken) for r in told(text)] == [(value, False)]


@pytest.mark.parametrize(
    "text",
    [
        "Low water cut out is stuck.",
        "Low water cut out is broken.",
        "Low water cut out is missing.",
        "High limit cut out but the burner came back on.",
        "High limit trips for no reason.",
        "The high limit trips out every morning.",
        "High limit cuts out when it shouldn't.",
        "High limit locked out this morning.",
        "Flame failure locks out on start up.",
        "Flame failure locked out three times.",
        "Air proving cut out, dirty tube.",
        "Somebody hit the emergency button and killed it.",
        "Low water probe cut out wire.",
    ],
)
def test_what_trips_or_cuts_out_of_itself_passes_no_check(text: str) -> None:
    assert not any(r.taken for r in told(text))


@pytest.mark.parametrize(
    "text",
    [
        "Gas safety valve okay.",
        "Both safety valves are good.",
        "Pressure reducing valve PRV is in place.",
        "PRV set to twelve psi, good.",
    ],
)
def test_other_valves_are_not_the_relief_valve(text: str) -> None:
    assert not any(r.taken for r in told(text))


def test_what_trips_behind_a_checks_bare_name_is_asked() -> None:
    assert plainly("High limit.", "It tripped this morning.") == [("high_limit_test", "passed", False)]


@pytest.mark.parametrize(
    "text",
    [
        "High fire CO from five hundred to three hundred.",
        "High fire CO2 goes from nine eight to nine three and back.",
        "High fire fan speed from four thousand to three thousand.",
    ],
)
def test_a_range_told_downwards_is_asked_whole(text: str) -> None:
    (reading,) = told(text)
    assert not reading.taken
    assert reading.alternatives


@pytest.mark.parametrize(
    "behind", ["it's negative pressure in the room", "it's a minus adjustment", "that's minus the draft"]
)
def test_a_minus_that_is_of_something_else_is_no_sign(behind: str) -> None:
    assert placed(f"Low fire offset pressure point oh two, {behind}.") == [
        ("outlet_pressure", "low_fire", "0.02", False)
    ]


@pytest.mark.parametrize(
    ("text", "stop", "check"),
    [
        ("Leak test, bubbles nowhere but the union.", "gas_leak", "leak_test"),
        ("Leak test, bubbles nowhere except the meter union.", "gas_leak", "leak_test"),
        ("Leak test, nothing bubbling but the cock is passing.", "gas_leak", "leak_test"),
        ("Tightness test, loss of zero point four psi.", "tightness_drop", "tightness_test"),
        ("Tightness test, loss of nothing to speak of, two millibar.", "tightness_drop", "tightness_test"),
        ("Tightness test, a drop of nothing but it's fallen since.", "tightness_drop", "tightness_test"),
        ("Tightness test, drop of nothing in two minutes, but it's fallen since.", "tightness_drop", "tightness_test"),
        ("Tightness test, drop of none too much, three millibar.", "tightness_drop", "leak_test"),
        ("Leak recheck, not a bubble except at the union.", "", "leak_recheck"),
        ("Nothing bubbling on the leak test yet.", "", "leak_test"),
    ],
)
def test_nothing_with_an_exception_behind_it_keeps_its_stop_and_passes_no_check(
    text: str, stop: str, check: str
) -> None:
    context, operations = talk(text)
    assert [o.stop for o in operations if isinstance(o, Alarm)] == [stop] * bool(stop)
    assert (check, "passed") not in [(r.quantity, r.value) for r in context.live()]


@pytest.mark.parametrize(
    "text",
    [
        "Let's put CO2 at eight eight on low fire.",
        "Let's put high fire CO2 at nine two and see.",
        "Let's record high fire CO2 at nine two once it settles.",
        "Let's log high fire CO2 at nine two and see.",
    ],
)
def test_what_is_to_be_tried_or_waited_for_is_no_reading(text: str) -> None:
    assert not told(text)


@pytest.mark.parametrize(
    "text",
    ["It lit up the display.", "Burner went off the deep end.", "Wait till it caught up.", "There she goes."],
)
def test_everyday_talk_moves_the_work_nowhere(text: str) -> None:
    assert placed("High fire.", text, "Inlet six eight.") == [("inlet_pressure", "high_fire", "6.8", True)]


def test_a_post_that_something_hangs_on_is_no_phase() -> None:
    assert [r.phase for r in told("High fire CO2 nine two with it on the post.")] == [""]
    assert [r.phase for r in told("High fire CO2 pre nine eight, post nine one.")] == ["before", "after"]
