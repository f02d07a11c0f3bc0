"""The worksheet: every page worked out, in both languages, with whatever stands in its address."""

import re
from urllib.parse import urlencode

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as some

from trainer.calculations.catalogue import CATALOGUE, GROUPS
from trainer.calculations.worked import work
from trainer.web.plots import plot

ALL = pytest.mark.parametrize("name", CATALOGUE)
PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}


@pytest.fixture
def lee(browser):
    """Return Lee's browser."""
    return browser("Lee")


def result(of) -> str:
    """Return the result that the page shows large."""
    return of.soup.select_one(".result").get_text(strip=True)


def test_the_list_holds_every_calculation_once(lee):
    lee.get("/worksheet")
    leads = [link["href"] for link in lee.soup.select(".leads a")]
    assert leads == [f"/worksheet/{one.name}" for group in GROUPS for one in group.calculations]


@ALL
def test_a_page_opens_with_an_example_worked_out(lee, name):
    for language in ("en", "es"):
        lee.get("/worksheet")
        lee.post("/language", language=language, next="/worksheet")
        assert lee.get(f"/worksheet/{name}").status_code == 200
        assert result(lee)
        assert lee.soup.select("#worked li")
        source = lee.soup.select_one("#worked .source").get_text()
        assert CATALOGUE[name].source.split(",")[0] in source
        caution = CATALOGUE[name].caution
        assert caution is None or caution(language) in lee.page


@ALL
def test_what_the_form_sends_gives_the_same_again(lee, name):
    # The form as the browser would send it: its address can be shared.
    lee.get(f"/worksheet/{name}")
    shown = result(lee)
    sent = []
    for control in lee.soup.select("form[action^='/worksheet/'] [name]"):
        if control.name == "select":
            chosen = control.select_one("option[selected]") or control.select_one("option")
            sent.append((control["name"], chosen["value"]))
        elif control.get("type") == "checkbox":
            if control.has_attr("checked"):
                sent.append((control["name"], control["value"]))
        elif control.name == "input":
            sent.append((control["name"], control.get("value", "")))
    lee.get(f"/worksheet/{name}?{urlencode(sent)}")
    assert result(lee) == shown
    assert "example" not in lee.soup.select_one("#worked .printed").get_text()


def test_own_numbers_stand_in_the_address(lee):
    lee.get("/worksheet/inside_concentration?unit=mg/m³&ambient=250&apf=10")
    assert result(lee) == "25 mg/m³"
    assert "250 mg/m³ ÷ 10 = 25 mg/m³" in lee.page
    lee.get("/worksheet/time_weighted_average?concentrations=150&hours=2&concentrations=75&hours=2"
            "&concentrations=50&hours=4&concentrations=&hours=&unit=ppm")
    assert result(lee) == "81.25 ppm"  # 29 CFR 1910.1000(d)(1)(ii)
    lee.get("/worksheet/exposure_with_respirator?hours=6&concentration=500&apf=50"
            "&hours=2&concentration=20&apf=1&hours=&concentration=&apf=1&unit=ppm")
    assert result(lee) == "12.5 ppm"


def test_htmx_gets_the_worked_part_alone(lee):
    lee.get("/worksheet/hazard_ratio")
    part = lee.get("/worksheet/hazard_ratio?concentration=620&limit=100", headers=PARTIAL).text
    assert "6.2" in part
    assert "<html" not in part
    assert "<form" not in part


@pytest.mark.parametrize(
    ("query", "field", "says"),
    [
        ("ambient=-1&apf=50", "ambient", "Concentration outside must not be below zero."),
        ("ambient=much&apf=50", "ambient", "must be a number, such as 2.5"),
        ("ambient=140&apf=49", "apf", "must be a factor of Table 1"),
        ("apf=50&ambient=", "ambient", "Concentration outside is missing."),
        ("ambient=140 mg&apf=50", "ambient", "write the number alone"),
        ("ambient=140&apf=50&unit=apples", "unit", "must be one of ppm"),
        ("ambient=nan&apf=50", "ambient", "must be a number"),
        ("ambient=1e400&apf=50", "ambient", "must be"),
    ],
)
def test_bad_input_gets_a_sentence_at_its_field_and_nothing_is_lost(lee, query, field, says):
    assert lee.get(f"/worksheet/inside_concentration?{query}").status_code == 200
    fault = lee.soup.select_one("#worked .slip a")
    assert fault["href"] == f"#{field}"
    assert says in fault.get_text()
    assert lee.soup.select_one(".result") is None
    typed = dict(pair.split("=", 1) for pair in query.split("&")).get("ambient", "")
    assert lee.soup.select_one("#ambient")["value"] == typed


def test_the_sentence_comes_in_the_readers_language(lee):
    lee.get("/worksheet")
    lee.post("/language", language="es", next="/worksheet")
    lee.get("/worksheet/inside_concentration?ambient=-1&apf=50")
    assert "Concentración afuera no puede ser menor que cero." in lee.page


def test_numbers_are_read_by_the_readers_language(lee):
    lee.get("/worksheet/inside_concentration?ambient=1,250&apf=10&unit=ppm")
    assert result(lee) == "125 ppm"
    lee.get("/worksheet/inside_concentration?ambient=2,5&apf=10&unit=ppm")
    assert result(lee) == "0.25 ppm"
    lee.post("/language", language="es", next="/worksheet")
    lee.get("/worksheet/inside_concentration?ambient=1,250&apf=10&unit=ppm")
    assert "se puede leer de dos maneras, 1,250 o 1.25" in lee.page
    lee.get("/worksheet/inside_concentration?ambient=1,000&apf=10&unit=ppm")
    assert result(lee) == "100 ppm"


def test_what_is_typed_is_never_html(lee):
    typed = "ambient=<script>alert(1)</script>&apf=50&unit=<b id=x>"
    lee.get(f"/worksheet/inside_concentration?{typed}")
    assert "<script>alert" not in lee.page
    assert "<b id=x>" not in lee.page


def test_more_lines_keeps_what_is_there(lee):
    lee.get("/worksheet/mixture_fraction?concentrations=500&limits=1000&rows=8&unit=ppm")
    cells = lee.soup.select("input[name=concentrations]")
    assert [cell["value"] for cell in cells] == ["500", *[""] * 7]
    lee.get("/worksheet/mixture_fraction?concentrations=500&limits=1000&rows=999999")
    assert len(lee.soup.select("input[name=concentrations]")) == 24


def test_the_verdicts_on_classes_stand_in_lists_with_reasons(lee):
    lee.get("/worksheet/selection?kind=gas&unit=ppm")
    heads = [head.get_text(strip=True) for head in lee.soup.select("#worked h2")]
    assert heads == ["May be worn", "May not be worn"]
    allowed = lee.soup.select(".classes")[0].get_text()
    assert "full facepiece" in allowed
    assert "certified for 30 minutes or more" in allowed
    assert "Nobody knows how much is in the air" in lee.page


def test_the_numbers_of_a_substance_can_be_put_in(lee):
    # 29 CFR 1910.1000 Table Z-2: toluene 200 ppm; NIOSH Pocket Guide: IDLH 500 ppm.
    lee.get("/worksheet/maximum_use_concentration?apf=10&limit=7&unit=mg/m³&cartridge_limit=1000"
            "&substance=toluene&take=1", follow_redirects=True)
    boxes = {name: lee.soup.select_one(f"#{name}")["value"]
             for name in ("limit", "idlh", "cartridge_limit")}
    assert boxes == {"limit": "200", "idlh": "500", "cartridge_limit": "1000"}
    assert result(lee) == "500 ppm"
    # Methanol: molecular weight 32.1, NIOSH Pocket Guide.
    lee.get("/worksheet/ppm_to_mg_per_m3?value=100&molecular_weight=1&substance=methanol&take=1",
            follow_redirects=True)
    assert lee.soup.select_one("#molecular_weight")["value"] == "32.1"
    assert lee.soup.select_one("#value")["value"] == "100"


def test_a_number_that_nobody_read_in_its_source_is_not_put_in(lee):
    # Tetrachloroethylene: its limit was read, its IDLH was not.
    lee.get("/worksheet/maximum_use_concentration?apf=10&limit=7&idlh=8&unit=ppm"
            "&substance=tetrachloroethylene&take=1", follow_redirects=True)
    assert lee.soup.select_one("#limit")["value"] == "100"
    assert lee.soup.select_one("#idlh")["value"] == ""
    offered = {option["value"] for option in lee.soup.select("#substance option")}
    assert "phosphine" not in offered
    lee.get("/worksheet/hazard_ratio?concentration=5&limit=2&substance=gold&take=1",
            follow_redirects=True)
    assert result(lee) == "2.5"
    lee.get("/worksheet/extended_shift_limit")
    assert lee.soup.select_one("#substance") is None


def test_a_calculation_that_there_is_not_is_not_found(lee):
    assert lee.get("/worksheet/alchemy").status_code == 404


# Plots: whatever the numbers, everything lies inside the drawing.


POINT = re.compile(r"(-?[\d.]+),(-?[\d.]+)")


def inside(drawn) -> bool:
    """Say whether every point, mark, level and tick of a plot lies in its frame."""
    points = [(float(x), float(y)) for line in drawn.lines for x, y in POINT.findall(line.points)]
    points += [(mark.x, mark.y) for mark in drawn.marks]
    left, right, top, bottom = 58, 334, 24, 196
    return (
        all(left <= x <= right and top <= y <= bottom for x, y in points)
        and all(top <= level.y <= bottom for level in drawn.levels)
        and all(left <= x <= right for x, _ in drawn.x.labels)
        and all(top <= y <= bottom for y, _ in drawn.y.labels)
        and 2 <= len(drawn.x.labels) <= 9
        and 2 <= len(drawn.y.labels) <= 9
    )


factors = some.sampled_from((5, 10, 25, 50, 1000, 10_000))
amounts = some.floats(1e-6, 1e6)
NO_FIXTURE_RESET = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None
)


@NO_FIXTURE_RESET
@given(amounts, factors, amounts, amounts)
def test_plots_against_the_factor_stay_in_their_frame(app, outside, apf, limit, lid):
    with app.test_request_context():
        for name, inputs in (
            ("inside_concentration", {"ambient": outside, "apf": apf}),
            ("maximum_use_concentration", {"apf": apf, "limit": limit, "idlh": lid}),
            ("maximum_use_concentration", {"apf": apf, "limit": limit}),
        ):
            assert inside(plot(work(CATALOGUE[name], inputs, "ppm")))
        if outside / limit <= 10_000:
            found = work(CATALOGUE["required_apf"], {"concentration": outside, "limit": limit})
            assert inside(plot(found))


@NO_FIXTURE_RESET
@given(factors, some.floats(0.1, 1440), some.floats(0, 1))
def test_plots_of_minutes_stay_in_their_frame(app, apf, shift, share):
    given_ = {"apf": apf, "worn_minutes": shift * share, "shift_minutes": shift}
    with app.test_request_context():
        assert inside(plot(work(CATALOGUE["effective_protection_factor"], given_)))


@NO_FIXTURE_RESET
@given(some.floats(0, 100), some.floats(-1500, 36000))
def test_plots_of_oxygen_stay_in_their_frame(app, percent, feet):
    with app.test_request_context():
        worked = work(CATALOGUE["oxygen_partial_pressure"],
                      {"percent": percent, "altitude_ft": feet})
        assert inside(plot(worked))


@NO_FIXTURE_RESET
@example([(1.0, 5e-324, 1)])
@given(some.lists(some.tuples(some.floats(0, 24), some.floats(0, 1e5),
                              some.sampled_from((1, 5, 50, 10_000))), min_size=1, max_size=8))
def test_plots_of_a_shift_stay_in_their_frame(app, segments):
    if sum(hours for hours, *_ in segments) < 0.01:
        return
    with app.test_request_context():
        drawn = plot(work(CATALOGUE["exposure_with_respirator"], {"segments": segments}, "ppm"))
        assert drawn is None or inside(drawn)


def test_the_plot_shows_what_the_result_is(app):
    with app.test_request_context():
        drawn = plot(work(CATALOGUE["inside_concentration"], {"ambient": 140, "apf": 50}, "ppm"))
    assert [mark.text for mark in drawn.marks if mark.text] == ["140 ppm", "2.8 ppm"]
    # Log scales: each factor of ten goes as far as the last.
    first, then = drawn.x.at(10) - drawn.x.at(1), drawn.x.at(100) - drawn.x.at(10)
    assert first == pytest.approx(then, abs=0.2)
    assert "140 ppm" in drawn.description
