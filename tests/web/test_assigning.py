"""Assigning on the pages: chosen, said in words, confirmed once, and ended."""

from datetime import timedelta

import pytest

from tests.conftest import HALF_MASK, Works, pass_lesson
from tests.services.test_observing import watch
from trainer import lessons
from trainer.services import joining, standing
from trainer.store import assignments, people
from trainer.store.tables import Person

COURSE = [lesson.slug for lesson in lessons.load().all]


@pytest.fixture
def tomas(browser):
    """Return a trainer's browser."""
    return browser("Tomas")


def ask(tomas, works: Works, act: str = "", **fields):
    """Send the form of assigning, for everyone at the Loft if nothing else is said."""
    tomas.get("/assign")
    given = {
        "whom": f"worksite:{works.worksites['Laminating Loft'].id}", "lesson": ["fit"],
        "reason": "first", "due": (works.today + timedelta(days=14)).isoformat(), "later": "no",
    } | fields  # fmt: skip
    return tomas.post("/assign", **given, **({"act": act} if act else {}))


def given_to(works: Works, name: str) -> list[str]:
    """Return the lessons assigned to somebody."""
    with works.store.reading() as db:
        return [one.lesson for one in people.assignments(db, works.people[name].id)]


def stands(works: Works) -> list[tuple[str, str, int | None]]:
    """Return the standing assignments of the Loft."""
    with works.store.reading() as db:
        rows = assignments.standing_at(db, [works.worksites["Laminating Loft"].id])
        return [(row.lesson, row.class_slug, row.days) for row in rows]


def said(browser) -> str:
    """Return the words of the page."""
    return " ".join(browser.soup.select_one("main").get_text(" ").split())


def test_the_preview_says_who_gets_it_and_gives_nothing(tomas, works):
    answer = ask(tomas, works)
    assert answer.status_code == 200
    assert "2 people get all of it." in said(tomas)
    assert [one.get_text(" ", strip=True) for one in tomas.soup.select("main details li")] == [
        "Kim · No. 00418", "Lee · No. 00417",
    ]  # fmt: skip
    assert given_to(works, "Lee") == given_to(works, "Kim") == []


def test_the_form_of_the_preview_gives_it(tomas, works):
    ask(tomas, works)
    form = tomas.soup.select_one("main form")
    fields = {one["name"]: one["value"] for one in form.select("input[type=hidden]")}
    fields.pop("csrf_token")
    assert tomas.post("/assign", act="give", **fields).status_code == 200
    assert "Assigned to 2 people." in tomas.page
    assert given_to(works, "Lee") == given_to(works, "Kim") == ["fit"]
    assert given_to(works, "Noor") == []


def test_what_somebody_has_is_said_and_not_given_twice(tomas, works):
    pass_lesson(works, "Lee", "fit", works.now)
    ask(tomas, works, lesson=["fit", "upkeep"])
    assert "1 person gets all of it." in said(tomas)
    assert "1 person has a part already and gets the rest." in said(tomas)
    ask(tomas, works, act="give", lesson=["fit", "upkeep"])
    assert sorted(given_to(works, "Lee") + given_to(works, "Kim")) == ["fit", "upkeep", "upkeep"]


def test_confirmed_twice_it_is_given_once(tomas, works):
    ask(tomas, works, act="give")
    ask(tomas, works, act="give")
    assert "Everyone has it: nothing more was given." in tomas.page
    assert given_to(works, "Lee") == ["fit"]
    ask(tomas, works)
    assert "2 people have all of it already: nothing is given twice." in said(tomas)
    assert tomas.soup.select("main button[value=give]") == []


def test_the_full_training_is_one_box(tomas, works):
    ask(tomas, works, act="give", whole="yes", lesson=[])
    assert given_to(works, "Lee") == COURSE


def test_whoever_wears_a_class_at_ones_own_worksites(tomas, works):
    with works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Noor"], **HALF_MASK)
    ask(tomas, works, act="give", whom="class:apr-half")
    assert [given_to(works, name) for name in ("Lee", "Kim", "Noor")] == [["fit"], [], []]


def test_one_person_by_number(tomas, works):
    ask(tomas, works, act="give", whom="person", number="00418")
    assert [given_to(works, name) for name in ("Lee", "Kim")] == [[], ["fit"]]


@pytest.mark.parametrize("number", ["00500", "99999", ""])
def test_nobody_elses_person_is_assigned_anything(tomas, works, number):
    """Noor works at the Joinery, where Tomas does not train."""
    answer = ask(tomas, works, act="give", whom="person", number=number)
    assert answer.status_code == 422
    assert "Nobody at your worksites has this worker number." in tomas.page
    assert given_to(works, "Noor") == []


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"whom": ""}, "Choose who is to get it."),
        ({"whom": "class:no-such"}, "Choose who is to get it."),
        ({"whom": "worksite:2"}, "Choose one of your worksites."),
        ({"lesson": []}, "Choose at least one lesson."),
        ({"lesson": ["no-such"]}, "Choose at least one lesson."),
        ({"reason": ""}, "Choose the reason"),
        ({"due": "soon"}, "Give the due day as a date."),
        ({"due": "2020-01-01"}, "The due day is past."),
        ({"later": "days", "days": "a few"}, "whole number from 1 to 365"),
        ({"later": "days", "days": "366"}, "whole number from 1 to 365"),
        ({"later": "days", "days": "²"}, "whole number from 1 to 365"),
    ],
)
@pytest.mark.parametrize("act", ["", "give"])
def test_what_cannot_be_is_said_and_stays_as_it_was_typed(tomas, works, act, fields, says):
    answer = ask(tomas, works, act=act, **{"lesson": ["upkeep"], **fields})
    assert answer.status_code == 422
    assert says in tomas.page
    ticked = [one["value"] for one in tomas.soup.select("[name=lesson][checked]")]
    assert ticked == [one for one in fields.get("lesson", ["upkeep"]) if one in COURSE]
    assert (given_to(works, "Lee"), stands(works)) == ([], [])


def test_a_class_that_nobody_wears_is_given_to_nobody(tomas, works):
    answer = ask(tomas, works, whom="class:scba-pressure-full")
    assert answer.status_code == 422
    assert "Nobody there is a worker" in tomas.page
    ask(tomas, works, whom="class:scba-pressure-full", later="wearing")
    assert "Whoever gets this class from now on at Laminating Loft" in said(tomas)


def test_back_from_the_preview_the_form_is_as_it_was(tomas, works):
    ask(tomas, works, act="change", whole="yes", reason="yearly", later="days", days="9")
    assert tomas.soup.select_one("#whole").has_attr("checked")
    assert tomas.soup.select_one("#reason [selected]")["value"] == "yearly"
    assert tomas.soup.select_one("#days")["value"] == "9"
    assert tomas.soup.select_one("[name=later][checked]")["value"] == "days"


def test_to_whoever_comes_later_it_stands_and_can_be_ended(tomas, works):
    ask(tomas, works, whole="yes", later="wearing")
    assert "Whoever comes to Laminating Loft from now on has it by itself" in said(tomas)
    for _ in range(2):
        ask(tomas, works, act="give", whole="yes", later="wearing")
    assert stands(works) == [("", "", None)]
    tomas.get("/assign")
    assert "The full training, before first wearing. For whoever came after" in said(tomas)
    end = tomas.soup.select_one("form[action^='/standing/']")["action"]
    for _ in range(2):
        tomas.get("/assign")
        tomas.post(end)
    assert stands(works) == []
    assert "People who come later do not get it any more." in tomas.page


def test_for_a_class_it_stands_at_each_of_ones_worksites(tomas, works):
    ask(tomas, works, act="give", whom="class:apr-half", later="days", days="30")
    assert stands(works) == [("fit", "apr-half", 30)]


def test_a_new_person_sees_it_on_the_tag_from_the_first_day(tomas, works, browser):
    from tests.conftest import PASSPHRASE
    from trainer.services import signing_in

    ask(tomas, works, act="give", whole="yes", later="wearing")
    with works.store.writing() as db:
        now = works.now + timedelta(minutes=5)
        works.people["Ode"] = joining.add_person(
            db, now, number="00700", name="Ode", roles=["worker"],
            worksites=[works.worksites["Laminating Loft"].id],
        )  # fmt: skip
        signing_in.set_passphrase(db, works.people["Ode"], signing_in.hashed(PASSPHRASE))
    ode = browser("Ode")
    ode.get("/tag")
    whens = [one.get_text(strip=True) for one in ode.soup.select(".sections .when")]
    assert whens == ["before first wearing"] * len(COURSE)


def test_what_was_seen_ticks_the_lessons_that_matter(tomas, works):
    watch(works, seal_check_negative="not_yet")
    tomas.get("/people/00417/seen")
    form = tomas.soup.select_one("main form")
    assert [one["value"] for one in form.select("[name=seen][checked]")] == ["seal-check-negative"]
    asked = {"person": "00417", "reason": "knowledge-or-use", "seen": "seal-check-negative"}
    tomas.get("/assign", query_string=asked)
    ticked = [one["value"] for one in tomas.soup.select("[name=lesson][checked]")]
    assert ticked == ["fit", "putting-on"]
    assert tomas.soup.select_one("#reason [selected]")["value"] == "knowledge-or-use"
    assert "Negative pressure seal check" in said(tomas)
    sent = asked | {"lesson": ticked, "due": works.today.isoformat()}
    tomas.post("/assign", **sent)
    assert "Whoever is clear now is not clear until the lessons are passed" in said(tomas)
    tomas.post("/assign", act="give", **sent)
    assert "(Negative pressure seal check)" in said(tomas)
    with works.store.reading() as db:
        lee = db.get(Person, works.people["Lee"].id)
        assert standing.History(db, lee).retraining() == ("fit", "putting-on")


def test_a_failed_practice_leads_to_retraining(tomas, works):
    tomas.get("/people/00417")
    tomas.post("/people/00417/practice", respirator="1")
    marks = {
        one["name"]: "helped" if one["name"] == "act-strap-tension" else "unprompted"
        for one in tomas.soup.select("main [type=radio]")
    }
    tomas.post("/practice/1", act="sign", **marks)
    tomas.get("/practice/1")
    link = tomas.soup.select_one("main a[href^='/assign']")["href"]
    tomas.get(link)
    assert [one["value"] for one in tomas.soup.select("[name=lesson][checked]")] == ["putting-on"]


def test_a_hard_spot_leads_to_retraining_in_its_lesson(tomas, browser):
    from trainer import bank

    slug = bank.load().for_lesson("fit")[0].slug
    tomas.get(f"/hard-spots/question/{slug}")
    tomas.get(tomas.soup.select_one("main a[href^='/assign']")["href"])
    assert [one["value"] for one in tomas.soup.select("[name=lesson][checked]")] == ["fit"]
    assert "wrong answers" in said(tomas)
    ida = browser("Ida")  # a coordinator assigns nothing
    ida.get(f"/hard-spots/question/{slug}")
    assert ida.soup.select("main a[href^='/assign']") == []
