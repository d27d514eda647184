"""The laws over arrays say what their scalar forms say, and the bench of misreads draws what it says that it draws."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from bench.misreads import KINDS, main, material, misread, misread_rows, true_rows
from physics import arrays, flue, laws
from physics.fuels import FUELS
from schemas.appliance import Fuel

DRAW = np.random.default_rng(1)
O2 = DRAW.uniform(0.5, 15, 50)
CO = DRAW.uniform(1, 900, 50)
FLUE = DRAW.uniform(30, 200, 50)
AIR = DRAW.uniform(-10, 35, 50)


def test_co2_on_the_line() -> None:
    scalar = [float(laws.co2_on_line(Decimal(str(o2)), Decimal("11.88"))) for o2 in O2]
    assert arrays.co2_on_line(O2, 11.88) == pytest.approx(scalar, rel=1e-12)


def test_co_air_free() -> None:
    scalar = [float(laws.co_air_free(Decimal(str(co)), Decimal(str(o2)))) for co, o2 in zip(CO, O2, strict=True)]
    assert arrays.co_air_free(CO, O2) == pytest.approx(scalar, rel=1e-12)


@pytest.mark.parametrize("fuel", ["natural_gas", "propane", "oil_no2"])
def test_loss_and_efficiency(fuel: Fuel) -> None:
    rows = list(zip(FLUE, AIR, O2, strict=True))
    loss = [flue.siegert_loss(f, a, o, fuel) for f, a, o in rows]
    gross = [flue.siegert_gross_efficiency(f, a, o, fuel) for f, a, o in rows]
    assert arrays.siegert_loss(FLUE, AIR, O2, fuel) == pytest.approx(loss, rel=1e-12)
    assert arrays.gross_efficiency(FLUE, AIR, O2, fuel) == pytest.approx(gross, rel=1e-12)


def test_gross_efficiency_lies_beside_the_heat_balance() -> None:
    # 5 % O2, 150 °C above the air: within a point of the heat balance with NASA's heat capacities (physics.flue).
    balance = flue.efficiency(175, 25, 5, FUELS["natural_gas"], "gross", condensing=False).value
    assert flue.siegert_gross_efficiency(175, 25, 5, "natural_gas") == pytest.approx(balance, abs=1.0)


def test_true_rows_are_those_of_the_report() -> None:
    row = true_rows(20_000, np.random.default_rng(2), measured=True)
    assert np.median(row["co"]) == pytest.approx(60, rel=0.03)
    assert 3.3 < row["o2"].mean() < 6.7
    assert np.quantile(row["flue"] - row["return"], [0.01, 0.99]) == pytest.approx([2, 40], abs=1.5)
    computed = true_rows(20_000, np.random.default_rng(2), measured=False)
    off = computed["co2"] - arrays.co2_on_line(computed["o2"], 11.88)
    # CO2max ±0.12 makes ±0.1; rounding both values ±0.08 (B.1 has ±0.19).
    assert np.abs(off).max() < 0.2


@pytest.mark.parametrize(
    ("kind", "text", "may_be"),
    [
        ("dropped decimal", "9.2", {"92"}),
        ("dropped decimal", "60", {None}),
        ("value short a digit", "9.2", {"0.92"}),
        ("transposed digits", "118", {"181"}),
        ("transposed digits", "4.4", {None}),
        ("dropped digit", "9.2", {"9", "2"}),
        ("dropped digit", "118", {"18", "11"}),
        ("teen for ty", "118", {"180"}),
        ("teen for ty", "60", {"16"}),
        ("teen for ty", "9.2", {None}),
    ],
)
def test_how_a_value_is_misread(kind: str, text: str, may_be: set[str | None]) -> None:
    draw = np.random.default_rng(3)
    assert {misread(text, kind, draw) for _ in range(40)} == may_be


def test_a_substituted_digit_is_another_and_no_leading_nought() -> None:
    draw = np.random.default_rng(4)
    found = {misread("118", "substitution", draw) for _ in range(400)}
    assert "118" not in found
    assert not any(text is None or text.startswith("0") for text in found)


@pytest.mark.parametrize("kind", KINDS)
def test_one_value_of_a_row_is_misread(kind: str) -> None:
    true = true_rows(200, np.random.default_rng(5), measured=True)
    row, hit = misread_rows(true, kind, ["o2", "co2", "co", "flue", "efficiency"], np.random.default_rng(5))
    changed = sum((row[name] != row[f"true {name}"]).astype(int) for name in true)
    assert set(changed.tolist()) == {2 if kind.endswith("swapped") else 1}
    assert len(hit) > 150
    assert material(row).any()


@pytest.mark.slow
def test_the_bars_are_held(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--checked", "0", "--rows", "16000", "--seed", "11"]) == 0
    printed = capsys.readouterr().out
    assert printed.count(": met") == 5
    assert "seed 11" in printed
