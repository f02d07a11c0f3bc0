"""The questions of a worksite's own lesson, in all forms of the bank and under its rules.

A question may be saved with faults, as long as it is being written; it only cannot be published.
Rows are ended and never deleted. Two people who write at once never overwrite each other: each
saving names the one that its page was opened with.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlmodel import Session

from trainer import bank
from trainer.config import LANGUAGES
from trainer.reference import training_elements
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import site_lessons
from trainer.store.tables import Person, SiteDraft, SiteLesson, SiteQuestion
from trainer.words import Words, tidy

LONGEST = 1000
"""Characters of one text; the longest of the project's own has 241."""

Sections = Sequence[tuple[str, Mapping[str, str]]]
"""The sections of a lesson: id, and title by language."""


def elements() -> list[training_elements.TrainingElement]:
    """Return what a question of a worksite can show knowledge of.

    Source: 29 CFR 1910.134(k)(1)(i)-(vii), (c)(1)(vii).
    """
    return [one for one in training_elements.rows() if one.kind in ("element", "worksite")]


def of_lesson(db: Session, lesson_id: int) -> list[SiteQuestion]:
    """Return the questions of a lesson that have not ended, in the order they were begun."""
    return site_lessons.questions(db, lesson_id)


def own(db: Session, lesson: SiteLesson, question_id: int) -> SiteQuestion | None:
    """Return a question, ended or not, if it belongs to this lesson."""
    question = db.get(SiteQuestion, question_id)
    return question if question and question.lesson_id == lesson.id else None


def titles(db: Session, lesson: SiteLesson) -> dict[str, str]:
    """Return the titles of a lesson by language, those that there are."""
    drafts = (db.get(SiteDraft, (lesson.id, language)) for language in LANGUAGES)
    return {one.language: one.title for one in drafts if one and one.title}


def content(question: SiteQuestion) -> dict[str, Any]:
    """Return the fields of a question, as questions/README.md explains them."""
    return json.loads(question.content)


def save(
    db: Session, by: Scribe, lesson: SiteLesson, question: SiteQuestion | None,
    raw: Mapping[str, Any], since: int,
) -> SiteQuestion:  # fmt: skip
    """Keep a question as it is written, with or without faults; sent twice, it is kept once.

    question  None for a new one
    since     the revision that the page was opened with
    Errors: Refusal when somebody else saved or ended it since, or nothing is written.
    """
    fields = _tidied(raw)
    if question is None:
        return _sent_before(db, by, lesson, fields) or _begun(db, by, lesson, fields)
    kept = db.get(SiteQuestion, question.id)
    if kept.ended_at:
        raise Refusal(
            "%(name)s took this question off the lesson on %(at)s. What you typed is not saved. "
            "Save it again to keep it as a new question.",
            name=_saved_by(db, kept),
            at=kept.saved_at,
        )
    fields = {"slug": _slug(lesson, kept)} | fields
    if fields == content(kept):
        return kept
    if since != kept.revision:
        raise Refusal(
            "%(name)s saved this question on %(at)s, after you opened the page. What you typed is "
            "not saved. Compare it with what is saved, below; save again to replace that.",
            name=_saved_by(db, kept),
            at=kept.saved_at,
        )
    return _kept(db, by, kept, fields)


def end(db: Session, by: Scribe, question: SiteQuestion, since: int) -> None:
    """Take a question off its lesson. Ended already, it stays as it is.

    Errors: Refusal when somebody saved it since the page was opened.
    """
    kept = db.get(SiteQuestion, question.id)
    if kept.ended_at:
        return
    if since != kept.revision:
        raise Refusal(
            "%(name)s saved this question on %(at)s, after you opened the page. Look at it before "
            "you take it off.",
            name=_saved_by(db, kept),
            at=kept.saved_at,
        )
    kept.ended_at = kept.saved_at = by.now
    kept.saved_by = by.person.id
    kept.revision += 1
    db.add(kept)
    db.flush()


def faults(
    rows: Iterable[SiteQuestion], languages: Sequence[str], sections: Sections
) -> list[tuple[SiteQuestion, list[Words]]]:
    """Return the questions that cannot be published, each with what is wrong with it."""
    told = [(row, field_faults(content(row), languages, sections)) for row in rows]
    return [(row, [one.says for one in found]) for row, found in told if found]


def field_faults(
    raw: Mapping[str, Any], languages: Sequence[str], sections: Sections
) -> list[bank.FieldFault]:
    """Return what is wrong with one question, by the rules of the bank, field by field."""
    return bank.question_faults(
        raw,
        languages,
        sections={name for name, _ in sections},
        elements={one.paragraph for one in elements()},
    )


def advice(
    question: SiteQuestion, rows: Iterable[SiteQuestion], languages: Sequence[str]
) -> list[Words]:
    """Return what would give an answer of the question away, or that another asks the same."""
    others = [content(row)["ask"] for row in rows if row.id != question.id]
    return bank.question_advice(content(question), languages, others)


def is_empty(option: Mapping[str, Any]) -> bool:
    """Say whether nothing is written of an option, whatever is marked."""
    texts = (option.get(name, {}) for name in ("text", "why", "to"))
    return not any(text.get(language, "") for text in texts for language in LANGUAGES)


def _tidied(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields in their order, texts tidy and in every language, empty options left out.

    Errors: Refusal where nothing is written, too much, or in no form of the bank.
    """
    form = raw.get("form")
    if form not in bank.FORMS:
        raise Refusal("Choose how the question is asked.")
    fields = {
        "section": _line(raw.get("section", "")),
        "element": _line(raw.get("element", "")),
        "must_know": bool(raw.get("must_know")),
        "source": _line(raw.get("source", "")),
        "form": form,
        "ask": _texts(raw.get("ask", {})),
        "option": [
            one for one in (_option(form, given) for given in raw.get("option", ()))
            if not is_empty(one)
        ],
    }  # fmt: skip
    if not any(fields["ask"].values()) and not fields["option"]:
        raise Refusal("Write the question first.")
    return fields


def _option(form: str, given: Mapping[str, Any]) -> dict[str, Any]:
    names = ("text", "why", "to") if form == "match" else ("text", "why")
    right = {} if form in ("order", "match") else {"right": bool(given.get("right"))}
    return right | {name: _texts(given.get(name, {})) for name in names}


def _texts(given: Mapping[str, str]) -> dict[str, str]:
    return {language: _line(given.get(language, "")) for language in LANGUAGES}


def _line(text: str) -> str:
    line = tidy(text.replace("\0", ""))
    if len(line) > LONGEST:
        raise Refusal(
            "A text is %(letters)s characters long; at most %(most)s are kept. Shorten it.",
            letters=len(line),
            most=LONGEST,
        )
    return line


def _sent_before(
    db: Session, by: Scribe, lesson: SiteLesson, fields: Mapping[str, Any]
) -> SiteQuestion | None:
    """Return the question that the same person began with the same words: a second click."""
    for row in of_lesson(db, lesson.id):
        same = {name: value for name, value in content(row).items() if name != "slug"} == fields
        if same and row.saved_by == by.person.id:
            return row
    return None


def _begun(
    db: Session, by: Scribe, lesson: SiteLesson, fields: Mapping[str, Any]
) -> SiteQuestion:
    question = SiteQuestion(
        lesson_id=lesson.id, content="", revision=0, saved_at=by.now, saved_by=by.person.id
    )
    db.add(question)
    db.flush()  # its number is part of its slug
    return _kept(db, by, question, {"slug": _slug(lesson, question), **fields})


def _kept(
    db: Session, by: Scribe, question: SiteQuestion, fields: Mapping[str, Any]
) -> SiteQuestion:
    question.content = json.dumps(fields, ensure_ascii=False)
    question.revision += 1
    question.saved_at, question.saved_by = by.now, by.person.id
    db.add(question)
    db.flush()
    return question


def _slug(lesson: SiteLesson, question: SiteQuestion) -> str:
    return f"{site_lessons.slug_of(lesson.id)}-q{question.id}"


def _saved_by(db: Session, question: SiteQuestion) -> str:
    return db.get(Person, question.saved_by).name
