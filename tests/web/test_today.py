"""Today and the grid as pages: where each line leads, how they sort; the ways in the bar."""

from datetime import timedelta

from tests.conftest import HALF_MASK, pass_lesson
from trainer import lessons
from trainer.services import asking, joining
from trainer.web import today


def lines(page) -> list[tuple[str, str]]:
    """Return what each line of the list says and where it leads."""
    return [
        (" ".join(one.get_text(" ").split()), one["href"])
        for one in page.soup.select("main ul.sections a")
    ]


def test_each_line_leads_to_where_it_is_dealt_with(works, browser):
    slug = lessons.load().all[0].slug
    with works.store.writing() as db:
        for name in ("Lee", "Tomas"):
            someone = works.people[name]
            asking.tell(db, someone, "health", None, works.now)
            asking.ask(db, someone, "Which?", once=name, language="en", now=works.now,
                       lesson=slug)
    tomas, wren = browser("Tomas"), browser("Wren")
    tomas.get("/today")
    (need, to_need), (question, to_question) = lines(tomas)
    assert need.startswith("Lee : wants to talk to the health professional")
    assert lessons.load().all[0].title("en") in question
    assert (to_need, to_question) == ("/questions#told", "/questions/1")
    assert "2 things wait for you" in tomas.page
    for address in (to_need, to_question):
        assert tomas.get(address).status_code == 200
        assert "Lee" in tomas.page
    wren.get("/today")
    assert lines(wren) == []
    assert "Nothing waits for you now." in wren.page


def test_who_waits_for_practice_can_be_watched_together(works, browser):
    with works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Kim"], **HALF_MASK)
    for lesson in lessons.load().all:
        for name in ("Lee", "Kim"):
            pass_lesson(works, name, lesson.slug, works.now)
    tomas = browser("Tomas")
    tomas.get("/today")
    several = tomas.soup.select_one("main a[href='/crew/practices']")
    assert several.get_text() == "Watch the practice of several people (2)"
    tomas.get(several["href"])
    assert len(tomas.soup.select("[name=worn]")) == 2


def test_a_trainer_finds_lessons_and_pictures_of_a_worksite_from_the_bar(browser):
    tomas = browser("Tomas")
    tomas.get("/today")
    tomas.get(tomas.soup.select_one("header nav a[href='/sites']")["href"])
    leads = [one["href"] for one in tomas.soup.select("main .go-list a")]
    assert leads == ["/sites/1/lessons", "/sites/1/pictures"]


def test_a_long_list_has_pages_and_none_beyond_them(works, browser, monkeypatch):
    monkeypatch.setattr(today, "PAGE", 2)
    with works.store.writing() as db:
        for at in range(5):
            asking.ask(db, works.people["Lee"], f"Number {at}?", once=str(at), language="en",
                       now=works.now + timedelta(seconds=at))
    tomas = browser("Tomas")
    for page, leads in ((1, [1, 2]), (3, [5]), (9, [5]), (-1, [1, 2])):
        tomas.get(f"/today?page={page}")
        assert [to for _, to in lines(tomas)] == [f"/questions/{one}" for one in leads]
    assert "5 things wait for you" in tomas.page
    tomas.get("/grid?page=99")
    assert len(tomas.soup.select("table.grid tbody tr")) == 2


def test_the_grid_is_sorted_from_its_heads(works, browser):
    pass_lesson(works, "Kim", lessons.load().all[0].slug, works.now)
    tomas = browser("Tomas")

    def names() -> list[str]:
        return [one.get_text() for one in tomas.soup.select("table.grid tbody th")]

    tomas.get("/grid")
    assert names() == ["Kim", "Lee"]
    heads = tomas.soup.select("table.grid thead a")
    assert len(heads) == 2 + len(lessons.load().all)
    for at, head in enumerate(heads):
        tomas.get(f"/grid{head['href']}")
        assert names() == (["Lee", "Kim"] if at in (1, 2) else ["Kim", "Lee"])
        sorted_by = tomas.soup.select("table.grid [aria-sort]")
        assert [one.get_text() for one in sorted_by] == [head.get_text()]
    tomas.get("/grid?sort=nonsense")
    assert tomas.soup.select_one("table.grid [aria-sort]").get_text() == "Person"


def test_the_bar_of_a_trainer_is_short_and_that_of_a_worker_whole(browser):
    lee, tomas = browser("Lee"), browser("Tomas")
    lee.get("/tag")
    assert not lee.soup.select("header nav details")
    assert len(lee.soup.select("header nav a")) == 4
    tomas.get("/assign")
    seen = [one.get_text() for one in tomas.soup.select("header nav > ul > li > a")]
    assert "Today" in seen and len(seen) <= 5
    behind = {one["href"] for one in tomas.soup.select("header nav details a")}
    assert {"/assign", "/sites", "/codes", "/grid", "/worksheet", "/exercises"} <= behind
    assert tomas.soup.select_one("header nav summary.current")
    for one in tomas.soup.select("header nav a"):
        assert tomas.get(one["href"]).status_code == 200
