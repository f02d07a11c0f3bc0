"""Every setting: its default, its environment variable and what it means.

A setting is read from the environment variable `DONNING_ROOM_` + its name in capitals.
A value that cannot be used stops the start with a sentence (`SettingsFault`).
"""

import os
from functools import cache
from importlib import import_module
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from typing import Literal
from urllib.parse import unquote, urlsplit
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, ConfigDict, Field, ValidationError, ValidationInfo, field_validator

PREFIX = "DONNING_ROOM_"
_PACKAGE = Path(__file__).parent
LANGUAGES = ("en", "es")
SQLITE_FILE = "record.sqlite"
POSTGRESQL = ("postgresql", "postgres", "postgresql+psycopg")
SECOND_STEPS = ("optional", "required")
LANGUAGE_ORDERS = ("en es", "es en", "en", "es")


class SettingsFault(ValueError):
    """A setting has a value that cannot be used; the text says which and why."""


@cache
def content_folder(name: str) -> Path:
    """Return where `lessons`, `questions` or `static` lies: beside the package or in a wheel."""
    carried = _PACKAGE / "carried" / name
    return carried if carried.is_dir() else _PACKAGE.parent / name


class Settings(BaseModel):
    """The settings of one installation."""

    model_config = ConfigDict(extra="ignore", frozen=True)

    data: Path = Field(
        Path("donning-room-data"), description="folder that keeps the record and the secret key"
    )
    database_url: str = Field(
        "",
        validate_default=True,
        repr=False,  # it may hold a password
        description="address of a PostgreSQL database, postgresql://...; empty: SQLite in the "
        "data folder",
    )
    host: str = Field(
        "127.0.0.1", description="address to listen on; the default is this machine only"
    )
    port: int = Field(8000, ge=0, le=65535, description="port to listen on; 0 takes any free one")
    threads: int = Field(
        0, ge=0, le=64, description="requests that a process answers at the same time; "
        "0: 6 where there is one process, 1 in each of several",
    )
    processes: int = Field(
        1, ge=1, le=32, description="processes that answer requests, on Linux and macOS; more than "
        "one takes donning-room[many]",
    )
    address: str = Field(
        "", description="address that people type, for QR codes; empty: as the browser asked"
    )
    behind_tls: bool = Field(
        False, description="true when a proxy in front speaks HTTPS: cookies become Secure"
    )
    trusted_proxies: str = Field(
        "127.0.0.1 ::1",
        description="addresses or networks, with spaces between, of the proxies that are believed "
        "when they say whose a request is; read only behind TLS",
    )
    secret_key_file: Path | None = Field(
        None, description="file with the key that signs cookies, the same on every machine of one "
        "database; none: the data folder's own",
    )
    log: Literal["text", "json"] = Field(
        "text", description="how the log on standard error reads: text for people, json for "
        "machines; it names nobody",
    )
    metrics_host: str = Field(
        "127.0.0.1", description="address on which metrics are told, never that of the pages"
    )
    metrics_port: int = Field(
        0, ge=0, le=65535, description="port on which metrics are told, in Prometheus' format; "
        "0: nowhere",
    )
    organisation: str = Field(
        "", max_length=80, description="name of the employer, on pages and exports"
    )
    time_zone: str = Field(
        "America/Chicago", description="time zone of worksites that name none of their own"
    )
    pass_mark: int = Field(
        80,
        ge=50,
        le=100,
        description="per cent of the questions and problems that are not must-know",
    )
    due_soon_days: int = Field(
        30, ge=1, le=180, description="days before a due date at which a tag says due soon"
    )
    begin_again_days: int = Field(
        60, ge=7, le=180,
        description="days before the yearly date at which the lessons open again",
    )
    code_minutes: int = Field(
        30, ge=1, le=1440, description="minutes that a one-time code may be used"
    )
    wrong_tries: int = Field(
        10, ge=3, le=10, description="wrong PINs before a device needs a fresh one-time code"
    )
    idle_shared_seconds: int = Field(
        240, ge=60, le=3600, description="idle time before a shared tablet signs a person out"
    )
    idle_own_seconds: int = Field(
        1800, ge=120, le=43200, description="idle time before any other device signs a person out"
    )
    warning_seconds: int = Field(
        45, ge=20, le=600, description="how long before signing out the page warns"
    )
    iri_base: str = Field(
        "https://donning-room.invalid/",
        max_length=200,
        description="web address, under a domain of your own, that names your lessons and people "
        "in xAPI statements; nothing need be found there",
    )
    session_hours: int = Field(12, ge=1, le=24, description="longest time signed in, idle or not")
    second_step: str = Field(
        "optional",
        description="whether trainers and coordinators must have a second step for signing in "
        "with the passphrase: optional or required",
    )
    languages: str = Field(
        "en es", description="languages that are offered, the first one first: en, es or both"
    )
    training_keep_years: int = Field(
        0, ge=0, le=60,
        description="years after leaving at which entries of training may be erased; 0: never",
    )

    @field_validator("time_zone")
    @classmethod
    def _zone_is_known(cls, value: str) -> str:
        if value not in available_timezones():
            raise ValueError("is not a time zone name such as America/Chicago")
        return value

    @field_validator("database_url")
    @classmethod
    def _database_can_be_opened(cls, value: str, info: ValidationInfo) -> str:
        """Return the address as the store opens it, that of the data folder where none is given."""
        if not value:
            return f"sqlite:///{info.data.get('data', Path()) / SQLITE_FILE}"
        _check_address(value)
        return value

    @field_validator("trusted_proxies")
    @classmethod
    def _proxies_are_addresses(cls, value: str) -> str:
        try:
            _networks(value)
        except ValueError:
            raise ValueError("is no list of addresses such as 127.0.0.1 10.0.3.0/24") from None
        return value

    @property
    def proxies(self) -> tuple[IPv4Network | IPv6Network, ...]:
        """Return the networks of the proxies that are believed."""
        return _networks(self.trusted_proxies)

    @property
    def at_once(self) -> int:
        """Return how many requests one process answers at the same time."""
        return self.threads or (6 if self.processes == 1 else 1)

    @field_validator("second_step")
    @classmethod
    def _second_step_is_known(cls, value: str) -> str:
        if value not in SECOND_STEPS:
            raise ValueError("is neither optional nor required")
        return value

    @field_validator("languages")
    @classmethod
    def _languages_are_ours(cls, value: str) -> str:
        if value not in LANGUAGE_ORDERS:
            raise ValueError("is none of: " + "; ".join(LANGUAGE_ORDERS))
        return value

    @property
    def offered(self) -> tuple[str, ...]:
        """Return the languages that pages are offered in, the first one first."""
        return tuple(self.languages.split())

    @field_validator("iri_base")
    @classmethod
    def _base_is_an_address(cls, value: str) -> str:
        # The default lies under .invalid, which belongs to nobody and never resolves (RFC 6761,
        # 6.4): what names a person must not be an address that somebody else could own.
        parts = urlsplit(value)
        if (
            parts.scheme not in ("http", "https")
            or not parts.hostname
            or parts.query
            or parts.fragment
            or any(sign.isspace() or sign in '<>"{}|\\^`' for sign in value)
        ):
            raise ValueError("is not a web address such as https://training.example.com/")
        return value if value.endswith("/") else f"{value}/"

    @property
    def zone(self) -> ZoneInfo:
        """Return the default time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def place(self) -> str:
        """Return where the record is, in words, as a sentence names it."""
        if self.database_url.startswith("sqlite:"):
            return f"the folder {self.data}"
        parts = urlsplit(self.database_url)
        at = f" at {parts.hostname}" if parts.hostname else ""
        return f"the database {unquote(parts.path[1:])}{at}"


def read(**given) -> Settings:
    """Return the settings from the environment; what is `given` (and not None) wins.

    Errors: SettingsFault with one sentence a bad value.
    """
    variables = zip(Settings.model_fields, names(), strict=True)
    found = {name: os.environ[variable] for name, variable in variables if variable in os.environ}
    given = {name: value for name, value in given.items() if value is not None}
    try:
        return Settings(**found | given)
    except ValidationError as fault:
        raise SettingsFault("\n".join(_sentence(error) for error in fault.errors())) from None


def _sentence(error: dict) -> str:
    name = str(error["loc"][0])
    what = error["msg"].removeprefix("Value error, ")
    # The address of a database may hold a password, so it is not said again.
    given = "used" if name == "database_url" else repr(error["input"])
    return f"The setting {PREFIX}{name.upper()} cannot be {given}: {what}."


def _networks(value: str) -> tuple[IPv4Network | IPv6Network, ...]:
    return tuple(ip_network(one) for one in value.split())


def _check_address(address: str) -> None:
    """Refuse an address that names no PostgreSQL database, or that nothing here can open.

    Errors: ValueError with the end of a sentence.
    """
    try:
        parts = urlsplit(address)
        _ = parts.port
    except ValueError:
        parts = urlsplit("")
    if parts.scheme not in POSTGRESQL or not parts.path.strip("/"):
        raise ValueError("it is not of the form postgresql://user@host/database")
    try:
        import_module("psycopg")
    except ImportError:
        raise ValueError(
            "the driver of PostgreSQL is not installed; install donning-room[postgres]"
        ) from None


@cache
def names() -> tuple[str, ...]:
    """Return the environment variables, one a setting."""
    return tuple(f"{PREFIX}{name.upper()}" for name in Settings.model_fields)
