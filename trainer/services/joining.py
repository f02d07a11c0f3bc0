"""Taking people and worksites in: who belongs where, in which role, with which respirator."""

import re
import secrets
from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import available_timezones

from sqlmodel import Session, select

from trainer.config import LANGUAGES
from trainer.reference import respirator_classes
from trainer.services import recording, signing_in, standing
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import (
    Membership,
    PastMembership,
    Person,
    PersonRole,
    Respirator,
    Worksite,
)
from trainer.words import tidy

NUMBER = re.compile(r"(?!new$)[0-9A-Za-z][0-9A-Za-z._-]{0,19}", re.IGNORECASE)
"""A number is part of an address, /people/00417, beside /people/new; so it holds no slash."""
USES = ("required", "voluntary", "escape")


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
    medical: bool = False,
) -> Person:
    """Add a person and return them.

    seed        what their problems are drawn from; by default a fresh random one
    medical     the right to medical determinations; the first coordinator has it in any case
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
    _describe(db, person, name, language, qualification)
    db.add(person)
    db.flush()
    first = "coordinator" in roles and not people.holders(db, people.MEDICAL)
    _settle(db, person, roles, worksites, now, medical or first)
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
    medical: bool | None = None,
) -> None:
    """Change what is known of a person; the worker number stays.

    medical     the right to medical determinations; None: as it was
    Errors: Refusal as in `add_person`, where the last coordinator would be lost, or the last
    one with that right; for giving a right that one does not have.
    """
    has = people.roles(db, person.id)
    if "coordinator" in has and "coordinator" not in roles:
        if by.person.id == person.id:
            raise Refusal(
                "You cannot take the coordinator's role from yourself. Ask another coordinator."
            )
        keep_one(db, person, "coordinator")
    had = people.MEDICAL in has
    wanted = "coordinator" in roles and (had if medical is None else medical)
    if had and not wanted:
        keep_one(db, person, people.MEDICAL)
    if medical is not None and wanted != had:
        _refuse_right(db, by)
    _describe(db, person, tidy(name), language, qualification)
    db.add(person)
    if _settle(db, person, roles, worksites, by.now, wanted):
        # What somebody may do is theirs from a sign-in on: no page of before goes on with it.
        signing_in.end_everywhere(db, [person.id], by.now, by.person)
    recording.look_again(db, by, person)


def keep_one(db: Session, person: Person, role: str) -> None:
    """Refuse what would leave nobody with a role, or with the right to determinations.

    Inside `writing()`, where only one writes at a time: of two coordinators who remove each
    other at the same moment, the second is refused.
    """
    if not people.holders(db, role) - {person.id}:
        raise _nobody_left(role)


def kept(db: Session) -> list[str]:
    """Return of the coordinator's role and the right to determinations those that anybody has."""
    return [role for role in ("coordinator", people.MEDICAL) if people.holders(db, role)]


def keep_any(db: Session, before: Sequence[str]) -> None:
    """Refuse where many changes together left nobody with what somebody had before (`kept`)."""
    for role in before:
        if not people.holders(db, role):
            raise _nobody_left(role)


def _nobody_left(role: str) -> Refusal:
    if role == people.MEDICAL:
        return Refusal(
            "Nobody else has the right to medical determinations. First let somebody who has it "
            "give it to another coordinator."
        )
    return Refusal(
        "This is the last coordinator. First give the coordinator's role to somebody else."
    )


def _refuse_right(db: Session, by: Scribe) -> None:
    if people.MEDICAL not in people.roles(db, by.person.id):
        raise Refusal(
            "The right to medical determinations is given by a coordinator who has it.",
            field="medical",
        )


def add_worksite(db: Session, *, name: str, time_zone: str, **ask: str) -> Worksite:
    """Add a worksite and return it; see `change_worksite` for the rest."""
    worksite = Worksite(name="", time_zone=time_zone)
    change_worksite(db, worksite, name=name, time_zone=time_zone, **ask)
    return worksite


def change_worksite(
    db: Session,
    worksite: Worksite,
    *,
    name: str,
    time_zone: str,
    program_place: str | None = None,
    program_on: date | str | None = None,
    program_by: str | None = None,
    **ask: str,
) -> None:
    """Change a worksite.

    ask         ask_name, ask_place, ask_telephone, ask_hours: who can be asked there
    program_*   of the written program, 29 CFR 1910.134(c)(1) and (c)(3): where it is kept, its
                date, who administers it; what is None stays as it is, "" is not known
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
    if program_place is not None:
        worksite.program_place = tidy(program_place)[:160]
    if program_by is not None:
        worksite.program_by = tidy(program_by)[:120]
    if program_on is not None:
        worksite.program_on = program_on or None
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

    Errors: Refusal for somebody who has left, for a class that Table 1 does not have, or a
    tight-fitting one that is required and lacks make, model, style or size, (f)(2).
    """
    if person.left_on:
        raise Refusal("This person has left. Record first that they came back.")
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
        and use != "voluntary"
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
    recording.look_again(db, by, person)




def _describe(db: Session, person: Person, name: str, language: str, qualification: str) -> None:
    if not name or len(name) > 80:
        raise Refusal("Give the person's name, at most 80 letters.", field="name")
    if language not in LANGUAGES:
        raise Refusal("Choose English or Spanish.")
    person.name = name
    person.language = language
    person.qualification = tidy(qualification)[:120]
    numbers = " ".join(people.numbers(db, person)) if person.id else person.number
    person.search_key = people.plain(f"{name} {numbers}")


def _settle(
    db: Session,
    person: Person,
    roles: list[str],
    worksites: list[int],
    now: datetime,
    medical: bool,
) -> bool:
    """Give a person these roles and worksites; say whether the roles are others than before."""
    if not roles or not set(roles) <= set(people.ROLES):
        raise Refusal("Choose at least one role.", field="roles")
    if not worksites and set(roles) != {"coordinator"}:
        raise Refusal("Choose at least one worksite.", field="worksites")
    if medical and "coordinator" not in roles:
        raise Refusal("Only a coordinator can have the right to medical determinations.")
    move(db, person, worksites, now)
    wanted = {*roles, *([people.MEDICAL] if medical else [])}
    # Row by row and not by a bulk statement, so that the log tells of it.
    there = {
        row.role: row
        for row in db.exec(select(PersonRole).where(PersonRole.person_id == person.id))
    }
    for role in sorted(set(there) - wanted):
        db.delete(there[role])
    db.add_all(PersonRole(person_id=person.id, role=role) for role in sorted(wanted - set(there)))
    db.flush()
    return wanted != set(there)


def move(
    db: Session, person: Person, worksites: list[int], now: datetime, anew: bool = False
) -> None:
    """Let a person belong to these worksites and to no others.

    anew    they come to all of them now; else whoever stays keeps the day of coming
    Errors: Refusal for a worksite that there is not.
    """
    known = set(db.exec(select(Worksite.id)))
    if not set(worksites) <= known:
        raise Refusal("Choose the worksites from the list.", field="worksites")
    there = {
        row.worksite_id: row
        for row in db.exec(select(Membership).where(Membership.person_id == person.id))
    }
    for one in sorted(set(there) - set(worksites)):
        # Where they belonged is kept: what was asked of them there on a day stays known.
        db.add(
            PastMembership(
                person_id=person.id, worksite_id=one, joined_at=there[one].joined_at, left_at=now
            )
        )
        db.delete(there[one])
    for one in sorted(set(worksites)):
        # Standing assignments count from the day of coming.
        if one not in there:
            db.add(Membership(person_id=person.id, worksite_id=one, joined_at=now))
        elif anew:
            db.add(
                PastMembership(
                    person_id=person.id, worksite_id=one, joined_at=there[one].joined_at,
                    left_at=now,
                )
            )
            there[one].joined_at = now
            db.add(there[one])
    db.flush()
