"""The instrument's own averages: one stands for the printed values, if it is their mean; else it is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from extract.doubt import doubt
from schemas.base import decimal_of, is_value_text
from schemas.displays import Sense
from schemas.doubts import LABEL_TWICE, Doubt, DoubtKind
from schemas.readings import Alternative, Reading

__all__ = ["slot_of", "weigh_averages"]

_OWN = "the instrument's own average"


def slot_of(reading: Reading) -> tuple[object, ...]:
    """Return what a reading is a value of."""
    return reading.quantity, reading.condition, reading.phase, reading.appliance


def weigh_averages(made: Sequence[Reading], senses: Mapping[str, Sense]) -> list[Reading]:
    """Return the readings of one picture with each average weighed against the single values of its slot.

    ``senses``: of those readings, by id, that are no single values. An average is no further value of the slot: it
    stands for the values that it is the mean of, and its note names them; one value alone stands itself. Where it is
    not their mean it is one question with all of them. A value that is held (a highest, a lowest, a frozen one) is left
    out where the picture shows the present one.
    """
    kept: dict[str, Reading] = {one.id: one for one in made}
    for one in made:
        if one.quantity is None or one.id not in senses:
            continue
        mine = [other for other in kept.values() if other.id not in senses and slot_of(other) == slot_of(one)]
        if senses[one.id] == "held":
            if mine:
                del kept[one.id]
            continue
        for other in mine if len(mine) != 1 else (one,):
            del kept[other.id]
        if len(mine) == 1:
            kept[mine[0].id] = _beside(one, mine[0])
        else:
            kept[one.id] = _standing(one, mine)
    return list(kept.values())


def _beside(average: Reading, single: Reading) -> Reading:
    """The one value that an average is shown with, and the doubt where the average is another."""
    if _is_mean(average, [single]):
        return single.model_copy(update={"doubts": _told_apart(single)})
    text = f"the picture shows {average.value} as its average"
    other = Alternative(value=average.value, unit=average.unit, why=_OWN)
    return single.model_copy(
        update={
            "doubts": (*single.doubts, doubt(DoubtKind.SOURCES_DISAGREE, text)),
            "alternatives": (other, *single.alternatives),
        }
    )


def _standing(average: Reading, singles: Sequence[Reading]) -> Reading:
    """The average with what it is the average of, and the doubt where it is not."""
    values = [one.value for one in singles]
    listed = f"{', '.join(values[:-1])} and {values[-1]}" if singles else ""
    note = f"{_OWN} of {listed}" if singles else _OWN
    doubts, passed = average.doubts, average.passed
    if singles and _is_mean(average, singles):
        doubts = _told_apart(average)
        passed = (*passed, "is the mean of the values printed with it")
    elif singles:
        text = f"the picture shows it as the average of {listed}, and their mean is {_mean(singles) or 'not known'}"
        doubts = (*doubts, doubt(DoubtKind.SOURCES_DISAGREE, text))
    others = tuple(
        Alternative(value=value, why="a single value of the same picture") for value in dict.fromkeys(values)
    )
    return average.model_copy(
        update={
            "note": ", ".join(part for part in (average.note, note) if part),
            "doubts": doubts,
            "passed": passed,
            "alternatives": (*others, *average.alternatives) if doubts else average.alternatives,
        }
    )


def _told_apart(one: Reading) -> tuple[Doubt, ...]:
    """The doubts without the one that rows have the same label: one is the average of the others."""
    return tuple(each for each in one.doubts if each.detail != LABEL_TWICE)


def _is_mean(average: Reading, singles: Sequence[Reading]) -> bool:
    """Whether an average is the mean of values, no further off than what all of them are rounded by."""
    if not all(is_value_text(one.value) and one.unit == average.unit for one in (average, *singles)):
        return False
    mean = sum((decimal_of(one.value) for one in singles), Decimal(0)) / len(singles)
    places = [int(decimal_of(one.value).as_tuple().exponent) for one in (average, *singles)]
    return abs(mean - decimal_of(average.value)) <= Decimal(1).scaleb(max(places))


def _mean(singles: Sequence[Reading]) -> str:
    """The mean of values in words, one place finer than they are; empty where one is no number."""
    if not all(is_value_text(one.value) for one in singles):
        return ""
    numbers = [decimal_of(one.value) for one in singles]
    finest = min(int(one.as_tuple().exponent) for one in numbers)
    mean = (sum(numbers, Decimal(0)) / len(numbers)).quantize(Decimal(1).scaleb(finest - 1))
    return f"{mean.normalize():f}"
