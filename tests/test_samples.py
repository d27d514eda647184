"""The sample recording's truth: well formed, physically possible, where it says, and really noisy."""

import hashlib
import json
import tomllib
from collections import defaultdict
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from numpy.typing import NDArray

SAMPLES = Path(__file__).parent.parent / "samples"
UNITS = {
    "[in_i'H2O]", "%", "[ppm]", "[degF]", "/min", "{turn}", "V", "uA", "s", "[gal_us]/min",
}  # fmt: skip
CHECKS = {"leak_test", "trap_filled", "venting_checked", "ports_closed"}
QUANTITIES = CHECKS | {
    "inlet_pressure", "outlet_pressure", "co2", "o2", "co", "co_air_free", "flue_temp", "ambient_temp", "ambient_co",
    "efficiency", "fan_speed", "supply_temp", "return_temp", "flow", "flame_signal", "supply_volts", "ground_volts",
    "valve_move", "clock_time",
}  # fmt: skip

Line = dict[str, Any]
Rows = dict[tuple[str, str], dict[str, Fraction]]


@pytest.fixture(scope="module")
def truth() -> list[Line]:
    return [json.loads(line) for line in (SAMPLES / "truth.jsonl").read_text(encoding="utf-8").splitlines()]


@pytest.fixture(scope="module")
def readings(truth: list[Line]) -> list[Line]:
    return [line for line in truth if line["kind"] == "reading"]


@pytest.fixture(scope="module")
def record() -> Line:
    loaded: Line = json.loads((SAMPLES / "startup.json").read_text(encoding="utf-8"))
    return loaded


@pytest.fixture(scope="module")
def scenario() -> Line:
    return tomllib.loads((SAMPLES / "scenario.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def rows(readings: list[Line]) -> Rows:
    """The combustion rows: (condition, phase) -> quantity -> value."""
    found: Rows = defaultdict(dict)
    for line in readings:
        if line["quantity"] not in CHECKS:
            found[line["condition"], line["phase"]][line["quantity"]] = Fraction(line["value"])
    return found


@pytest.fixture(scope="module")
def heard() -> NDArray[np.float64]:
    """startup.ogg itself, 48 kHz mono."""
    with av.open(str(SAMPLES / "startup.ogg")) as container:
        frames = [frame.to_ndarray().astype(np.float64).reshape(-1) for frame in container.decode(audio=0)]
    return np.concatenate(frames)


def dilution(o2: Fraction) -> Fraction:
    """CO2 on the line from undiluted flue gas (natural gas, 11.8 %) to air.

    The definition of Fo, (20.9 - O2) / CO2, in 40 CFR 60 Appendix A-2, Method 3B; 20.9 / 11.8 = 1.771
    lies inside its range for natural gas, 1.600 to 1.836 (range from memory).
    """
    return Fraction("11.8") * (Fraction("20.9") - o2) / Fraction("20.9")


def test_truth_is_well_formed(readings: list[Line]) -> None:
    assert len(readings) >= 30
    slots = [(line["quantity"], line["condition"], line["phase"]) for line in readings]
    assert len(set(slots)) == len(slots), "two true values for one slot"
    for line in readings:
        assert line["quantity"] in QUANTITIES
        assert line["condition"] in {"", "static", "ignition", "high_fire", "low_fire", "lockup"}
        assert line["phase"] in {"", "before", "after"}
        if line["quantity"] in CHECKS:
            assert line["value"] == "yes"
        else:
            assert isinstance(line["value"], str)
            assert Fraction(line["value"]) is not None
            assert line["unit"] in UNITS


def test_truth_is_the_scenario(readings: list[Line], scenario: Line) -> None:
    for line in readings:
        told = scenario["readings"][line["condition"] or "room"]
        told = told[line["phase"]] if line["phase"] else told
        assert told[line["quantity"]]["value"] == line["value"], line
        assert told[line["quantity"]].get("unit") == line.get("unit"), line


def test_photos_and_speech_tell_one_story(readings: list[Line], scenario: Line) -> None:
    said = {(line["quantity"], line["condition"], line["phase"]): line["value"] for line in readings}
    for photo in (scenario["photos"]["analyzer"], scenario["photos"]["slip"]):
        for row in photo["rows"]:
            room = row["quantity"].startswith("ambient_")
            where = ("", "") if room else (photo["condition"], photo["phase"])
            assert said[(row["quantity"], *where)] == row["shown"], row
    assert said["inlet_pressure", "lockup", ""] == scenario["photos"]["manometer"]["display"]


def test_spans_lie_inside_the_recording_and_in_order(
    truth: list[Line], record: Line, heard: NDArray[np.float64]
) -> None:
    assert hashlib.sha256((SAMPLES / "startup.ogg").read_bytes()).hexdigest() == record["sha256"]
    assert len(heard) / 48_000 == pytest.approx(float(record["seconds"]), abs=0.05)
    assert 180 <= float(record["seconds"]) <= 300
    utterances = record["utterances"]
    assert len({one["voice"] for one in utterances}) == 3
    for before, after in pairwise(utterances):
        assert 0.79 <= float(after["start"]) - float(before["end"]) <= 2.01
    assert float(utterances[-1]["end"]) < float(record["seconds"])
    for line in truth:
        one = utterances[line["utterance"] - 1]
        assert (line["start"], line["end"], line["speaker"]) == (one["start"], one["end"], one["speaker"])


def test_every_pair_but_the_marked_one_lies_on_the_dilution_line(truth: list[Line], rows: Rows) -> None:
    pairs = [row for row in rows.values() if "co2" in row]
    assert len(pairs) == 3
    for row in pairs:
        assert abs(row["co2"] - dilution(row["o2"])) <= Fraction("0.55")
    (asked,) = (line for line in truth if line["kind"] == "must_ask")
    said = dict(zip(asked["quantities"], map(Fraction, asked["said"]), strict=True))
    really = dict(zip(asked["quantities"], map(Fraction, asked["truth"]), strict=True))
    assert abs(said["co2"] - dilution(said["o2"])) > Fraction("0.55")
    assert abs(really["co2"] - dilution(really["o2"])) <= Fraction("0.55")
    assert not rows[asked["condition"], asked["phase"]].keys() & {"co2", "o2"}


def test_air_free_co_follows_from_co_and_o2(rows: Rows) -> None:
    """Dilution again: CO air-free = CO × 20.9 / (20.9 − O2), to the instrument's whole ppm."""
    pairs = [row for row in rows.values() if "co_air_free" in row]
    assert len(pairs) == 2
    for row in pairs:
        exact = row["co"] * Fraction("20.9") / (Fraction("20.9") - row["o2"])
        assert abs(row["co_air_free"] - exact) <= Fraction("1.3")


def test_gas_in_is_heat_out(rows: Rows, scenario: Line) -> None:
    """Clocked input against the plate (5 %), water heat against input × efficiency (10 %).

    500 Btu/h per gpm and °F is the trade's round figure (8.33 lb/gal × 60 min/h × 1 Btu/lb°F). The two
    tolerances are common practice, no source.
    """
    row = rows["high_fire", "after"]
    clocked = 5 * Fraction(scenario["gas"]["heating_value"]["value"]) * 3600 / row["clock_time"]
    plate = Fraction(scenario["appliance"]["input_max"]["value"])
    assert abs(clocked / plate - 1) <= Fraction("0.05")
    into_water = 500 * row["flow"] * (row["supply_temp"] - row["return_temp"])
    assert abs(into_water / (clocked * row["efficiency"] / 100) - 1) <= Fraction("0.10")


def test_pressures_are_in_their_natural_order(readings: list[Line]) -> None:
    """Flow costs pressure; a regulator closes a little above where it stood (common practice, no source)."""
    inlet = {
        (line["condition"], line["phase"]): Fraction(line["value"])
        for line in readings
        if line["quantity"] == "inlet_pressure"
    }
    static = inlet["static", ""]
    assert inlet["high_fire", "before"] <= inlet["ignition", ""] <= static
    assert static - Fraction("0.1") <= inlet["lockup", ""] <= static + Fraction("0.6")


def test_what_must_be_left_is_no_true_reading(truth: list[Line], readings: list[Line]) -> None:
    left = [line for line in truth if line["kind"] == "must_not_take"]
    assert any("limit" in line["why"] for line in left)
    assert any("colleagues" in line["why"] for line in left)
    true = {(line["quantity"], line["value"]) for line in readings}
    for line in left:
        assert not {(line["about"], value) for value in line["values"]} & true


def test_half_of_the_talk_is_noisy_by_its_record(record: Line) -> None:
    span = {one["utterance"]: float(one["end"]) - float(one["start"]) for one in record["utterances"]}
    noisy = [one for one in record["utterances"] if float(one["snr_db"]) <= 15]
    assert sum(span[one["utterance"]] for one in noisy) >= sum(span.values()) / 2
    assert any(10 <= float(one["snr_db"]) <= 12 for one in noisy)
    assert {one["utterance"] for one in noisy} == {o["utterance"] for o in record["utterances"] if o["burner"] != "off"}


def test_noise_in_the_file_is_what_the_record_says(record: Line, heard: NDArray[np.float64]) -> None:
    """Measured in startup.ogg, without the maker: power while speaking against power in the pauses."""

    def power(start: float, end: float) -> float:
        return float(np.mean(heard[round(start * 48_000) : round(end * 48_000)] ** 2))

    for state in ("high", "low"):
        said = [one for one in record["utterances"] if one["burner"] == state]
        # Just before each utterance: the room's tail of the speech before it has died away.
        noise = float(np.mean([power(float(one["start"]) - 0.45, float(one["start"]) - 0.05) for one in said]))
        found = [10 * np.log10(power(float(one["start"]), float(one["end"])) / noise - 1) for one in said]
        assert np.mean(found) == pytest.approx(np.mean([float(one["snr_db"]) for one in said]), abs=1.5)  # Opus
        assert max(found) <= 15
