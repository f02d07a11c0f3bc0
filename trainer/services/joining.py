"""Taking people and worksites in: who belongs where, in which role, with which respirator."""

import re
import secrets
from datetime import datetime
from zoneinfo import available_timezones

from sqlmodel import Session, delete, select

from trainer.config import LANGUAGES
from trainer.reference import respirator_classes
from trainer.services import recording, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import Membership, Person, PersonRole, Respirator, Worksite
from trainer.words import tidy

NUMBER = re.compile(r"(?!new$)[0-9A-Za-z][0-9A-Za-z._-]{0,19}", re.IGNORECASE)
"""A number is part of an address, /people/00417, beside /people/new; so it holds no slash."""
USES = ("required", "voluntary")


def add_person(
    db: Session,
    now: datetime,
    *,
    number: str,
    name: str,
    roles: list[str],
    language: str = "en",
    worksites: list[int] = (),
    qualification: str = "",
    seed: str = "",
) -> Person:
    """Add a person and return them.

    seed    what their problems are drawn from; by default a fresh random one
    Errors: Refusal for a number that is taken or of a wrong form, or without name or role.
    """
    number, name = tidy(number), tidy(name)
    if not NUMBER.fullmatch(number):
        raise Refusal(
            "A worker number has 1 to 20 letters or digits; dots and dashes may stand between.",
            field="number",
        )
    if people.by_number(db, number):
        raise Refusal(
            "The worker number %(number)s is taken already.", number=number, field="number"
        )
    person = Person(
        number=number,
        number_key=people.key(number),
        name=name,
        search_key="",
        seed=seed or secrets.token_hex(16),
        added_at=now,
    )
    db.add(person)
    _describe(person, name, language, qualification)
    db.flush()
    _settle(db, person, roles, worksites, now)
    standing.refresh(db, person, now.date())
    return person


def change_person(
    db: Session,
    by: Scribe,
    person: Person,
    *,
    name: str,
    roles: list[str],
    language: str,
    worksites: list[int],
    qualification: str,
) -> None:
    """Change what is known of a person; the worker number stays.

    Errors: Refusal as in `add_person`, or where the last coordinator would be lost.
    """
    loses_role = "coordinator" not in roles and "coordinator" in people.roles(db, person.id)
    if loses_role and by.person.id == person.id:
        raise Refusal(
            "You cannot take the coordinator's role from yourself. Ask another coordinator."
        )
    _describe(person, tidy(name), language, qualification)
    db.add(person)
    _settle(db, person, roles, worksites, by.now)
    _look_again(db, by, person)


def add_worksite(db: Session, *, name: str, time_zone: str, **ask: str) -> Worksite:
    """Add a worksite and return it; see `change_worksite` for the rest."""
    worksite = Worksite(name="", time_zone=time_zone)
    change_worksite(db, worksite, name=name, time_zone=time_zone, **ask)
    return worksite


def change_worksite(
    db: Session, worksite: Worksite, *, name: str, time_zone: str, **ask: str
) -> None:
    """Change a worksite.

    ask     ask_name, ask_place, ask_telephone, ask_hours: who can be asked there
    Errors: Refusal for a name that is taken, an unknown time zone, nobody to ask.
    """
    name = tidy(name)
    other = people.worksite_named(db, name)
    if not name or (other and other.id != worksite.id):
        raise Refusal("Give the worksite a name that no other has.", field="name")
    if time_zone not in available_timezones():
        raise Refusal(
            "Choose a time zone from the list, such as America/Chicago.", field="time_zone"
        )
    if not tidy(ask.get("ask_name", "")) or not tidy(ask.get("ask_telephone", "")):
        # Training on a screen is enough only with a trainer who answers in time: OSHA's
        # letter of 11 July 2019.
        raise Refusal(
            "Name who can be asked there, and their telephone: every page shows it.",
            field="ask_name",
        )
    worksite.name, worksite.time_zone = name, time_zone
    for field in ("ask_name", "ask_place", "ask_telephone", "ask_hours"):
        setattr(worksite, field, tidy(ask.get(field, "")))
    db.add(worksite)
    db.flush()


def give_respirator(
    db: Session,
    by: Scribe,
    person: Person,
    *,
    class_slug: str,
    use: str,
    make: str = "",
    model: str = "",
    style: str = "",
    size: str = "",
    filters: str = "",
) -> Respirator:
    """Give a person a respirator.

    Errors: Refusal for a class that Table 1 does not have, or a tight-fitting one that is
    required and lacks make, model, style or size, (f)(2).
    """
    row = respirator_classes.get(class_slug)
    if row is None or row.apf is None or use not in USES:
        raise Refusal(
            "Choose a class of respirator, and whether it is required or worn by choice.",
            field="class_slug",
        )
    named = {
        "make": tidy(make),
        "model": tidy(model),
        "style": tidy(style),
        "size": tidy(size),
        "filters": tidy(filters),
    }
    if (
        row.tight
        and use == "required"
        and not all(named[part] for part in ("make", "model", "style", "size"))
    ):
        raise Refusal(
            "A tight-fitting respirator needs make, model, style and size: "
            "a fit test holds for exactly these.",
            field="make",
        )
    respirator = Respirator(
        person_id=person.id,
        class_slug=class_slug,
        use=use,
        given_at=by.now,
        given_by=by.person.id,
        **named,
    )
    db.add(respirator)
    db.flush()
    standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
    return respirator


def take_respirator(db: Session, by: Scribe, person: Person, number: int) -> None:
    """End a respirator; it stays in the database with the moment."""
    respirator = db.get(Respirator, number)
    if respirator is None or respirator.person_id != person.id:
        raise Refusal("This respirator is not one of theirs.")
    respirator.ended_at = respirator.ended_at or by.now
    db.add(respirator)
    db.flush()
    _look_again(db, by, person)


def _look_again(db: Session, by: Scribe, person: Person) -> None:
    """Write anew what the tag board shows, and training, where less is asked for than before."""
    if recording.complete_training(db, by, person) is None:
        standing.refresh(db, person, standing.today(db, person, by.now, by.zone))


def _describe(person: Person, name: str, language: str, qualification: str) -> None:
    if not name or len(name) > 80:
        raise Refusal("Give the person's name, at most 80 letters.", field="name")
    if language not in LANGUAGES:
        raise Refusal("Choose English or Spanish.")
    person.name = name
    person.language = language
    person.qualification = tidy(qualification)[:120]
    person.search_key = people.plain(f"{name} {person.number}")


def _settle(
    db: Session, person: Person, roles: list[str], worksites: list[int], now: datetime
) -> None:
    if not roles or not set(roles) <= set(people.ROLES):
        raise Refusal("Choose at least one role.", field="roles")
    if not worksites and set(roles) != {"coordinator"}:
        raise Refusal("Choose at least one worksite.", field="worksites")
    known = set(db.exec(select(Worksite.id)))
    if not set(worksites) <= known:
        raise Refusal("Choose the worksites from the list.")
    db.exec(delete(PersonRole).where(PersonRole.person_id == person.id))
    db.add_all(PersonRole(person_id=person.id, role=role) for role in sorted(set(roles)))
    there = {one.id for one in people.worksites(db, person.id)}
    db.exec(
        delete(Membership).where(
            Membership.person_id == person.id, Membership.worksite_id.not_in(worksites)
        )
    )
    # Whoever stays keeps the day of coming: standing assignments count from it.
    db.add_all(
        Membership(person_id=person.id, worksite_id=one, joined_at=now)
        for one in sorted(set(worksites) - there)
    )
    db.flush()
