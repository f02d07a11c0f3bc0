"""Doing what the lines of a roster want, and taking it back: many people in one transaction.

What `joining` guarantees holds here too, without a question to the database for each person:
numbers are unique, whoever stays keeps the day of coming, a respirator is ended and never
deleted, and the tag board says what the record says.
"""

import secrets
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from sqlalchemy import bindparam, insert, update
from sqlmodel import Session, delete, func, select

from trainer.services import joining, leaving, recording, roster, signing_in, standing
from trainer.services.likenesses import name_key
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import changes, imports, people
from trainer.store.changes import About
from trainer.store.imports import Known
from trainer.store.tables import (
    Assignment,
    Membership,
    Need,
    PastMembership,
    Person,
    PersonRole,
    Respirator,
    Standing,
)

CHANGED = Refusal(
    "Since the lines were tried, something has changed that they touch: %(who)s. Nothing was "
    "done. Try the lines again."
)
OWN = {"id", "person_id", "respirator_id", "search_key"}
"""What of a row of the tag board is a person's own, however alike two people stand."""
MOST_NAMED = 5
"""So many people are named in a sentence; of the rest, how many they are."""


@dataclass(frozen=True)
class Act:
    """What one line does: a person's state before and after; before None for a new one."""

    line_id: int
    line: int
    number: str
    name: str
    person_id: int | None
    before: dict | None
    after: dict


@dataclass(frozen=True)
class InTheWay:
    """Somebody because of whom a roster cannot be taken back."""

    number: str
    name: str
    why: str  # changed, recorded or gone


@dataclass
class _Rows:
    """What is to be written, gathered, so that each table is asked once."""

    persons: list[dict] = field(default_factory=list)
    roles_off: list[dict] = field(default_factory=list)
    roles_on: list[dict] = field(default_factory=list)
    places_off: list[dict] = field(default_factory=list)
    places_past: list[dict] = field(default_factory=list)
    places_on: list[dict] = field(default_factory=list)
    places_since: list[dict] = field(default_factory=list)
    worn_ended: list[dict] = field(default_factory=list)
    worn_given: list[dict] = field(default_factory=list)
    touched: set[int] = field(default_factory=set)  # whose tags may say something else now

    def write(self, db: Session) -> None:
        """Write it all, in an order that the keys of the tables allow."""
        person, role, place, past, worn = (
            one.__table__
            for one in (Person, PersonRole, Membership, PastMembership, Respirator)
        )
        steps = (
            (self.persons, update(person).where(person.c.id == bindparam("who"))),
            (self.roles_off, delete(role).where(role.c.person_id == bindparam("who"),
                                                role.c.role == bindparam("was"))),
            (self.roles_on, insert(role)),
            (self.places_off, delete(place).where(place.c.person_id == bindparam("who"),
                                                  place.c.worksite_id == bindparam("was"))),
            (self.places_past, insert(past)),
            (self.places_on, insert(place)),
            (self.places_since, update(place).where(place.c.person_id == bindparam("who"),
                                                    place.c.worksite_id == bindparam("at"))),
            (self.worn_ended, update(worn).where(worn.c.id == bindparam("which"))),
            (self.worn_given, insert(worn)),
        )  # fmt: skip
        for rows, statement in steps:
            if rows:
                db.connection().execute(statement, rows)


def do(db: Session, by: Scribe, run_id: int, acts: Sequence[Act], newest: int, today: date) -> dict:
    """Do what the lines want and return how many were what; inside `writing()`.

    newest  the highest id of a person when the lines were tried
    today   the day that somebody is marked as left on whom the file does not hold
    Errors: Refusal where anything that the lines touch has changed since they were tried, or
    where nobody would be left who coordinates, or has the right to determinations.
    """
    held = joining.kept(db)
    known = imports.everybody(db)
    _refuse_changed(known, acts, newest)
    of_id = {one.id: one for one in known}
    new = [act for act in acts if act.before is None]
    old = [act for act in acts if act.before is not None]
    for act in old:
        if act.before["left_on"] and not act.after["left_on"]:
            _come_back(db, by, run_id, act, act.after, today)
    rows = _Rows()
    ids = _add(db, by, new, rows)
    for act in old:
        now_is = of_id[act.person_id]
        if act.before["left_on"] and not act.after["left_on"]:
            now_is = _reread(db, now_is)
        _gather(rows, by, now_is, act.after)
    rows.write(db)
    _sign_out(db, by, rows, {ids[people.key(act.number)] for act in new})
    _note(db, rows, known, {ids[people.key(act.number)]: act for act in new})
    db.expire_all()
    gone = [(ids[people.key(act.number)] if act.before is None else act.person_id, act)
            for act in acts if act.after["left_on"]
            and (act.before or {}).get("left_on") != act.after["left_on"]]  # fmt: skip
    # Of people who were not here yet, there is no entry that could make them clear.
    places = {
        ids[people.key(act.number)]: tuple(place for place, _ in act.after["worksites"])
        for act in new
    }
    _show(db, by, places, rows.touched - places.keys(), _worn_by(new, ids))
    for who, act in gone:
        _leave(db, by, run_id, who, act.after["left_on"], today)
    joining.keep_any(db, held)
    return {
        "new": len(new),
        "changed": sum(bool(act.before and act.before["left_on"] == act.after["left_on"])
                       for act in old),
        "back": sum(bool(act.before["left_on"] and not act.after["left_on"]) for act in old),
        "left": len(gone),
        "day": today.isoformat(),
        "last_entry": imports.last_entry(db),
    }  # fmt: skip


def in_the_way(
    db: Session, acts: Sequence[Act], last_entry: int, day: str, most: int = 20
) -> tuple[list[InTheWay], int]:
    """Return because of whom a roster cannot be taken back, the first of them, and how many."""
    known = imports.by_key(imports.everybody(db))
    recorded = imports.recorded_since(db, _numbers(known, acts), last_entry)
    found = []
    for act in acts:
        person = known.get(people.key(act.number))
        if person is None:
            found.append(InTheWay(act.number, act.name, "gone"))
        elif not recorded.isdisjoint(person.numbers):
            found.append(InTheWay(person.number, person.name, "recorded"))
        elif roster.like(roster.freeze(person)) != roster.like(_after(act, day)):
            found.append(InTheWay(person.number, person.name, "changed"))
    return found[:most], len(found)


def undo(
    db: Session, by: Scribe, run_id: int, acts: Sequence[Act], last_entry: int, day: str,
    today: date,
) -> dict:  # fmt: skip
    """Put back what was before a roster and return how many people were what; in `writing()`.

    Errors: Refusal where anybody has changed or has an entry since, or where nobody would be left
    who coordinates, or has the right to determinations.
    """
    held = joining.kept(db)
    standing_there, count = in_the_way(db, acts, last_entry, day)
    if count:
        raise Refusal(
            "It cannot be taken back: since then, something was changed or recorded for "
            "%(who)s. Nothing was done.",
            who=_named([f"{one.name} ({one.number})" for one in standing_there], count),
        )
    known = imports.by_key(imports.everybody(db))
    new = [known[people.key(act.number)] for act in acts if act.before is None]
    referred = imports.referred_to(db, [one.id for one in new])
    with_entries = imports.with_entries(db, [number for one in new for number in one.numbers])
    kept = [one for one in new
            if one.id in referred or not with_entries.isdisjoint(one.numbers)]  # fmt: skip
    gone = [one for one in new if one not in kept]
    _delete(db, sorted(one.id for one in gone))
    changes.note_many(db, [
        ("person", "ended", About(one.number, one.name), ()) for one in gone
    ])  # fmt: skip
    for one in kept:
        if one.left_on is None:
            _leave(db, by, run_id, one.id, today.isoformat(), today, "undo")
    rows = _Rows()
    old = [act for act in acts if act.before is not None]
    for act in old:
        person = known[people.key(act.number)]
        if person.left_on and not act.before["left_on"]:
            _come_back(db, by, run_id, act, act.before, today, "undo")
            person = _reread(db, person)
        _gather(rows, by, person, act.before)
    rows.write(db)
    _sign_out(db, by, rows, set())
    _note(db, rows, known.values(), {})
    db.expire_all()
    _show(db, by, {}, rows.touched, {})
    for act in old:
        if act.before["left_on"] and not act.after["left_on"]:
            _leave(db, by, run_id, act.person_id, act.before["left_on"], today, "undo")
    joining.keep_any(db, held)
    return {"deleted": len(new) - len(kept), "kept": len(kept), "back": len(old)}


def _numbers(known: Mapping[str, Known], acts: Sequence[Act]) -> list[str]:
    """Return all worker numbers of the people that lines are about."""
    there = (known.get(people.key(act.number)) for act in acts)
    return [number for one in there if one for number in one.numbers]


def _refuse_changed(known: Sequence[Known], acts: Sequence[Act], newest: int) -> None:
    """Refuse where the people that the lines touch are not as they were when they were tried."""
    of_id = {one.id: one for one in known}
    keys = imports.by_key(known).keys()
    come_since = {name_key(one.name) for one in known if one.id > newest}
    seen: dict[int, Act] = {}
    who = []
    for act in acts:
        if act.before is None:
            if people.key(act.number) in keys or (come_since and name_key(act.name) in come_since):
                who.append(f"{act.name} ({act.number})")
            continue
        twin = seen.setdefault(act.person_id, act)
        if twin is not act:
            raise Refusal(
                "Lines %(one)s and %(other)s are both about %(name)s. Decide otherwise about one.",
                one=twin.line, other=act.line, name=act.before["name"],
            )  # fmt: skip
        now_is = of_id.get(act.person_id)
        if now_is is None or roster.freeze(now_is) != act.before:
            who.append(f"{act.before['name']} ({act.number})")
    if who:
        raise Refusal(CHANGED.text, who=_named(who, len(who)))


def _named(who: Sequence[str], count: int) -> str:
    shown = ", ".join(who[:MOST_NAMED])
    return f"{shown}, … ({count})" if count > MOST_NAMED else shown


def _add(db: Session, by: Scribe, new: Sequence[Act], rows: _Rows) -> dict[str, int]:
    """Add people and return their ids by number key; what they have is gathered."""
    if not new:
        return {}
    newest = db.exec(select(func.max(Person.id))).one() or 0
    db.connection().execute(insert(Person.__table__), [
        {
            "number": act.number, "number_key": people.key(act.number), "name": act.after["name"],
            "search_key": people.plain(f"{act.after['name']} {act.number}"),
            "language": act.after["language"], "qualification": act.after["qualification"],
            "seed": secrets.token_hex(16), "added_at": by.now,
        }
        for act in new
    ])  # fmt: skip
    ids = {key: who for who, key in
           db.exec(select(Person.id, Person.number_key).where(Person.id > newest))}  # fmt: skip
    for act in new:
        who = ids[people.key(act.number)]
        rows.roles_on += [{"person_id": who, "role": role} for role in act.after["roles"]]
        rows.places_on += [
            {"person_id": who, "worksite_id": place, "joined_at": by.now}
            for place, _ in act.after["worksites"]
        ]
        rows.worn_given += [_given(by, who, one) for one in act.after["worn"]]
    return ids


def _sign_out(db: Session, by: Scribe, rows: _Rows, new: set[int]) -> None:
    """End the sessions of whose roles changed, as `joining.change_person` does; not of new ones."""
    changed = {row["who"] for row in rows.roles_off} | {row["person_id"] for row in rows.roles_on}
    signing_in.end_everywhere(db, sorted(changed - new), by.now, by.person)


def _gather(rows: _Rows, by: Scribe, now_is: Known, wanted: Mapping) -> None:
    """Gather what makes a person's state the wanted one; leaving and coming back aside."""
    who = now_is.id
    if (now_is.name, now_is.language, now_is.qualification) != (
        wanted["name"], wanted["language"], wanted["qualification"]
    ):  # fmt: skip
        rows.persons.append({
            "who": who, "name": wanted["name"], "language": wanted["language"],
            "qualification": wanted["qualification"],
            "search_key": people.plain(f"{wanted['name']} {' '.join(now_is.numbers)}"),
        })  # fmt: skip
    has, wants = set(now_is.roles), set(wanted["roles"])
    rows.roles_off += [{"who": who, "was": role} for role in sorted(has - wants)]
    if "coordinator" in has - wants:
        # The right to determinations goes with the role.
        rows.roles_off.append({"who": who, "was": people.MEDICAL})
    rows.roles_on += [{"person_id": who, "role": role} for role in sorted(wants - has)]
    there, to_be = dict(now_is.worksites), dict(wanted["worksites"])
    gone = sorted(set(there) - set(to_be))
    rows.places_off += [{"who": who, "was": place} for place in gone]
    rows.places_past += [
        {"person_id": who, "worksite_id": place, "joined_at": there[place], "left_at": by.now}
        for place in gone
    ]
    for place, since in to_be.items():
        joined = by.now if since == "new" else _moment(since)
        if place not in there:
            rows.places_on.append(
                {"person_id": who, "worksite_id": place, "joined_at": joined}
            )
        elif since != "new" and there[place] != joined:
            rows.places_since.append({"who": who, "at": place, "joined_at": joined})
    worn = {one.id for one in now_is.worn}
    kept = {one[0] for one in wanted["worn"] if one[0]}
    rows.worn_ended += [{"which": one, "ended_at": by.now} for one in sorted(worn - kept)]
    rows.worn_ended += [{"which": one, "ended_at": None} for one in sorted(kept - worn)]
    rows.worn_given += [_given(by, who, one) for one in wanted["worn"] if not one[0]]
    if set(there) != set(to_be) or worn != kept or any(not one[0] for one in wanted["worn"]):
        rows.touched.add(who)


def _note(
    db: Session, rows: _Rows, known: Iterable[Known], new: Mapping[int, Act]
) -> None:
    """Note for the log what bulk statements changed, which pass it by.

    Of new people it is told that they came, and as what if not as workers; the rest stands in the
    lines of the file.
    """
    of_id = {one.id: one for one in known}
    who = {one.id: About(one.number, one.name) for one in of_id.values()}
    who |= {id_: About(act.number, act.after["name"]) for id_, act in new.items()}
    places = {one.id: one.name for one in people.all_worksites(db)}
    worn = {one.id: one.what for person in of_id.values() for one in person.worn}
    told = [("person", "added", who[id_], ()) for id_ in new]
    for row in rows.persons:
        was = of_id[row["who"]]
        detail = [
            (part, getattr(was, part), row[part])
            for part in ("name", "language", "qualification") if getattr(was, part) != row[part]
        ]  # fmt: skip
        told.append(("person", "changed", who[was.id], detail))
    told += [("role", "ended", who[row["who"]], [("role", row["was"], "")])
             for row in rows.roles_off]  # fmt: skip
    told += [("role", "added", who[row["person_id"]], [("role", "", row["role"])])
             for row in rows.roles_on
             if row["person_id"] not in new or row["role"] != "worker"]  # fmt: skip
    told += [("membership", "ended", who[row["who"]], [("worksite", places[row["was"]], "")])
             for row in rows.places_off]  # fmt: skip
    told += [("membership", "added", who[row["person_id"]],
              [("worksite", "", places[row["worksite_id"]])])
             for row in rows.places_on if row["person_id"] not in new]  # fmt: skip
    whose = {one.id: person.id for person in of_id.values() for one in person.worn}
    for row in rows.worn_ended:
        if row["which"] in whose:
            detail = [("class_slug", worn[row["which"]][0], "")]
            told.append(("respirator", "ended", who[whose[row["which"]]], detail))
    told += [("respirator", "added", who[row["person_id"]], [
                (part, "", row[part])
                for part in ("class_slug", "make", "model", "style", "size", "filters", "use")
                if row[part]
             ]) for row in rows.worn_given if row["person_id"] not in new]  # fmt: skip
    changes.note_many(db, told)


def _given(by: Scribe, who: int, worn: Sequence) -> dict:
    names = ("class_slug", "use", "make", "model", "style", "size", "filters")
    what = dict(zip(names, worn[1:], strict=True))
    return {"person_id": who, "given_at": by.now, "given_by": by.person.id, **what}


def _worn_by(new: Sequence[Act], ids: Mapping[str, int]) -> dict[int, tuple]:
    """Return by new person the class and use of each respirator, in order."""
    return {
        ids[people.key(act.number)]: tuple((one[1], one[2]) for one in act.after["worn"])
        for act in new
    }


def _show(
    db: Session,
    by: Scribe,
    new: Mapping[int, tuple],
    touched: Iterable[int],
    worn_by_new: Mapping[int, tuple],
) -> None:
    """Write anew what the tag board shows of these people.

    new     by person the worksites; of them nothing is recorded, so that all who wear the same at
            the same worksites stand alike: one is worked out, the others are copied
    """
    persons = list(touched)
    found = {
        one.id: one
        for some in imports.chunks(persons)
        for one in db.exec(select(Person).where(Person.id.in_(some)))
    }
    # After a merge, what counts may stand under another number of theirs.
    numbers = people.numbers_of(db, found.values())
    with_entries = imports.with_entries(db, [one for theirs in numbers.values() for one in theirs])
    # What they told or were assigned stands on nobody else's tag either.
    own = {
        who for some in imports.chunks(persons) for table in (Assignment, Need)
        for who in db.exec(select(table.person_id).where(table.person_id.in_(some)))
    }  # fmt: skip
    alike = dict(worn_by_new)
    places = dict(new)
    for some in imports.chunks(persons):
        db.exec(delete(Standing).where(Standing.person_id.in_(some)))
    quiet = [who for who, one in found.items()
             if with_entries.isdisjoint(numbers[who]) and who not in own]  # fmt: skip
    for who, (at, worn) in _as_they_are(db, quiet).items():
        places[who], alike[who] = at, worn
    _copy(db, by, places, alike)
    for who in sorted(found.keys() - set(quiet)):
        recording.look_again(db, by, found[who])


def _as_they_are(db: Session, persons: Sequence[int]) -> dict[int, tuple[tuple, tuple]]:
    """Return by person the worksites, and the class and use of each respirator, in order."""
    at: dict[int, list] = {who: [] for who in persons}
    worn: dict[int, list] = {who: [] for who in persons}
    for some in imports.chunks(persons):
        member = select(Membership.person_id, Membership.worksite_id).where(
            Membership.person_id.in_(some)
        )
        for who, place in db.exec(member.order_by(Membership.worksite_id)):
            at[who].append(place)
        held = select(Respirator.person_id, Respirator.class_slug, Respirator.use).where(
            Respirator.person_id.in_(some), Respirator.ended_at.is_(None)
        )
        for who, slug, use in db.exec(held.order_by(Respirator.id)):
            worn[who].append((slug, use))
    return {who: (tuple(at[who]), tuple(worn[who])) for who in persons}


def _copy(
    db: Session, by: Scribe, places: Mapping[int, tuple], worn: Mapping[int, tuple]
) -> None:
    """Work out one person of each kind, and let the others of the kind stand as they do."""
    kinds: dict[tuple, list[int]] = defaultdict(list)
    for who, at in places.items():
        kinds[at, worn.get(who, ())].append(who)
    held: dict[int, list[int]] = defaultdict(list)
    for some in imports.chunks(who for who in places if worn.get(who)):
        query = select(Respirator.person_id, Respirator.id).where(
            Respirator.person_id.in_(some), Respirator.ended_at.is_(None)
        )
        for who, number in db.exec(query.order_by(Respirator.id)):
            held[who].append(number)
    rows = []
    for members in kinds.values():
        first, *others = members
        person = db.get(Person, first)
        standing.refresh(db, person, standing.today(db, person, by.now, by.zone))
        model = db.exec(
            select(Standing).where(Standing.person_id == first).order_by(Standing.respirator_id)
        ).all()
        for who in others:
            rows += [
                one.model_dump(exclude=OWN) | {"person_id": who, "respirator_id": number}
                for one, number in zip(model, held.get(who) or [None], strict=True)
            ]
    if not rows:
        return
    keys: dict[int, str] = {}
    for some in imports.chunks({row["person_id"] for row in rows}):
        query = select(Person.id, Person.search_key).where(Person.id.in_(some))
        keys |= dict(db.exec(query).all())
    for row in rows:
        row["search_key"] = keys[row["person_id"]]
    db.connection().execute(insert(Standing.__table__), rows)


def _come_back(
    db: Session, by: Scribe, run_id: int, act: Act, state: Mapping, today: date, why: str = "do"
) -> None:
    leaving.come_back(
        db, by, db.get(Person, act.person_id),
        once=f"import:{run_id}:{why}:back:{act.person_id}", on=today,
        worksites=[place for place, _ in state["worksites"]],
    )  # fmt: skip


def _leave(
    db: Session, by: Scribe, run_id: int, who: int, day: str, today: date, why: str = "do"
) -> None:
    on = today if day == "today" else date.fromisoformat(day)
    person = db.get(Person, who)
    if person.left_on:
        person.left_on = on  # only the day is another one
        db.add(person)
        return
    leaving.leave(db, by, person, once=f"import:{run_id}:{why}:left:{who}", on=on)


def _reread(db: Session, known: Known) -> Known:
    """Return a person anew who has just come back: with new days of coming."""
    db.flush()
    member = select(Membership.worksite_id, Membership.joined_at).where(
        Membership.person_id == known.id
    )
    places = tuple(db.exec(member.order_by(Membership.worksite_id)).all())
    worn = tuple(one for one in known.worn if db.get(Respirator, one.id).ended_at is None)
    return known._replace(left_on=None, worksites=places, worn=worn)


def _delete(db: Session, ids: Sequence[int]) -> None:
    """Take people away to whom nothing refers."""
    # A table at a time: what refers to a row is looked for row by row, where no index helps.
    for table, column in (
        (Standing, Standing.person_id), (Respirator, Respirator.person_id),
        (Membership, Membership.person_id), (PersonRole, PersonRole.person_id),
        (Person, Person.id),
    ):  # fmt: skip
        for some in imports.chunks(ids):
            db.exec(delete(table).where(column.in_(some)))


def _after(act: Act, day: str) -> dict:
    """Return the state that a line left behind; whoever left has no respirators."""
    after = act.after
    if not after["left_on"]:
        return after
    return after | {"left_on": day if after["left_on"] == "today" else after["left_on"], "worn": []}


def _moment(text: str) -> datetime | None:
    return datetime.fromisoformat(text) if text else None

