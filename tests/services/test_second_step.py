"""The second step: the published codes, each once, and what a stolen database gives away.

Source of the codes: RFC 6238, appendix B (SHA-1); there they have eight digits, of which the last
six are those of a code of six (RFC 4226, 5.3: the number modulo 10 to the power of the digits).
"""

from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from tests.conftest import Works
from trainer.services import leaving, second_step, signing_in
from trainer.services.refusal import Refusal
from trainer.services.second_step import NotReadable
from trainer.store import sign_ins
from trainer.store.tables import Change, RecoveryCode, SecondStep

SECRET_OF_RFC = b"12345678901234567890"
PUBLISHED = (
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
)
KEYS = second_step.keys("a secret key that lies beside the database")
STEP = timedelta(seconds=30)


@pytest.mark.parametrize(("seconds", "code"), PUBLISHED)
def test_the_codes_are_those_of_the_rfc(seconds, code):
    moment = datetime.fromtimestamp(seconds, UTC)
    assert second_step.code_at(SECRET_OF_RFC, moment) == code[-6:]


def set_up(works: Works, name: str = "Ida", at: timedelta = timedelta(0)) -> tuple[bytes, list]:
    """Set a person's app up; return its secret and the recovery codes."""
    person, now = works.people[name], works.now + at
    with works.store.writing() as db:
        second_step.begin(db, person, KEYS, now)
        secret = second_step.pending(db, person, KEYS, now)
        codes = second_step.confirm(db, person, KEYS, second_step.code_at(secret, now), now)
    return secret, codes


def opens(works: Works, typed: str, after: timedelta, keys=KEYS, name: str = "Ida") -> bool:
    """Say whether a code opens, so long after now."""
    with works.store.writing() as db:
        return second_step.opens(db, works.people[name], keys, typed, works.now + after)


def is_on(works: Works, name: str = "Ida") -> bool:
    """Say whether the second step is asked for."""
    with works.store.reading() as db:
        return second_step.is_on(db, works.people[name].id)


def test_an_app_is_in_use_only_after_its_code_was_typed(works):
    ida = works.people["Ida"]
    with works.store.writing() as db:
        second_step.begin(db, ida, KEYS, works.now)
        assert not second_step.is_on(db, ida.id)
        secret = second_step.pending(db, ida, KEYS, works.now)
        assert len(secret) == 20
    wrong = f"{(int(second_step.code_at(secret, works.now)) + 1) % 10**6:06}"
    with pytest.raises(Refusal, match="not the code"), works.store.writing() as db:
        second_step.confirm(db, ida, KEYS, wrong, works.now)
    assert not is_on(works)
    with works.store.writing() as db:
        code = second_step.code_at(secret, works.now)
        made = second_step.confirm(db, ida, KEYS, f"{code[:3]} {code[3:]}", works.now)
    assert is_on(works)
    assert len({*made}) == second_step.CODES


def test_confirming_twice_gives_codes_that_are_good(works):
    ida = works.people["Ida"]
    secret, first = set_up(works)
    with works.store.writing() as db:
        code = second_step.code_at(secret, works.now)
        again = second_step.confirm(db, ida, KEYS, code, works.now + timedelta(seconds=2))
    assert not opens(works, first[0], STEP)
    assert opens(works, again[0], STEP)
    with pytest.raises(Refusal), works.store.writing() as db:
        second_step.confirm(db, ida, KEYS, code, works.now + timedelta(minutes=2))


def test_setting_up_is_over_after_a_quarter_of_an_hour(works):
    ida, late = works.people["Ida"], works.now + timedelta(minutes=15, seconds=1)
    with works.store.writing() as db:
        second_step.begin(db, ida, KEYS, works.now)
        secret = second_step.pending(db, ida, KEYS, works.now)
        assert second_step.pending(db, ida, KEYS, late) is None
    with pytest.raises(Refusal, match="too long"), works.store.writing() as db:
        second_step.confirm(db, ida, KEYS, second_step.code_at(secret, late), late)


def test_a_code_opens_once_and_none_before_it_any_more(works):
    secret, _ = set_up(works)
    assert not opens(works, second_step.code_at(secret, works.now), timedelta(0))
    here = works.now + 10 * STEP
    newest = second_step.code_at(secret, here)
    assert opens(works, newest, 10 * STEP)
    assert not opens(works, newest, 10 * STEP)
    assert not opens(works, second_step.code_at(secret, here - STEP), 10 * STEP)


@pytest.mark.parametrize(("steps", "fits"), [(-2, False), (-1, True), (0, True), (1, True),
                                             (2, False)])  # fmt: skip
def test_a_clock_may_be_one_step_off(works, steps, fits):
    secret, _ = set_up(works)
    code = second_step.code_at(secret, works.now + (10 + steps) * STEP)
    assert opens(works, code, 10 * STEP) is fits


@pytest.mark.parametrize("typed", ["", "12345", "1234567", "ABCDEF", "１２３４５６", "1" * 5000])
def test_what_is_no_code_opens_nothing(works, typed):
    set_up(works)
    assert not opens(works, typed, 10 * STEP)


def test_without_a_second_step_nothing_fits(works):
    assert not opens(works, "123456", timedelta(0))


def test_each_recovery_code_opens_once_and_is_not_kept_as_text(works):
    _, codes = set_up(works)
    assert opens(works, f" {codes[3][:5].lower()}-{codes[3][5:]} ", STEP)
    assert not opens(works, codes[3], STEP)
    assert opens(works, codes[4], STEP)
    assert not opens(works, codes[5], STEP, second_step.keys("another secret key, just as long"),
                     "Tomas")  # fmt: skip
    with works.store.reading() as db:
        kept = [one.code_hash for one in db.exec(select(RecoveryCode))]
        assert len(sign_ins.recovery_codes(db, works.people["Ida"].id)) == 8
    assert not {*kept} & {*codes, *map(signing_in.secret_hash, codes)}


def test_fresh_recovery_codes_end_those_before(works):
    _, codes = set_up(works)
    with works.store.writing() as db:
        fresh = second_step.make_codes(db, works.people["Ida"], KEYS, works.now)
    assert not opens(works, codes[0], STEP)
    assert opens(works, fresh[0], STEP)


def kept_secret(works: Works, name: str = "Ida") -> bytes:
    """Return what the database keeps of a person's secret."""
    with works.store.reading() as db:
        return db.get(SecondStep, works.people[name].id).secret


def test_the_database_alone_does_not_give_the_secret(works):
    secret, _ = set_up(works)
    kept = kept_secret(works)
    assert secret not in kept
    assert len(kept) == 12 + 20 + 16  # nonce, secret, tag
    with pytest.raises(NotReadable):
        opens(works, "123456", 10 * STEP, second_step.keys("another secret key, just as long"))


def test_nobody_puts_their_own_secret_in_anothers_place(works):
    secret, _ = set_up(works, "Tomas")
    set_up(works, "Ida")
    with works.store.writing() as db:
        row = db.get(SecondStep, works.people["Ida"].id)
        row.secret = kept_secret(works, "Tomas")
        db.add(row)
    with pytest.raises(NotReadable):
        opens(works, second_step.code_at(secret, works.now + 10 * STEP), 10 * STEP)


def test_the_same_secret_is_never_kept_as_the_same_bytes(works):
    locked = {second_step._locked(SECRET_OF_RFC, 1, KEYS) for _ in range(3)}
    assert len(locked) == 3
    assert {second_step._unlocked(one, 1, KEYS) for one in locked} == {SECRET_OF_RFC}


def test_the_phone_of_now_goes_on_until_the_other_one_is_set_up(works):
    ida = works.people["Ida"]
    old, _ = set_up(works)
    with works.store.writing() as db:
        second_step.begin(db, ida, KEYS, works.now)
        new = second_step.pending(db, ida, KEYS, works.now)
    assert opens(works, second_step.code_at(old, works.now + 5 * STEP), 5 * STEP)
    moment = works.now + 10 * STEP
    with works.store.writing() as db:
        second_step.confirm(db, ida, KEYS, second_step.code_at(new, moment), moment)
    assert not opens(works, second_step.code_at(old, works.now + 15 * STEP), 15 * STEP)
    assert opens(works, second_step.code_at(new, works.now + 15 * STEP), 15 * STEP)


def test_taking_it_off_needs_a_reason_and_is_told(works):
    set_up(works, "Tomas")
    for why in ("", "  "):
        with pytest.raises(Refusal, match="Say why"), works.store.writing() as db:
            second_step.take_off(db, works.scribe(), works.people["Tomas"], why)
    with works.store.writing() as db:
        second_step.take_off(db, works.scribe(), works.people["Tomas"], "Phone in the tank.")
    assert not is_on(works, "Tomas")
    with works.store.reading() as db:
        assert sign_ins.recovery_codes(db, works.people["Tomas"].id) == []
        told = sign_ins.history(db, [works.people["Tomas"].id])
        line = db.exec(select(Change).where(Change.deed == "ended")).one()
    assert [(told[0][0].kind, told[0][2].name)] == [("step-off", "Ida")]
    assert (line.kind, line.about) == ("second-step", "Tomas")
    assert "Phone in the tank." in line.detail
    with pytest.raises(Refusal, match="no second step"), works.store.writing() as db:
        second_step.take_off(db, works.scribe(), works.people["Tomas"], "Once more.")


def test_whoever_leaves_has_none_any_more(works):
    set_up(works, "Tomas")
    with works.store.writing() as db:
        leaving.leave(db, works.scribe(), works.people["Tomas"], once="leave", on=works.today)
    assert not is_on(works, "Tomas")


def test_the_letters_to_type_are_in_groups(works):
    assert second_step.in_letters(SECRET_OF_RFC) == "GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ"
    odd = second_step.address(SECRET_OF_RFC, works.people["Ida"], "Gull & Sons: Tern/Quay")
    assert odd.startswith("otpauth://totp/Gull%20%26%20Sons%20%20Tern/Quay:00001?secret=")
