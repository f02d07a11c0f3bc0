"""What stands around every page: the ways to go, whom to ask, the idle time."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import NamedTuple

from flask import Flask, g, request
from flask_babel import gettext
from flask_wtf.csrf import generate_csrf
from markupsafe import Markup, escape
from sqlalchemy import Row
from werkzeug.local import LocalProxy

from trainer.reference import respirator_classes
from trainer.services import asking
from trainer.store import people
from trainer.store.tables import Respirator, TaskRespirator, Worksite
from trainer.web import access, language
from trainer.words import as_typed, number


@dataclass(frozen=True)
class Ask:
    """Whom a person can ask now."""

    name: str
    place: str
    telephone: str
    hours: str


class Way(NamedTuple):
    """A link of the bar."""

    href: str
    label: str
    current: bool


class Group(NamedTuple):
    """Some ways behind "More", and what they have in common."""

    slug: str
    heading: str
    ways: list[Way]

    @property
    def current(self) -> bool:
        """Say whether the page is one of these."""
        return any(way.current for way in self.ways)


FEW_WAYS = 5
"""So many ways stand in the bar, all of them; of more, the seldom ones stand behind "More"."""

IN_THE_BAR = 6
"""Somebody with several roles has no more than so many in the bar."""


def init_app(app: Flask) -> None:
    """Hand every template what the layout shows."""
    app.context_processor(_around)
    app.jinja_env.globals["csrf_token"] = _token
    app.add_template_filter(wears, "wears")
    app.add_template_filter(worn_there, "worn_there")
    app.add_template_filter(as_typed, "as_typed")
    app.add_template_filter(lambda value: number(value, figures=3), "figures")
    app.add_template_filter(emphasised, "emphasised")
    app.add_template_filter(day, "day")
    app.add_template_filter(lambda given: [(one.value, one.label) for one in given], "pairs")


def day(moment: datetime) -> date:
    """Return the day that a moment was of by the clock of the works; entries say the same day."""
    return moment.astimezone(access.settings().zone).date()


def emphasised(text: str) -> Markup:
    """Return a plain text as HTML, its **bold** parts bold."""
    parts = str(escape(text)).split("**")
    bold = (f"<b>{part}</b>" if at % 2 else part for at, part in enumerate(parts))
    # Escaped above, before a part was made bold.
    return Markup("".join(bold))  # noqa: S704  # nosec B704


def wears(respirator: Respirator) -> str:
    """Return a respirator in a line: its class, make and model, size, filters."""
    row = respirator_classes.get(respirator.class_slug)
    named = f"{respirator.make} {respirator.model} {respirator.style}".strip()
    size = gettext("size %(size)s", size=respirator.size) if respirator.size else ""
    parts = [row.name(language.current()), named, size, respirator.filters]
    line = ", ".join(part for part in parts if part)
    return line[:1].upper() + line[1:]


def worn_there(respirator: TaskRespirator) -> str:
    """Return a respirator of a task in a line: its class, make and model."""
    name = respirator_classes.get(respirator.class_slug).name(language.current())
    named = f"{respirator.make} {respirator.model}".strip()
    line = ", ".join(filter(None, (name, named)))
    return line[:1].upper() + line[1:]


def ask_at(worksite: Worksite | Row | None) -> Ask | None:
    """Return whom to ask at a worksite."""
    if worksite is None or not worksite.ask_name:
        return None
    return Ask(worksite.ask_name, worksite.ask_place, worksite.ask_telephone, worksite.ask_hours)


def _token() -> str:
    """Return what every form of a page sends along; made once, however many forms there are."""
    return g.get("csrf_token") or generate_csrf()


def _around() -> dict[str, object]:
    here = access.settings()
    person = g.get("person")
    whom = cache(_ask)  # asked at most once, by a template that shows it: parts of pages do not
    nav, more = _ways(language.current(), g.roles, _place()) if person else (None, [])
    around = {
        # The same again where a form comes back with its faults: it has done nothing yet.
        "form_key": lambda: request.form.get("once") or secrets.token_hex(16),
        "language": language.current(),
        "offered": here.offered,
        "organisation": here.organisation,
        "shared_device": g.get("device") is not None and access.on_shared_device(),
        "signed_in": person.name if person else "",
        "person": person,
        "roles": g.get("roles", frozenset()),
        "sees_medical": person is not None and access.sees_medical(),
        "nav": nav,
        "nav_more": more,
        "ask": LocalProxy(lambda: whom()[0]),
        "trainers_now": LocalProxy(lambda: whom()[1]),
    }
    if person:
        around["idle_seconds"] = access.idle_seconds()
        around["warning_seconds"] = min(here.warning_seconds, access.idle_seconds() // 2)
    return around


@cache
def _ways(
    speaks: str, roles: frozenset[str], place: str
) -> tuple[Sequence[Way], Sequence[Group]]:
    """Return the ways that stand in the bar, and those behind "More" in their groups.

    place   the way that the page belongs to, or ""
    """
    found = [
        (often, group, Way(href, label, href == place))
        for who, often, group, href, label in _all_ways(speaks)
        if not who or roles & set(who.split())
    ]
    # Who only learns has few ways, and all of them in sight.
    if len(found) <= FEW_WAYS:
        return [way for _, _, way in found], []
    at_hand = [way for often, _, way in found if roles & set(often.split())][:IN_THE_BAR]
    groups = [
        Group(slug, heading, [way for _, of, way in found if of == slug and way not in at_hand])
        for slug, heading in _groups(speaks)
    ]
    return at_hand, [group for group in groups if group.ways]


def _place() -> str:
    """Return the way that the page belongs to; a coordinator comes to a person from the board."""
    first = "/" + request.path.split("/")[1]
    if first == "/people" and "trainer" not in g.roles:
        first = "/board"
    return first if first in _hrefs() else ""


@cache
def _hrefs() -> frozenset[str]:
    return frozenset(href for *_, href, _ in _all_ways("en"))


@cache
def _groups(_language: str) -> list[tuple[str, str]]:
    return [
        ("own", gettext("My own")),
        ("training", gettext("Training")),
        ("people", gettext("People and places")),
        ("record", gettext("The record")),
        ("settings", gettext("Settings and changes")),
        ("numbers", gettext("Numbers")),
    ]


@cache
def _all_ways(_language: str) -> list[tuple[str, str, str, str, str]]:
    """Return every way: who may go it, who has it in the bar, its group, its address and name.

    Those of the bar stand in it in this order. They are named in the reader's language.
    """
    trainer, coordinator, both = "trainer", "coordinator", "trainer coordinator"
    return [
        (trainer, trainer, "training", "/today", gettext("Today")),
        (coordinator, coordinator, "people", "/board", gettext("Tag board")),
        (both, coordinator, "record", "/ahead", gettext("Year ahead")),
        (coordinator, coordinator, "record", "/import", gettext("Bring in")),
        (coordinator, coordinator, "record", "/export", gettext("Take out")),
        (coordinator, coordinator, "record", "/packet", gettext("Inspection packet")),
        (trainer, trainer, "people", "/people", gettext("My people")),
        (both, trainer, "training", "/questions", gettext("Questions")),
        (both, trainer, "training", "/hard-spots", gettext("Hard spots")),
        ("worker", "worker", "own", "/tag", gettext("My tag")),
        ("worker", "", "own", "/my-record", gettext("My record")),
        (trainer, "", "training", "/crew", gettext("Crew")),
        (trainer, "", "training", "/assign", gettext("Assign")),
        (both, "", "training", "/grid", gettext("Workers and lessons")),
        (both, "", "training", "/coverage", gettext("Coverage")),
        (both, "", "people", "/codes", gettext("One-time codes")),
        (coordinator, "", "people", "/cards", gettext("Wallet cards")),
        (coordinator, "", "people", "/left", gettext("Who has left")),
        (coordinator, "", "people", "/worksites", gettext("Worksites")),
        (both, "", "people", "/sites", gettext("Air, respirators and lessons")),
        (both, "", "record", "/feeds", gettext("Due dates in a calendar")),
        (both, "", "record", "/errands", gettext("Files I asked for")),
        (coordinator, "", "record", "/retention", gettext("How long to keep")),
        (coordinator, "", "record", "/witness", gettext("Proof of the record")),
        (coordinator, "", "settings", "/settings", gettext("Settings")),
        (coordinator, "", "settings", "/tablets", gettext("Shared tablets")),
        (coordinator, "", "settings", "/log", gettext("What changed")),
        ("", "", "numbers", "/worksheet", gettext("Worksheet")),
        ("", "", "numbers", "/exercises", gettext("Exercises")),
    ]


def _ask() -> tuple[Ask | None, list[str]]:
    """Return whom to ask, and the trainers who are signed in now, by name."""
    person, device = g.get("person"), g.get("device")
    if g.get("without_record"):
        return None, []
    if person is None and (device is None or device.worksite_id is None):
        return None, []
    with access.reading() as db:
        if person is None:
            places = [db.get(Worksite, device.worksite_id)]
        else:
            places = people.places(db, person.id)  # the first is that of the person's days
        there = asking.signed_in_now(db, [one.id for one in places], access.now(), person)
        return ask_at(next(iter(places), None)), [one.name for one in there]


def worksite_choices(mine: bool) -> list[tuple[int, str]]:
    """Return worksites to choose from: the person's own, or every one."""
    with access.reading() as db:
        rows = people.worksites(db, g.person.id) if mine else people.all_worksites(db)
    return [(row.id, row.name) for row in rows]
