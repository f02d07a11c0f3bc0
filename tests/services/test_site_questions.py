"""Questions of a worksite's own lesson: saved as drafts, never over another's, ended, read."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.bank.test_rules import a_question
from tests.conftest import Works
from trainer import bank
from trainer.services import site_questions
from trainer.services.refusal import Refusal
from trainer.store.tables import SiteLesson, SiteQuestion

SECTIONS = [("inside", {"en": "What is inside", "es": "Lo que hay adentro"})]
BOTH = ("en", "es")


@pytest.fixture
def lesson(works: Works) -> SiteLesson:
    """Return a lesson of the Laminating Loft."""
    with works.store.writing() as db:
        made = SiteLesson(
            worksite_id=works.worksites["Laminating Loft"].id,
            begun_at=works.now,
            begun_by=works.people["Tomas"].id,
        )
        db.add(made)
    return made


def save(
    works: Works, lesson: SiteLesson, raw: dict, question: SiteQuestion | None = None,
    since: int | None = None, name: str = "Tomas",
) -> SiteQuestion:  # fmt: skip
    """Let somebody save a question; since: by default what it is now."""
    since = (question.revision if question else 0) if since is None else since
    with works.store.writing() as db:
        return site_questions.save(db, works.scribe(name), lesson, question, raw, since)


def asking(text: str, form: str = "choice") -> dict:
    """Return a sound question of these words."""
    return a_question(form) | {"ask": {"en": text, "es": f"¿{text}"}}


def later(works: Works, **time: float) -> Works:
    """Return the works some time later."""
    return replace(works, now=works.now + timedelta(**time))


def kept(works: Works, lesson: SiteLesson) -> list[str]:
    """Return what the questions of the lesson ask, in order."""
    with works.store.reading() as db:
        rows = site_questions.of_lesson(db, lesson.id)
    return [site_questions.content(row)["ask"]["en"] for row in rows]


@pytest.mark.parametrize("form", bank.FORMS)
def test_what_is_saved_is_a_question_of_the_bank(works, lesson, form):
    row = save(works, lesson, asking("Which?", form))
    assert (row.revision, row.saved_at, row.saved_by) == (1, works.now, works.people["Tomas"].id)
    question = bank.question_of(f"site-{lesson.id}", site_questions.content(row))
    raw = asking("Which?", form) | {"slug": f"site-{lesson.id}-q{row.id}"}
    assert question == bank.question_of(f"site-{lesson.id}", raw)
    assert bank.thaw_question(question.freeze()) == question
    assert site_questions.faults([row], BOTH, SECTIONS) == []


def test_texts_are_tidy_and_empty_lines_left_out(works, lesson):
    raw = asking("  Which\r\n one?\0 ")
    raw["option"].insert(1, {"text": {"en": " ", "es": ""}, "why": {}, "right": True})
    raw["option"][0]["why"] = {"en": "Because."}
    said = site_questions.content(save(works, lesson, raw))
    assert said["ask"] == {"en": "Which one?", "es": "¿ Which one?"}
    assert len(said["option"]) == len(raw["option"]) - 1
    assert said["option"][0]["why"] == {"en": "Because.", "es": ""}


def test_only_a_match_has_other_halves_and_only_choices_marks(works, lesson):
    raw = asking("In which order?", "order")
    for option in raw["option"]:
        option |= {"right": True, "to": {"en": "no", "es": "no"}}
    said = site_questions.content(save(works, lesson, raw))
    assert {tuple(option) for option in said["option"]} == {("text", "why")}


def test_they_stand_in_the_order_in_which_they_were_begun(works, lesson):
    first = save(works, lesson, asking("One"))
    save(works, lesson, asking("Two"))
    save(later(works, hours=1), lesson, asking("One, changed"), first)
    assert kept(works, lesson) == ["One, changed", "Two"]


def test_a_draft_with_faults_is_saved_and_its_faults_are_told(works, lesson):
    raw = asking("Which?") | {"section": "", "element": "Appendix D"}
    raw["option"] = raw["option"][:2]
    row = save(works, lesson, raw)
    sound = save(works, lesson, asking("Sound"))
    [(found, said)] = site_questions.faults([row, sound], BOTH, SECTIONS)
    assert found.id == row.id
    assert [one.en for one in said] == [
        "Choose the section of the lesson that explains it.",
        "Choose what a right answer shows knowledge of.",
        "Write 3 to 4 answers; there are 2.",
    ]


def test_a_section_that_is_gone_and_a_language_that_came_are_faults(works, lesson):
    raw = asking("Which?")
    raw["ask"]["es"] = ""
    row = save(works, lesson, raw)
    assert site_questions.faults([row], ("en",), SECTIONS) == []
    [(_, said)] = site_questions.faults([row], BOTH, SECTIONS)
    assert [one.es for one in said] == ["Falta en español: la pregunta."]
    [(_, said)] = site_questions.faults([row], ("en",), [("outside", {"en": "Outside"})])
    assert "no longer has the section" in said[0].en


@pytest.mark.parametrize(("change", "says"), [
    ({"ask": {}, "option": []}, "Write the question first"),
    ({"ask": {"en": " "}, "option": [{"right": True}]}, "Write the question first"),
    ({"form": "essay"}, "Choose how"),
    ({"source": "x" * 1001}, "1001 characters"),
])
def test_nothing_too_much_and_no_form_are_refused(works, lesson, change, says):
    with pytest.raises(Refusal, match=says):
        save(works, lesson, asking("Which?") | change)
    assert kept(works, lesson) == []


def test_a_double_click_makes_one_question_and_other_words_another(works, lesson):
    first = save(works, lesson, asking("Which?"))
    again = save(later(works, seconds=1), lesson, asking("Which?"))
    assert (again.id, again.revision) == (first.id, 1)
    assert save(works, lesson, asking("And which else?")).id != first.id
    assert save(works, lesson, asking("Which?"), name="Ida").id != first.id


def test_a_newer_saving_of_somebody_else_is_not_overwritten(works, lesson):
    row = save(works, lesson, asking("Which?"))
    save(later(works, hours=1), lesson, asking("Which one?"), row, name="Ida")
    with pytest.raises(Refusal) as refused:
        save(later(works, hours=2), lesson, asking("Which mask?"), row, since=1)
    assert refused.value.values == {"name": "Ida", "at": works.now + timedelta(hours=1)}
    assert "not saved" in refused.value.text
    assert kept(works, lesson) == ["Which one?"]
    # Who has seen the newer one may replace it.
    save(later(works, hours=2), lesson, asking("Which mask?"), row, since=2)
    assert kept(works, lesson) == ["Which mask?"]


def test_the_same_saving_sent_twice_is_no_conflict(works, lesson):
    row = save(works, lesson, asking("Which?"))
    changed = save(works, lesson, asking("Which one?"), row, since=1)
    again = save(later(works, seconds=1), lesson, asking("Which one?"), row, since=1)
    assert (changed.revision, again.revision) == (2, 2)
    assert again.saved_at == works.now


def test_an_ended_one_is_gone_keeps_who_and_when_and_takes_no_saving(works, lesson):
    row = save(works, lesson, asking("Which?"))
    with works.store.writing() as db:
        site_questions.end(db, works.scribe("Ida"), row, since=1)
        site_questions.end(db, works.scribe("Tomas"), row, since=1)
    assert kept(works, lesson) == []
    with pytest.raises(Refusal, match="Ida took this question off") as refused:
        save(works, lesson, asking("Which one?"), row, since=2)
    assert "new question" in refused.value.text
    with works.store.reading() as db:
        ended = site_questions.own(db, lesson, row.id)
        assert (ended.ended_at, ended.saved_by) == (works.now, works.people["Ida"].id)
        assert site_questions.content(ended)["ask"]["en"] == "Which?"
    assert save(works, lesson, asking("Which?")).id != row.id


def test_what_was_saved_since_is_not_taken_off_unseen(works, lesson):
    row = save(works, lesson, asking("Which?"))
    save(works, lesson, asking("Which one?"), row, name="Ida")
    with pytest.raises(Refusal, match="before you take it off"), works.store.writing() as db:
        site_questions.end(db, works.scribe("Tomas"), row, since=1)
    assert kept(works, lesson) == ["Which one?"]


def test_a_question_belongs_to_its_lesson_alone(works, lesson):
    row = save(works, lesson, asking("Which?"))
    other = SiteLesson(**lesson.model_dump() | {"id": lesson.id + 1})
    with works.store.reading() as db:
        assert site_questions.own(db, lesson, row.id).id == row.id
        assert site_questions.own(db, other, row.id) is None
        assert site_questions.of_lesson(db, other.id) == []


def test_advice_looks_at_the_other_questions_of_the_lesson(works, lesson):
    row = save(works, lesson, asking("How long may the blasting helmet be used?"))
    rows = [row, save(works, lesson, asking("Where are the cartridges kept?"))]
    assert site_questions.advice(row, rows, BOTH) == []
    rows.append(save(works, lesson, asking("How long may a blasting helmet be used?")))
    assert len(site_questions.advice(row, rows, BOTH)) == 1
