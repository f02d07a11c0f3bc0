"""Worked figures of regulations and agencies, each typed here from its publication."""

import csv
import math
from pathlib import Path

import pytest

from trainer.calculations.catalogue import CATALOGUE
from trainer.calculations.worked import read, work

# calculation, inputs, printed answer, relative tolerance (0: exact), source
PUBLISHED = [
    ("time_weighted_average", {"concentrations": [150, 75, 50], "hours": [2, 2, 4]}, 81.25, 0,
     "29 CFR 1910.1000(d)(1)(ii)"),
    ("mixture_fraction", {"concentrations": [500, 45, 40], "limits": [1000, 200, 200]}, 0.925, 0,
     "29 CFR 1910.1000(d)(2)(ii)"),
    ("extended_shift_limit", {"limit": 50, "hours_per_day": 10, "basis": "osha_lead"}, 40, 0,
     "29 CFR 1910.1025(c)(2), 1926.62(c)(2): 400 / hours, in ug/m3"),
    ("extended_shift_limit", {"limit": 1, "hours_per_day": 10, "basis": "brief_scala_daily"},
     0.7, 0, "Brief and Scala 1975: a shift of 10 hours has the factor 0.70"),
    ("maximum_use_concentration", {"apf": 10, "limit": 50}, 500, 0,
     "OSHA on lead with a half mask: 10 x 50 ug/m3; figures seen in secondary pages"),
    ("ppm_to_mg_per_m3", {"value": 250, "molecular_weight": 58.1}, 590, 0.03,
     "NIOSH Pocket Guide, acetone REL 250 ppm (590 mg/m3)"),
    ("ppm_to_mg_per_m3", {"value": 400, "molecular_weight": 60.1}, 980, 0.02,
     "NIOSH Pocket Guide, isopropyl alcohol 400 ppm (980 mg/m3)"),
    ("ppm_to_mg_per_m3", {"value": 35, "molecular_weight": 28.0}, 40, 0.02,
     "NIOSH Pocket Guide, carbon monoxide REL 35 ppm (40 mg/m3)"),
    ("ppm_to_mg_per_m3", {"value": 100, "molecular_weight": 92.1}, 375, 0.02,
     "NIOSH Pocket Guide, toluene REL 100 ppm (375 mg/m3)"),
    ("ppm_to_mg_per_m3", {"value": 100, "molecular_weight": 104.2}, 425, 0.01,
     "OSHA method 9, styrene 100 ppm (425 mg/m3)"),
    ("percent_to_ppm", {"percent_lel": 10, "lel_percent": 2.5}, 2500, 0,
     "NIOSH Pocket Guide, acetone: LEL 2.5 %, IDLH 2,500 ppm [10% LEL]"),
    ("oxygen_partial_pressure", {"percent": 19.5, "altitude_ft": 0}, 148.2, 0.01,
     "19.5 % at sea level: 0.195 x 760"),
    ("silica_pel_formula", {"percent_sio2": 100}, 0.098, 0.01,
     "29 CFR 1910.1000 Table Z-3: 10 / (% SiO2 + 2)"),
    ("maximum_use_concentration", {"apf": 10, "limit": 50}, 500, 0,
     "NIOSH Pocket Guide, n-hexane: up to 500 ppm at APF 10 on the REL of 50 ppm"),
    ("maximum_use_concentration", {"apf": 25, "limit": 50, "idlh": 1100}, 1100, 0,
     "NIOSH Pocket Guide, n-hexane: up to 1,100 ppm at APF 25, which is the IDLH"),
    ("maximum_use_concentration", {"apf": 10, "limit": 50, "idlh": 700}, 500, 0,
     "NIOSH Pocket Guide, styrene: up to 500 ppm at APF 10 on the REL of 50 ppm"),
    ("maximum_use_concentration", {"apf": 25, "limit": 50, "idlh": 700}, 700, 0,
     "NIOSH Pocket Guide, styrene: up to 700 ppm at APF 25, which is the IDLH"),
    ("silica_pel_formula", {"percent_sio2": 8}, 1, 0,
     "29 CFR 1910.1000 Table Z-3, as amended in 81 FR 60272: 10 / (% SiO2 + 2)"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "inputs", "printed", "tolerance", "source"),
    PUBLISHED,
    ids=[f"{row[0]}-{number}" for number, row in enumerate(PUBLISHED, start=1)],
)
def test_a_published_figure_comes_out(name, inputs, printed, tolerance, source):
    result = CATALOGUE[name].function(**inputs)
    assert math.isclose(result, printed, rel_tol=tolerance or 1e-9), source


TABLE = Path(__file__).with_name("published_examples.csv").read_text(encoding="utf-8")
EXAMPLES = list(csv.DictReader(TABLE.splitlines()))


@pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: row["id"])
def test_a_published_example_comes_out(row):
    calculation = CATALOGUE[row["calculation"]]
    given = dict(pair.split("=") for pair in row["inputs"].split(";"))
    worked = work(calculation, read(calculation, given))
    tolerance = float(row["tolerance_relative"]) or 1e-9
    assert math.isclose(worked.result, float(row["answer"]), rel_tol=tolerance), row["source"]


def test_the_worked_examples_of_1910_1000_d_are_below_the_limit():
    # (d)(1)(ii): 81.25 ppm is less than the limit of 100 ppm; (d)(2)(ii): 0.925 is below 1.
    average = CATALOGUE["time_weighted_average"].function([150, 75, 50], [2, 2, 4])
    mixture = CATALOGUE["mixture_fraction"].function([500, 45, 40], [1000, 200, 200])
    assert average < 100
    assert mixture < 1
