"""Limits, IDLH and conversions, typed here from the publications for each field that was seen."""

import re

import molmass
import pytest
from chemicals.elements import molecular_weight, simple_formula_parser

from trainer.reference import cartridge_limits, contaminants

# Limit, unit and kind: 29 CFR 1910.1000 Tables Z-1 and Z-2, or the substance's own standard
# (formaldehyde .1048, benzene .1028, silica .1053, lead .1025).
LIMITS = {
    "toluene": (200, "ppm", "TWA"), "xylenes": (100, "ppm", "TWA"),
    "styrene": (100, "ppm", "TWA"), "acetone": (1000, "ppm", "TWA"),
    "methyl-ethyl-ketone": (200, "ppm", "TWA"), "n-hexane": (500, "ppm", "TWA"),
    "ammonia": (50, "ppm", "TWA"), "chlorine": (1, "ppm", "ceiling"),
    "hydrogen-sulfide": (20, "ppm", "ceiling"), "sulfur-dioxide": (5, "ppm", "TWA"),
    "carbon-monoxide": (50, "ppm", "TWA"), "formaldehyde": (0.75, "ppm", "TWA"),
    "benzene": (1, "ppm", "TWA"), "tetrachloroethylene": (100, "ppm", "TWA"),
    "trichloroethylene": (100, "ppm", "TWA"), "isopropyl-alcohol": (400, "ppm", "TWA"),
    "methanol": (200, "ppm", "TWA"), "hydrogen-chloride": (5, "ppm", "ceiling"),
    "nitrogen-dioxide": (5, "ppm", "ceiling"), "ozone": (0.1, "ppm", "TWA"),
    "ethylbenzene": (100, "ppm", "TWA"), "methyl-isobutyl-ketone": (100, "ppm", "TWA"),
    "carbon-dioxide": (5000, "ppm", "TWA"), "silica": (0.05, "mg/m³", "TWA"),
    "lead": (0.05, "mg/m³", "TWA"), "iron-oxide-fume": (10, "mg/m³", "TWA"),
    "manganese-fume": (5, "mg/m³", "ceiling"), "zinc-oxide-fume": (5, "mg/m³", "TWA"),
    "nickel": (1, "mg/m³", "TWA"), "dust-total": (15, "mg/m³", "TWA"),
    "dust-respirable": (5, "mg/m³", "TWA"), "wood-dust": (15, "mg/m³", "TWA"),
    "cobalt": (0.1, "mg/m³", "TWA"), "oil-mist": (5, "mg/m³", "TWA"),
}  # fmt: skip

# NIOSH Pocket Guide; hydrogen chloride as revised in 2025.
IDLH = {
    "toluene": 500, "xylenes": 900, "styrene": 700, "acetone": 2500,
    "methyl-ethyl-ketone": 3000, "n-hexane": 1100, "ammonia": 300, "hydrogen-sulfide": 100,
    "sulfur-dioxide": 100, "carbon-monoxide": 1200, "formaldehyde": 20, "benzene": 500,
    "isopropyl-alcohol": 2000, "methanol": 6000, "hydrogen-chloride": 45, "ethylbenzene": 800,
    "methyl-isobutyl-ketone": 500, "manganese-fume": 500, "nickel": 10, "cobalt": 20,
    "oil-mist": 2500,
}  # fmt: skip

# NIOSH Pocket Guide, "Conversion: 1 ppm = ... mg/m3".
CONVERSIONS = {
    "toluene": 3.77, "xylenes": 4.34, "styrene": 4.26, "acetone": 2.38, "n-hexane": 3.53,
    "ammonia": 0.70, "chlorine": 2.90, "hydrogen-sulfide": 1.40, "sulfur-dioxide": 2.62,
    "carbon-monoxide": 1.15, "isopropyl-alcohol": 2.46, "methanol": 1.31,
    "hydrogen-chloride": 1.49, "nitrogen-dioxide": 1.88, "ozone": 1.96, "carbon-dioxide": 1.80,
}  # fmt: skip

WEIGHED = [row for row in contaminants.rows() if row.molecular_weight]


def test_the_limits_are_those_published_and_no_others_are_given():
    held = {
        row.slug: (row.limit, row.unit, row.limit_kind)
        for row in contaminants.rows()
        if row.limit is not None
    }
    assert held == LIMITS


def test_the_idlh_values_are_those_published_and_no_others_are_given():
    held = {row.slug: row.idlh for row in contaminants.rows() if row.idlh is not None}
    assert held == IDLH


def test_the_conversions_are_those_published_and_no_others_are_given():
    held = {row.slug: row.factor for row in contaminants.rows() if row.factor is not None}
    assert held == CONVERSIONS


def test_a_limit_from_memory_is_not_given():
    phosphine = contaminants.get("phosphine")
    assert phosphine.printed["pel"] is not None
    assert phosphine.limit is None
    assert phosphine.idlh is None


def test_the_doubted_idlh_of_nitrogen_dioxide_is_not_given():
    # 20 ppm is the value of 1994; the current list is believed to say 13.
    assert contaminants.get("nitrogen-dioxide").idlh is None


@pytest.mark.parametrize("row", WEIGHED, ids=lambda row: row.slug)
def test_the_molecular_weight_agrees_with_two_libraries(row):
    # The Pocket Guide prints one decimal, for methanol 32.1 where 32.04 is meant.
    assert row.molecular_weight == pytest.approx(molmass.Formula(row.formula).mass, abs=0.06)
    atoms = simple_formula_parser(row.formula)
    assert row.molecular_weight == pytest.approx(molecular_weight(atoms), abs=0.06)


@pytest.mark.parametrize("slug", CONVERSIONS)
def test_the_printed_conversion_is_weight_by_molar_volume(slug):
    row = contaminants.get(slug)
    assert row.molecular_weight / 24.45 == pytest.approx(row.factor, abs=0.011)


def test_the_wanted_worksites_of_tern_quay_have_a_contaminant_with_a_limit():
    held = {row.tern_quay for row in contaminants.rows() if row.tern_quay and row.limit is not None}
    assert held == {"blast-shed", "laminating-loft", "spray-hall", "joinery"}


def test_registry_numbers_are_well_formed():
    # The last digit of a CAS number checks the others.
    for row in contaminants.rows():
        if not row.cas:
            continue
        assert re.fullmatch(r"\d{2,7}-\d\d-\d", row.cas), row.slug
        *digits, check = (int(digit) for digit in row.cas.replace("-", ""))
        weighted = sum(place * digit for place, digit in enumerate(reversed(digits), start=1))
        assert weighted % 10 == check, row.slug


def test_names_are_there_in_both_languages():
    assert contaminants.get("styrene").name("es") == "Estireno"
    for row in contaminants.rows():
        assert row.name("en")
        assert row.name("es")


def test_cartridge_limits_are_those_of_the_regulation():
    # 42 CFR 84.190(a), maximum use concentrations in ppm.
    assert {row.slug: (row.limit, row.unit) for row in cartridge_limits.rows()} == {
        "ammonia": (300, "ppm"), "chlorine": (10, "ppm"), "hydrogen-chloride": (50, "ppm"),
        "methylamine": (100, "ppm"), "organic-vapor": (1000, "ppm"),
        "sulfur-dioxide": (50, "ppm"), "vinyl-chloride": (10, "ppm"),
    }  # fmt: skip
