"""Marking: what people type, and what is said to them."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from trainer.bank import Blank, Slip, Words, mark, mark_question, read_folder, thaw_question

TOLD = Words("You multiplied.", "Multiplicó.")
INSIDE = Blank("number", 2.5, "ppm", 0.01, slips=(Slip("multiplied", 250.0, TOLD),))
SHARE = Blank("number", 5.0, "%", 0.01)
HALF = Blank("number", 50.0, "%", 0.01)
QUARTER = Blank("number", 0.25, "mg/m³", 0.01)
FACTOR = Blank("number", 1000.0, "", 0.0, slips=(Slip("below", 50.0, TOLD),))
MANY = Blank("number", 1250.0, "ppm", 0.01)
PICK = Blank("pick", "R95", choices=tuple((name, Words(name, name)) for name in ("N95", "R95")),
             slips=(Slip("oil", "N95", TOLD),))
WORD = Blank("word", "P100", slips=(Slip("oil", "N100", TOLD),))


@pytest.mark.parametrize("blank, typed, verdict", [
    # As a person types it, with a point, a comma, a unit, as a fraction.
    (INSIDE, "2.5", "right"),
    (INSIDE, "2,5", "right"),
    (INSIDE, "2.5 ppm", "right"),
    (INSIDE, "2.5ppm", "right"),
    (INSIDE, "2.50 PPM.", "right"),
    (INSIDE, "= 2.5", "right"),
    (INSIDE, "+2.5", "right"),
    (INSIDE, "5/2", "right"),
    (INSIDE, "5 / 2 ppm", "right"),
    (INSIDE, "2 1/2", "right"),
    (INSIDE, "2½ ppm", "right"),
    (INSIDE, "25e-1", "right"),
    (INSIDE, "partes por millón", "unreadable"),
    (INSIDE, "2,5 partes por millón", "right"),
    (QUARTER, "1/4", "right"),
    (QUARTER, ".25", "right"),
    (QUARTER, ",25", "right"),
    (QUARTER, "0,25 mg/m3", "right"),
    (QUARTER, "0.25 mg/m³", "right"),
    (QUARTER, "0.25 mg/m^3", "right"),
    (QUARTER, "0.25 mg por m3", "right"),
    (HALF, " 50 %", "right"),
    (HALF, "50%", "right"),
    (HALF, "50 por ciento", "right"),
    (HALF, "50\u00a0%", "right"),
    (HALF, "\u200950\u202f%\u200b", "right"),
    (FACTOR, "1000", "right"),
    (FACTOR, "1,000", "right"),
    (FACTOR, "1 000", "right"),
    (FACTOR, "1\u00a0000", "right"),
    (FACTOR, "1'000", "right"),
    (FACTOR, "APF 1000", "right"),
    (FACTOR, "1000 veces", "right"),
    (FACTOR, "1,000.0", "right"),
    (MANY, "1.250,00", "right"),
    (MANY, "1,250.0", "right"),
    (INSIDE, "２．５", "right"),
    (INSIDE, "٢٫٥", "right"),
    (INSIDE, "२.५", "right"),
    # Within the tolerance, and outside it.
    (INSIDE, "2.52", "right"),
    (INSIDE, "2.6", "wrong"),
    (FACTOR, "1000.1", "wrong"),
    # Another unit that compares: written with it, it is right.
    (INSIDE, "2500 ppb", "right"),
    (QUARTER, "250 µg/m³", "right"),
    (QUARTER, "250 μg/m3", "right"),
    (QUARTER, "250 ug/m3", "right"),
    (SHARE, "50000 ppm", "right"),
    # The right number with the wrong unit.
    (INSIDE, "2.5 mg/m3", "unit"),
    (INSIDE, "2.5 ppb", "unit"),
    (INSIDE, "2.5 %", "unit"),
    (INSIDE, "2.5 apples", "unit"),
    (QUARTER, "0.25 µg/m³", "unit"),
    (SHARE, "5 ppm", "unit"),
    (FACTOR, "1000 ppm", "unit"),
    # Wrong, whatever the unit.
    (INSIDE, "3 mg/m3", "wrong"),
    (INSIDE, "-2.5", "wrong"),
    (INSIDE, "\u22122.5", "wrong"),
    (INSIDE, "0", "wrong"),
    (INSIDE, "1e9", "wrong"),
    (INSIDE, "1e99", "wrong"),
    (SHARE, "0.05", "wrong"),
    # Two readings, marked differently.
    (MANY, "1.250", "ambiguous"),
    (INSIDE, "2,500", "ambiguous"),
    (FACTOR, "1.000", "ambiguous"),
    (Blank("number", 1.0, "ppm", 0.01), "1,000", "ambiguous"),
    # Two readings, both wrong: there is nothing to ask.
    (INSIDE, "7,125", "wrong"),
    # What looks like two readings and is one.
    (Blank("number", 0.125, "", 0.01), "0,125", "right"),
    (Blank("number", 1234.567, "", 0.0), "1234,567", "right"),
    # Nothing that can be read.
    (INSIDE, "", "unreadable"),
    (INSIDE, "   ", "unreadable"),
    (INSIDE, "abc", "unreadable"),
    (INSIDE, "nan", "unreadable"),
    (INSIDE, "inf", "unreadable"),
    (INSIDE, "-inf", "unreadable"),
    (INSIDE, "1/0", "unreadable"),
    (INSIDE, "1/0.0", "unreadable"),
    (INSIDE, "2 or 3", "unreadable"),
    (INSIDE, "2.5 x 1", "unreadable"),
    (INSIDE, "1,2,3", "unreadable"),
    (INSIDE, "1.2.5", "unreadable"),
    (INSIDE, "1e999999999", "unreadable"),
    (INSIDE, "9**9**9", "unreadable"),
    (INSIDE, "2²", "unit_or_unreadable"),
    (INSIDE, "9" * 61, "unreadable"),
    # Picks and words.
    (PICK, "R95", "right"),
    (PICK, "N95", "wrong"),
    (PICK, "P95", "unreadable"),
    (WORD, "P100", "right"),
    (WORD, "p-100", "right"),
    (WORD, "P 100", "right"),
    (WORD, "N100", "wrong"),
])
def test_what_is_typed_is_marked(blank, typed, verdict):
    for language in ("en", "es"):
        marking = mark(blank, typed, language)
        if verdict == "unit_or_unreadable":
            assert not marking.right
        else:
            assert marking.verdict == verdict
        assert marking.say(language)


@pytest.mark.parametrize("blank, typed", [
    (INSIDE, "250"), (INSIDE, "250 ppm"), (INSIDE, "250000 ppb"), (FACTOR, "50"),
    (PICK, "N95"), (WORD, "n100"),
])
def test_a_known_slip_is_named(blank, typed):
    marking = mark(blank, typed, "es")
    assert marking.slip is blank.slips[0]
    assert marking.say("es") == "Multiplicó."
    assert marking.say("en") == "You multiplied."


def test_a_slip_within_the_tolerance_of_the_answer_is_right():
    near = Blank("number", 100.0, "ppm", 0.02, slips=(Slip("near", 101.0, TOLD),))
    assert mark(near, "101", "en").right


def test_a_wrong_unit_says_which_is_wanted():
    assert "ppm" in mark(INSIDE, "2.5 mg/m3", "en").say("en")
    assert "ppm" in mark(INSIDE, "2.5 mg/m3", "es").say("es")


@pytest.mark.parametrize(("blank", "typed"), [
    (MANY, "1,250"), (MANY, "1,250 ppm"), (INSIDE, "2.500"),
])
def test_in_english_a_comma_parts_thousands_and_a_point_decimals(blank, typed):
    assert mark(blank, typed, "en").right


@pytest.mark.parametrize(("blank", "typed"), [
    (MANY, "1,250"), (MANY, "1.250"), (MANY, "1,250 ppm"), (INSIDE, "2,500"), (INSIDE, "2.500"),
])
def test_in_spanish_either_sign_may_part_thousands_so_it_is_asked_again(blank, typed):
    assert mark(blank, typed, "es").verdict == "ambiguous"


def test_what_our_own_pages_print_is_read_so_in_both_languages():
    assert mark(FACTOR, "1,000", "es").right


def test_another_unit_is_taken_only_where_the_question_allows():
    percent = Blank("number", 2500.0, "ppm", 0.01, other_units=False)
    assert mark(percent, "0.25 %", "en").verdict == "wrong"
    assert mark(percent, "2500 %", "en").verdict == "unit"
    assert mark(percent, "2500 ppm", "en").right
    assert mark(Blank("number", 2500.0, "ppm", 0.01), "0.25 %", "en").right


def test_an_ambiguous_number_shows_both_readings():
    said = mark(MANY, "1.250", "en").say("en")
    assert "1,250" in said
    assert "1.25" in said
    assert "separator" in said
    assert "separador" in mark(MANY, "1,250", "es").say("es")


def test_typed_braces_are_repeated_and_not_filled():
    assert mark(MANY, "1,250{first}", "en").verdict in ("ambiguous", "unreadable", "wrong")


@settings(max_examples=1_500)
@given(st.text(max_size=80), st.sampled_from(["en", "es", "fr", ""]))
@example("1e" + "9" * 40, "en")
@example("1/" + "0" * 40, "en")
@example("٠/٠", "es")
@example("1,1" * 15, "en")
@example("\x00", "en")
@example("{}", "en")
@example("1,250 {0}", "en")
def test_no_text_raises_and_every_text_gets_a_sentence(typed, language):
    for blank in (INSIDE, FACTOR, PICK, WORD):
        marking = mark(blank, typed, language)
        assert marking.verdict in ("right", "wrong", "unit", "unreadable", "ambiguous")
        assert marking.say("en")
        assert marking.say("es")


NUMERALS = st.text(alphabet="0123456789.,' /eE+-%pmgbµu³\u00a0٣½", max_size=20)


@settings(max_examples=1_500)
@given(NUMERALS)
def test_texts_made_of_the_signs_of_numbers_never_raise(typed):
    for blank in (INSIDE, SHARE, FACTOR, MANY):
        assert mark(blank, typed, "en").say("en")


@given(st.integers(1, 999), st.integers(0, 3), st.sampled_from(["ppm", "mg/m³", "%", ""]))
def test_an_answer_is_right_when_typed_as_it_is(figures, places, unit):
    value = float(f"{figures}e-{places}")
    blank = Blank("number", value, unit, 0.0)
    for typed in (blank.typed, blank.typed.replace(".", ","), f" {blank.typed} "):
        marking = mark(blank, typed, "en")
        assert marking.right or marking.verdict == "ambiguous"
        # Three digits after a separator, none of them a leading zero, may be thousands.
        if marking.verdict == "ambiguous":
            assert places == 3
            assert value >= 1


@given(st.floats(0.001, 1e6))
def test_micrograms_and_milligrams_agree_with_the_definition(value):
    # 1 mg is 1,000 µg by the definition of the prefixes (SI Brochure, 9th edition, table 7).
    assert mark(Blank("number", value, "mg/m³", 1e-6), f"{value * 1000:.9f} µg/m³", "en").right


def test_a_choice_is_right_only_as_a_whole(folder):
    question = next(iter(read_folder(folder).questions.values()))
    assert mark_question(question, [0])
    assert not mark_question(question, [1])
    assert not mark_question(question, [0, 1])
    assert not mark_question(question, [])
    assert not mark_question(question, [7])


ROWS = """lesson = "factors"
[[question]]
slug = "in-order"
section = "inside"
element = "(k)(1)(ii)"
source = "29 CFR 1910.134(b)"
form = "order"
ask = { en = "Order?", es = "¿Orden?" }
""" + "".join(
    f"""[[question.option]]
text = {{ en = "{word}", es = "{word} es" }}
why = {{ en = "Because.", es = "Porque sí." }}
""" for word in ("first", "second", "third")
)


def test_an_order_is_right_only_when_every_place_is(tmp_path):
    (tmp_path / "factors.toml").write_text(ROWS, encoding="utf-8")
    question = read_folder(tmp_path).questions["in-order"]
    assert question.in_rows
    assert mark_question(question, [0, 1, 2])
    for picked in ([1, 0, 2], [0, 1], [0, 1, 1], [], [2, 1, 0]):
        assert not mark_question(question, picked)
    assert thaw_question(question.freeze()) == question


def test_a_question_kept_before_there_were_drawings_is_thawed(folder):
    frozen = read_folder(folder).questions["question-0"].freeze()
    assert frozen.pop("drawing") == ""
    assert thaw_question(frozen) == read_folder(folder).questions["question-0"]
