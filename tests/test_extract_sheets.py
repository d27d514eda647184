"""A synonym or a quantity added to a sheet counts at once, and a sheet of another trade needs no code."""

from __future__ import annotations

import pytest

from extract import Setting, compile_sheet, start, step
from schemas.evidence import Hypothesis, MadeBy, Utterance
from schemas.load import load_sheet
from schemas.readings import Reading
from schemas.sheet import Sheet

BY = MadeBy(reader="typed", version="1")
# Insulation resistance of circuits (60364-6 names the fields; wording and layout are ours).
INSULATION = {
    "id": "insulation-resistance",
    "title": "Insulation resistance",
    "version": 1,
    "jurisdiction": "any",
    "cautions": ["Dead and locked off first."],
    "appliance_words": ["circuit"],
    "groups": {"test": "Test"},
    "conditions": [
        {"id": "before", "name": "before work", "said": ["before work", "as it was"]},
        {"id": "repaired", "name": "after repair", "said": ["after repair", "repaired"]},
    ],
    "quantities": [
        {
            "id": "line_earth", "name": "Line to earth", "group": "test", "units": ["MOhm"],
            "default_units": {"us": "MOhm", "uk": "MOhm"}, "decimals": {"MOhm": [0, 1, 2]},
            "range": {"possible": ["0", "2000"], "usual": ["0.5", "999"]}, "conditions": ["before", "repaired"],
            "said": ["line to earth", "live to earth"],
        },
        {
            "id": "test_voltage", "name": "Test voltage", "group": "test", "units": ["V"],
            "default_units": {"us": "V", "uk": "V"}, "decimals": {"V": [0]},
            "range": {"possible": ["50", "1000"], "usual": ["250", "1000"]}, "said": ["test voltage"],
        },
        {
            "id": "dead", "name": "Proved dead", "kind": "check", "group": "test", "said": ["proved dead", "dead test"],
            "states": {"done": ["done"], "not yet": ["not yet"]},
        },
    ],
}  # fmt: skip


def readings(sheet: Sheet, *texts: str) -> list[Reading]:
    grammar, context = compile_sheet(sheet), start(Setting(units="uk"))
    for n, text in enumerate(texts):
        u = Utterance(
            evidence="f" * 64, number=n, start=5.0 * n, end=5.0 * n + 3, hypotheses=(Hypothesis(text=text, mass=1.0),),
            made_by=BY,
        )  # fmt: skip
        context, _ = step(u, 5.0 * n, context, grammar)
    return list(context.readings.values())


def test_sheets_other_trade_by_data_alone() -> None:
    found = readings(
        Sheet.model_validate(INSULATION),
        "Circuit four. Dead test done, test voltage five hundred.",
        "Before work, line to earth two point five megohms.",
        "After repair line to earth is a hundred and eighty.",
    )
    assert [(r.quantity, r.condition, r.value, r.unit, r.appliance, r.taken) for r in found] == [
        ("dead", "", "done", "", "4", True),
        ("test_voltage", "", "500", "V", "4", True),
        ("line_earth", "before", "2.5", "MOhm", "4", True),
        ("line_earth", "repaired", "180", "MOhm", "4", True),
    ]


def test_sheets_synonym_counts_at_once() -> None:
    sheet = load_sheet("gas-boiler-start-up")[0]
    said = "High fire smoke heat is one eighteen."
    assert not any(r.taken for r in readings(sheet, said))
    quantities = tuple(
        q.model_copy(update={"said": (*q.said, "smoke heat")}) if q.id == "flue_temp" else q for q in sheet.quantities
    )
    (r,) = readings(sheet.model_copy(update={"quantities": quantities}), said.replace("one eighteen", "one eighteen F"))
    assert (r.quantity, r.value, r.taken) == ("flue_temp", "118", True)


@pytest.mark.parametrize(
    ("said", "days"),
    [
        ("April ninth twenty twenty six", ["2026-04-09"]),
        ("February twenty ninth twenty twenty four", ["2024-02-29"]),
        ("February twenty ninth twenty twenty six", []),
        ("April thirty ninth twenty twenty six", []),
        ("February thirty first twenty twenty six", []),
        ("2026-02-31", []),
    ],
)
def test_a_day_that_no_calendar_has_is_no_date(said: str, days: list[str]) -> None:
    found = readings(load_sheet("gas-boiler-start-up")[0], f"Analyzer calibration due {said}.")
    assert [r.value for r in found] == days


def test_sheets_shipped_ones_all_compile_and_read() -> None:
    found = readings(
        load_sheet("gas-tightness-test")[0], "At the start the test pressure is twenty point four millibar."
    )
    assert [(r.quantity, r.value, r.unit) for r in found] == [("test_pressure", "20.4", "mbar")]
    assert readings(load_sheet("hydronic-balancing")[0], "Good morning.") == []
