"""What stands around every page: the ways to go, whom to ask, the idle time."""

from dataclasses import dataclass
from typing import NamedTuple

from flask import Flask, g, request
from flask_babel import gettext
from markupsafe import Markup, escape

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


FEW_WAYS = 5
"""So many links stand in the bar, all of them; of more, the seldom ones stand behind "More"."""


def init_app(app: Flask) -> None:
    """Hand every template what the layout shows."""
    app.context_processor(_around)
    app.add_template_filter(wears, "wears")
    app.add_template_filter(worn_there, "worn_there")
    app.add_template_filter(as_typed, "as_typed")
    app.add_template_filter(lambda value: number(value, figures=3), "figures")
    app.add_template_filter(emphasised, "emphasised")
    app.add_template_filter(lambda given: [(one.value, one.label) for one in given], "pairs")


def emphasised(text: str) -> Markup:
    """Return a plain text as HTML, its **bold** parts bold."""
    parts = str(escape(text)).split("**")
    return Markup("".join(f"<b>{part}</b>" if at % 2 else part for at, part in enumerate(parts)))  # noqa: S704


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


def ask_at(worksite: Worksite | None) -> Ask | None:
    """Return whom to ask at a worksite."""
    if worksite is None or not worksite.ask_name:
        return None
    return Ask(worksite.ask_name, worksite.ask_place, worksite.ask_telephone, worksite.ask_hours)


def _around() -> dict[str, object]:
    here = access.settings()
    person = g.get("person")
    ask, trainers_now = _ask()
    nav, more = _ways() if person else (None, [])
    around = {
        "language": language.current(),
        "organisation": here.organisation,
        "shared_device": g.get("device") is not None and access.on_shared_device(),
        "signed_in": person.name if person else "",
        "person": person,
        "roles": g.get("roles", frozenset()),
        "nav": nav,
        "nav_more": more,
        "ask": ask,
        "trainers_now": trainers_now,
    }
    if person:
        around["idle_seconds"] = access.idle_seconds()
        around["warning_seconds"] = min(here.warning_seconds, access.idle_seconds() // 2)
    return around


def _ways() -> tuple[list[Way], list[Way]]:
    """Return the ways that stand in the bar, and those behind "More"."""
    ways = [
        ("trainer", "/today", gettext("Today"), False),
        ("trainer", "/people", gettext("My people"), False),
        ("coordinator", "/board", gettext("Tag board"), False),
        ("trainer coordinator", "/questions", gettext("Questions"), False),
        ("trainer coordinator", "/hard-spots", gettext("Hard spots"), False),
        ("coordinator", "/export", gettext("Take out"), False),
        ("worker", "/tag", gettext("My tag"), False),
        ("worker", "/my-record", gettext("My record"), True),
        ("trainer", "/crew", gettext("Crew"), True),
        ("trainer", "/assign", gettext("Assign"), True),
        ("trainer coordinator", "/sites", gettext("Air, respirators and lessons"), True),
        ("coordinator", "/worksites", gettext("Worksites"), True),
        ("trainer coordinator", "/codes", gettext("Codes"), True),
        ("trainer coordinator", "/grid", gettext("Workers and lessons"), True),
        ("", "/worksheet", gettext("Worksheet"), True),
        ("", "/exercises", gettext("Exercises"), True),
    ]
    found = [
        (Way(href, label, request.path.split("/")[1] == href[1:]), seldom)
        for who, href, label, seldom in ways
        if not who or g.roles & set(who.split())
    ]
    # Who only learns has few ways, and all of them in sight.
    few = len(found) <= FEW_WAYS
    return (
        [way for way, seldom in found if few or not seldom],
        [way for way, seldom in found if seldom and not few],
    )


def _ask() -> tuple[Ask | None, list[str]]:
    """Return whom to ask, and the trainers who are signed in now, by name."""
    person, device = g.get("person"), g.get("device")
    if person is None and (device is None or device.worksite_id is None):
        return None, []
    with access.reading() as db:
        if person is None:
            places = [db.get(Worksite, device.worksite_id)]
        else:
            places = people.worksites(db, person.id)  # the first is that of the person's days
        there = asking.signed_in_now(db, [one.id for one in places], access.now(), person)
        return ask_at(next(iter(places), None)), [one.name for one in there]


def worksite_choices(mine: bool) -> list[tuple[int, str]]:
    """Return worksites to choose from: the person's own, or every one."""
    with access.reading() as db:
        rows = people.worksites(db, g.person.id) if mine else people.all_worksites(db)
    return [(row.id, row.name) for row in rows]
