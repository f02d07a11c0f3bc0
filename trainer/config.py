"""Every setting: its default, its environment variable and what it means.

A setting is read from the environment variable `DONNING_ROOM_` + its name in capitals.
A value that cannot be used stops the start with a sentence (`SettingsFault`).
"""

from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field, ValidationError, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

PREFIX = "DONNING_ROOM_"
_PACKAGE = Path(__file__).parent
LANGUAGES = ("en", "es")


class SettingsFault(ValueError):
    """A setting has a value that cannot be used; the text says which and why."""


def content_folder(name: str) -> Path:
    """Return where `lessons`, `questions` or `static` lies: beside the package or in a wheel."""
    carried = _PACKAGE / "carried" / name
    return carried if carried.is_dir() else _PACKAGE.parent / name


class Settings(BaseSettings):
    """The settings of one installation."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, extra="ignore", frozen=True)

    data: Path = Field(
        Path("donning-room-data"), description="folder that keeps the record and the secret key"
    )
    host: str = Field(
        "127.0.0.1", description="address to listen on; the default is this machine only"
    )
    port: int = Field(8000, ge=0, le=65535, description="port to listen on; 0 takes any free one")
    threads: int = Field(6, ge=1, le=64, description="requests answered at the same time")
    address: str = Field(
        "", description="address that people type, for QR codes; empty: as the browser asked"
    )
    behind_tls: bool = Field(
        False, description="true when a proxy in front speaks HTTPS: cookies become Secure"
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
    session_hours: int = Field(12, ge=1, le=24, description="longest time signed in, idle or not")

    @field_validator("time_zone")
    @classmethod
    def _zone_is_known(cls, value: str) -> str:
        if value not in available_timezones():
            raise ValueError("is not a time zone name such as America/Chicago")
        return value

    @property
    def zone(self) -> ZoneInfo:
        """Return the default time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def database_url(self) -> str:
        """Return the address of the embedded database in the data folder."""
        return f"sqlite:///{self.data / 'record.sqlite'}"


def read(**given) -> Settings:
    """Return the settings from the environment; what is `given` (and not None) wins.

    Errors: SettingsFault with one sentence a bad value.
    """
    try:
        return Settings(**{name: value for name, value in given.items() if value is not None})
    except ValidationError as fault:
        raise SettingsFault("\n".join(_sentence(error) for error in fault.errors())) from None


def _sentence(error: dict) -> str:
    name = str(error["loc"][0])
    what = error["msg"].removeprefix("Value error, ")
    return f"The setting {PREFIX}{name.upper()} cannot be {error['input']!r}: {what}."


@cache
def names() -> tuple[str, ...]:
    """Return the environment variables, one a setting."""
    return tuple(f"{PREFIX}{name.upper()}" for name in Settings.model_fields)
