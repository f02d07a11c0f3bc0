"""Exercises on pages of their own: listed, worked through, mixed."""

import pytest

from trainer import bank
from trainer.services import learning

SLUG = "inside-concentration"


@pytest.fixture
def lee(browser):
    """Return Lee's browser."""
    return browser("Lee")


def drill(works) -> learning.Drill:
    """Return where Lee is."""
    with works.store.reading() as db:
        return learning.drill(db, works.people["Lee"], bank.load().exercises[SLUG], "en")


def go_on(lee, works) -> learning.Drill:
    """Go on to the next problem by the form."""
    lee.post(f"/exercises/{SLUG}", act="next", ordinal=drill(works).ordinal, step=0)
    return drill(works)


def do_rightly(lee, works) -> learning.Drill:
    """Answer what is left of the problem by the form."""
    at = drill(works)
    while not at.done:
        blank = at.problem.steps[at.step].blank
        lee.post(f"/exercises/{SLUG}", answer=blank.typed, ordinal=at.ordinal, step=at.step)
        at = drill(works)
    return at


def test_every_exercise_is_listed_once(lee):
    lee.get("/exercises")
    leads = [link["href"] for link in lee.soup.select(".leads a")]
    assert sorted(leads) == sorted(f"/exercises/{slug}" for slug in bank.load().exercises)


@pytest.mark.parametrize("slug", bank.load().exercises)
def test_each_opens_with_a_worked_example_in_both_languages(lee, slug):
    exercise = bank.load().exercises[slug]
    for language in ("en", "es"):
        lee.get("/exercises")
        lee.post("/language", language=language, next="/exercises")
        lee.get(f"/exercises/{slug}")
        assert lee.soup.h1.get_text() == exercise.title(language)
        assert len(lee.soup.select(".worked li")) == len(exercise.steps)
        assert exercise.source in lee.soup.get_text()


def test_from_the_example_to_all_of_it_alone(lee, works):
    lee.get(f"/exercises/{SLUG}")
    for level in (learning.PARTLY, learning.PARTLY, learning.ALONE, learning.ALONE):
        assert go_on(lee, works).level == level
        at = do_rightly(lee, works)
    assert at.finished
    lee.get(f"/exercises/{SLUG}")
    assert "twice in a row" in lee.page
    lee.get("/exercises")
    row = next(li for li in lee.soup.select(".leads li") if li.a["href"].endswith(SLUG))
    assert "Done" in row.get_text()
    # One may go on all the same.
    assert go_on(lee, works).ordinal == 5


def test_another_kind_is_offered_when_a_problem_is_done(lee, works):
    go_on(lee, works)
    do_rightly(lee, works)
    lee.get(f"/exercises/{SLUG}")
    offered = [link["href"] for link in lee.soup.select(".problem a")]
    assert len(offered) == 1
    assert offered[0] != f"/exercises/{SLUG}"
    assert lee.get(offered[0]).status_code == 200


def test_an_answer_that_is_wrong_is_told_which_slip_it_is(lee, works):
    at = go_on(lee, works)
    slip = at.problem.steps[at.step].blank.slips[0]
    typed = bank.number(slip.value).replace(",", "")
    lee.post(f"/exercises/{SLUG}", answer=typed, ordinal=at.ordinal, step=at.step)
    assert slip.say("en") in lee.soup.get_text()
    assert "A like problem, worked" in lee.page


def test_what_is_no_exercise_is_not_found(lee):
    assert lee.get("/exercises/juggling").status_code == 404
    assert lee.post("/exercises/juggling", ordinal=0, step=0).status_code == 404
    assert lee.post(f"/exercises/{SLUG}", ordinal="x", step=0).status_code == 400
