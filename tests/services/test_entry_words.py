"""How entries of every kind read on paper: in the packet, and on the record that is taken out."""

from datetime import timedelta
from io import BytesIO

import pytest
from pypdf import PdfReader

from tests.conftest import HALF_MASK, Works
from tests.packets import asked, made
from tests.services.test_leaving import come_back, leave
from trainer.reference import retention
from trainer.services import (
    entry_words,
    joining,
    paper_words,
    record_on_paper,
    recording,
    standing,
)
from trainer.store import people, record
from trainer.store.tables import Entry

FULL = HALF_MASK | {"class_slug": "apr-full", "style": "elastomeric", "size": "L"}


def test_every_kind_of_entry_that_the_record_names_has_its_words():
    kinds = {"lesson", "practice", "training", "credit", "earlier-training", "fit-test",
             "appendix-d", "medical", "retraining", "left", "returned", "merged",
             record.ERASURE, *record.CORRECTIONS}  # fmt: skip
    assert kinds == set(entry_words.KINDS)
    assert kinds - {"appendix-d"} == set(entry_words._TELL)


@pytest.mark.parametrize("row", retention.rows(), ids=lambda row: row.slug)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_row_of_retention_is_said_in_words(row, language):
    said = entry_words.how_long(row, language)
    assert said and "{" not in said
    assert str(row.years) in said or row.years in (None, 1)


def test_retraining_is_told_with_lessons_what_was_seen_and_who_asked(works: Works):
    with works.store.writing() as db:
        made_ = recording.record_retraining(
            db, works.scribe("Tomas"), works.people["Lee"], once="r", reason="knowledge-or-use",
            lessons=["fit"], seen=["positive-check", "answers"],
            due=works.today + timedelta(days=9), practice=3,
        )  # fmt: skip
    said = record.body(made_)
    english, spanish = (" ".join(entry_words.told("retraining", said, one)) for one in ("en", "es"))
    for part in ("Fit tests and good seals", "After practice, entry 3", "wrong answers",
                 "Asked for by Tomas (00002), Industrial hygiene technician"):
        assert part in english, part
    assert "Lo pidió: Tomas" in spanish and "respuestas incorrectas" in spanish


def test_a_fit_test_stands_with_the_factor_of_each_exercise_and_the_overall_one(works: Works):
    with works.store.writing() as db:
        lee = works.people["Lee"]
        recording.record_fit_test(
            db, works.scribe(), lee, people.respirators(db, lee.id)[0], once="f", on=works.today,
            protocol="ambient-aerosol", exercises=[200, 300.5, 400], recording="file 3",
        )  # fmt: skip
    opened = made(works, asked(works))
    [row] = opened.rows("fit-tests.csv")
    assert row["exercises"] == "200; 300.5; 400"
    assert 200 < float(row["fit factor"]) < 400, "the harmonic mean, not an average"
    for part in ("Fit tests.pdf", "00417 Lee.pdf"):
        assert "200; 300.5; 400" in opened.text(part), part
    on_paper = _on_paper(works)
    assert "From its exercises: 200; 300.5; 400" in on_paper


def _on_paper(works: Works, language: str = "en") -> str:
    with works.store.reading() as db:
        data = record_on_paper.of_person(
            db, people.by_number(db, "00417"), language, works.now, works.today, medical=False
        )
    pages = (page.extract_text() for page in PdfReader(BytesIO(data)).pages)
    return " ".join(" ".join(pages).replace("\u200b", "").split())


def test_leaving_and_coming_back_stand_on_the_record_on_paper_with_their_days(works: Works):
    leave(works)
    come_back(works, worksites=[1])
    day = paper_words.day(works.today, "en")
    text = _on_paper(works)
    assert f"Last day of employment: {day}" in text
    assert f"First day of being back: {day}" in text


def test_what_holds_while_a_respirator_is_worn_stands_on_the_paper_of_a_person(works: Works):
    with works.store.writing() as db:
        by, lee = works.scribe(), works.people["Lee"]
        worn = joining.give_respirator(db, by, lee, **FULL)
        recording.record_fit_test(
            db, by, lee, worn, once="q", on=works.today, protocol="saccharin", passed=True
        )
        joining.give_respirator(db, by, lee, **FULL | {"size": "S", "use": "escape"})
        joining.give_respirator(db, by, lee, **HALF_MASK | {"size": "S", "use": "voluntary"})
        notes = {
            note.kind for tag in standing.tags(db, lee, works.today)
            for note in tag.clearance.notes
        }
    assert notes == set(paper_words.NOTES)
    text = made(works, asked(works)).text("00417 Lee.pdf")
    assert "at most 10 times the limit in the air. (29 CFR 1910.134(f)(6))" in text
    assert "Never go in with it." in text and "Keep it clean" in text
    for use in ("Required", "Escape only", "Voluntary"):
        assert f"Use {use}" in text, use


def test_a_struck_entry_that_was_put_back_says_so_and_who_has_no_number_has_no_brackets():
    one = Entry(number=3, kind="left", body='{"left_on":"2026-01-01"}')
    correction = Entry(number=9, kind="correction", happened_on=None)
    said = {"corrects": 3, "why": "other", "said": {"left_on": "2026-01-01"}}
    [told] = entry_words.beside(one, [(correction, said)], "en")
    assert told.startswith("Put back by entry 9")
    assert paper_words.who({"number": "", "name": "I. Reyes"}) == "I. Reyes"


def test_what_was_brought_in_says_from_which_line_and_that_history_makes_nobody_clear():
    said = {
        "lesson": "Masks", "trainer": {"name": "I. Reyes", "number": "", "qualification": ""},
        "watched_by": {"name": "", "number": ""}, "elements": ["(k)(1)(i)"],
        "brought_in": {"run": 1, "line": 12, "source": "old.csv"},
    }  # fmt: skip
    one = Entry(number=3, kind="earlier-training", body="{}")
    text = entry_words.text(one, said, "en")
    assert "Trainer: I. Reyes." in text and "It makes nobody clear." in text
    assert "old.csv, line 12" in text
    practice = {"passed": True, "acts": [], "watched_by": {"name": "I. Reyes", "number": ""},
                "respirator": {"class": "apr-half"}}  # fmt: skip
    assert "Act by act it was not brought in." in entry_words.told("practice", practice, "en")


def test_an_erasure_names_what_went_and_the_row_that_allowed_it():
    said = {
        "erased": [{"number": 4, "kind": "fit-test", "happened_on": "2024-03-03"}],
        "row": "fit-test", "source": "29 CFR 1910.134(m)(2)(ii)", "why": "until-next",
    }  # fmt: skip
    english, spanish = (" ".join(entry_words.told("erasure", said, one)) for one in ("en", "es"))
    assert "4 (Fit test, Mar 3, 2024)" in english or "4 (Fit test, 3 Mar 2024)" in english
    assert "29 CFR 1910.134(m)(2)(ii); kept until the next one" in english
    assert "until-next" not in english and "se conserva hasta la siguiente" in spanish
