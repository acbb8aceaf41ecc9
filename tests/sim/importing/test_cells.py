"""Cells of tables as people write them; what cannot be read is None, never an error or another number."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from hopyears.sim.importing.cells import (
    angle,
    decimal_mark,
    modulations,
    number,
    polarisations,
    protection,
    scheme,
)
from hopyears.sim.importing.headers import amount


@pytest.mark.parametrize(
    ("text", "decimal", "value", "unit"),
    [
        ("17.8", ".", 17.8, ""),
        ("17,8 GHz", ",", 17.8, "ghz"),
        ("1.234,5", ",", 1234.5, ""),
        ("17,800", ".", 17800.0, ""),
        ("17.800", ",", 17800.0, ""),
        ("17\u202f800", ",", 17800.0, ""),
        ("1'250.5 m", ".", 1250.5, "m"),
        ("−62 dBm", ".", -62.0, "dbm"),
        ("6'", ".", 6.0, "'"),
        ("1e-3", ".", 0.001, ""),
    ],
)
def test_numbers(text: str, decimal: str, value: float, unit: str) -> None:
    assert number(text, decimal) == (value, unit)


@pytest.mark.parametrize("text", ["", "x", "17.8/19.3", "1..2", "1 GHz 2", "--3"])
def test_what_is_no_number(text: str) -> None:
    assert number(text, ".") is None


# Places on paper and on screen (common practice; the first as in ISO 6709:2008, annex D, from memory).
@pytest.mark.parametrize(
    "text",
    [
        "48°08'13.8\"N",
        "48 8 13.8",
        "N48:08:13.8",
        "48,1371667",
        "48.1371667 N",
        "480813.8N",
        "48d08m13.8s",
        "48° 8.23′",
    ],
)
def test_one_latitude_in_many_ways(text: str) -> None:
    assert angle(text) == pytest.approx(48.0 + 8.0 / 60.0 + 13.8 / 3600.0, abs=2e-7)


def test_hemispheres() -> None:
    assert angle("10 30 S") == angle("-10.5") == -10.5
    assert angle("5°30'O", o_is="W") == -5.5
    assert angle("5°30'O", o_is="E") == 5.5
    assert angle("-0 30 0") == -0.5


@pytest.mark.parametrize("text", ["", "north", "48 61 0", "N 48 S", "1 2 3 4", "12 km"])
def test_what_is_no_angle(text: str) -> None:
    assert angle(text) is None


@given(st.floats(-89.99, 89.99))
def test_minutes_and_seconds_give_the_degrees_back(degrees: float) -> None:
    minutes = abs(degrees) % 1.0 * 60.0
    seconds = minutes % 1.0 * 60.0
    text = f"{int(abs(degrees))}°{int(minutes)}'{min(seconds, 59.99999):.5f}\"{'S' if degrees < 0 else 'N'}"
    assert angle(text) == pytest.approx(degrees, abs=1e-7)


@given(st.text(max_size=30))
@example("48\n8")
def test_any_text_is_read_or_refused(text: str) -> None:
    for read in (angle(text), *(found[0] for mark in ".," if (found := number(text, mark)))):
        assert read is None or math.isfinite(read) or "e" in text.lower() or len(text) > 20
    assert all(2 <= states <= 16384 for states in modulations(text))
    assert polarisations(text) in ("", "H", "V", "HV")
    assert isinstance(scheme(text)[0], str)


def test_decimal_marks() -> None:
    assert decimal_mark(["45,12345", "9,1", "1.234"], ";") == ","
    assert decimal_mark(["45.12345", "17,800"], ";") == "."
    assert decimal_mark(["48,137", "11,576"], ";") == ","
    assert decimal_mark(["17,800"], ";", usual=".") == "."


@pytest.mark.parametrize(
    ("text", "states"),
    [
        ("256QAM", [256]),
        ("QPSK", [4]),
        ("4-1024 QAM", [4, 1024]),
        ("QPSK to 256-QAM", [4, 256]),
        ("128 TCM", [128]),
        ("QAM 64", [64]),
        ("2048", [2048]),
        ("100", []),
        ("mod", []),
    ],
)
def test_modulations(text: str, states: list[int]) -> None:
    assert modulations(text) == states


@pytest.mark.parametrize(
    ("text", "form", "guessed"),
    [
        ("1+1 SD", "1+1 SD", False),
        ("1+1", "1+1 HSB", True),
        ("Hot standby", "1+1 HSB", True),
        ("2+0 (XPIC)", "2+0 XPIC", False),
        ("unprotected", "1+0", True),
        ("None", "1+0", True),
        ("whatever", "", False),
    ],
)
def test_schemes(text: str, form: str, guessed: bool) -> None:
    found, guess = scheme(text)
    assert (found, bool(guess)) == (form, guessed)


def test_amounts_come_in_the_unit_that_is_wanted() -> None:
    assert amount("17800", "MHz", "GHz", ".") == pytest.approx(17.8)
    assert amount("17.8 GHz", "MHz", "GHz", ".") == pytest.approx(17.8)
    assert amount("4", "ft", "m", ".") == pytest.approx(1.2192)
    assert amount("100 mW", "", "dBm", ".") == pytest.approx(20.0)
    assert amount("35 dBd", "", "dBi", ".") == pytest.approx(37.15)
    assert amount("3 km", "", "dBm", ".") is None


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("rerouted", "rerouted"), ("restoration", "rerouted"), ("ungeschützt", "none"), ("1+0", "none"),
        ("No", "none"), ("protected", "protected"), ("1+1", "protected"), ("ja", "protected"), ("x", ""),
    ],
)  # fmt: skip
def test_protection_of_services(text: str, found: str) -> None:
    read, guess = protection(text)
    assert read == found
    assert bool(guess) == (found not in ("", text))
