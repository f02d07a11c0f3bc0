"""The page of hard spots: its table, its drawing, a page an item; whose answers a reader sees."""

import re
from datetime import timedelta

import pytest

from tests.answering import CHOICE, EXERCISE, OTHER, crowd, sit, work
from tests.conftest import Works
from trainer import bank
from trainer.calculations.items import wilson_interval
from trainer.web.shares import LEFT, RIGHT


@pytest.fixture
def answered(works: Works) -> Works:
    """Let twelve at the Loft answer two questions and one exercise, and seven one question more."""
    third = bank.load().for_lesson("filter-ratings")[0].slug
    with works.store.writing() as db:
        people = crowd(db, works.worksites["Laminating Loft"].id, 12, works.now)
        for at, person in enumerate(people):
            sit(db, person, works.now, given={CHOICE: ["2"] if at < 8 else ["0"]},
                wrong=[OTHER] if at < 3 else [])
            work(db, person, works.now, typed="0.0123456" if at < 2 else "")
            if at < 7:
                sit(db, person, works.now, asked=[third], lesson="filter-ratings", wrong=[third])
    return works


def rows(page) -> dict[str, dict[str, str]]:
    """Return the cells of the table by their names, a row an item by the address it leads to."""
    return {
        row.select_one("th a")["href"].split("?")[0].rsplit("/", 1)[1]: {
            cell["data-label"]: " ".join(cell.get_text().split())
            for cell in row.select("td[data-label]")
        }
        for row in page.soup.select("table.spots tbody tr")
    }


def test_the_table_says_what_people_get_wrong(answered, browser):
    tomas = browser("Tomas")
    assert tomas.get("/hard-spots").status_code == 200
    found = rows(tomas)
    assert list(found)[:3] == [CHOICE, OTHER, EXERCISE]
    low, high = wilson_interval(4, 12)
    assert found[CHOICE]["First answers"] == "12"
    assert found[CHOICE]["Right"] == "4"
    assert found[CHOICE]["Share right"] == "33 %"
    assert found[CHOICE]["95 % interval"] == f"{low:.0%} to {high:.0%}".replace("%", " %")
    wrong = bank.load().questions[CHOICE].options[2].text.en
    assert found[CHOICE]["Commonest wrong answer"] == f"{wrong} (8 of 12)"
    assert "may be chance (0.41)" in found[CHOICE].values()
    assert "cannot be worked out" in found[EXERCISE].values()
    assert tomas.soup.select_one("nav [aria-current=page]").get_text() == "Hard spots"


def test_too_few_is_told_as_too_few(answered, browser):
    tomas = browser("Tomas")
    tomas.get("/hard-spots")
    last = rows(tomas)[bank.load().for_lesson("filter-ratings")[0].slug]
    assert last == {
        "First answers": "7", "Share right": "Too few answers yet (7 of 10)",
    }  # fmt: skip
    slug = list(rows(tomas))[-1]
    page = tomas.get(f"/hard-spots/question/{slug}")
    main = tomas.soup.select_one("main").get_text()
    assert page.status_code == 200
    assert "Too few answers yet (7 of 10)" in main
    assert "chose it" not in main
    assert " of 7" not in main


def test_the_drawing_shows_the_same_on_one_scale(answered, browser):
    tomas = browser("Tomas")
    tomas.get("/hard-spots")
    drawing = tomas.soup.select_one("figure.shares svg")
    drawn = drawing.select(".share-row")
    assert len(drawn) == len(rows(tomas))
    for row, cells in zip(drawn, rows(tomas).values(), strict=True):
        if "Right" not in cells:
            assert row.select_one("circle") is None
            assert "too few: 7 of 10" in row.get_text()
            continue
        right, count = int(cells["Right"]), int(cells["First answers"])
        low, high = re.match(r"M([\d.]+) [\d.]+H([\d.]+)", row.select_one("path")["d"]).groups()
        at = [float(row.select_one("circle")["cx"]), float(low), float(high)]
        shares = [right / count, *wilson_interval(right, count)]
        for x, share in zip(at, shares, strict=True):
            assert x == pytest.approx(LEFT + share * (RIGHT - LEFT), abs=0.06)
        assert cells["Share right"] in row.get_text()
    mark = drawing.select_one(".mark-line")["d"]
    assert float(mark[1:].split()[0]) == pytest.approx(LEFT + 0.8 * (RIGHT - LEFT), abs=0.06)
    assert "pass mark 80 %" in drawing.get_text()
    assert "100 %" in tomas.soup.select_one("figure.shares figcaption").get_text()


def test_a_trainer_of_another_worksite_sees_nothing_of_these(answered, browser):
    loft = answered.worksites["Laminating Loft"].id
    wren = browser("Wren")
    for query in ("", f"?worksite={loft}", f"?worksite={loft}&sort=answers", "?worksite=999"):
        assert wren.get(f"/hard-spots{query}").status_code == 200
        assert rows(wren) == {}
        assert "Nobody has answered anything here yet." in wren.page
        assert "Laminating Loft" not in wren.soup.select_one("main").get_text()
        for kind, slug in (("question", CHOICE), ("exercise", EXERCISE)):
            wren.get(f"/hard-spots/{kind}/{slug}{query}")
            assert "Too few answers yet (0 of 10)" in wren.page


def test_a_coordinator_sees_all_and_chooses(answered, browser):
    ids = {name: one.id for name, one in answered.worksites.items()}
    ida = browser("Ida")
    ida.get("/hard-spots")
    assert len(rows(ida)) == 4
    ida.get(f"/hard-spots?worksite={ids['Joinery']}")
    assert rows(ida) == {}
    ida.get(f"/hard-spots?worksite={ids['Laminating Loft']}&lesson=filter-ratings")
    assert len(rows(ida)) == 1
    assert ida.soup.select_one("#lesson option[selected]")["value"] == "filter-ratings"
    # With nothing told, there is nothing to draw.
    assert ida.soup.select_one("figure.shares") is None
    day = answered.today.isoformat()
    ida.get(f"/hard-spots?from={day}&to={day}")
    assert len(rows(ida)) == 4
    ida.get("/hard-spots?to=2020-01-01")
    assert rows(ida) == {}


def test_links_sort_and_keep_what_was_chosen(answered, browser):
    loft = answered.worksites["Laminating Loft"].id
    ida = browser("Ida")
    ida.get(f"/hard-spots?worksite={loft}")
    links = {link.get_text(): link["href"] for link in ida.soup.select(".sorts a")}
    assert list(links) == [
        "Hardest first", "Most answers first", "Worst separation first",
        "In the order of the lessons",
    ]  # fmt: skip
    for label, href in links.items():
        ida.get(href)
        assert ida.soup.select_one(".sorts [aria-current]").get_text() == label
        assert ida.soup.select_one("#worksite option[selected]")["value"] == str(loft)
        assert ida.soup.select_one("caption").get_text() == label
        back = ida.soup.select_one("table.spots th a")["href"]
        ida.get(back)
        assert f"worksite={loft}" in ida.soup.select_one("main .do a")["href"]
    ida.get(links["In the order of the lessons"])
    assert next(iter(rows(ida))) not in (CHOICE, OTHER, EXERCISE)


@pytest.mark.parametrize(
    ("query", "field", "said"),
    [
        ("from=yesterday", "from", "Give a date"),
        ("to=2026-02-30", "to", "Give a date"),
        ("from=2026-03-05&to=2026-03-04", "to", "The last day must not be before the first."),
    ],
)
def test_a_period_that_cannot_be_is_refused_and_kept(answered, browser, query, field, said):
    ida = browser("Ida")
    assert ida.get(f"/hard-spots?{query}").status_code == 422
    link = ida.soup.select_one(".faults a")
    assert said in link.get_text()
    assert link["href"] == f"#{field}"
    for name, value in (pair.split("=") for pair in query.split("&")):
        assert ida.soup.select_one(f"#{name}")["value"] == value
    assert rows(ida) == {}
    assert ida.get(f"/hard-spots/question/{CHOICE}?{query}").status_code == 422
    assert said in ida.page


def test_the_page_of_a_question_says_who_chose_what_in_numbers_alone(answered, browser):
    tomas = browser("Tomas")
    tomas.get(f"/hard-spots/question/{CHOICE}")
    question = bank.load().questions[CHOICE]
    options = [" ".join(one.get_text().split()) for one in tomas.soup.select(".answers li")]
    for one, text, count in zip(question.options, options, (4, 0, 8, 0), strict=True):
        assert text.startswith(one.text.en)
        assert f"{count} of 12 chose it" in text
        assert text.endswith(one.why.en)
        assert ("Right." in text) == one.right
    href = f"/lessons/{question.lesson}/{question.section}"
    assert tomas.soup.select_one(f".go-list a[href='{href}']")
    assert tomas.get(href).status_code == 200


def test_the_page_of_an_exercise_names_its_slips(answered, browser):
    tomas = browser("Tomas")
    tomas.get(f"/hard-spots/exercise/{EXERCISE}")
    main = tomas.soup.select_one("main").get_text()
    assert "12 of the first answers were given outside a sitting." in main
    assert "Other wrong answers, without a slip that is known. 2 of 12 (17 %)." in main
    assert tomas.soup.select_one(f"a[href='/exercises/{EXERCISE}']")
    assert len(tomas.soup.select(".answers li")) == 6


def test_nobody_is_named(answered, browser):
    tomas = browser("Tomas")
    for path in ("", f"/question/{CHOICE}", f"/exercise/{EXERCISE}"):
        tomas.get(f"/hard-spots{path}")
        assert "Quillfeather" not in tomas.page
        assert "C1-0" not in tomas.page


def test_what_nobody_knows_is_not_found(browser):
    ida = browser("Ida")
    assert ida.get("/hard-spots/question/nothing").status_code == 404
    assert ida.get("/hard-spots/exercise/nothing").status_code == 404
    assert ida.get(f"/hard-spots/exercise/{CHOICE}").status_code == 404
    assert ida.get("/hard-spots?page=x&sort=x&lesson=x&worksite=x").status_code == 200


def test_it_is_in_spanish_too(answered, browser):
    tomas = browser("Tomas")
    tomas.get("/hard-spots")
    tomas.post("/language", language="es", next="/hard-spots")
    found = rows(tomas)[CHOICE]
    wrong = bank.load().questions[CHOICE].options[2].text.es
    assert found["Error más común"] == f"{wrong} (8 de 12)"
    assert "puede ser casualidad (0.41)" in found.values()
    assert "Todavía hay muy pocas respuestas (7 de 10)" in tomas.page
    tomas.get(f"/hard-spots/question/{CHOICE}")
    assert "8 de 12 la eligieron" in tomas.page


def test_a_long_list_has_pages(works, browser):
    slugs = [one.slug for one in bank.load().questions.values()][:23]
    with works.store.writing() as db:
        for person in crowd(db, works.worksites["Joinery"].id, 10, works.now):
            sit(db, person, works.now, asked=slugs)
    wren = browser("Wren")
    wren.get("/hard-spots")
    first = rows(wren)
    assert len(first) == len(wren.soup.select(".share-row")) == 20
    wren.get(wren.soup.select_one(".pager a[rel=next]")["href"])
    assert len(rows(wren)) == 3
    assert not set(first) & set(rows(wren))
    assert wren.soup.select_one("table.spots th a").get_text().startswith("21. ")
    assert "21. " in wren.soup.select_one(".share-row").get_text()
    # From an item on this page one comes back to it.
    wren.get(wren.soup.select_one("table.spots th a")["href"])
    assert "page=2" in wren.soup.select_one("main .do a")["href"]
    assert wren.get("/hard-spots?page=99").status_code == 200


def test_a_choice_that_cuts_a_group_says_that_it_is_not_told(works, browser):
    loft = works.worksites["Laminating Loft"].id
    with works.store.writing() as db:
        for at, person in enumerate(crowd(db, loft, 15, works.now)):
            sit(db, person, works.now - (14 - at) * timedelta(days=2), wrong=[CHOICE])
    tomas = browser("Tomas")
    tomas.get("/hard-spots")
    assert rows(tomas)[CHOICE]["Right"] == "0"
    day = (works.today - timedelta(days=4)).isoformat()  # twelve or thirteen of the fifteen
    for address in (f"/hard-spots?to={day}", f"/hard-spots/question/{CHOICE}?to={day}"):
        tomas.get(address)
        assert "Not told: with other choices it would show" in tomas.page
        main = tomas.soup.select_one("main").get_text()
        assert "chose it" not in main, main[:900]
    tomas.get(f"/hard-spots/question/{CHOICE}?from=0001-01-01&to={works.today}")
    assert f"to {works.today.day} " in tomas.soup.select_one("main").get_text()
    assert "15 of 15" in tomas.page
