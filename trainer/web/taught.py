"""Lessons as pages name and offer them: ours, and those that worksites wrote."""

from flask import g

from trainer import lessons
from trainer.services import curriculum
from trainer.store import people
from trainer.web.access import reading
from trainer.web.language import current


def lesson(slug: str) -> lessons.Lesson | None:
    """Return a lesson that the signed-in person may read or teach; a coordinator, every one."""
    with reading() as db:
        if "coordinator" in g.roles:
            return curriculum.find(db, slug)
        return curriculum.find_for(db, g.person, slug)


def found(slug: str) -> lessons.Lesson | None:
    """Return a lesson for whoever may see what it is named in, such as a question about it."""
    with reading() as db:
        return curriculum.find(db, slug)


def mine() -> list[lessons.Lesson]:
    """Return what the signed-in person learns."""
    with reading() as db:
        return curriculum.of_person(db, g.person)


def title(slug: str, language: str = "") -> str:
    """Return what a lesson is called, in the reader's language where none is named.

    One that is no longer there is named by its slug.
    """
    there = found(slug)
    return there.title(language or current()) if there else slug


def choices() -> list[lessons.Lesson]:
    """Return what the signed-in trainer can teach or assign; a coordinator, at every worksite."""
    with reading() as db:
        everywhere = "coordinator" in g.roles
        mine = people.all_worksites(db) if everywhere else people.worksites(db, g.person.id)
        return curriculum.choices(db, [one.id for one in mine])
