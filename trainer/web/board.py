"""The tag board, on the screen and on paper: today, or on a day gone by."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from flask import Blueprint, g, render_template, request
from flask_babel import format_date, gettext, ngettext

from trainer.calculations.clearance import NO_END
from trainer.services import standing
from trainer.store import board as asking
from trainer.store.board import Filter
from trainer.store.tables import Person, Respirator, Standing
from trainer.web import access, surroundings, tagging
from trainer.web.access import may, now, reading

bp = Blueprint("board", __name__)

PAGE = 50
MOST_ON_PAPER = 5000
MOST_ON_A_PAST_DAY = 2000


@dataclass(frozen=True)
class View:
    """Who looks at the board, and at what.

    mine     only the worksites in `choices`, which are the reader's own
    medical  may the reader see when determinations end?
    """

    asked: Filter
    choices: list[tuple[int, str]]
    mine: bool
    today: date
    soon_days: int
    medical: bool

    @property
    def sites(self) -> tuple[int, ...] | None:
        """Return the worksites that may be seen; None: every one."""
        return tuple(key for key, _ in self.choices) if self.mine else None

    @property
    def seen(self) -> tuple:
        """Return what `store.board` is asked with."""
        return self.asked, self.today, self.soon_days, self.sites

    @property
    def base(self) -> str:
        """Return the address of the board that is looked at."""
        return "/people" if self.mine else "/board"

    def address(self, **changes: object) -> str:
        """Return the address of the board with the filter, some of it changed."""
        query = self.asked.query(**changes)
        return f"{self.base}?{query}" if query else self.base


@dataclass(frozen=True)
class Row:
    """One tag on the board.

    tags    how many tags of the person stand here together; nth: which of them this is
    lacks   sentences of what is missing, or falls due
    until   the last good day, where there is one that the reader may know
    """

    person: Person
    respirator: Respirator | None
    state: str
    lacks: tuple[str, ...]
    until: date | None
    nth: int = 1
    tags: int = 1


@bp.get("/board")
@may("coordinator")
def board():
    """Show the tag board of every worksite."""
    return _board(mine=False)


@bp.get("/people")
@may("trainer")
def mine():
    """Show the tag board of the trainer's own worksites."""
    return _board(mine=True)


@bp.get("/board/print")
@may("trainer", "coordinator")
def on_paper():
    """Show every tag of a filter on one page to print."""
    view = _view(mine="coordinator" not in g.roles or request.args.get("mine") == "yes")
    if view.asked.on:
        rows, too_many = _past_rows(view)
    else:
        with reading() as db:
            found = asking.rows(db, *view.seen, medical=view.medical, most=MOST_ON_PAPER + 1)
        rows, too_many = _rows(view, found[:MOST_ON_PAPER]), len(found) > MOST_ON_PAPER
    return render_template(
        "board/print.html",
        view=view,
        rows=rows,
        most=MOST_ON_PAPER if too_many else 0,
        asked_words=[words for words, _ in in_words(view)],
        at=now().astimezone(access.settings().zone),
    )


def _board(mine: bool) -> str:
    view = _view(mine)
    number = max(1, min(request.args.get("page", 1, type=int), 10**6))
    if view.asked.on:
        rows, too_many = _past_rows(replace(view, asked=replace(view.asked, state="")))
        tally = _counted(rows)
        rows = _together([row for row in rows if _wanted(view.asked, row)])
        total = len(rows)
        rows = rows[(number - 1) * PAGE : number * PAGE]
    else:
        too_many = False
        with reading() as db:
            found, tally, total = asking.page(
                db, *view.seen, medical=view.medical, first=(number - 1) * PAGE, most=PAGE
            )
        rows = _rows(view, found)
    return render_template(
        "board/board.html",
        view=view,
        asked=view.asked,
        rows=rows,
        too_many=too_many,
        most=MOST_ON_A_PAST_DAY,
        total=total,
        number=number,
        pages=max(1, -(-total // PAGE)),
        tally=tally,
        asked_words=in_words(view),
        kinds=_kinds(),
        sorts=_sorts(),
        states=_states(),
        due_days=asking.DUE,
    )


def _view(mine: bool) -> View:
    """Return what is looked at; a worksite that may not be seen counts as not asked."""
    here = access.settings()
    choices = surroundings.worksite_choices(mine)
    asked = Filter.read(request.args)
    if asked.worksite not in [key for key, _ in choices]:
        asked = replace(asked, worksite=None)
    today = now().astimezone(here.zone).date()
    if asked.on and asked.on >= today:
        asked = replace(asked, on=None)
    if asked.on:  # what fell due after a day gone by is not asked about it
        asked = replace(asked, due=None, month="", kind="")
    return View(asked, choices, mine, today, here.due_soon_days, access.sees_medical())


def _rows(view: View, found: Sequence[tuple[Standing, Person, Respirator | None]]) -> list[Row]:
    rows = [
        Row(
            person,
            respirator,
            _state(view, row),
            tuple(_lacks(view, row)),
            _until(view, row),
        )
        for row, person, respirator in found
    ]
    return _together(rows)


def _together(rows: list[Row]) -> list[Row]:
    """Return rows that say which of its person's tags each one is."""
    counts: dict[int, int] = {}
    for row in rows:
        counts[row.person.id] = counts.get(row.person.id, 0) + 1
    nth: dict[int, int] = {}
    numbered = []
    for row in rows:
        nth[row.person.id] = nth.get(row.person.id, 0) + 1
        numbered.append(replace(row, nth=nth[row.person.id], tags=counts[row.person.id]))
    return numbered


def _until(view: View, row: Standing) -> date | None:
    """Return the last day of a clear tag as far as the reader may know it."""
    if row.clear_until is None or row.clear_until < view.today:
        return None
    day = row.clear_until if view.medical else row.others_until
    return None if day in (None, NO_END) else day


def _state(view: View, row: Standing) -> str:
    """Return the state of a row: done, soon, no or todo."""
    until = row.clear_until
    if not view.medical and until is not None and until >= view.today:
        until = row.others_until or NO_END
    return tagging.state_of(until, row.begun, view.today, view.soon_days)


def _lacks(view: View, row: Standing) -> list[str]:
    """Return what a tag lacks in words; of a clear one, what falls due soon."""
    if row.respirator_id is None:
        return [gettext("A respirator")]
    days, missing = _days(view, row), row.missing.split()
    past = {kind: day for kind, day in days.items() if day < view.today}
    if not view.medical and _past_medical(view, row) and "medical" not in missing:
        missing.append("medical")
    said = [tagging.name(kind) for kind in missing if kind not in past]
    said += [
        gettext("%(step)s ended %(day)s", step=due_name(kind), day=_day(day))
        for kind, day in past.items()
    ]
    if said or row.clear_until is None:
        return said
    near = max(view.soon_days, view.asked.due or 0)
    return [
        gettext("%(step)s due %(day)s", step=due_name(kind), day=_day(day))
        for kind, day in sorted(days.items(), key=lambda pair: pair[1])
        if (day - view.today).days <= near
    ]


def _past_medical(view: View, row: Standing) -> bool:
    return row.medical_due is not None and row.medical_due < view.today


def _days(view: View, row: Standing) -> dict[str, date]:
    """Return the last good day of each kind of step that the reader may know."""
    found = {kind: getattr(row, column.key) for kind, column in asking.DUE_KINDS.items()}
    return {
        kind: day for kind, day in found.items() if day and (view.medical or kind != "medical")
    }


def _day(day: date) -> str:
    return format_date(day, "d MMM yyyy")


# A day gone by.


def _past_rows(view: View) -> tuple[list[Row], bool]:
    """Return the rows of a day gone by, and whether there are too many people to look them up."""
    with reading() as db:
        persons = asking.people_then(db, view.asked, view.sites, MOST_ON_A_PAST_DAY + 1)
        if len(persons) > MOST_ON_A_PAST_DAY:
            return [], True
        then = standing.tags_on(db, persons, view.asked.on)
    rows = [
        _past_row(view, person, tag)
        for person in persons
        for tag in then.get(person.id, ())
        if tag.respirator is not None
    ]
    return _together([row for row in rows if _wanted(view.asked, row)]), False


def _past_row(view: View, person: Person, tag: standing.Tag) -> Row:
    steps = tag.clearance.steps
    until = tag.clearance.until
    if until is not None and not view.medical:
        until = standing.until_but_medical(tag.clearance)
    begun = any(step.state != "todo" for step in steps)
    state = tagging.state_of(until, begun, view.asked.on, 0)
    lacks = tuple(tagging.name(kind) for kind in tag.clearance.missing)
    shown = None if until in (None, NO_END) else until
    return Row(person, tag.respirator, "done" if state == "soon" else state, lacks, shown)


def _wanted(asked: Filter, row: Row) -> bool:
    """Say whether a row of a past day is in the state, and lacks the step, that is asked for."""
    states = {"": None, "clear": "done", "soon": "done", "not": "no", "new": "todo"}
    state = states[asked.state]
    lacks = not asked.missing or tagging.name(asked.missing) in row.lacks
    return lacks and state in (None, row.state)


def _counted(rows: Sequence[Row]) -> dict[str, int]:
    words = {"done": "clear", "no": "not", "todo": "new"}
    tally = dict.fromkeys(asking.STATES, 0)
    for row in rows:
        tally[words[row.state]] += 1
    return tally


# The filter in words.


def in_words(view: View) -> list[tuple[str, str]]:
    """Return each part of the filter in words, with the address that takes it off."""
    asked, names = view.asked, dict(view.choices)
    parts: list[tuple[object, Callable[[], str], dict]] = [
        (asked.search, lambda: gettext("Name or number has “%(text)s”", text=asked.search),
         {"search": ""}),
        (asked.worksite, lambda: gettext("Worksite: %(name)s", name=names[asked.worksite]),
         {"worksite": None}),
        (asked.state, lambda: _states()[asked.state], {"state": ""}),
        (asked.missing, lambda: gettext("Missing: %(step)s", step=_kinds()[asked.missing]),
         {"missing": ""}),
        (asked.due or asked.month or asked.kind, lambda: _due_words(asked),
         {"due": None, "month": "", "kind": ""}),
        (asked.left, lambda: gettext("Also people who left"), {"left": False}),
        (asked.on, lambda: gettext("As it was on %(day)s", day=_day(asked.on)), {"on": None}),
        (asked.sort, lambda: gettext("Order: %(order)s", order=_sorts()[asked.sort]),
         {"sort": ""}),
    ]  # fmt: skip
    return [(words(), view.address(**off)) for there, words, off in parts if there]


def _due_words(asked: Filter) -> str:
    what = due_name(asked.kind) if asked.kind else gettext("Something")
    if asked.month == "past":
        return gettext("%(what)s is past its date", what=what)
    if asked.month:
        month = format_date(date.fromisoformat(f"{asked.month}-01"), "MMMM yyyy")
        return gettext("%(what)s falls due in %(month)s", what=what, month=month)
    if asked.due:
        return ngettext(
            "%(what)s falls due within %(num)s day", "%(what)s falls due within %(num)s days",
            asked.due, what=what,
        )  # fmt: skip
    return gettext("%(what)s falls due", what=what)


def due_name(kind: str) -> str:
    """Return what falls due in words; kind: one of DUE_KINDS."""
    return gettext("Lessons of the worksite") if kind == "lessons" else tagging.name(kind)


def _kinds() -> dict[str, str]:
    """Return what a tag may lack, in words."""
    return {
        kind: gettext("A respirator") if kind == "respirator" else tagging.name(kind)
        for kind in asking.MISSING
    }


def _states() -> dict[str, str]:
    return {
        "clear": gettext("Clear"),
        "soon": gettext("Due soon"),
        "not": gettext("Not clear"),
        "new": gettext("New"),
    }


def _sorts() -> dict[str, str]:
    return {
        "": gettext("Most urgent first"),
        "name": gettext("Name"),
        "number": gettext("Number"),
        "worksite": gettext("Worksite"),
        "until": gettext("Until"),
    }
