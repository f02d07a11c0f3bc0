"""What was said between people: talks in rooms, and questions asked with the answers given.

Paragraph (k) of 29 CFR 1910.134.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from sqlmodel import select

from trainer.services import asking, entry_words
from trainer.services import paper_words as words
from trainer.services.packet.made import Making
from trainer.services.packet.paper import Paper
from trainer.services.packet.persons import DAY, NAME, NUMBER, papers
from trainer.store import record
from trainer.store.tables import (
    Person,
    TalkLesson,
    TalkPerson,
    TalkTakenBack,
    TaughtTalk,
    WorkerQuestion,
)
from trainer.words import Words

TALKS = Words("3 Talks in rooms", "3 Charlas en salas")
TALK_HEADS = (
    DAY, Words("Lessons", "Lecciones"), Words("By", "Por"), Words("How", "Cómo"),
    Words("Who was there", "Quiénes estuvieron"),
)  # fmt: skip
TALKS_SAY = Words(
    "Lessons that a trainer taught to people in a room. Being there proves no understanding: "
    "that is shown by the sittings.",
    "Lecciones que un capacitador enseñó a un grupo en una sala. Haber estado no demuestra que se "
    "entendió: eso lo muestran los intentos.",
)
NO_TALKS = Words("No talk was recorded for this worksite in this period.",
                 "En este período no se registró ninguna charla en este sitio de trabajo.")
TAKEN_BACK = Words("Taken back: it was recorded by mistake.",
                   "Retirada: se registró por error.")
HOW = Words("{mode}, {tongue}, {minutes} min", "{mode}, {tongue}, {minutes} min")
TALK_COLUMNS = (
    "day", "began", "minutes", "language", "mode", "trainer number", "trainer", "qualification",
    "lesson", "lesson version", "worker number", "name", "taken back",
)  # fmt: skip

QUESTIONS = Words("5 Questions and answers", "5 Preguntas y respuestas")
QUESTION_HEADS = (
    Words("Asked", "Preguntada"), NUMBER, NAME, Words("Question", "Pregunta"),
    Words("Answers", "Respuestas"),
)  # fmt: skip
QUESTIONS_SAY = Words(
    "Questions that people of this packet asked the trainers in the period, each in the words it "
    "was asked in, with every answer, who gave it and when.",
    "Preguntas que las personas de este expediente hicieron a los capacitadores en el período, "
    "cada una con sus propias palabras, con cada respuesta, quién la dio y cuándo.",
)
NO_QUESTIONS = Words("No question was asked in this period.",
                     "En este período no se hizo ninguna pregunta.")
OPEN = Words("Not answered by then.", "Sin respuesta hasta entonces.")
QUESTION_COLUMNS = (
    "asked at", "worker number", "name", "lesson", "language", "question", "answered at",
    "answered by number", "answered by", "answer",
)  # fmt: skip


@dataclass(frozen=True)
class Talk:
    """A talk that was given: its lessons with their versions, who was there."""

    talk: TaughtTalk
    versions: tuple[tuple[str, str], ...]
    people: tuple[Person, ...]
    taken_back: bool


def write(making: Making, ids: list[int]) -> tuple[int, int, set[str]]:
    """Write talks and questions; return how many of each, and the versions that were taught."""
    talks = _held(making)
    _talks(making, talks)
    asked = list(_questions(making, ids))
    _asked(making, asked)
    versions = {version for one in talks if not one.taken_back for _, version in one.versions}
    return len(talks), len(asked), versions


def _held(making: Making) -> list[Talk]:
    """Return the talks of the worksite in the period that were known by then, oldest first."""
    db, asked = making.db, making.asked
    query = select(TaughtTalk).where(
        TaughtTalk.worksite_id == making.worksite.id,
        TaughtTalk.day >= asked.first,
        TaughtTalk.day <= asked.last,
        TaughtTalk.recorded_at <= asked.at,
    )
    talks = db.exec(query.order_by(TaughtTalk.day, TaughtTalk.id)).all()
    back = {
        one.talk_id for one in db.exec(select(TalkTakenBack))
        if one.taken_back_at <= asked.at
    }  # fmt: skip
    return [
        Talk(
            talk,
            tuple(db.exec(
                select(TalkLesson.lesson, TalkLesson.version)
                .where(TalkLesson.talk_id == talk.id).order_by(TalkLesson.lesson)
            ).all()),
            tuple(db.exec(
                select(Person).join(TalkPerson, TalkPerson.person_id == Person.id)
                .where(TalkPerson.talk_id == talk.id).order_by(Person.search_key, Person.id)
            ).all()),
            talk.id in back,
        )
        for talk in talks
    ]  # fmt: skip


def _talks(making: Making, talks: list[Talk]) -> None:
    language = making.language

    def row(one: Talk) -> list[str]:
        talk = one.talk
        how = HOW.filled(
            mode=entry_words.mode(talk.mode, language),
            tongue=entry_words.tongue(talk.language, language), minutes=talk.minutes,
        )(language)  # fmt: skip
        titles = "\n".join(
            f"{entry_words.lesson_title({'lesson': slug}, language)}, {version}"
            for slug, version in one.versions
        )
        there = "\n".join(f"{person.number} {person.name}" for person in one.people)
        if one.taken_back:
            how = f"{how}\n{TAKEN_BACK(language)}"
        by = {"number": talk.trainer_number, "name": talk.trainer_name,
              "qualification": talk.qualification}  # fmt: skip
        return [words.day(talk.day, language), titles, words.who(by), how, there]

    def lay(paper: Paper, rows: list) -> None:
        paper.say(TALKS_SAY)
        paper.table(TALK_HEADS, [row(one) for one in rows], (0, 3, 3, 2, 3), none=NO_TALKS)

    papers(making, "k", TALKS, talks, lay, Words(
        "Who taught what to whom in a room", "Quién enseñó qué a quién en una sala"
    ), wide=True)  # fmt: skip
    making.rows("k", "talks", TALK_COLUMNS, (
        (one.talk.day.isoformat(), one.talk.began, one.talk.minutes, one.talk.language,
         one.talk.mode, one.talk.trainer_number, one.talk.trainer_name, one.talk.qualification,
         slug, version, person.number, person.name, "yes" if one.taken_back else "no")
        for one in talks for slug, version in one.versions for person in one.people
    ))  # fmt: skip


def _questions(making: Making, ids: list[int]) -> Iterator[asking.Asked]:
    """Give the questions of these people that were asked in the period, oldest first."""
    asked, there = making.asked, making.worksite
    for at in range(0, len(ids), 500):
        query = (
            select(WorkerQuestion, Person)
            .join(Person, Person.id == WorkerQuestion.person_id)
            .where(
                WorkerQuestion.person_id.in_(ids[at : at + 500]),
                WorkerQuestion.asked_at >= asked.begins(there),
                WorkerQuestion.asked_at <= making.moment,
            )
            .order_by(WorkerQuestion.asked_at, WorkerQuestion.id)
        )
        yield from asking.with_answers(making.db, making.db.exec(query).all())


def _asked(making: Making, asked: list[asking.Asked]) -> None:
    language = making.language

    def answers(one: asking.Asked) -> list[asking.Answered]:
        return [given for given in one.answers if given.answer.answered_at <= making.asked.at]

    def row(one: asking.Asked) -> list[str]:
        given = "\n".join(
            f"{each.answer.text} ({words.who({'number': each.by.number, 'name': each.by.name})}, "
            f"{words.day(making.local(each.answer.answered_at), language)})"
            for each in answers(one)
        )
        return [
            words.day(making.local(one.question.asked_at), language), one.person.number,
            one.person.name, one.question.text, given or OPEN(language),
        ]  # fmt: skip

    def lay(paper: Paper, rows: list) -> None:
        paper.say(QUESTIONS_SAY)
        paper.table(QUESTION_HEADS, [row(one) for one in rows], (0, 0, 2, 5, 5),
                    none=NO_QUESTIONS)

    papers(making, "k", QUESTIONS, asked, lay, Words(
        "What people asked, and what was answered", "Lo que se preguntó, y lo que se respondió"
    ), wide=True)  # fmt: skip
    making.rows("k", "questions", QUESTION_COLUMNS, (
        (record.moment(one.question.asked_at), one.person.number, one.person.name,
         one.question.lesson, one.question.language, one.question.text, *cells)
        for one in asked
        for cells in [
            (record.moment(each.answer.answered_at), each.by.number, each.by.name,
             each.answer.text)
            for each in answers(one)
        ] or [("", "", "", "")]
    ))  # fmt: skip
