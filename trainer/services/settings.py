"""What is set here: chosen by a coordinator in the browser, over what the program started with.

What the environment sets, or an option of the command, wins over the browser. Everybody asks
`of`, so that the pages, the commands and the rules go by the same.
"""

from functools import cache
from zoneinfo import available_timezones

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Row, select
from sqlmodel import Session

from trainer import config
from trainer.config import Settings
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import often
from trainer.store.tables import Setting
from trainer.words import tidy

OFFERED = (
    "organisation", "time_zone", "languages", "pass_mark", "due_soon_days", "begin_again_days",
    "idle_shared_seconds", "idle_own_seconds", "session_hours", "code_minutes",
    "second_step", "training_keep_years",
)  # fmt: skip
"""The settings that a coordinator may choose, in the order of the page."""

# Few rows are none of these; to name each of these in every question takes longer.
_CHOSEN = often.Question(select(Setting.name, Setting.value))


def of(db: Session) -> Settings:
    """Return what is set, read once a session of the database."""
    if "settings" not in db.info:
        db.info["settings"] = _joined(db)
    return db.info["settings"]


def started_with(db: Session) -> Settings:
    """Return the settings that the program was started with."""
    return db.info.get("started_with") or config.read()


def fixed(db: Session) -> frozenset[str]:
    """Return the names of those that the environment sets, so that the browser cannot."""
    return frozenset(started_with(db).model_fields_set)


def default(name: str) -> object:
    """Return what a setting is where nobody chose."""
    return Settings.model_fields[name].default


def bounds(name: str) -> tuple[int, int] | None:
    """Return the least and the most of a setting that is a number."""
    limits = {type(one).__name__: one for one in Settings.model_fields[name].metadata}
    if "Ge" not in limits:
        return None
    return limits["Ge"].ge, limits["Le"].le


def change(db: Session, by: Scribe, given: dict[str, str], shown: dict[str, str]) -> list[str]:
    """Keep what was typed where it differs from what the page showed; return what changed.

    given   by name, as typed
    shown   by name, what stood on the page: what somebody else chose meanwhile is never undone
            by a page that was open before
    Errors: Refusal, at its field, for a value that cannot be used, that is fixed by the
    environment, or that somebody changed meanwhile.
    """
    stands, changed = of(db), []
    for name in OFFERED:
        typed = tidy(given.get(name, shown.get(name, "")))
        if name not in given or typed == shown.get(name):
            continue
        value = _usable(name, typed)
        now = str(getattr(stands, name))
        if str(value) == now:
            continue
        if name in fixed(db):
            raise Refusal("This is set where the program is started.", field=name)
        if shown.get(name) != now:
            raise Refusal(
                "Somebody set this to %(now)s while your page was open. Look at it again.",
                field=name, now=now or "–",
            )
        _keep(db, by, name, str(value))
        changed.append(name)
    db.info.pop("settings", None)
    return changed


def put(db: Session, by: Scribe, name: str, value: str) -> None:
    """Set one thing, whatever stood there before."""
    _keep(db, by, name, str(_usable(name, value)))
    db.info.pop("settings", None)


def _keep(db: Session, by: Scribe, name: str, value: str) -> None:
    row = db.get(Setting, name) or Setting(name=name, value="", set_at=by.now)
    row.value, row.set_at, row.set_by = value, by.now, by.person.id
    db.add(row)
    db.flush()


def _usable(name: str, typed: str) -> object:
    """Return what was typed as the setting takes it. Errors: Refusal at its field."""
    if limits := bounds(name):
        least, most = limits
        if not typed.isascii() or not typed.isdigit() or not least <= int(typed) <= most:
            raise Refusal(
                "Give a whole number from %(least)s to %(most)s.",
                field=name, least=least, most=most,
            )
        return int(typed)
    if name == "time_zone" and typed not in available_timezones():
        raise Refusal("Choose a time zone from the list, such as America/Chicago.", field=name)
    if name == "languages" and typed not in config.LANGUAGE_ORDERS:
        raise Refusal("Choose one of these.", field=name)
    if name == "second_step" and typed not in config.SECOND_STEPS:
        raise Refusal("Choose one of these.", field=name)
    if name == "organisation" and len(typed) > 80:
        raise Refusal("Give a name of at most 80 letters.", field=name)
    return typed


def _joined(db: Session) -> Settings:
    base = started_with(db)
    chosen = {
        row.name: _kind(row.name).validate_python(row.value)
        for row in often.rows(db, _CHOSEN)
        if row.name in OFFERED
        and row.name not in base.model_fields_set
        and _still_usable(row)
    }
    return base.model_copy(update=chosen) if chosen else base


@cache
def _kind(name: str) -> TypeAdapter:
    """Return what makes a setting of what is kept of it."""
    return TypeAdapter(Settings.model_fields[name].annotation)


def _still_usable(row: Row) -> bool:
    """Say whether what was kept can be used: another version may have had other bounds."""
    try:
        _usable(row.name, row.value)
    except (Refusal, ValidationError):
        return False
    return True
