"""Every number that the lessons state: a published one, a worked one, or one of an example.

The list is drawn from the text. Published numbers come from `trainer/reference` and the program's
own rules, or stand here with their source; sums are worked again; tables are read row by row.
That both languages state the same numbers, `check-content` sees to.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import pytest
from bs4 import BeautifulSoup

from trainer import lessons
from trainer.calculations import air, cartridges, filters, fit, supply, units
from trainer.calculations.exposure import effective_protection_factor
from trainer.lessons.plain import blocks
from trainer.reference import cartridge_limits, contaminants, filter_classes, respirator_classes

UNIT = re.compile(
    r"ppm-(?:hours|minutes)|ppm|mg/m³|mmHg|%|°C|°F|liters a minute|liters?|L/min|cfm|feet|m\b"
    r"|minutes?|min\b|hours?|months?|years?|seconds?|times"
)
NUMBER = re.compile(r"(?<![\w.,/(-])\d(?:[\d,]*\d)?(?:\.\d+)?(?![\w]|[.,]\d)")
SUM = re.compile(
    r"(?P<left>[\d,.]+(?: [^\d\s÷×=+−]+)?(?: \(the factor\))?"
    r"(?: [÷×+−] [\d,.]+(?: [^\d\s÷×=+−,.;:]+| %)?(?: \(the factor\))?)+)"
    r" (?:=|is about|looks like) (?P<right>[\d,]*\d(?:\.\d+)?)"
)
MONTH = "January|February|March|April|May|June|July|August|September|October|November|December"
CITED = re.compile(
    rf"(?:{MONTH}) \d+, \d{{4}}|\(?(?:29|42) CFR[^;)]*|NIOSH[^;)]*|PubMed \d+|Table \S+|step \d"
    r"|TC-\w+"
)

# By unit: what is published, and where. "" holds what has no unit.
PUBLISHED = {
    "": {
        **{float(one): "Table 1" for one in respirator_classes.factors()},
        **dict.fromkeys(fit.PASS_LEVELS.values(), "29 CFR 1910.134(f)(7)"),
        **dict.fromkeys((95, 99, 100), "42 CFR 84.170(a): the numbers of the classes"),
        units.MOLAR_VOLUME: "29 CFR 1910.1000 Table Z-1, footnote a",
        10_000: "ppm in one per cent",
        1_000_000: "cubic centimeters in a cubic meter, SI",
        1: "29 CFR 1910.1000(d)(2)(i): a mixture is over the limit above 1",
        **{row.molecular_weight: "NIOSH Pocket Guide" for row in contaminants.rows()
           if row.molecular_weight},
    },
    "%": {
        air.DEFICIENT_BELOW: "29 CFR 1910.134(b)",
        20.9: "share of oxygen in dry air, U.S. Standard Atmosphere 1976 (20.95 % rounded down)",
        23.5: "29 CFR 1910.134(i)(1)(ii)(A)",
        **{row.efficiency_percent: "42 CFR 84.170" for row in filter_classes.rows()},
        **{row.penetration_percent: "42 CFR 84.170" for row in filter_classes.rows()},
        100: "the whole",
        25: "42 CFR 84.83(f); PubMed 21462067; Zhuang 2016",
        10: "Zhuang 2016, JOEH",
        20: "78 FR 2618: the alarm of an older unit, 20 to 25 %",
        90: "29 CFR 1910.134(h)(3)(iii)",
        cartridges.HUMID_ABOVE_PERCENT: "OSHA page on change schedules, rules of thumb",
    },
    "ppm": {
        **{row.limit: row.limit_source for row in contaminants.rows()
           if row.limit and row.unit == "ppm"},
        **{row.printed["ceiling"]: "Table Z-2" for row in contaminants.rows()
           if row.printed["ceiling"]},
        **{row.idlh: "NIOSH Pocket Guide" for row in contaminants.rows() if row.idlh},
        **{row.limit: row.source for row in cartridge_limits.rows()},
        10: "29 CFR 1910.134(i)(1)(ii)(C), carbon monoxide; California's limit of toluene",
        1_000: "29 CFR 1910.134(i)(1)(ii)(D), carbon dioxide; 42 CFR 84.190(a)",
        2: "29 CFR 1910.1048(c)(2), formaldehyde",
        1: "the unit itself",
        100: "29 CFR 1910.1000 Table Z-2, styrene",
    },
    "mg/m³": {5: "29 CFR 1910.134(i)(1)(ii)(B)", 435: "Table Z-1, xylene"},
    "mmHg": {760: "Table Z-1, footnote a"},
    "°C": {
        25: "Table Z-1, footnote a",
        43: "29 CFR 1910.134 Appendix B-2",
        cartridges.LEAST_BOILING_POINT_C: "OSHA page on change schedules, rules of thumb",
    },
    "°F": {110: "29 CFR 1910.134 Appendix B-2"},
    "liters a minute": {
        supply.least_flow("L/min", "tight"): "42 CFR 84.162, table 8 of subpart J",
        supply.least_flow("L/min", "loose"): "42 CFR 84.162, table 8 of subpart J",
        40: "42 CFR 84 subpart H, breathing machine",
        80: "Johnson 1992, heavy work",
        192: "Johnson 1992, heavy work, peak flow",
    },
    "cfm": {
        supply.least_flow("cfm", "tight"): "table 8 of subpart J",
        supply.least_flow("cfm", "loose"): "table 8 of subpart J",
    },
    "liters": {units.MOLAR_VOLUME: "29 CFR 1910.1000 Table Z-1, footnote a"},
    "feet": {300: "42 CFR 84, table 8 of subpart J"},
    "m": {91: "42 CFR 84, table 8 of subpart J"},
    "seconds": {10: "29 CFR 1910.134 Appendix B-1"},
    "minutes": {
        30: "29 CFR 1910.134(d)(2)(i)(A)",
        15: "29 CFR 1910.1000(a)(1); a short-term limit",
        10: "29 CFR 1910.1000 Table Z-2, toluene; 42 CFR 84.70(b)",
        **dict.fromkeys((3, 5), "42 CFR 84.70(b)"),
        2: "29 CFR 1910.134 Appendix B-2",
    },
    "hours": {8: "29 CFR 1910.1000(d)(1)(i); an R filter with oil: 42 CFR 84, NIOSH 96-101"},
    "months": {12: "29 CFR 1910.134(k)(4)", 6: "Harber 2014, JOEH 11:826"},
    "years": {1: "Zhuang 2016, JOEH", 3: "Zhuang 2016, JOEH"},
}
SAME_UNIT = {"minute": "minutes", "min": "minutes", "hour": "hours", "liter": "liters",
             "L/min": "liters a minute", "month": "months", "year": "years", "second": "seconds"}

# Numbers of invented examples and of studies, by lesson; they claim no rule.
EXAMPLES = {
    "half-and-full-masks": {100, 20, 10, 2},  # parts inside, of 100 outside
    "supplied-air": {7.5, 15},  # 25 % of 30 minutes; 30 minutes at 80 in place of 40 L/min
    "filter-ratings": {10_000, 3, 97},
    "protection-factors": {6.2, 900, 480, 48, 7_200, 1_296, 8_496, 17.7, 8.5, 50, 2_000, 140, 620,
                           150},
    "how-much": {0.02, 20, 130, 70, 30, 76.7, 87.5, 434, 5_526, 16, 0.5, 0.6, 0.8, 1.1, 0.57, 0.4,
                 60, 90, 120, 75, 6, 2, 4, 420, 7.5, 210, 450, 700, 226, 100, 1, 170, 300},
    "fit": {643, 229, 1, 4, 2_000, 20, 240},
    "respirator-classes": {643, 17},  # PubMed 21462067; a meter in the Tank Pit
    "upkeep": {6, 30, 60, 3, 1.5},
    "putting-on": {145, 175},  # Harber 2013 and 2014
}


@dataclass(frozen=True)
class Stated:
    """A number as a lesson states it."""

    lesson: str
    number: float
    unit: str
    around: str


def plain(text: str) -> float:
    """Return a number as it is written."""
    return float(text.replace(",", ""))


def stated() -> Iterator[Stated]:
    """Give every number of the English lessons outside tables, sources and sums."""
    for lesson in lessons.load().all:
        for section in lesson.sections:
            for part in section.parts("en"):
                for block in blocks(part.html) if part.kind == "html" else ():
                    if block.tag in ("th", "td") or block.text.startswith("Source"):
                        continue
                    text = SUM.sub(" ", CITED.sub(" ", block.text))
                    yield from _numbers(lesson.slug, text)


def _numbers(lesson: str, text: str) -> Iterator[Stated]:
    for found in NUMBER.finditer(text):
        # In "3, 5, or 10 minutes" all three have the unit.
        rest = re.sub(r"^(?:,? ?(?:or|to|and)? ?\d[\d,.]*\d?)*[\s  -]*", "", text[found.end():])
        unit = UNIT.match(rest)
        named = SAME_UNIT.get(unit[0], unit[0]) if unit else ""
        around = text[max(0, found.start() - 30) : found.end() + 20]
        yield Stated(lesson, plain(found[0]), named, around)


def test_every_number_is_published_or_of_an_example():
    unknown = [
        f"{one.lesson}: {one.number:g} {one.unit} in “{one.around}”" for one in stated()
        if one.number not in PUBLISHED.get(one.unit, {})
        and one.number not in EXAMPLES.get(one.lesson, ())
    ]
    assert not unknown, "\n".join(unknown)


def test_the_list_of_examples_holds_nothing_that_is_not_there():
    there: dict[str, set[float]] = {}
    for lesson in lessons.load().all:
        text = " ".join(
            block.text for section in lesson.sections for part in section.parts("en")
            if part.kind == "html" for block in blocks(part.html)
        )
        there[lesson.slug] = {plain(found[0]) for found in NUMBER.finditer(text)}
    assert {slug: numbers - there[slug] for slug, numbers in EXAMPLES.items()} == \
        {slug: set() for slug in EXAMPLES}


def sums() -> list[tuple[str, str, str]]:
    """Return every sum of the lessons in both languages: lesson, left side, right side."""
    found = []
    for lesson in lessons.load().all:
        for language in ("en", "es"):
            for section in lesson.sections:
                for part in section.parts(language):
                    for block in blocks(part.html) if part.kind == "html" else ():
                        text = block.text.replace("(el factor)", "(the factor)") \
                            .replace("parece", "looks like").replace("da cerca de", "is about")
                        found += [(lesson.slug, one["left"], one["right"])
                                  for one in SUM.finditer(text)]
    return found


@pytest.mark.parametrize(("lesson", "left", "right"), sums())
def test_every_sum_comes_out(lesson: str, left: str, right: str):
    terms = re.findall(r"([÷×+−])? ?([\d,]*\d(?:\.\d+)?)(?: [^\d\s÷×=+−]+)?", left)
    worked = plain(terms[0][1])
    for sign, number in terms[1:]:
        other = plain(number)
        worked = {"÷": worked / other if other else 0, "×": worked * other,
                  "+": worked + other, "−": worked - other}[sign]
    places = len(right.partition(".")[2])
    assert abs(worked - plain(right)) <= 0.5 * 10**-places + 1e-9, f"{lesson}: {left} = {worked}"


def test_sums_are_found():
    assert len(sums()) >= 40
    assert ("protection-factors", "620 ppm ÷ 100 ppm", "6.2") in sums()


# Tables, row by row.


@cache
def table(lesson: str, *heads: str) -> tuple[tuple[str, ...], ...]:
    """Return the rows of the table of a lesson that has these heads."""
    for section in lessons.load().get(lesson).sections:
        for part in section.parts("en"):
            for one in BeautifulSoup(part.html, "html.parser").find_all("table"):
                rows = [tuple(cell.get_text() for cell in row.find_all(["th", "td"]))
                        for row in one.find_all("tr")]
                if rows[0][: len(heads)] == heads:
                    return tuple(rows[1:])
    raise AssertionError(f"{lesson} has no table {heads}")


def apf(slug: str) -> int:
    """Return the factor that Table 1 gives a class."""
    return respirator_classes.get(slug).apf


def test_the_factors_of_masks_are_those_of_table_1():
    rows = table("half-and-full-masks", "Mask", "Factor")
    classes = {"Quarter mask": "apr-quarter", "Filtering facepiece": "apr-filtering",
               "Half mask": "apr-half", "Full facepiece": "apr-full"}
    assert {row[0]: int(row[1]) for row in rows} == {
        name: apf(slug) for name, slug in classes.items()
    }


def test_the_factors_of_airlines_are_those_of_table_1():
    rows = table("supplied-air", "Airline")
    modes = {"Demand": "demand", "Continuous flow": "flow", "Pressure-demand": "pressure"}
    for name, half, full, hood in rows:
        mode = modes[name]
        assert plain(half) == apf(f"sar-{mode}-half")
        assert plain(full) == apf(f"sar-{mode}-full")
        hoods = [apf(f"sar-{mode}-hood")] if apf(f"sar-{mode}-hood") else []
        hoods += [apf("sar-flow-hood-1000")] if mode == "flow" else []
        assert [plain(one) for one in NUMBER.findall(hood)] == hoods


def test_each_factor_names_all_its_classes():
    said = {int(plain(row[0])): row[1] for row in table("protection-factors", "Factor")}
    assert set(said) == set(respirator_classes.factors())
    words = {
        "quarter": "quarter mask", "half": "half mask", "filtering": "filtering facepiece",
        "full": "full facepiece", "hood": "hood", "loose": "loose-fitting facepiece",
    }
    ways = {"papr": "powered", "demand": "demand", "flow": "continuous-flow",
            "pressure": "pressure-demand", "scba": "SCBA"}
    for row in respirator_classes.recognised():
        if row.slug.endswith("-1000"):
            continue  # a hood with the maker's proof stands in the paragraph below the table
        parts = [part for part in said[row.apf].split("; ") if words[row.facepiece] in part]
        need = [ways[one] for one in (row.kind, row.mode) if one in ways]
        assert any(all(way in part for way in need) for part in parts), row.slug


@pytest.mark.parametrize("row", table("protection-factors", "Mask off"), ids=lambda row: row[0])
def test_minutes_unworn_cost_what_the_table_says(row):
    off = plain(row[0].removesuffix(" min"))
    for factor, shown in zip((10, 50, 1000), row[1:], strict=True):
        assert f"{effective_protection_factor(factor, 480 - off, 480):,.1f}" == shown


def test_filters_catch_what_their_number_says():
    for number, catches, lets_in in table("filter-ratings", "Number"):
        row = filter_classes.get(f"N{number}")
        assert plain(catches.removesuffix(" %")) == row.efficiency_percent
        assert plain(lets_in.removesuffix(" %")) == row.penetration_percent


def test_letters_for_a_task_follow_the_oil():
    for task, holds, letters in table("filter-ratings", "Task"):
        oil = "oil" in holds and "no oil" not in holds
        wanted = filters.letters_for(oil=oil, powered=False, shifts=1)
        assert letters == ("none will do" if "vapor" in holds else wanted), task


def test_cartridges_have_the_limits_of_the_rule():
    # 42 CFR 84.190(a).
    said = {row[0].lower(): plain(row[1]) for row in table("cartridges", "Gas or vapor")}
    published = {row.english.removesuffix(" cartridges").replace("vapour", "vapor").lower():
                 row.limit for row in cartridge_limits.rows()}
    assert said == {name: published[name] for name in said}
    assert len(said) == 7


def test_grade_d_is_grade_d():
    # 29 CFR 1910.134(i)(1)(ii).
    said = dict(table("supplied-air", "In the air"))
    assert said["Oxygen"] == "19.5 to 23.5 %"
    assert said["Carbon monoxide"] == "10 ppm at most"
    assert said["Carbon dioxide"] == "1,000 ppm at most"
    assert said["Oil"] == "5 mg/m³ at most"
    assert supply.breathing_air_acceptable(19.5, 10, 1000, 5)
    assert supply.breathing_air_acceptable(23.5, 10, 1000, 5)
    worse = ((19.4, 10, 1000, 5), (23.6, 10, 1000, 5), (20.9, 11, 1000, 5), (20.9, 10, 1001, 5),
             (20.9, 10, 1000, 5.1))
    assert not any(supply.breathing_air_acceptable(*one) for one in worse)


def test_fit_tests_pass_where_the_rule_says():
    said = {row[0]: plain(row[1].split()[0]) for row in table("fit", "Tight facepiece")}
    half, full = fit.PASS_LEVELS["half"], fit.PASS_LEVELS["full"]
    assert said == {"Half mask or filtering facepiece": half, "Full facepiece": full}


def test_cartridges_last_as_the_rule_of_thumb_says():
    # "6 hours in tests at 30 L/min. At 60 L/min about 3 hours. Damp as well, about 1.5 hours."
    assert cartridges.cartridge_hours(6, flow_from=30, flow_to=60) == pytest.approx(3)
    damp = cartridges.cartridge_hours(6, flow_from=30, flow_to=60, humidity_percent=86)
    assert damp == pytest.approx(1.5)


def test_the_average_of_the_lesson_is_the_average():
    rows = table("how-much", "Hours")
    for hours, amount, product in rows:
        assert plain(hours) * plain(amount) == plain(product)
    assert sum(plain(row[2]) for row in rows) == 700


def test_limits_in_the_table_are_those_of_the_rule():
    examples = " ".join(row[2] for row in table("how-much", "Kind of limit"))
    for slug, shown in (("toluene", "toluene 200 ppm"), ("xylenes", "xylene and styrene 100 ppm")):
        assert shown in examples
        assert contaminants.get(slug).limit == plain(shown.split()[-2])
    assert contaminants.get("hydrogen-chloride").printed["ceiling"] == 5
