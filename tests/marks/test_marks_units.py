"""Quantities: exact against published factors, and strict."""

from __future__ import annotations

import subprocess
import sys
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaled.units import (
    celsius,
    celsius_range,
    decimal,
    density_g_ml,
    density_range_g_ml,
    duration_range_s,
    duration_s,
    is_volume,
    mass_mg,
    mass_range_mg,
    number,
    number_range,
    volume_ml,
    warming_k,
    weight_mg,
)

F = Fraction


@pytest.mark.parametrize(
    ("text", "mg"),
    [
        # UCUM (ucum-essence.xml): [lb_av] is 7000 [gr], [gr] is 64.79891 mg, [oz_av] is 1/16 [lb_av].
        ("1 lb", F("453592.37")),
        ("1 oz", F("28349.523125")),
        ("5000 µg", F(5)),
        ("1 grain", F("64.79891")),
        ("7000 grain", F("453592.37")),
        ("16 oz", F("453592.37")),
        # SI
        ("250 g", F(250_000)),
        ("1.2 kg", F(1_200_000)),
        ("5 mg", F(5)),
        ("0.3 g", F(300)),
        ("250g", F(250_000)),
        ("1/2 lb", F("226796.185")),
        ("0 g", F(0)),
        # A stick of butter, as sold in the United States, is a quarter of a pound: 113 g in USDA SR28.
        ("1 stick", F("113398.0925")),
    ],
)
def test_masses_are_exact(text, mg):
    assert mass_mg(text) == mg


@pytest.mark.parametrize(
    ("text", "ml"),
    [
        # UCUM: [gal_us] is 231 [cin_i], [in_i] is 2.54 cm; a cup is 1/16 gallon, a tbsp 1/2 fl oz, a tsp a third of it.
        ("1 gallon", F("3785.411784")),
        ("1 quart", F("946.352946")),
        ("1 pint", F("473.176473")),
        ("1 cup", F("236.5882365")),
        ("2 cups", F("473.176473")),
        ("1 fl oz", F("29.5735295625")),
        ("1 tbsp", F("14.78676478125")),
        ("1 tablespoon", F("14.78676478125")),
        ("1 tsp", F("4.92892159375")),
        ("3 tsp", F("14.78676478125")),
        ("1 1/2 cups", F("354.88235475")),
        ("1½ cups", F("354.88235475")),
        ("250 ml", F(250)),
        ("2 dl", F(200)),
        ("0.25 l", F(250)),
    ],
)
def test_volumes_are_exact(text, ml):
    assert volume_ml(text) == ml


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        # UCUM [degF]: 5/9 K from 459.67; water boils at 212 and freezes at 32 degF.
        ("212 degF", F(100)),
        ("32 °F", F(0)),
        ("350 degF", F(1590, 9)),  # 176.7 degC, spoken of as 175 or 180 (common practice)
        ("41 degF", F(5)),  # FDA Food Code 3-501.14: 41 F is 5 C, 70 F is 21 C, 135 F is 57 C
        ("70 degF", F(190, 9)),
        ("135 degF", F(515, 9)),
        ("160 degF", F(640, 9)),  # egg dishes: 71 degC
        ("-40 degF", F(-40)),
        ("-18 degC", F(-18)),
        ("373.15 K", F(100)),
        ("170 °C", F(170)),
    ],
)
def test_temperatures_are_exact(text, degrees):
    assert celsius(text) == degrees


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [("9 degF", F(5)), ("8 °F", F(40, 9)), ("4.4 degC", F(22, 5)), ("4 K", F(4)), ("0 degF", F(0))],
)
def test_a_warming_is_a_difference_and_no_reading(text, kelvin):
    """UCUM [degF]: a degree Fahrenheit is 5/9 K wherever the scale begins."""
    assert warming_k(text) == kelvin


@pytest.mark.parametrize(
    ("parse", "text", "ends"),
    [
        (duration_range_s, "18 to 25 min", (1_080, 1_500)),
        (duration_range_s, "1 to 24 h", (3_600, 86_400)),
        (duration_range_s, "30 min to 1 h", (1_800, 3_600)),
        (duration_range_s, "90 s", (90, 90)),
        (duration_range_s, "5 to 10 mins", (300, 600)),
        (duration_range_s, "1 hr to 2 hrs", (3_600, 7_200)),
        (duration_range_s, "1 to 2 weeks", (604_800, 1_209_600)),
        (duration_range_s, "1 h 30 min", (5_400, 5_400)),
        (celsius_range, "170 to 180 degC", (170, 180)),
        (celsius_range, "4 degC", (4, 4)),
        (mass_range_mg, "200 to 260 g", (200_000, 260_000)),
        (mass_range_mg, "900 g to 1.1 kg", (900_000, 1_100_000)),
        (number_range, "0.80 to 1.25", (F(4, 5), F(5, 4))),
        (density_range_g_ml, "0.45 to 0.67 g/ml", (F(45, 100), F(67, 100))),
    ],
)
def test_ranges_have_two_ends_in_order(parse, text, ends):
    assert parse(text) == ends


@pytest.mark.parametrize(
    ("parse", "text", "message"),
    [
        (mass_mg, "250", "no unit: write 250 g"),
        (mass_mg, "1,5 kg", "decimal comma: write 1.5"),
        (mass_mg, "-3 g", "negative"),
        (mass_mg, "\N{MINUS SIGN}3 g", "negative"),
        (mass_mg, "1001 kg", "more than a tonne"),
        (mass_mg, "3 Mg", "more than a tonne"),
        (mass_mg, "g", "no number"),
        (mass_mg, "", "no number"),
        (mass_mg, "1e3 g", "no unit of mass"),
        (mass_mg, "3 gr", "no unit of mass"),
        (mass_mg, "3 ct", "no unit of mass"),
        (mass_mg, "3 pct", "no unit of mass"),
        (mass_mg, "3 bags", "no unit of mass"),
        (mass_mg, "3 slug", "no unit of mass"),
        (mass_mg, "3 Kg", "no unit of mass"),
        (mass_mg, "3 metre", "no unit of mass"),
        (mass_mg, "3 ml", "is a volume"),
        (mass_mg, "nan g", "no number"),
        (mass_mg, "inf g", "no number"),
        (mass_mg, "٣ g", "no number"),
        (mass_mg, "3 g; 4 g", "no unit of mass"),
        (mass_mg, "1/0 g", "divides by nothing"),
        (weight_mg, "0 g", "less than a milligram"),
        (weight_mg, "250 ml", "density is not known"),
        (volume_ml, "250", "no unit: write 250 ml"),
        (volume_ml, "3 g", "no unit of volume"),
        (volume_ml, "1001 l", "out of bounds"),
        (duration_s, "25", "no unit of time"),
        (duration_s, "0 min", "out of bounds"),
        (duration_s, "61 d", "out of bounds"),
        (duration_s, "a while", "no time"),
        (duration_range_s, "18-25 min", "write a range with 'to'"),
        (duration_range_s, "25 to 18 min", "runs backwards"),
        (duration_range_s, "1 to 2 to 3 h", "is no range"),
        (celsius, "170", "no unit of temperature"),
        (celsius, "-300 degC", "out of bounds"),
        (celsius, "hot", "write it like 170 degC"),
        (warming_k, "8", "no unit of temperature"),
        (warming_k, "-1 degC", "out of bounds"),
        (warming_k, "101 K", "out of bounds"),
        (decimal, "0,5", "decimal comma"),
        (decimal, "1.", "no number"),
        (number, "1/2/3", "no number"),
        (density_g_ml, "1.03", "no density"),
        (density_g_ml, "0 g/ml", "out of bounds"),
    ],
)
def test_what_is_no_quantity_is_told_in_words(parse, text, message):
    with pytest.raises(ValueError, match=message):
        parse(text)


def test_a_volume_is_a_weight_by_its_density():
    # USDA SR28 01077: a cup of whole milk weighs 244 g; 1.0313 g/ml.
    assert weight_mg("1 cup", F("1.0313")) == F("236.5882365") * F("1.0313") * 1_000
    assert round(weight_mg("1 cup", F("1.0313"))) == 243_993
    assert is_volume("cup")
    assert not is_volume("g")
    assert not is_volume("handful")


@given(st.text(max_size=30))
def test_any_text_is_a_quantity_or_a_value_error(text):
    for parse in (mass_range_mg, weight_mg, volume_ml, duration_range_s, celsius_range, number_range, density_g_ml):
        try:
            parse(text)
        except ValueError as error:
            assert str(error)


@given(st.decimals(0, 100_000, places=3, allow_nan=False, allow_infinity=False))
def test_grams_to_the_milligram_lose_nothing(value):
    assert mass_mg(f"{value} g") == Fraction(value) * 1_000


def test_the_units_of_every_formula_need_no_pint():
    code = (
        "import sys; from scaled.units import *;"
        "[mass_mg(t) for t in ('1 g','1 kg','1 mg','1 oz','1 lb')]; duration_range_s('1 to 2 h'); celsius('350 degF');"
        "volume_ml('3 ml'); assert 'pint' not in sys.modules; volume_ml('1 cup'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
