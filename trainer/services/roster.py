"""What the lines of a roster come to: new, changed, the same, doubtful, bad. Nothing is done here.

People are matched by worker number alone. Where a name says otherwise, a person decides.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from trainer.reference import respirator_classes
from trainer.services import joining, reading_cells
from trainer.services.likenesses import Neighbours, name_key
from trainer.services.matching_columns import values
from trainer.services.reading_tables import Line, name_of
from trainer.services.refusal import Refusal
from trainer.store import imports, people
from trainer.store.imports import Known
from trainer.words import tidy

MADE = ("make", "model", "style", "size")
PARTS = ("class", "use", *MADE, "filters")
MOST_LIKE = 5
"""So many people are shown beside a doubtful line."""
EXAMPLES = ("example-1", "ejemplo-1")
"""The invented worker numbers of the line that stands in our template."""

TWICE = Refusal("This worker number stands in line %(line)s too, with something else.")
AGAIN = Refusal("The same line stands in the file already, as line %(line)s.")
BOTH_THEIRS = Refusal(
    "Line %(line)s is about the same person: both numbers are theirs, since two records were "
    "joined. Leave one of the lines out."
)


@dataclass(frozen=True)
class Choices:
    """What a person chose beside the columns.

    worksite    for whoever has none in the file; 0 for none
    days        how days are written: iso, mdy or dmy
    """

    worksite: int = 0
    days: str = "iso"


@dataclass(slots=True)
class Wanted:
    """What one line of a roster wants; what the file does not say is None."""

    line: int
    cells: tuple[str, ...]
    number: str = ""
    key: str = ""
    name: str = ""
    worksites: list[int] | None = None
    roles: list[str] | None = None
    language: str | None = None
    qualification: str | None = None
    worn: tuple[str, ...] | None = None
    left_on: date | None = None
    faults: list[Refusal] = field(default_factory=list)


@dataclass(frozen=True)
class Tried:
    """What one line comes to; `said` is plain JSON, as `ImportLine` keeps it.

    said    cases   by decision ("" where none is asked) before, after and changes
            doubts  the people that it may be about
            faults  what is wrong: sentences with their values
            cells   of a bad line, as they stand in the file
    """

    line: int
    state: str
    number: str
    name: str
    said: dict
    doubt: str = ""
    person_id: int | None = None


def wanted(
    line: Line,
    matched: Mapping[str, int],
    choices: Choices,
    places: Mapping[str, int],
    today: date,
) -> Wanted:
    """Return what a line wants, with everything that is wrong with it.

    places  ids of the worksites by plain name
    """
    cells = values(line, matched)
    found = Wanted(line.number, line.cells, number=tidy(cells.get("number", "")))
    found.key = people.key(found.number)
    found.name = tidy(cells.get("name", "")) or tidy(
        f"{cells.get('first_name', '')} {cells.get('last_name', '')}"
    )
    _check_number_and_name(found)

    def read(slug: str, how: Callable[[str], object]) -> object:
        if not cells.get(slug):
            return None
        try:
            return how(cells[slug])
        except Refusal as refusal:
            found.faults.append(refusal)
            return None

    found.worksites = read("worksites", lambda text: reading_cells.worksites(text, places))
    if found.worksites is None and choices.worksite and not cells.get("worksites"):
        found.worksites = [choices.worksite]
    found.roles = read("roles", reading_cells.roles) or None
    found.language = read("language", reading_cells.language)
    found.qualification = tidy(cells.get("qualification", ""))[:120] or None
    found.worn = _worn(cells, read)
    found.left_on = read("left_on", lambda text: _past(text, choices.days, today))
    return found


def _check_number_and_name(found: Wanted) -> None:
    if found.key in EXAMPLES:
        found.faults.append(Refusal("This is the example of the template. Leave it out."))
    elif not found.number:
        found.faults.append(Refusal("The worker number is missing."))
    elif not joining.NUMBER.fullmatch(found.number):
        found.faults.append(Refusal(
            "A worker number has 1 to 20 letters or digits; dots and dashes may stand between."
        ))  # fmt: skip
    if not found.name:
        found.faults.append(Refusal("The name is missing."))
    elif len(found.name) > 80:
        found.faults.append(Refusal("Give the person's name, at most 80 letters."))


def _worn(cells: Mapping[str, str], read: Callable) -> tuple[str, ...] | None:
    """Return the respirator that a line gives: its PARTS."""
    if not cells.get("class"):
        if any(cells.get(part) for part in MADE):
            read("make", _refuse_without_class) or read("model", _refuse_without_class) or (
                read("style", _refuse_without_class) or read("size", _refuse_without_class)
            )
        return None
    slug = read("class", reading_cells.respirator_class)
    use = read("use", reading_cells.use) or ("required" if not cells.get("use") else None)
    if slug is None or use is None:
        return None
    named = tuple(tidy(cells.get(part, ""))[:60] for part in (*MADE, "filters"))
    row = respirator_classes.get(slug)
    if row.tight and use == "required" and not all(named[:4]):
        read("class", _refuse_without_make)
        return None
    return (slug, use, *named)


def _refuse_without_class(_: str) -> None:
    raise Refusal("A respirator needs its class beside its make, model, style or size.")


def _refuse_without_make(_: str) -> None:
    # (f)(2): joining asks the same of whoever gives one by hand.
    raise Refusal(
        "A tight-fitting respirator needs make, model, style and size: "
        "a fit test holds for exactly these."
    )


def _past(text: str, order: str, today: date) -> date:
    found = reading_cells.day(text, order)
    if found > today:
        raise Refusal("The day lies in the future. Give the day on which it was done.")
    return found


class Trial:
    """The lines of one roster against everybody who is known."""

    def __init__(
        self,
        known: Sequence[Known],
        names: Mapping[int, str],
        taken_as: Mapping[str, int],
        by: int,
    ) -> None:
        """Take everybody, the names of worksites, earlier decisions, and who brings the file."""
        self._names = names
        self._by = by
        self._known = known
        self._of_key = imports.by_key(known)
        self._of_id = {one.id: one for one in known}
        # A number that a person said stands for somebody: said once, it is not asked again.
        self._taken_as = {
            key: self._of_id[who] for key, who in taken_as.items()
            if who in self._of_id and key not in self._of_key
        }  # fmt: skip

    def lines(self, given: Sequence[Wanted]) -> Iterator[Tried]:
        """Give what each line comes to, then those whom the file does not hold."""
        _blame_twins(given)
        self._blame_numbers_of_one(given)
        self._held = {self._of_key[one.key].id for one in given if one.key in self._of_key}
        self._keys = {one.key for one in given}
        good = [one for one in given if not one.faults]
        self._look_at_names(good)
        for one in given:
            yield self._bad(one) if one.faults else self._tried(one)
        yield from self._left(good)

    def _look_at_names(self, good: Sequence[Wanted]) -> None:
        """Note whose names are like which: of new people only, and only where it tells anything."""
        new = [one for one in good if self._person(one) is None]
        by_name: dict[str, list[Known]] = defaultdict(list)
        absent = [one for one in self._known if one.id not in self._held]
        for one in self._known:
            by_name[name_key(one.name)].append(one)
        self._by_name = by_name
        here = [(name_key(one.name), one.id, [place for place, _ in one.worksites])
                for one in self._known if not one.left_on or one.id not in self._held]
        come = [(name_key(one.name), -one.line, one.worksites or []) for one in new]
        self._come = {one.line: one for one in new}
        # People by their ids, lines of the file by their numbers below zero.
        self._near = Neighbours(
            (place, key, who) for key, who, places in (*here, *come) for place in places
        )
        self._zeros = defaultdict(list)
        for one in absent:
            self._zeros[_without_zeros(one.key)].append(one)
        self._namesakes: dict[tuple[int, str], list[Wanted]] = defaultdict(list)
        for one in new:
            for place in one.worksites or ():
                self._namesakes[place, name_key(one.name)].append(one)

    def _blame_numbers_of_one(self, given: Sequence[Wanted]) -> None:
        """Blame lines with different numbers of one person: only one of them can hold."""
        first: dict[int, Wanted] = {}
        for one in given:
            person = self._of_key.get(one.key)
            if person is None or not person.also:
                continue
            other = first.setdefault(person.id, one)
            if other.key != one.key:
                one.faults.append(Refusal(BOTH_THEIRS.text, line=other.line))
                other.faults.append(Refusal(BOTH_THEIRS.text, line=one.line))

    def _person(self, one: Wanted) -> Known | None:
        return self._of_key.get(one.key) or self._taken_as.get(one.key)

    def _tried(self, one: Wanted) -> Tried:
        person = self._person(one)
        if person is None:
            return self._new(one)
        try:
            case = self._case(one, person)
        except Refusal as refusal:
            one.faults.append(refusal)
            return self._bad(one)
        if name_key(one.name) != name_key(person.name):
            return self._doubtful(one, "other-name", {f"same:{person.id}": case}, [person])
        state = _state(case)
        said = {} if state == "same" else {"cases": {"": case}}
        return Tried(one.line, state, one.number, one.name, said, person_id=person.id)

    def _new(self, one: Wanted) -> Tried:
        try:
            case = self._case(one, None)
        except Refusal as refusal:
            one.faults.append(refusal)
            return self._bad(one)
        doubt, like, twins = self._like(one)
        if not doubt:
            return Tried(one.line, "new", one.number, one.name, {"cases": {"": case}})
        cases = {"other": case}
        for person in like:
            try:
                cases[f"same:{person.id}"] = self._case(replace(one, name=person.name), person)
            except Refusal:
                continue  # then the line can only be another person, or left out
        return self._doubtful(one, doubt, cases, like, twins)

    def _like(self, one: Wanted) -> tuple[str, list[Known], list[Wanted]]:
        """Return the first doubt about a new number: who it may be, and which lines before it."""
        key, there = name_key(one.name), sorted(set(one.worksites or ()))
        # One name at two places is no wonder; of somebody whom the file does not hold it is.
        same = [
            known for known in self._by_name.get(key, ())
            if known.id not in self._held or {place for place, _ in known.worksites} & set(there)
        ]  # fmt: skip
        if same:
            return "same-name", same[:MOST_LIKE], []
        zeros = self._zeros.get(_without_zeros(one.key), [])
        if zeros:
            return "zeros", zeros[:MOST_LIKE], []
        twins = {
            other.line: other for place in there for other in self._namesakes[place, key]
            if other.line < one.line
        }  # fmt: skip
        if twins:
            return "twice-named", [], list(twins.values())[:MOST_LIKE]
        near = list(self._near.of(there, key))
        like = [self._of_id[who] for who in near if who > 0]
        lines = [self._come[-who] for who in near if who < 0 and -who < one.line]
        if like or lines:
            return "near-name", like[:MOST_LIKE], lines[:MOST_LIKE]
        return "", [], []

    def _case(self, one: Wanted, person: Known | None) -> dict:
        """Return before, after and changes. Errors: Refusal where joining would refuse it."""
        before = freeze(person) if person else None
        after = dict(before) if before else {
            "name": one.name, "language": "en", "qualification": "", "left_on": "",
            "roles": ["worker"], "worksites": [], "worn": [],
        }  # fmt: skip
        if person is None or _words(one.name) != _words(person.name):
            after["name"] = one.name
        if one.language:
            after["language"] = one.language
        if one.qualification:
            after["qualification"] = one.qualification
        if one.roles:
            after["roles"] = one.roles
        if one.worksites:
            joined = dict(person.worksites) if person else {}
            after["worksites"] = [
                [place, _moment(joined.get(place)) if place in joined else "new"]
                for place in sorted(one.worksites)
            ]
        after["worn"] = _worn_after(after["worn"], one.worn)
        # Whoever stands in the roster is there, unless it says since when they are not.
        after["left_on"] = one.left_on.isoformat() if one.left_on else ""
        if person and person.left_on and not one.left_on:
            after["worksites"] = [[place, "new"] for place, _ in after["worksites"]]
        self._refuse(person, after)
        return {"before": before, "after": after, "changes": changes(before, after, self._names)}

    def _refuse(self, person: Known | None, after: dict) -> None:
        if not after["worksites"] and set(after["roles"]) != {"coordinator"}:
            raise Refusal("The worksite is missing.")
        if person is None or person.id != self._by:
            return
        if "coordinator" not in after["roles"]:
            raise Refusal(
                "You cannot take the coordinator's role from yourself. Ask another coordinator."
            )
        if after["left_on"]:
            raise Refusal("You cannot mark yourself as left. Ask another coordinator.")

    def _doubtful(
        self,
        one: Wanted,
        doubt: str,
        cases: dict,
        like: Sequence[Known],
        twins: Sequence[Wanted] = (),
    ) -> Tried:
        doubts: list[dict] = [
            {"id": known.id, "number": known.number, "name": known.name,
             "worksites": [self._names.get(place, "") for place, _ in known.worksites],
             "left": known.left_on.isoformat() if known.left_on else ""}
            for known in like
        ]  # fmt: skip
        doubts += [{"line": twin.line, "number": twin.number, "name": twin.name} for twin in twins]
        said = {"cases": cases, "doubts": doubts}
        return Tried(one.line, "doubtful", one.number, one.name, said, doubt)

    def _bad(self, one: Wanted) -> Tried:
        said = {
            "faults": [fault.keep() for fault in one.faults],
            "cells": list(one.cells),
        }
        return Tried(one.line, "bad", one.number[:40], one.name[:80], said)

    def _left(self, good: Sequence[Wanted]) -> Iterator[Tried]:
        """Give the people of the roster's worksites whom the file does not hold."""
        places = {place for one in good for place in one.worksites or ()}
        taken = {self._taken_as[key].id for key in self._keys if key in self._taken_as}
        for known in self._known:
            if known.left_on or known.id in self._held or known.id in (self._by, *taken):
                continue
            if not places & {place for place, _ in known.worksites}:
                continue
            before = freeze(known)
            case = {"before": before, "after": before | {"left_on": "today"}, "changes": []}
            yield Tried(0, "left", known.number, known.name, {"cases": {"": case}},
                        person_id=known.id)  # fmt: skip


def freeze(known: Known) -> dict:
    """Return a person's state as plain JSON values."""
    return {
        "name": known.name,
        "language": known.language,
        "qualification": known.qualification,
        "left_on": known.left_on.isoformat() if known.left_on else "",
        "roles": list(known.roles),
        "worksites": [[place, _moment(joined)] for place, joined in known.worksites],
        "worn": [[one.id, *one.what] for one in known.worn],
    }


def like(state: dict) -> dict:
    """Return a state without what only the database knows: row numbers and days of coming."""
    return state | {
        "worksites": [place for place, _ in state["worksites"]],
        "worn": sorted(one[1:] for one in state["worn"]),
    }


def changes(before: dict | None, after: dict, names: Mapping[int, str]) -> list[list[str]]:
    """Return what changes: field, from what, to what, as text; of a new person what is given."""
    old = before or {"name": after["name"], "language": "", "qualification": "", "left_on": "",
                     "roles": [], "worksites": [], "worn": []}  # fmt: skip
    told = []
    for slug in ("name", "language", "qualification", "left_on"):
        if old[slug] != after[slug]:
            told.append([slug, old[slug], after[slug]])
    if old["roles"] != after["roles"]:
        told.append(["roles", " ".join(old["roles"]), " ".join(after["roles"])])
    places = [
        "; ".join(names.get(place, "") for place, _ in state["worksites"])
        for state in (old, after)
    ]
    if places[0] != places[1]:
        told.append(["worksites", *places])
    worn = [["|".join(one[1:]) for one in state["worn"]] for state in (old, after)]
    if worn[0] != worn[1]:
        gone = [one for one in worn[0] if one not in worn[1]]
        come = [one for one in worn[1] if one not in worn[0]]
        told.append(["worn", "\n".join(gone), "\n".join(come)])
    return told


def _state(case: dict) -> str:
    before, after = case["before"], case["after"]
    if not case["changes"]:
        return "same"
    return "back" if before["left_on"] and not after["left_on"] else "changed"


def _worn_after(worn: list[list], given: tuple[str, ...] | None) -> list[list]:
    """Return the respirators after a line: one of the same class and use gives way to another."""
    if given is None:
        return worn
    if any(_plain(one[1:]) == _plain(given) for one in worn):
        return worn
    kept = [one for one in worn if tuple(one[1:3]) != given[:2]]
    return [*kept, [0, *given]]


def _plain(parts: Iterable[str]) -> tuple[str, ...]:
    return tuple(people.key(part) for part in parts)


def _words(name: str) -> list[str]:
    """Return the words of a name, however they are ordered; accents count."""
    spread = "".join(s if s.isalnum() or s in "'-" else " " for s in people.key(name))
    return sorted(spread.split())


def _without_zeros(key: str) -> str:
    return key.lstrip("0") if key.isdigit() else key


def _moment(joined: datetime | None) -> str:
    return joined.isoformat() if joined else ""


def _blame_twins(given: Sequence[Wanted]) -> None:
    """Blame lines with one number: the second of two that are alike, both where they are not."""
    by_key: dict[str, list[Wanted]] = defaultdict(list)
    for one in given:
        if one.key:
            by_key[one.key].append(one)
    for group in by_key.values():
        if len(group) < 2:
            continue
        first = group[0]
        alike = all(one.cells == first.cells for one in group)
        for one in group[1:]:
            text = AGAIN.text if alike else TWICE.text
            one.faults.append(Refusal(text, line=first.line))
        if not alike:
            first.faults.append(Refusal(TWICE.text, line=group[1].line))


def widths(given: Iterable[Wanted]) -> list[int]:
    """Return how many digits the numbers of a file have, where all are digits and it varies.

    A spreadsheet takes a number for an amount and drops its leading zeros.
    """
    numbers = [one.number for one in given if one.number]
    if not numbers or not all(number.isdigit() for number in numbers):
        return []
    found = Counter(len(number) for number in numbers)
    return sorted(found) if len(found) > 1 else []


def by_plain_name(names: Mapping[int, str]) -> dict[str, int]:
    """Return the ids of worksites by plain name."""
    return {name_of(name): place for place, name in names.items()}
