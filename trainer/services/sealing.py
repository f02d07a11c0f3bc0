"""A file encrypted in the age format, version 1 (age-encryption.org/v1), and opened again.

For the keys of recipients it is an age file as any other. With a passphrase it is a ZIP of two:
`key.age`, which the passphrase opens, holds the key that opens `record.sqlite.age`. The format
knows passphrases only for what fits into memory at once, which a key does and a large record does
not. Either is opened without this program as well, years later:
`age -d -i key.age record.sqlite.age`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO
from zipfile import ZIP_STORED, BadZipFile, ZipFile

import pyrage

from trainer.services.guessing import PASSPHRASE_LETTERS

PLAIN, AGE, ZIP = b"SQLite format 3\0", b"age-encryption.org/v1\n", b"PK\x03\x04"
KEY, SEALED = "key.age", "record.sqlite.age"
PIECE = 1 << 20
KEY_BYTES = 100_000
"""More than any key needs: what else somebody wrote there is not read."""


class Unopened(ValueError):
    """A file cannot be sealed or opened with what was given; the text is the whole sentence.

    broken  it is the file that is at fault, and not what was given
    """

    def __init__(self, sentence: str, broken: bool = False) -> None:
        super().__init__(sentence)
        self.broken = broken


@dataclass(frozen=True)
class Lock:
    """What a file is encrypted for: a passphrase, or the public keys of recipients (age1...)."""

    passphrase: str = field(default="", repr=False)
    recipients: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what would not keep anybody out. Errors: Unopened."""
        if bool(self.passphrase) == bool(self.recipients):
            raise Unopened("Give a passphrase or the keys of recipients, one of the two.")
        if self.passphrase and len(self.passphrase) < PASSPHRASE_LETTERS:
            raise Unopened(f"A passphrase has {PASSPHRASE_LETTERS} characters or more; "
                           "four or five words do well.")
        for one in self.recipients:
            _recipient(one)


@dataclass(frozen=True)
class Keys:
    """What a file is opened with; neither, where it is not encrypted.

    identities  the text of a key file: lines that begin with AGE-SECRET-KEY-1
    """

    passphrase: str = field(default="", repr=False)
    identities: str = field(default="", repr=False)


def kind(file: Path) -> bytes:
    """Return how a file begins: PLAIN, AGE, ZIP, or nothing where it is none of these."""
    with file.open("rb") as opened:
        begins = opened.read(max(map(len, (PLAIN, AGE, ZIP))))
    return next((one for one in (PLAIN, AGE, ZIP) if begins.startswith(one)), b"")


def seal(plain: Path, sealed: Path, lock: Lock) -> None:
    """Write a file encrypted, and read it again to see that it can be opened.

    For recipients, whose keys are elsewhere, it is only seen that what was written is there.
    Errors: OSError.
    """
    if lock.passphrase:
        _seal_by_passphrase(plain, sealed, lock.passphrase)
        wanted, found = _hash_of(plain), _Hashing()
        _open(sealed, found, Keys(lock.passphrase))
    else:
        with plain.open("rb") as source, sealed.open("wb") as target:
            wanted = _encrypt(source, target, [_recipient(one) for one in lock.recipients])
        found = _hash_of(sealed)
    if wanted.digest != found.digest:
        raise OSError(None, "what was written is not what is there")


def open_into(sealed: Path, plain: Path, keys: Keys) -> None:
    """Write a file that was encrypted as it was before.

    Errors: Unopened, with a sentence, for a wrong or missing key and for a damaged file; OSError
    where it cannot be written.
    """
    with plain.open("wb") as target:
        _open(sealed, target, keys)


def _seal_by_passphrase(plain: Path, sealed: Path, passphrase: str) -> None:
    key = pyrage.x25519.Identity.generate()
    with ZipFile(sealed, "w", ZIP_STORED) as archive:
        archive.writestr(KEY, pyrage.passphrase.encrypt(f"{key}\n".encode(), passphrase))
        with plain.open("rb") as source, archive.open(SEALED, "w", force_zip64=True) as target:
            _encrypt(source, target, [key.to_public()])


def _encrypt(source: BinaryIO, target: BinaryIO, recipients: list) -> "_Hashing":
    """Encrypt and return the hash of what was written. Errors: OSError."""
    writer = _Hashing(target)
    pyrage.encrypt_io(source, writer, recipients)
    writer.done()
    return writer


def _open(sealed: Path, target: "BinaryIO | _Hashing", keys: Keys) -> None:
    writer = target if isinstance(target, _Hashing) else _Hashing(target)
    try:
        with _payload(sealed, keys) as (source, identities):
            pyrage.decrypt_io(source, writer, identities)
    except (pyrage.DecryptError, BadZipFile, OSError, KeyError, EOFError) as fault:
        writer.done()  # a full disk is not the file's fault
        if "No matching keys" in str(fault):
            raise Unopened(f"The file {sealed} was encrypted for another key.") from None
        said = f"The file {sealed} is damaged or cut short: it cannot be opened."
        raise Unopened(said, broken=True) from None
    writer.done()


@contextmanager
def _payload(sealed: Path, keys: Keys) -> Iterator[tuple[BinaryIO, list]]:
    """Give what is encrypted and the keys that open it. Errors: Unopened."""
    if kind(sealed) == AGE:
        if not keys.identities:
            raise Unopened(f"The file {sealed} is encrypted for a key: say with --identity in "
                           "which file that key is.")
        with sealed.open("rb") as source:
            yield source, _identities(keys.identities)
        return
    if not keys.passphrase:
        raise Unopened(f"The file {sealed} is encrypted with a passphrase, and none was given.")
    with ZipFile(sealed) as archive:
        with archive.open(KEY) as kept:
            locked = kept.read(KEY_BYTES)
        try:
            key = pyrage.passphrase.decrypt(locked, keys.passphrase)
        except pyrage.DecryptError:
            raise Unopened(f"The passphrase does not open the file {sealed}.") from None
        with archive.open(SEALED) as source:
            yield source, _identities(key.decode())


def _identities(text: str) -> list:
    lines = [line.strip() for line in text.splitlines()]
    found = [line for line in lines if line and not line.startswith("#")]
    try:
        keys = [pyrage.x25519.Identity.from_str(line) for line in found]
    except pyrage.IdentityError:
        keys = []
    if not keys:
        raise Unopened("The key file holds no key: its line begins with AGE-SECRET-KEY-1.")
    return keys


def _recipient(text: str) -> pyrage.x25519.Recipient:
    try:
        return pyrage.x25519.Recipient.from_str(text)
    except pyrage.RecipientError:
        raise Unopened(f"{text} is no public key of a recipient: it begins with age1 and is not "
                       "to be shortened.") from None


class _Hashing:
    """Writes on, keeps the hash of it, and keeps a fault, which the library passes over."""

    def __init__(self, target: BinaryIO | None = None) -> None:
        self._target, self._hash, self._fault = target, sha256(), None

    def write(self, piece: bytes) -> int:
        piece = bytes(piece)
        try:
            if self._target is not None and self._fault is None:
                self._target.write(piece)
        except OSError as fault:
            self._fault = fault
            raise
        self._hash.update(piece)
        return len(piece)

    def flush(self) -> None:
        """Nothing waits here."""

    def done(self) -> None:
        """See to it that all was written. Errors: OSError."""
        try:
            if self._target is not None and self._fault is None:
                self._target.flush()
        except OSError as fault:
            self._fault = fault
        if self._fault:
            raise self._fault

    @property
    def digest(self) -> str:
        return self._hash.hexdigest()


def _hash_of(file: Path) -> _Hashing:
    found = _Hashing()
    with file.open("rb") as opened:
        while piece := opened.read(PIECE):
            found.write(piece)
    return found
