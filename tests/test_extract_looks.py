"""Figures of photos bound to quantities: by label, by unit, by the moment; what does not say what it is gets asked."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from extract import Context, Grammar, Known, Setting, bind_look, compile_sheet, start, step
from schemas.doubts import Doubt, DoubtKind
from schemas.evidence import Box, Figure, Hypothesis, Look, MadeBy, Utterance
from schemas.job import JobAppliance
from schemas.load import load_sheet
from schemas.readings import Reading

BY = MadeBy(reader="test", version="1")
BOX = Box(corners=((0, 0), (10, 0), (10, 5), (0, 5)))


@cache
def grammar() -> Grammar:
    return compile_sheet(load_sheet("gas-boiler-start-up")[0])


def figure(label: str, value: str, unit: str = "", **more: object) -> Figure:
    return Figure.model_validate({"label": label, "value": value, "unit": unit, "box": BOX, **more})


def look(*figures: Figure, display: str = "screen") -> Look:
    return Look.model_validate(
        {"evidence": "c" * 64, "display": display, "width": 100, "height": 80, "figures": figures, "made_by": (BY,)}
    )


def after(*texts: str) -> Context:
    context = start(Setting(units="us"))
    for n, text in enumerate(texts):
        u = Utterance(
            evidence="d" * 64, number=n, start=5.0 * n, end=5.0 * n + 3, hypotheses=(Hypothesis(text=text, mass=1.0),),
            made_by=BY,
        )  # fmt: skip
        context, _ = step(u, 5.0 * n, context, grammar())
    return context


def bound(picture: Look, at: float | None, context: Context) -> list[Reading]:
    found, _ = bind_look(picture, at, context, grammar())
    return [r for r in found.readings.values() if r.source.box is not None]


def test_looks_labels_and_running_condition() -> None:
    picture = look(
        figure("CO2", "9.3", "%"), figure("O₂", "4.4", "%"), figure("CO", "76", "ppm"),
        figure("Flue temp", "112", "°F"), figure("CO air-free", "96", "ppm"),
        figure("Efficiency (gross)", "93.4", "%"), figure("Losses", "6.6", "%"),
    )  # fmt: skip
    found = bound(picture, 6.0, after("Going to high fire."))
    assert [(r.quantity, r.condition, r.value, r.unit) for r in found] == [
        ("co2", "high_fire", "9.3", "%"), ("o2", "high_fire", "4.4", "%"), ("co", "high_fire", "76", "[ppm]"),
        ("flue_temp", "high_fire", "112", "[degF]"), ("co_air_free", "high_fire", "96", "[ppm]"),
        ("efficiency", "high_fire", "93.4", "%"),
    ]  # fmt: skip
    assert all(r.taken for r in found)


def test_looks_without_a_time_ask_for_the_condition() -> None:
    (r,) = bound(look(figure("CO2", "9.3", "%")), None, after("Going to high fire."))
    assert [d.kind for d in r.doubts] == [DoubtKind.CONDITION_UNCLEAR]


def test_looks_bare_number_said_at_that_moment() -> None:
    picture = look(figure("", "7.9", "in. w.c."), display="segments")
    (r,) = bound(picture, 8.0, after("Static inlet seven point nine."))
    assert (r.quantity, r.condition, r.taken) == ("inlet_pressure", "static", True)
    (r,) = bound(picture, 300.0, after("Static inlet seven point nine."))
    assert DoubtKind.QUANTITY_UNCLEAR in {d.kind for d in r.doubts}


def test_looks_bare_number_announced() -> None:
    picture = look(figure("", "7.1", "in. w.c."), display="segments")
    (r,) = bound(picture, 8.0, after("High fire.", "Inlet pressure is"))
    assert (r.quantity, r.condition, r.taken) == ("inlet_pressure", "high_fire", True)


def test_looks_bare_number_named_by_what_is_said_after() -> None:
    context, _ = bind_look(look(figure("", "7.9", "in. w.c.")), 3.0, start(Setting(units="us")), grammar())
    u = Utterance(
        evidence="e" * 64, number=0, start=10.0, end=12.0, made_by=BY,
        hypotheses=(Hypothesis(text="Static inlet seven point nine.", mass=1.0),),
    )  # fmt: skip
    context, _ = step(u, 10.0, context, grammar())
    shown = next(r for r in context.readings.values() if r.source.box is not None)
    assert (shown.quantity, shown.condition, shown.taken) == ("inlet_pressure", "static", True)


def test_looks_what_is_said_later_takes_no_value_from_a_picture_without_a_moment() -> None:
    context, _ = bind_look(look(figure("CO2", "9.3", "%")), None, after("High fire."), grammar())
    u = Utterance(
        evidence="e" * 64, number=0, start=10.0, end=12.0, hypotheses=(Hypothesis(text="CO2 9.3.", mass=1.0),),
        made_by=BY,
    )  # fmt: skip
    context, _ = step(u, 10.0, context, grammar())
    assert sorted(r.source.box is not None for r in context.readings.values()) == [False, True]


def test_looks_keep_the_readers_own_doubts_and_alternatives() -> None:
    unsure = figure("CO", "86", "ppm", alternatives=("66",), doubts=(Doubt(kind=DoubtKind.DIGIT_UNSURE),))
    (r,) = bound(look(unsure), 6.0, after("High fire."))
    assert [d.kind for d in r.doubts] == [DoubtKind.DIGIT_UNSURE]
    assert [a.value for a in r.alternatives] == ["66"]


def test_looks_what_cannot_be_is_asked() -> None:
    co2, co = bound(look(figure("CO2", "93", "%"), figure("CO", "OL", "ppm")), 6.0, after("High fire."))
    assert [d.kind for d in co2.doubts] == [DoubtKind.IMPOSSIBLE]
    assert (co.value, co.unit, [d.kind for d in co.doubts]) == ("over range", "[ppm]", [DoubtKind.VALUE_UNCLEAR])


@pytest.mark.parametrize(
    ("label", "unit", "quantity", "doubts"),
    [
        ("CO (ppm)", "", "co", []), ("CO (air free)", "ppm", "co_air_free", []), ("CO (amb)", "ppm", "ambient_co", []),
        ("CO (corr)", "ppm", "co", [DoubtKind.QUANTITY_UNCLEAR]), ("CO", "mg/m3", "co", [DoubtKind.UNIT_UNCLEAR]),
        ("CO (3%)", "ppm", "co", [DoubtKind.QUANTITY_UNCLEAR]),
        ("CO (0% O2)", "ppm", "co", [DoubtKind.QUANTITY_UNCLEAR]),
        ("Efficiency (net)", "%", "efficiency", []), ("Eff (corr)", "%", "efficiency", [DoubtKind.QUANTITY_UNCLEAR]),
    ],
)  # fmt: skip
def test_looks_what_stands_in_brackets_counts(label: str, unit: str, quantity: str, doubts: list[DoubtKind]) -> None:
    (r,) = bound(look(figure(label, "85", unit)), 6.0, after("High fire."))
    assert (r.quantity, [d.kind for d in r.doubts]) == (quantity, doubts)


def at_row(row: int) -> Box:
    return Box(corners=((0, row), (9, row), (9, row + 8), (0, row + 8)))


def printed(picture: Look, *texts: tuple[str, int]) -> Look:
    return picture.model_copy(update={"printed": tuple((text, at_row(row)) for text, row in texts)})


def test_looks_a_label_without_a_value_is_asked() -> None:
    picture = printed(look(figure("CO2", "9.3", "%")), ("CO --- ppm", 20), ("T flue OVER °F", 30), ("CO2 %", 40))
    co2, co, flue = bound(picture, 6.0, after("High fire."))
    assert co2.taken
    assert (co.quantity, co.value, [d.kind for d in co.doubts]) == ("co", "", [DoubtKind.VALUE_UNCLEAR])
    assert (flue.quantity, flue.value, flue.unit) == ("flue_temp", "over range", "[degF]")
    assert [d.kind for d in flue.doubts] == [DoubtKind.VALUE_UNCLEAR]


def test_looks_firing_rates_on_a_print_part_its_figures() -> None:
    rows = look(figure("CO2", "9.3", "%", box=at_row(20)), figure("CO", "12", "ppm", box=at_row(40)), display="slip")
    both = printed(rows, ("HIGH FIRE", 10), ("LOW FIRE", 30))
    found = bound(both, 6.0, after("High fire."))
    assert [(r.condition, [d.kind for d in r.doubts]) for r in found] == [
        ("high_fire", [DoubtKind.CONDITION_UNCLEAR]), ("low_fire", [DoubtKind.CONDITION_UNCLEAR]),
    ]  # fmt: skip
    below = printed(rows, ("HIGH FIRE", 30), ("LOW FIRE", 50))
    assert [r.condition for r in bound(below, 6.0, after("High fire."))] == [None, "high_fire"]
    held = printed(look(figure("CO2", "9.3", "%")), ("MAX", 10))
    assert bound(held, 6.0, after("Low fire."))[0].condition == "low_fire"  # a held value's word is no firing rate


def test_looks_a_plate_without_a_moment_is_of_no_appliance_of_several() -> None:
    two = tuple(JobAppliance(tag=f"boiler {n}") for n in (1, 2))
    plate = look(figure("SERIAL NO", "OV7-1"), display="plate")
    (r,) = bound(plate, None, replace(start(Setting(units="us", appliances=two)), appliance="boiler 2"))
    assert (r.appliance, [d.kind for d in r.doubts]) == (None, [DoubtKind.APPLIANCE_UNCLEAR])
    (r,) = bound(plate, 1.0, replace(start(Setting(units="us", appliances=two)), appliance="boiler 2"))
    assert (r.appliance, r.taken) == ("boiler 2", True)


def test_looks_a_time_of_day_is_no_reading() -> None:
    clock = printed(look(figure("", "9.30"), display="segments"), ("9:30", 10))
    assert bound(clock, 6.0, after("High fire.", "CO2 is")) == []
    assert bound(look(figure("", "12:45"), display="segments"), 6.0, after("High fire.")) == []
    assert len(bound(look(figure("", "9.30", "%"), display="segments"), 6.0, after("High fire.", "CO2 is"))) == 1


def test_looks_impossible_pair_is_asked() -> None:
    found = bound(look(figure("CO2", "9.3", "%"), figure("O2", "9.4", "%")), 6.0, after("High fire."))
    assert DoubtKind.RELATION in {d.kind for d in found[-1].doubts}


def test_looks_plate_values() -> None:
    plate = look(
        figure("MODEL", "OV-240C"), figure("GAS TYPE", "NATURAL GAS"), figure("INPUT MAX", "240,000", "Btu/h"),
        figure("INLET PRESSURE MAX", "14.0", "in. w.c."), display="plate",
    )  # fmt: skip
    found = {r.quantity: (r.value, r.taken) for r in bound(plate, None, start(Setting(units="us")))}
    assert found["model"] == ("OV-240C", True)
    assert found["input_max"] == ("240000", True)
    assert found["inlet_pressure_max"] == ("14.0", True)


def test_looks_plate_is_weighed_against_the_appliance_file() -> None:
    """A plate that says what the file says needs no question; one that says otherwise is asked though read surely."""
    unsure = Doubt(kind=DoubtKind.DIGIT_UNSURE)
    words = Doubt(kind=DoubtKind.TO_CONFIRM)
    known = (
        Known("boiler", "model", "OV-240C", ""), Known("boiler", "input_max", "240000", "[Btu_IT]/h"),
        Known("boiler", "input_min", "60000", "[Btu_IT]/h"), Known("boiler", "fuel", "natural_gas", ""),
    )  # fmt: skip
    plate = look(
        figure("MODEL", "OV 240C", doubts=(words,)), figure("INPUT MAX", "240,000", "Btu/h", doubts=(unsure,)),
        figure("INPUT MIN", "66,000", "Btu/h"), figure("GAS", "PROPANE"), display="plate",
    )  # fmt: skip
    found = {r.quantity: r for r in bound(plate, None, start(Setting(units="us", known=known)))}
    assert found["model"].taken
    assert found["input_max"].taken
    assert "agrees with the appliance file" in found["input_max"].passed
    for quantity in ("input_min", "fuel"):
        assert DoubtKind.SOURCES_DISAGREE in {doubt.kind for doubt in found[quantity].doubts}


def test_looks_one_quantity_twice_in_a_picture_is_asked() -> None:
    """A CO2 that lost its C: two O2 of different value, of which one is none."""
    picture = look(figure("O2", "9.3", "%"), figure("O2", "4.4", "%"))
    found = bound(picture, 6.0, after("Going to high fire."))
    assert len(found) == 2
    for reading in found:
        assert DoubtKind.QUANTITY_UNCLEAR in {doubt.kind for doubt in reading.doubts}


def test_looks_label_with_a_nought_for_a_letter_is_asked_not_lost() -> None:
    found = bound(look(figure("C02", "9.3", "%"), figure("02", "4.4", "%")), 6.0, after("Going to high fire."))
    assert [(r.quantity, r.value, r.taken) for r in found] == [("co2", "9.3", False), ("o2", "4.4", False)]


def test_looks_label_nearly_known_is_one_question_not_lost() -> None:
    """A label that is on no list and one letter away from one of the sheet's; NO is in the trade's list and no CO."""
    picture = look(
        figure("CD", "76", "ppm"),
        figure("NO", "31", "ppm"),
        figure("Eft", "93.4", "%"),
        figure("Fue temp", "112", "°F"),
    )
    found = bound(picture, 6.0, after("Going to high fire."))
    assert [(r.quantity, r.value, r.taken) for r in found] == [
        ("co", "76", False), ("efficiency", "93.4", False), ("flue_temp", "112", False),
    ]  # fmt: skip
    assert all(r.source.box == BOX for r in found)


def test_looks_short_words_of_displays_are_the_sheets() -> None:
    picture = look(figure("T flue", "112", "°F"), figure("CO amb", "2", "ppm"), figure("Dew pt", "49.3", "°C"))
    found = bound(picture, 6.0, after("Going to high fire."))
    assert [(r.quantity, r.taken) for r in found] == [("flue_temp", True), ("ambient_co", True)]


def test_looks_figures_that_fit_nothing_are_one_question() -> None:
    """A number that no quantity can be, and on a slip a value whose label is gone; not its counter, copy or date."""
    (r,) = bound(look(figure("", "8888", "in. w.c."), display="segments"), 8.0, after("High fire."))
    assert (r.quantity, r.value, r.taken) == (None, "8888", False)
    unread = Doubt(kind=DoubtKind.QUANTITY_UNCLEAR)
    slip = look(
        figure("CO2", "9.3", "%"), figure("", "412", "", doubts=(unread,)), figure("Taken by", "4", ""),
        figure("", "19", "mbar", doubts=(unread,)), figure("Ces", "4.4", "", doubts=(unread,)),
        figure("Loss", "6.6", "%"), display="slip",
    )  # fmt: skip
    co2, pressure, rest = bound(slip, None, start(Setting(units="uk")))
    assert (co2.quantity, pressure.quantity, pressure.value, pressure.taken) == ("co2", None, "19", False)
    assert "inlet_pressure" in {a.quantity for a in pressure.alternatives}
    assert (rest.quantity, rest.value, rest.taken) == (None, "4.4", False)


def test_looks_are_pure() -> None:
    context = after("High fire.")
    picture = look(figure("CO2", "9.3", "%"))
    assert bind_look(picture, 6.0, context, grammar()) == bind_look(picture, 6.0, context, grammar())
    assert not context.readings


def test_looks_the_basis_beside_a_label_is_the_note() -> None:
    gross, plain = bound(
        look(figure("Efficiency (gross)", "88.4", "%"), figure("CO2", "9.3", "%")), 6.0, after("High fire.")
    )
    assert (gross.note, plain.note) == ("gross", "")
