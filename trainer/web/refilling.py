"""Fill a form of a finished page with what was typed into it before.

One mechanism for every form: it reads the HTML that a page has become and changes the controls of
one form in it, and nothing else, so that no page has to know of it. It works without script.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser
from urllib.parse import urlsplit

from trainer.services.unsent import Field

NEVER = ("password", "file", "submit", "button", "image", "reset")
"""Kinds of input that are never filled: secrets, files, and what is no answer."""

FRESH = ("csrf_token", "here", "turn", "page", "go")
"""Hidden fields that are those of the new page."""

AS_SENT = ("since", "seen", "once", "deed", "key")
"""Hidden fields that come back with the answer: what it was an answer to, and its one deed, so
that a form that did arrive is not done twice. Every other one says which form it is."""


@dataclass
class _Control:
    kind: str  # of an input its type, else the name of the tag
    attributes: dict[str, str | None]
    start: int
    end: int
    inside: int = 0  # of a textarea: where its text ends
    options: list["_Control"] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.attributes.get("name") or ""

    @property
    def value(self) -> str:
        return self.attributes.get("value") or ""


@dataclass
class _Form:
    action: str
    start: int
    end: int
    attributes: dict[str, str | None]
    controls: list[_Control] = field(default_factory=list)
    folded: list[_Control] = field(default_factory=list)  # the details that it stands in


def refill(
    html: str, page: str, action: str, fields: Sequence[Field], notice: str
) -> str | None:
    """Return a page with one form filled and a notice before it.

    None where no form fits; the page as it was where one fits and nothing was typed into it.
    page    the address of the page, to which a form without an action is sent
    """
    reader = _Reader(html)
    fitting = [one for one in reader.forms if _fits(one, page, action, fields)]
    found, edits = next(
        ((one, edits) for one in fitting if (edits := _edits(one, fields))), (None, [])
    )
    if found is None:
        return html if fitting else None
    mark = found.attributes | {"data-refilled": ""}
    edits.append((found.start, found.end, notice + _tag("form", mark)))
    edits += [(one.start, one.end, _with(one, open="")) for one in found.folded]
    for start, end, text in sorted(edits, reverse=True):
        html = html[:start] + text + html[end:]
    return html


def in_front(html: str, notice: str) -> str:
    """Return a page with a notice before everything else of it."""
    before, start, rest = html.partition("<main")
    tag, end, main = rest.partition(">")
    return before + start + tag + end + notice + main


def _fits(form: _Form, page: str, action: str, fields: Sequence[Field]) -> bool:
    """Say whether a form is the one that was typed into: the same deed on the same thing."""
    if (form.action or urlsplit(page).path) != action:
        return False
    sent = dict(fields)
    return all(
        sent.get(one.name) == one.value
        for one in form.controls
        if one.kind == "hidden" and _plain(one.name) not in FRESH + AS_SENT
    )


def is_typed(name: str) -> bool:
    """Say whether a field of this name may hold what a person typed or chose."""
    return _plain(name) not in (*FRESH, *AS_SENT, "act", "how")


def _plain(name: str) -> str:
    """Return the name of a field without the prefix of its form."""
    return name.rpartition("-")[2]


def _edits(form: _Form, fields: Sequence[Field]) -> list[tuple[int, int, str]]:
    """Return what is to be put in place of what: start, end, text; nothing without an answer."""
    given: dict[str, list[str]] = {}
    for name, value in fields:
        given.setdefault(name, []).append(value)
    lines = {name: list(values) for name, values in given.items()}  # taken one after the other
    edits, answered = [], False
    for one in form.controls:
        values = given.get(one.name, [])
        if one.kind == "hidden":
            if values and _plain(one.name) in AS_SENT:
                edits.append((one.start, one.end, _with(one, value=values[0])))
        elif one.kind in ("radio", "checkbox"):
            chosen = (one.value or "on") in values
            answered |= chosen
            edits.append((one.start, one.end, _with(one, checked="" if chosen else None)))
        elif one.kind == "select":
            for option in one.options:
                chosen = option.value in values
                answered |= chosen and option.value != ""
                edits.append(
                    (option.start, option.end, _with(option, selected="" if chosen else None))
                )
        elif lines.get(one.name):
            text = lines[one.name].pop(0)
            answered |= bool(text.strip())
            if one.kind == "textarea":
                # A line end at the very beginning of it is not counted as text.
                edits.append((one.end, one.inside, "\n" + escape(text, quote=False)))
            else:
                edits.append((one.start, one.end, _with(one, value=text)))
    return edits if answered else []


def _with(control: _Control, **changed: str | None) -> str:
    kept = {name: value for name, value in control.attributes.items() if name not in changed}
    kept |= {name: value for name, value in changed.items() if value is not None}
    tag = control.kind if control.kind in ("option", "details") else "input"
    return _tag(tag, kept)


def _tag(name: str, attributes: dict[str, str | None]) -> str:
    said = "".join(
        f' {key}="{escape(value)}"' if value else f" {key}" for key, value in attributes.items()
    )
    return f"<{name}{said}>"


class _Reader(HTMLParser):
    """Finds the forms of a page, and where their controls stand in its text."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[_Form] = []
        self._form: _Form | None = None
        self._area: _Control | None = None
        self._select: _Control | None = None
        self._folded: list[_Control] = []
        self._lines = [0]
        for line in html.split("\n"):
            self._lines.append(self._lines[-1] + len(line) + 1)
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a form, or a control of the form that is open."""
        start, given = self._here(), dict(attrs)
        end = start + len(self.get_starttag_text() or "")
        if tag == "details":
            self._folded.append(_Control(tag, given, start, end))
        if tag == "form":
            folded = list(self._folded)
            self._form = _Form(given.get("action") or "", start, end, given, folded=folded)
            if (given.get("method") or "").lower() == "post":
                self.forms.append(self._form)
        if self._form is None:
            return
        if tag == "input":
            kind = (given.get("type") or "text").lower()
            if kind not in NEVER:
                self._form.controls.append(_Control(kind, given, start, end))
        elif tag == "textarea":
            self._area = _Control(tag, given, start, end)
            self._form.controls.append(self._area)
        elif tag == "select":
            self._select = _Control(tag, given, start, end)
            self._form.controls.append(self._select)
        elif tag == "option" and self._select is not None:
            self._select.options.append(_Control(tag, given, start, end))

    def handle_endtag(self, tag: str) -> None:
        """Note where a form, a list or a text ends."""
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._select = None
        elif tag == "details" and self._folded:
            self._folded.pop()
        elif tag == "textarea" and self._area is not None:
            self._area.inside, self._area = self._here(), None

    def _here(self) -> int:
        line, column = self.getpos()
        return self._lines[line - 1] + column
