"""Pages of problems with the numbers of a worksite."""

from datetime import timedelta

from tests.conftest import Works, pass_lesson, wrong_answer
from tests.services.test_own_numbers import described
from trainer import lessons
from trainer.services import learning, sitting
from trainer.store.tables import Person


def begun(works: Works) -> tuple[int, int]:
    """Begin a sitting in which one problem recalls an earlier lesson; return it and the place."""
    described(works, "silica", (4, 0.31), (4, 0.18), cartridge="", approval="")
    pass_lesson(works, "Lee", "filter-ratings", works.now - timedelta(days=1))
    upkeep = lessons.load().get("upkeep")
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        for section in upkeep.sections:
            learning.finish_section(db, lee, upkeep, section.id, works.now)
        there = sitting.begin(db, lee, upkeep, works.now)
        (own,) = [one for one in sitting.shown(db, there) if one.problem and one.problem.source]
        return there.id, own.item.position


def test_a_problem_of_an_earlier_lesson_says_where_it_is_from(works, browser):
    number, position = begun(works)
    lee = browser("Lee")
    title = lessons.load().get("filter-ratings").title
    lee.get(f"/sittings/{number}/{position}")
    assert f"from an earlier lesson: {title('en')}" in lee.soup.main.get_text()
    assert "At Laminating Loft (Rolling gel coat)" in lee.soup.main.get_text()
    lee.post("/language", language="es", here=f"/sittings/{number}/{position}")
    lee.get(f"/sittings/{number}/{position}")
    assert f"de una lección anterior: {title('es')}" in lee.soup.main.get_text()
    others = {1, 2, 3, 4} - {position}
    lee.get(f"/sittings/{number}/{min(others)}")
    assert "lección anterior" not in lee.soup.main.get_text()


def test_the_result_cites_the_worksite_and_names_the_lesson_to_read_again(works, browser):
    number, _ = begun(works)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        there = sitting.own(db, number, lee)
        for one in sitting.shown(db, there):
            sitting.answer(db, there, one.item.position, wrong_answer(one), works.now)
        sitting.close(db, works.scribe("Lee"), there, "en", 80)
    page = browser("Lee")
    page.get(f"/sittings/{number}/result")
    (cited,) = page.soup.select(".worked .from")
    assert "at Laminating Loft, Rolling gel coat, " in cited.get_text()
    title = lessons.load().get("filter-ratings").title("en")
    assert any(one.get_text().startswith(f"{title}: ")
               for one in page.soup.select(".go-list a[href^='/lessons/filter-ratings/']"))
