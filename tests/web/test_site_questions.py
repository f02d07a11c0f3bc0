"""Questions of a worksite's lesson on their pages: half done, put in order, two people at once."""

from datetime import datetime

import pytest

from tests.conftest import ZONE
from trainer import bank
from trainer.services import site_questions
from trainer.store.tables import SiteDraft, SiteLesson

HERE = "/sites/1/lessons/1/questions"
TEXT = "## Before you blast {#before}\n\nLook.\n\n## After it {#after}\n\nClean.\n"
TEXT_ES = "## Antes de limpiar con chorro {#before}\n\nMire.\n\n## Después {#after}\n\nLimpie.\n"


@pytest.fixture
def lesson(works) -> SiteLesson:
    """Return a lesson of the Laminating Loft, written in both languages."""
    tomas = works.people["Tomas"].id
    with works.store.writing() as db:
        made = SiteLesson(
            worksite_id=works.worksites["Laminating Loft"].id, begun_at=works.now, begun_by=tomas
        )
        db.add(made)
        db.flush()
        for language, title, text in (("en", "Our booth", TEXT), ("es", "La cabina", TEXT_ES)):
            db.add(SiteDraft(lesson_id=made.id, language=language, title=title, text=text,
                             saved_at=works.now, saved_by=tomas))  # fmt: skip
    return made


@pytest.fixture
def only_english(works, lesson) -> None:
    """Take the Spanish text away."""
    with works.store.writing() as db:
        db.delete(db.get(SiteDraft, (lesson.id, "es")))


@pytest.fixture
def tomas(browser, lesson):
    """Return the trainer of the Laminating Loft, on the page of the questions."""
    opened = browser("Tomas")
    opened.get(HERE)
    return opened


def typed(form: str = "choice", ask: str = "Which comes first?", **more) -> dict:
    """Return the fields of a sound question, as a browser sends them."""
    fields = {
        "form": form, "section": "before", "element": "(k)(1)(iv)", "must_know": "yes",
        "source": "Rule of Laminating Loft", "ask-en": ask, "ask-es": f"¿{ask}",
    }  # fmt: skip
    for place in range(bank.OPTIONS[form][0]):
        for name in ("text", "why", "to") if form == "match" else ("text", "why"):
            for language in ("en", "es"):
                fields[f"option-{place}-{name}-{language}"] = f"{name} {place} {language}"
    if form in ("choice", "choices"):
        fields["right"] = "1"
    return {name: value for name, value in (fields | more).items() if value is not None}


def begin(trainer, form: str = "choice", **more):
    """Send a new question."""
    trainer.get(f"{HERE}/new", query_string={"form": form})
    since = trainer.soup.select_one("[name=since]")["value"]
    return trainer.post(f"{HERE}/new", since=since, **typed(form, **more))


def change(trainer, number: int = 1, **more):
    """Open a question and send it with something else in it."""
    trainer.get(f"{HERE}/{number}")
    since = trainer.soup.select_one("[name=since]")["value"]
    return trainer.post(f"{HERE}/{number}", **({"since": since} | typed(**more)))


def text(trainer) -> str:
    """Return the words of the page, blanks made single."""
    return " ".join(trainer.soup.find("main").get_text(" ").split())


def stored(works, number: int = 1) -> dict:
    """Return what is kept of a question."""
    with works.store.reading() as db:
        [row] = [one for one in site_questions.of_lesson(db, 1) if one.id == number]
    return site_questions.content(row)


@pytest.mark.parametrize("form", bank.FORMS)
def test_each_form_is_chosen_written_saved_and_met_as_a_worker_would(tomas, works, form):
    assert tomas.soup.select_one(f"a[href='{HERE}/new?form={form}']")
    answer = begin(tomas, form)
    assert answer.status_code == 200
    assert not tomas.soup.select(".faults")
    assert stored(works)["form"] == form
    assert stored(works)["slug"] == "site-1-q1"
    saved = tomas.soup.select_one("#saved")
    for language in ("en", "es"):
        part = saved.select(f"[lang={language}]")
        assert "Which comes first?" in part[0].get_text()
        assert f"text 0 {language}" in part[0].get_text()
        assert f"why 0 {language}" in part[1].get_text()
        assert f"why 0 {language}" not in part[0].get_text()
    assert "Your answer, and right." in saved.get_text()
    assert "Su respuesta, y es correcta." in saved.get_text()
    tomas.get(HERE)
    assert "Ready to publish" in text(tomas)


def test_the_fields_hold_what_is_saved(tomas):
    begin(tomas, "choices", right=["0", "2"])
    soup = tomas.soup
    assert soup.select_one("#section option[selected]")["value"] == "before"
    assert soup.select_one("#element option[selected]")["value"] == "(k)(1)(iv)"
    assert soup.select_one("#must_know").has_attr("checked")
    assert soup.select_one("#source")["value"] == "Rule of Laminating Loft"
    assert soup.select_one("#ask-es").get_text() == "¿Which comes first?"
    assert soup.select_one("#option-2-why-es").get_text() == "why 2 es"
    assert [one["value"] for one in soup.select("[name=right][checked]")] == ["0", "2"]
    assert soup.select_one("#option-2-why-es")["lang"] == "es"


def test_each_form_offers_as_many_lines_as_it_takes(tomas):
    for form, (_, most) in bank.OPTIONS.items():
        tomas.get(f"{HERE}/new", query_string={"form": form})
        assert len(tomas.soup.select("fieldset.line")) == most
        assert bool(tomas.soup.select("[name=right]")) == (form in ("choice", "choices"))
        assert bool(tomas.soup.select("[id*='-to-']")) == (form == "match")


def test_what_is_half_done_is_saved_and_says_what_is_missing_at_its_field(tomas, works):
    begin(tomas, **{"section": "", "right": None, "option-1-why-es": "", "option-2-text-en": "",
                    "option-2-text-es": "", "option-2-why-en": "", "option-2-why-es": ""})
    links = {link["href"][1:]: link.get_text() for link in tomas.soup.select(".faults a")}
    assert links == {
        "section": "Choose the section of the lesson that explains it.",
        "option-2-text-en": "Write 3 to 4 answers; there are 2.",
        "right-0": "Mark one answer as the right one.",
        "option-1-why-es": "Missing in Spanish: answer 2, the reason.",
    }
    for name in links:
        assert tomas.soup.find(id=name) is not None
    field = tomas.soup.find(id="option-1-why-es")
    assert field["aria-invalid"] == "true"
    assert tomas.soup.find(id=field["aria-describedby"])
    assert stored(works)["option"][1]["why"] == {"en": "why 1 en", "es": ""}
    tomas.get(HERE)
    assert "4 things to put right" in text(tomas)


def test_put_in_order_it_is(tomas):
    begin(tomas, section="")
    assert len(tomas.soup.select(".faults a")) == 1
    change(tomas, section="after")
    assert not tomas.soup.select(".faults")
    tomas.get(HERE)
    assert "After it" in text(tomas)


def test_a_lesson_in_one_language_asks_for_that_one(tomas, only_english, works):
    tomas.get(f"{HERE}/new", query_string={"form": "choice"})
    assert tomas.soup.find(id="ask-en") and not tomas.soup.find(id="ask-es")
    fields = {name: value for name, value in typed().items() if not name.endswith("-es")}
    tomas.post(f"{HERE}/new", since="0", **fields)
    assert not tomas.soup.select(".faults")
    assert stored(works)["ask"] == {"en": "Which comes first?", "es": ""}
    assert not tomas.soup.select("#saved [lang=es]")


def test_words_in_a_language_that_the_lesson_lost_stay(tomas, works, lesson):
    begin(tomas)
    with works.store.writing() as db:
        db.delete(db.get(SiteDraft, (lesson.id, "es")))
    change(tomas, ask="And then?")
    assert stored(works)["ask"] == {"en": "And then?", "es": "¿And then?"}


def test_nothing_written_is_refused_and_stays_as_it_was_sent(tomas):
    answer = tomas.post(f"{HERE}/new", form="choice", since="0", source="Our rule", section="after")
    assert answer.status_code == 422
    assert "Write the question first." in text(tomas)
    assert tomas.soup.find(id="source")["value"] == "Our rule"
    assert tomas.soup.select_one("#section option[selected]")["value"] == "after"
    tomas.get(HERE)
    assert "There is no question yet." in text(tomas)


def test_two_people_at_once_lose_nothing(tomas, browser, works):
    begin(tomas)
    ida = browser("Ida")
    tomas.get(f"{HERE}/1")
    before = datetime.now(ZONE)
    assert change(ida, ask="Which is first?").status_code == 200
    after = datetime.now(ZONE)
    answer = tomas.post(f"{HERE}/1", since="1", **typed(ask="What do you do first?"))
    assert answer.status_code == 422
    said = tomas.soup.select_one(".faults").get_text()
    assert "Ida saved this question on" in said
    assert any(f"{moment:%H:%M}" in said for moment in (before, after))
    # What was typed stands in the fields, what is saved beneath them.
    assert tomas.soup.find(id="ask-en").get_text() == "What do you do first?"
    beneath = tomas.soup.select_one(tomas.soup.select_one(".faults a")["href"])
    assert "Which is first?" in beneath.get_text()
    assert stored(works)["ask"]["en"] == "Which is first?"
    since = tomas.soup.select_one("[name=since]")["value"]
    tomas.post(f"{HERE}/1", since=since, **typed(ask="What do you do first?"))
    assert stored(works)["ask"]["en"] == "What do you do first?"


def test_a_refusal_of_another_kind_lets_nobody_overwrite_unseen(tomas, browser, works):
    begin(tomas)
    tomas.get(f"{HERE}/1")
    change(browser("Ida"), ask="Which is first?")
    tomas.post(f"{HERE}/1", since="1", **typed(ask="x" * 1001))
    assert tomas.soup.select_one("[name=since]")["value"] == "1"
    assert tomas.post(f"{HERE}/1", since="1", **typed(ask="Mine")).status_code == 422
    assert stored(works)["ask"]["en"] == "Which is first?"


def test_a_double_click_makes_one_question(tomas):
    begin(tomas)
    tomas.post(f"{HERE}/new", since="0", **typed())
    tomas.get(HERE)
    assert len(tomas.soup.select("tbody tr")) == 1


def test_what_is_taken_off_is_gone_and_what_was_typed_becomes_a_new_one(tomas, browser, works):
    begin(tomas)
    ida = browser("Ida")
    ida.get(HERE)
    ida.post(f"{HERE}/1/end", since="1")
    assert "There is no question yet." in text(ida)
    assert tomas.get(f"{HERE}/1").status_code == 404
    tomas.get(HERE)
    answer = tomas.post(f"{HERE}/1", since="1", **typed(ask="Mine"))
    assert answer.status_code == 422
    assert "Ida took this question off the lesson" in text(tomas)
    action = tomas.soup.select_one("main form")["action"]
    since = tomas.soup.select_one("[name=since]")["value"]
    tomas.post(action, since=since, **typed(ask="Mine"))
    assert stored(works, 2)["ask"]["en"] == "Mine"


def test_what_somebody_saved_since_is_not_taken_off(tomas, browser):
    begin(tomas)
    change(browser("Ida"), ask="Which is first?")
    tomas.post(f"{HERE}/1/end", since="1")
    assert "before you take it off" in tomas.soup.select_one("#status").get_text()
    assert "Which is first?" in text(tomas)


def test_advice_is_given_and_stops_nothing(tomas):
    begin(tomas, **{"option-1-text-en": "text 1, which is right because the air is cleaned twice"})
    assert "In English the right answer is much longer" in text(tomas)
    tomas.get(HERE)
    assert "Ready to publish" in text(tomas)


def test_what_is_typed_is_shown_as_text(tomas):
    begin(tomas, ask="Is <b>5</b> {limit} 100 % & more?")
    assert "Is <b>5</b> {limit} 100 % & more?" in text(tomas)
    assert not tomas.soup.select("#saved legend b")


def test_a_form_that_is_none_leads_back_to_the_choice(tomas):
    answer = tomas.client.get(f"{HERE}/new?form=essay")
    assert (answer.status_code, answer.location) == (303, f"{HERE}#add")
    assert tomas.post(f"{HERE}/new", form="essay").status_code == 404


def test_nobody_reaches_a_lesson_or_question_of_another_worksite(tomas, browser, works):
    begin(tomas)
    wren = browser("Wren")
    wren.get("/sites")
    for there in (HERE, "/sites/2/lessons/1/questions"):
        assert wren.get(there).status_code == 404
        assert wren.get(f"{there}/1").status_code == 404
        assert wren.post(f"{there}/1", since="1", **typed(ask="Wren was here")).status_code == 404
        assert wren.post(f"{there}/1/end", since="1").status_code == 404
        assert wren.post(f"{there}/new", **typed(ask="Wren was here")).status_code == 404
    assert tomas.get(f"{HERE}/7").status_code == 404
    assert stored(works)["ask"]["en"] == "Which comes first?"


def test_in_spanish_the_page_and_its_faults_are_spanish(tomas):
    tomas.post("/language", language="es", next=HERE)
    begin(tomas, source="", right=None)
    said = text(tomas)
    assert "Diga dónde está escrito esto" in said
    assert "Marque una respuesta como la correcta." in said
    english = tomas.soup.select("#saved [lang=en]")[1].get_text()
    assert "Right." in english
