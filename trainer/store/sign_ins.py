"""Queries about devices, web sessions and the history of signing in."""

from collections.abc import Sequence

from sqlmodel import Session, select

from trainer.store.tables import (
    Device,
    OneTimeCode,
    Person,
    RecoveryCode,
    SecondStep,
    SignInEvent,
    WebSession,
    Worksite,
)


def own_devices(db: Session, person_id: int) -> list[Device]:
    """Return a person's own devices that may still be signed in to, the newest first."""
    query = (
        select(Device)
        .where(Device.person_id == person_id, Device.revoked_at.is_(None))
        .order_by(Device.id.desc())
    )
    return list(db.exec(query))


def tablets(db: Session) -> list[tuple[Device, Worksite]]:
    """Return the tablets that everybody at a worksite may sign in to, by worksite."""
    query = (
        select(Device, Worksite)
        .join(Worksite, Worksite.id == Device.worksite_id)
        .where(Device.kind == "shared", Device.revoked_at.is_(None))
        .order_by(Worksite.name, Device.id)
    )
    return list(db.exec(query))


def open_sessions(db: Session, person_id: int) -> list[WebSession]:
    """Return the web sessions of a person that nobody ended."""
    query = select(WebSession).where(
        WebSession.person_id == person_id, WebSession.ended_at.is_(None)
    )
    return list(db.exec(query))


def second_step(db: Session, person_id: int) -> SecondStep | None:
    """Return a person's second step, confirmed or being set up."""
    return db.get(SecondStep, person_id)


def recovery_codes(db: Session, person_id: int) -> list[RecoveryCode]:
    """Return the recovery codes of a person that were not used."""
    query = (
        select(RecoveryCode)
        .where(RecoveryCode.person_id == person_id, RecoveryCode.used_at.is_(None))
        .order_by(RecoveryCode.id)
    )
    return list(db.exec(query))


def drop_second_step(db: Session, person_id: int) -> None:
    """Delete a person's second step and recovery codes; nobody needs the secrets any more."""
    codes = db.exec(select(RecoveryCode).where(RecoveryCode.person_id == person_id))
    for row in [*codes, second_step(db, person_id)]:
        if row is not None:
            db.delete(row)
    db.flush()


def open_on(db: Session, device_id: int) -> list[WebSession]:
    """Return the web sessions on a device that nobody ended."""
    query = select(WebSession).where(
        WebSession.device_id == device_id, WebSession.ended_at.is_(None)
    )
    return list(db.exec(query))


def unused_codes(db: Session, person_id: int) -> list[OneTimeCode]:
    """Return the one-time codes of a person that were not used."""
    query = select(OneTimeCode).where(
        OneTimeCode.person_id == person_id, OneTimeCode.used_at.is_(None)
    )
    return list(db.exec(query))


def history(
    db: Session, person_ids: Sequence[int], skip: int = 0, most: int = 50
) -> list[tuple[SignInEvent, Device | None, Person | None]]:
    """Return the sign-ins of a person, newest first: with the device, and who made or ended it.

    One more than `most` where there are further ones.
    """
    query = (
        select(SignInEvent, Device, Person)
        .join(Device, Device.id == SignInEvent.device_id, isouter=True)
        .join(Person, Person.id == SignInEvent.by_id, isouter=True)
        .where(SignInEvent.person_id.in_(person_ids))
        .order_by(SignInEvent.id.desc())
        .offset(skip)
        .limit(most + 1)
    )
    return list(db.exec(query))


def of_nobody(
    db: Session, skip: int = 0, most: int = 50
) -> list[tuple[SignInEvent, Device | None, Person | None]]:
    """Return what the history tells of numbers that nobody has, and of tablets; as `history`."""
    query = (
        select(SignInEvent, Device, Person)
        .join(Device, Device.id == SignInEvent.device_id, isouter=True)
        .join(Person, Person.id == SignInEvent.by_id, isouter=True)
        .where(SignInEvent.person_id.is_(None))
        .order_by(SignInEvent.id.desc())
        .offset(skip)
        .limit(most + 1)
    )
    return list(db.exec(query))


def worksite_names(db: Session) -> dict[int, str]:
    """Return what each worksite is called, by its id."""
    return {one.id: one.name for one in db.exec(select(Worksite))}
