"""The instrument's own averages, held values, labels that say more: no further row, no present value, no plain CO."""

from __future__ import annotations

import pytest

from schemas.doubts import LABEL_TWICE, Doubt, DoubtKind
from schemas.evidence import Figure, Look
from schemas.readings import Reading
from tests.test_extract_looks import after, at_row, bound, figure, look, printed

TWICE = (Doubt(kind=DoubtKind.QUANTITY_UNCLEAR, detail=LABEL_TWICE),)


def read(picture: Look) -> list[Reading]:
    return bound(picture, 6.0, after("High fire."))


def told(readings: list[Reading]) -> list[tuple[str | None, str, str, list[str]]]:
    return [(r.quantity, r.value, r.note, [d.kind.value for d in r.doubts]) for r in readings]


def rows(*values: str, label: str = "CO2", unit: str = "%", start: int = 20) -> list[Figure]:
    return [
        figure(label, value, unit, box=at_row(start + 10 * n), doubts=TWICE if len(values) > 1 else ())
        for n, value in enumerate(values)
    ]


@pytest.mark.parametrize("label", ["Mean CO2", "CO2 avg.", "CO2 (avg)", "Ø CO2"])
def test_an_average_stands_for_the_values_that_it_is_the_mean_of(label: str) -> None:
    picture = look(*rows("9.3", "9.5"), figure(label, "9.4", "%"), display="slip")
    (one,) = read(picture)
    assert told([one]) == [("co2", "9.4", "the instrument's own average of 9.3 and 9.5", [])]
    assert "is the mean of the values printed with it" in one.passed


def test_an_average_that_is_not_the_mean_is_one_question() -> None:
    picture = look(*rows("9.3", "9.5", "9.4"), figure("Mean CO2", "9.7", "%"), display="slip")
    (one,) = read(picture)
    assert told([one])[0][:2] == ("co2", "9.7")
    assert [d.detail for d in one.doubts] == [
        "the picture shows it as the average of 9.3, 9.5 and 9.4, and their mean is 9.4"
    ]
    assert [a.value for a in one.alternatives] == ["9.3", "9.5", "9.4"]


@pytest.mark.parametrize(("shown", "asked"), [("76", False), ("77", False), ("98", True)])
def test_beside_an_average_one_value_alone_stands(shown: str, asked: bool) -> None:
    (one,) = read(look(figure("CO", "76", "ppm"), figure("CO AVG", shown, "ppm")))
    assert (one.value, one.taken, one.note) == ("76", not asked, "")
    assert [a.value for a in one.alternatives] == ([shown] if asked else [])


def test_an_average_alone_is_told_as_one() -> None:
    assert told(read(look(figure("Eff net avg", "97.1", "%")))) == [
        ("efficiency", "97.1", "net, the instrument's own average", [])
    ]


def test_the_heading_of_a_block_makes_averages() -> None:
    figures = [
        figure("Measurement", "1", box=at_row(10)), *rows("9.3", start=20), figure("Measurement", "2", box=at_row(30)),
        *rows("9.5", start=40), *rows("9.4", start=60),
    ]  # fmt: skip
    picture = printed(look(*figures, display="slip"), ("AVERAGE VALUES", 50))
    assert told(read(picture)) == [("co2", "9.4", "the instrument's own average of 9.3 and 9.5", [])]
    last = printed(look(*rows("9.4", start=20), *rows("9.3", "9.5", start=50), display="slip"), ("Average", 10))
    twice = last.model_copy(update={"printed": (*last.printed, ("Single measurements", at_row(40)))})
    assert told(read(twice)) == [("co2", "9.4", "the instrument's own average of 9.3 and 9.5", [])]


def test_firing_rates_part_averages_from_single_values() -> None:
    picture = look(*rows("9.4", start=30), *rows("8.7", start=50), display="slip")
    rates = [("AVERAGE", 10), ("HIGH FIRE", 20), ("LOW FIRE", 40)]
    assert [(r.condition, r.note) for r in read(printed(picture, *rates))] == [
        ("high_fire", "the instrument's own average"), ("low_fire", ""),
    ]  # fmt: skip


def test_a_held_value_is_not_the_present_one() -> None:
    assert told(read(look(figure("CO", "76", "ppm"), figure("CO max", "120", "ppm")))) == [("co", "76", "", [])]
    assert told(read(look(figure("CO max", "120", "ppm")))) == [("co", "120", "", ["value not clear"])]


def test_what_a_plate_gives_as_the_highest_is_no_reading() -> None:
    plate = look(figure("Max gas inlet pressure", "20", "mbar"), figure("CO2 max", "9.8", "%"), display="plate")
    assert read(plate) == []


@pytest.mark.parametrize(
    ("text", "row", "asked"),
    [
        ("HOLD", 34, True), ("MAX", 34, True), ("NOW MAX MIN", 34, True),
        ("HOLD", 90, False),  # a key of the instrument
        ("Press HOLD to freeze", 34, False), ("BAT", 34, False),
    ],
)  # fmt: skip
def test_what_a_display_marks_as_held_is_asked(text: str, row: int, asked: bool) -> None:
    for display, label in (("segments", ""), ("screen", "CO2")):
        picture = printed(look(figure(label, "9.3", "%", box=at_row(40)), display=display), (text, row))
        (one,) = bound(picture, 6.0, after("High fire.", "CO2 is"))
        assert (one.quantity, one.taken) == ("co2", not asked)


@pytest.mark.parametrize(
    ("label", "unit", "quantity"),
    [
        ("CO undil.", "ppm", "co_air_free"), ("CO sensor", "", "co"), ("CO corr", "ppm", "co"), ("COcorr", "ppm", "co"),
        ("CO ref 3 %", "ppm", "co"), ("COREF", "ppm", "co"), ("Flue gas O2", "%", "o2"), ("O2 ref", "%", None),
        ("COUNT", "", None), ("Cooling", "°C", None), ("Flue dew point", "°C", None), ("NO corr", "ppm", None),
    ],
)  # fmt: skip
def test_a_label_that_says_more_is_asked_and_never_lost(label: str, unit: str, quantity: str | None) -> None:
    found = read(look(figure("CO2", "9.3", "%"), figure(label, "4", unit)))
    assert found[0].taken
    assert [r.quantity for r in found[1:]] == ([quantity] if quantity else [])
    assert [r.taken for r in found[1:]] == ([quantity == "co_air_free"] if quantity else [])


def test_a_label_that_says_more_leaves_the_plain_one_alone() -> None:
    plain, more = read(look(figure("CO", "76", "ppm"), figure("CO corr", "96", "ppm")))
    assert (plain.value, plain.taken) == ("76", True)
    assert more.doubts[0].kind == DoubtKind.QUANTITY_UNCLEAR
    assert more.alternatives[0].quantity == "co_air_free"


def test_co_in_per_cent_is_asked_with_what_it_is_in_parts() -> None:
    (one,) = read(look(figure("CO", "0.0076", "%")))
    assert [d.kind for d in one.doubts] == [DoubtKind.UNIT_UNCLEAR]
    assert (one.alternatives[0].value, one.alternatives[0].unit) == ("76", "[ppm]")
