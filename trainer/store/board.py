"""The tag board: which tags, in which order, and how many of each state.

Everything is asked of `standing` alone, whose rows repeat what the board sorts and searches by, so
that a page of 50,000 people is as quick as one of 1,000: each part of the order is the order of an
index, and a page reads no more of it than it shows.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from typing import NamedTuple
from urllib.parse import urlencode

from sqlalchemy import (
    ColumnElement,
    Select,
    String,
    case,
    cast,
    exists,
    false,
    literal,
    true,
    union,
)
from sqlalchemy import select as columns_of
from sqlalchemy.orm import aliased
from sqlmodel import Session, and_, func, or_, select

from trainer.store import people
from trainer.store.tables import (
    Membership,
    MergedPerson,
    Person,
    PersonRole,
    Respirator,
    Standing,
    Worksite,
)

STATES = ("clear", "soon", "not", "new")
"""The states of a tag on the board; one that falls due soon is clear as well."""

MISSING = ("medical", "training", "practice", "fit-test", "appendix-d", "respirator")
"""What a tag may lack: a kind of step, or any respirator at all."""

DUE = (30, 60, 90)
"""Days within which something falls due."""

DUE_KINDS = {
    "training": Standing.training_due,
    "practice": Standing.practice_due,
    "fit-test": Standing.fit_test_due,
    "lessons": Standing.lessons_due,
    "medical": Standing.medical_due,
}
"""What falls due, and the column that says by when; `lessons` are those of a worksite."""

SORTS = ("name", "number", "worksite", "until")
"""The orders beside the usual one, most urgent first."""

LONGEST_SEARCH = 60


@dataclass(frozen=True)
class Filter:
    """Which tags are asked for, as an address keeps it; nothing asked is every tag.

    worksite  id
    state     one of STATES
    missing   one of MISSING
    due       one of DUE: something falls due within so many days
    search    part of a name or number, accents and capitals aside
    sort      one of SORTS; "" most urgent first
    kind      one of DUE_KINDS: only what of this kind falls due; with `due` or `month`
    month     YYYY-MM: something falls due in it; or "past": it fell due before today
    left      also people who left
    on        the day asked about; None: today
    """

    worksite: int | None = None
    state: str = ""
    missing: str = ""
    due: int | None = None
    search: str = ""
    sort: str = ""
    kind: str = ""
    month: str = ""
    left: bool = False
    on: date | None = None

    @classmethod
    def read(cls, args: Mapping[str, str]) -> "Filter":
        """Return the filter of an address; what is not known counts as not asked."""
        due = _whole(args.get("due", ""))
        return cls(
            worksite=_whole(args.get("worksite", "")),
            state=_one_of(args.get("state", ""), STATES),
            missing=_one_of(args.get("missing", ""), MISSING),
            due=due if due in DUE else None,
            search=" ".join(args.get("q", "").split())[:LONGEST_SEARCH].strip(),
            sort=_one_of(args.get("sort", ""), SORTS),
            kind=_one_of(args.get("kind", ""), tuple(DUE_KINDS)),
            month=_month(args.get("month", "")),
            left=args.get("left", "") == "yes",
            on=_day(args.get("on", "")),
        )

    def query(self, **changes: object) -> str:
        """Return the part of an address that keeps the filter, with what is changed in it.

        What is empty is left out; a further name, such as `page`, stands at the end.
        """
        own = {one.name for one in fields(self)}
        kept = replace(self, **{name: changes[name] for name in own & changes.keys()})
        said = {
            "q": kept.search,
            "worksite": kept.worksite,
            "state": kept.state,
            "missing": kept.missing,
            "kind": kept.kind,
            "due": kept.due,
            "month": kept.month,
            "left": "yes" if kept.left else "",
            "on": kept.on.isoformat() if kept.on else "",
            "sort": kept.sort,
        }
        said |= {name: value for name, value in changes.items() if name not in own}
        return urlencode([(name, value) for name, value in said.items() if value not in ("", None)])


def person_ids(
    filter: Filter,
    today: date,
    soon_days: int,
    mine: tuple[int, ...] | None,
    *,
    medical: bool,
):
    """Return a select of the ids of the people whose tags are asked for, usable as a subquery.

    mine      worksites that may be seen; None: every one
    medical   may the reader know when determinations end? Without the right nobody is found by it
    """
    return columns_of(Standing.person_id).where(*_asked(filter, today, soon_days, mine, medical))


def rows(
    db: Session,
    filter: Filter,
    today: date,
    soon_days: int,
    mine: tuple[int, ...] | None,
    *,
    medical: bool,
    first: int = 0,
    most: int = 50,
) -> list[tuple[Standing, Person, Respirator | None]]:
    """Return tags of the board in its order, from the row `first`, `most` at the most.

    The tags of a person stand together, at the place of the most urgent one.
    Parameters as in `person_ids`.
    """
    asked = _asked(filter, today, soon_days, mine, medical)
    if filter.search:
        few = _few(db, asked)
        asked = asked if few is None else [Standing.id.in_(few)]
    return _walk(db, filter, asked, today, medical, first, most)


class Page(NamedTuple):
    """Some tags of the board, and how many there are.

    rows   in the board's order
    tally  by state how many tags are in it of all that the filter asks for, its own state aside
    total  how many the filter finds
    """

    rows: list[tuple[Standing, Person, Respirator | None]]
    tally: dict[str, int]
    total: int


def page(
    db: Session,
    filter: Filter,
    today: date,
    soon_days: int,
    mine: tuple[int, ...] | None,
    *,
    medical: bool,
    first: int,
    most: int,
) -> Page:
    """Return what `rows` does, with how many there are of each state.

    Whoever is left out is left out by going through all tags once, in an index.
    """
    every = _asked(replace(filter, state=""), today, soon_days, mine, medical)
    narrowed = filter.search or filter.missing or filter.due or filter.month
    if narrowed:
        few = _few(db, every)
        every = every if few is None else [Standing.id.in_(few)]
    everywhere = mine is None and filter.worksite is None
    counted = _by_range if everywhere and not narrowed else _at_once
    tally = counted(db, every, today, soon_days, medical)
    asked = [*every, _in_state(filter.state, today, soon_days, medical)] if filter.state else every
    found = _walk(db, filter, asked, today, medical, first, most)
    total = tally[filter.state] if filter.state else tally["clear"] + tally["not"] + tally["new"]
    return Page(found, tally, total)


def _at_once(
    db: Session, asked: Sequence[ColumnElement[bool]], today: date, soon_days: int, medical: bool
) -> dict[str, int]:
    """Return how many of these tags are in each state, by going through them once."""
    counts = [
        func.count().filter(_in_state(state, today, soon_days, medical)).label(state)
        for state in STATES
    ]
    row = db.execute(columns_of(*counts).select_from(Standing).where(*asked)).one()
    return dict(row._mapping)


def _by_range(
    db: Session, asked: Sequence[ColumnElement[bool]], today: date, soon_days: int, medical: bool
) -> dict[str, int]:
    """Return the same of tags that are left out by nothing: a range of an index for each state.

    To go through all of them once would take twice as long.
    """
    until = Standing.clear_until
    ranges = {
        "clear": until >= today,
        "soon": _in_state("soon", today, soon_days, medical),
        "lapsed": until < today,
        "lacking": and_(until.is_(None), Standing.begun.is_(True)),
        "new": _in_state("new", today, soon_days, medical),
    }
    counts = {
        name: db.execute(
            columns_of(func.count()).select_from(Standing).where(*asked, one)
        ).scalar_one()
        for name, one in ranges.items()
    }
    counts["not"] = counts.pop("lapsed") + counts.pop("lacking")
    return counts


@dataclass(frozen=True)
class DueIn:
    """How many people have something due in a month.

    month  YYYY-MM, or "past" for what fell due before today
    where  the id of a worksite; None: counted over all of them
    kind   one of DUE_KINDS; "" for anything
    """

    month: str
    where: int | None
    kind: str
    people: int


def due_by_kind(
    db: Session,
    today: date,
    end: date,
    worksite: int | None,
    mine: tuple[int, ...] | None,
    *,
    medical: bool,
) -> list[DueIn]:
    """Return how many people have something of each kind due, month by month, until before `end`.

    Of two respirators with the same kind due in one month the person counts once.
    Parameters as in `person_ids`.
    """
    asked = _asked(Filter(worksite=worksite), today, 0, mine, medical)
    return [
        DueIn(month, None, kind, many)
        for kind, column in _columns(medical)
        for month, many in db.execute(
            columns_of(_in_month(column, today), func.count(Standing.person_id.distinct()))
            .where(*asked, column < end)
            .group_by(_in_month(column, today))
        )
    ]


def due_by_worksite(
    db: Session, today: date, end: date, mine: tuple[int, ...] | None, *, medical: bool
) -> list[DueIn]:
    """Return how many people of each worksite have anything due, month by month, before `end`.

    Whoever belongs to two worksites counts at both, since both would be without them.
    """
    asked = _asked(Filter(), today, 0, mine, medical)
    each = [
        columns_of(Standing.person_id, _in_month(column, today).label("month")).where(
            *asked, column < end
        )
        for _, column in _columns(medical)
    ]
    found = union(*each).subquery()
    query = (
        columns_of(found.c.month, Membership.worksite_id, func.count())
        .join(Membership, Membership.person_id == found.c.person_id)
        .group_by(found.c.month, Membership.worksite_id)
    )
    if mine is not None:
        query = query.where(Membership.worksite_id.in_(mine))
    return [DueIn(month, where, "", many) for month, where, many in db.execute(query)]


def _columns(medical: bool) -> list[tuple[str, ColumnElement]]:
    """Return what falls due, and by which column, of what the reader may know."""
    return [(kind, one) for kind, one in DUE_KINDS.items() if medical or kind != "medical"]


def _in_month(column: ColumnElement, today: date) -> ColumnElement:
    return case((column < today, literal("past")), else_=func.substr(cast(column, String), 1, 7))


def workers(db: Session, worksite: int, first: int, most: int) -> list[Person]:
    """Return the workers of a worksite by name, from the one at `first`."""
    query = select(Person).where(*_working(worksite)).order_by(Person.search_key, Person.id)
    return list(db.exec(query.offset(first).limit(most)))


def workers_count(db: Session, worksite: int) -> int:
    """Return how many workers a worksite has."""
    query = columns_of(func.count()).select_from(Person).where(*_working(worksite))
    return db.execute(query).scalar_one()


def _working(worksite: int) -> tuple[ColumnElement[bool], ...]:
    there = columns_of(Membership.person_id).where(Membership.worksite_id == worksite)
    working = columns_of(PersonRole.person_id).where(PersonRole.role == "worker")
    return Person.id.in_(there), Person.id.in_(working), Person.left_on.is_(None)


def appendix_d(db: Session, person_ids: Sequence[int]) -> dict[int, bool]:
    """Return by id whether the information for voluntary use was given, of whoever needs it.

    Source: 29 CFR 1910.134(c)(2)(i), (k)(6).
    """
    query = (
        columns_of(Standing.person_id, Standing.missing)
        .join(Respirator, Respirator.id == Standing.respirator_id)
        .where(Standing.person_id.in_(person_ids), Respirator.use == "voluntary")
    )
    given: dict[int, bool] = {}
    for who, missing in db.execute(query):
        given[who] = given.get(who, True) and "appendix-d" not in missing.split()
    return given


def people_then(
    db: Session, filter: Filter, mine: tuple[int, ...] | None, most: int
) -> list[Person]:
    """Return by name whom the filter's search and worksite find who had not left on its day.

    Parameters as in `person_ids`; most: no more people than so many.
    """
    there = or_(Person.left_on.is_(None), Person.left_on > filter.on)
    # Of two records that were merged since, only the one that goes on tells anything.
    merged = select(MergedPerson.person_id)
    query = select(Person).where(there, Person.id.not_in(merged)).limit(most)
    query = query.order_by(Person.search_key, Person.id)
    if mine is not None or filter.worksite is not None:
        query = query.where(Person.id.in_(_there(filter.worksite, mine)))
    if filter.search:
        wanted = people.plain(filter.search)
        query = query.where(Person.search_key.contains(wanted, autoescape=True))
    return list(db.exec(query))


FEW = 500
"""So many tags are put in order by themselves, and not looked for along a whole order."""


def _few(db: Session, asked: list[ColumnElement[bool]]) -> list[int] | None:
    """Return the ids of the tags asked for where they are few; None where they are many."""
    found = list(db.execute(columns_of(Standing.id).where(*asked).limit(FEW + 1)).scalars())
    return found if len(found) <= FEW else None


def _walk(
    db: Session,
    filter: Filter,
    asked: list[ColumnElement[bool]],
    today: date,
    medical: bool,
    first: int,
    most: int,
) -> list[tuple[Standing, Person, Respirator | None]]:
    """Return a page of an order, part by part, and no more of each than the page needs."""
    found: list[int] = []
    for condition, order in _parts(db, filter.sort, today, medical):
        part = _in_order(filter.sort, asked, condition, order)
        got = list(db.execute(part.limit(most - len(found)).offset(first)).scalars())
        if first:
            # A part that ends before the page begins is counted and not read.
            first = 0 if got else first - _how_many(db, part)
        found += got
        if len(found) >= most:
            break
    return _whole_rows(db, found)


def _asked(
    filter: Filter, today: date, soon_days: int, mine: tuple[int, ...] | None, medical: bool
) -> list[ColumnElement[bool]]:
    """Return the conditions of a filter on `standing`."""
    asked = [_on_board()]
    if not filter.left:
        asked.append(Standing.left_on.is_(None))
    if mine is not None or filter.worksite is not None:
        asked.append(Standing.person_id.in_(_there(filter.worksite, mine)))
    if filter.state:
        asked.append(_in_state(filter.state, today, soon_days, medical))
    if filter.missing:
        asked.append(lacks(filter.missing, today))
    if filter.due or filter.month:
        asked.append(_due(filter, today, medical))
    if filter.search:
        wanted = people.plain(filter.search)
        asked.append(Standing.search_key.contains(wanted, autoescape=True))
    return asked


def _on_board() -> ColumnElement[bool]:
    """Return who has a place on the board: whoever was given a respirator, and every worker."""
    worker = exists().where(PersonRole.person_id == Standing.person_id, PersonRole.role == "worker")
    return or_(Standing.respirator_id.is_not(None), worker)


def _there(worksite: int | None, mine: tuple[int, ...] | None) -> Select:
    """Return a select of who belongs to the worksite, of those that may be seen."""
    query = columns_of(Membership.person_id)
    if mine is not None:
        query = query.where(Membership.worksite_id.in_(mine))
    return query if worksite is None else query.where(Membership.worksite_id == worksite)


def _in_state(state: str, today: date, soon_days: int, medical: bool) -> ColumnElement[bool]:
    clear_until = Standing.clear_until
    ends = clear_until if medical else Standing.others_until
    match state:
        case "clear":
            return clear_until >= today
        case "soon":
            return and_(clear_until >= today, ends <= today + timedelta(days=soon_days))
        case "not":
            return or_(clear_until < today, and_(clear_until.is_(None), Standing.begun.is_(True)))
        case "new":
            return and_(clear_until.is_(None), Standing.begun.is_(False))
    raise ValueError(state)


def lacks(kind: str, today: date) -> ColumnElement[bool]:
    """Return the condition that a tag lacks a step today; kind: one of MISSING."""
    if kind == "respirator":
        return Standing.respirator_id.is_(None)
    never = Standing.missing.contains(kind, autoescape=True)
    if kind == "appendix-d":
        return never
    lapsed = DUE_KINDS[kind] < today
    if kind == "training":
        # What ends a tag on account of training may also be a lesson of the worksite.
        ended = and_(Standing.clear_until < today, Standing.next_due_kind == "training")
        return or_(never, lapsed, ended)
    return or_(never, lapsed)


def _due(filter: Filter, today: date, medical: bool) -> ColumnElement[bool]:
    """Return the condition that something falls due when the filter says."""
    first, end = _window(filter, today)
    kinds = [filter.kind] if filter.kind else list(DUE_KINDS)
    found = [
        and_(DUE_KINDS[kind] >= first, DUE_KINDS[kind] < end)
        for kind in kinds
        if medical or kind != "medical"
    ]
    return or_(*found) if found else false()


def _window(filter: Filter, today: date) -> tuple[date, date]:
    """Return the first day on which something falls due, and the first that is too late."""
    first, end = date.min, date.max
    if filter.month == "past":
        end = today
    elif filter.month:
        begins = date.fromisoformat(f"{filter.month}-01")
        # What fell due earlier in this month is past, and counts there.
        first, end = max(begins, today), next_month(begins)
    if filter.due:
        first, end = max(first, today), min(end, today + timedelta(days=filter.due + 1))
    return first, end


def next_month(first: date) -> date:
    """Return the first day of the month after the one that begins on `first`."""
    return (first + timedelta(days=32)).replace(day=1)


def _parts(
    db: Session, sort: str, today: date, medical: bool
) -> Iterator[tuple[ColumnElement[bool], Sequence[ColumnElement]]]:
    """Give the parts of an order, one after another: which tags, and by which columns.

    Without the right, nothing stands where it stands on account of a determination's date.
    """
    by_name = (Standing.search_key, Standing.person_id, Standing.respirator_id)
    until, begun = Standing.lead_until, Standing.lead_begun
    if medical:
        by_day = (until, begun, *by_name)
        lapsed_by_day = by_day
    else:
        by_day, lapsed_by_day = (Standing.lead_others_until, *by_name), by_name
    lapsed = (until < today, lapsed_by_day)
    lacking = (and_(until.is_(None), begun.is_(True)), by_name)
    new = (and_(until.is_(None), begun.is_(False)), by_name)
    clear = (until >= today, by_day)
    match sort:
        case "name":
            yield true(), by_name
        case "number":
            yield true(), (Person.number_key, Standing.id)
        case "worksite":
            for worksite in people.all_worksites(db):
                yield Standing.person_id.in_(_at_home(worksite)), by_name
            nowhere = exists().where(Membership.person_id == Standing.person_id)
            yield ~nowhere, by_name
        case "until":
            yield from (lapsed, clear, lacking, new)
        case _:
            yield from (lapsed, lacking, new, clear)


def _at_home(worksite: Worksite) -> Select:
    """Return a select of the people whose first worksite this is."""
    other = aliased(Membership)
    earlier = exists().where(
        other.person_id == Membership.person_id, other.worksite_id < worksite.id
    )
    return columns_of(Membership.person_id).where(Membership.worksite_id == worksite.id, ~earlier)


def _in_order(
    sort: str,
    asked: list[ColumnElement[bool]],
    condition: ColumnElement[bool],
    order: Sequence[ColumnElement],
) -> Select:
    """Return the ids of one part of an order."""
    query = columns_of(Standing.id).where(*asked, condition).order_by(*order)
    if sort == "number":
        return query.join(Person, Person.id == Standing.person_id)
    return query


def _how_many(db: Session, part: Select) -> int:
    return db.execute(
        columns_of(func.count()).select_from(part.order_by(None).subquery())
    ).scalar_one()


def _whole_rows(
    db: Session, ids: Sequence[int]
) -> list[tuple[Standing, Person, Respirator | None]]:
    """Return these tags, each with its person and respirator, in the same order."""
    query = (
        columns_of(Standing, Person, Respirator)
        .join(Person, Person.id == Standing.person_id)
        .join(Respirator, Respirator.id == Standing.respirator_id, isouter=True)
    )
    found = {
        row[0].id: tuple(row)
        for at in range(0, len(ids), 500)
        for row in db.execute(query.where(Standing.id.in_(ids[at : at + 500])))
    }
    return [found[one] for one in ids]


def _whole(text: str) -> int | None:
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None


def _one_of(text: str, known: Sequence[str]) -> str:
    return text if text in known else ""


def _month(text: str) -> str:
    good = text == "past" or re.fullmatch(r"(19|20|21)[0-9]{2}-(0[1-9]|1[0-2])", text)
    return text if good else ""


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
