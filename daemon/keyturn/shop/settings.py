"""The shop's settings: `keyturn.toml` in its root folder. A KEYTURN_ variable of the environment goes before it.

All wrong settings are reported at once, as a fault of the shop.
"""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, SecretStr, ValidationError

from keyturn.shop.language_codes import LanguageCode
from keyturn.shop.reasons import ShopFault

FILE_NAME = "keyturn.toml"

PREFIX = "KEYTURN_"
"""How the names of variables begin that are settings."""

SHEET_MB = 6.0
"""Most megabytes of a sheet. Many mail boxes refuse more than 10 MB, and a message grows by a third on its way."""


def _crew_address(value: str) -> str:
    if value != "local" and not re.fullmatch(r"(tcp|tls)://([\w.-]+|\[[\da-fA-F:.]+\]):\d{1,5}", value):
        raise ValueError('is neither "local" nor a Dask scheduler\'s address such as "tcp://10.0.0.5:8786"')
    return value


CrewAddress = Annotated[str, AfterValidator(_crew_address)]


Words = Annotated[str, Field(max_length=200)]


def _mail_address(value: str) -> str:
    if value and not re.fullmatch(r"[^\s@<>?&\"]+@[^\s@<>?&\"]+", value):
        raise ValueError('is no mail address such as "shop@example.org"')
    return value


def _web_address(value: str) -> str:
    if value and not re.fullmatch(r"https?://[^\s<>\"]+", value):
        raise ValueError('is no address such as "https://example.org"')
    return value


class _Table(BaseModel):
    """Settings that belong together. Keys that are not known are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class SettleSettings(_Table):
    """How long a drop must stay unchanged before it is taken.

    A drop without a manifest, or with a name that looks half-copied, may still be arriving, so the wait is longer. It
    does end: the drop is then refused, and the artist hears that the copy broke off.

    `closed_seconds` goes for drops of which the system shows that nobody has a file open for writing. `done` names a
    file that artists put in last: no folder is taken without it; "" asks for none. `doubt_seconds`: how long a drop
    that looks as if it were still being copied is left alone, each time, before it is refused.
    """

    seconds: Annotated[float, Field(ge=0, le=3600)] = 5.0
    without_manifest_seconds: Annotated[float, Field(ge=0, le=86_400)] = 120.0
    half_copied_seconds: Annotated[float, Field(ge=0, le=7 * 86_400)] = 3600.0
    closed_seconds: Annotated[float, Field(ge=0, le=3600)] = 2.0
    doubt_seconds: tuple[Annotated[float, Field(ge=0, le=86_400)], ...] = (60.0, 300.0)
    done: Annotated[str, Field(pattern=r"^[^/]*$", max_length=255)] = ""


class KeepSettings(_Table):
    """How many days archive and rejects are kept and how many GiB they may take; 0 is no limit.

    `frames_gib` is what finished frames may take that are kept for later revisions; with 0 none are.
    """

    archive_days: Annotated[float, Field(ge=0)] = 0
    rejects_days: Annotated[float, Field(ge=0)] = 0
    archive_gib: Annotated[float, Field(ge=0)] = 0
    rejects_gib: Annotated[float, Field(ge=0)] = 0
    frames_gib: Annotated[float, Field(ge=0, le=1024)] = 2


class HookSettings(_Table):
    """Commands that run after each outcome, and after a customer's answer: a program and its arguments, not a shell
    line. Empty: none runs.

    `seconds` is how long one may run.
    """

    ready: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    answered: tuple[str, ...] = ()
    seconds: Annotated[float, Field(gt=0, le=600)] = 20.0


class NotifySettings(_Table):
    """Addresses that hear by message, in the form that Apprise reads. They may hold passwords: none is ever shown.

    `ready` and `refused` are about drops, `answered` about a customer's answer, `paused` about the service.
    """

    model_config = ConfigDict(hide_input_in_errors=True)

    ready: tuple[SecretStr, ...] = ()
    refused: tuple[SecretStr, ...] = ()
    answered: tuple[SecretStr, ...] = ()
    paused: tuple[SecretStr, ...] = ()


class ShopSettings(_Table):
    """Whose papers these are: stands on sheets, cards, the board and INSTALL.txt.

    `logo` is a picture's path from the shop's root.
    """

    name: Words = ""
    address: Annotated[tuple[Words, ...], Field(max_length=6)] = ()
    phone: Words = ""
    mail: Annotated[Words, AfterValidator(_mail_address)] = ""
    website: Annotated[Words, AfterValidator(_web_address)] = ""
    logo: str = ""


class SheetSettings(_Table):
    """Most megabytes of a customer's sheet."""

    megabytes: Annotated[float, Field(ge=1, le=50)] = SHEET_MB


class ApprovalSettings(_Table):
    """`required`: no revision goes on a stick without the customer's yes."""

    required: bool = False


class LogSettings(_Table):
    """From which level on is logged, and a file that gets the lines besides standard error; "" for none."""

    level: Literal["TRACE", "DEBUG", "INFO", "SUCCESS", "WARNING", "ERROR"] = "INFO"
    file: str = ""


class Settings(_Table):
    """All settings. `workers` 0: one a processor core. `crew`: "local", or the address of a Dask scheduler.

    `language` is that of the papers: sheets, cards, INSTALL.txt and rejects pages.
    A drop that is set aside for a fault of its own is tried again every `retry_aside_minutes`. `drops_at_once` drops
    are made side by side at most, one of them large; one in a rush is begun beside them.
    """

    settle: SettleSettings = Field(default_factory=SettleSettings)
    retry_aside_minutes: Annotated[float, Field(gt=0, le=1440)] = 15.0
    scan_seconds: Annotated[float, Field(gt=0, le=600)] = 5.0
    watch: Literal["auto", "events", "polling"] = "auto"
    workers: Annotated[int, Field(ge=0, le=256)] = 0
    drops_at_once: Annotated[int, Field(ge=1, le=16)] = 2
    crew: CrewAddress = "local"
    keep: KeepSettings = Field(default_factory=KeepSettings)
    hooks: HookSettings = Field(default_factory=HookSettings)
    notify: NotifySettings = Field(default_factory=NotifySettings)
    log: LogSettings = Field(default_factory=LogSettings)
    shop: ShopSettings = Field(default_factory=ShopSettings)
    language: LanguageCode = "en"
    sheet: SheetSettings = Field(default_factory=SheetSettings)
    approval: ApprovalSettings = Field(default_factory=ApprovalSettings)


def load(root: Path) -> Settings:
    """Return the settings of the shop in `root`.

    Raise `ShopFault` naming each wrong field, and OSError where the file is there and cannot be read.
    """
    try:
        return _with_environment(_read(root / FILE_NAME))
    except ValidationError as error:
        what = _wrong_fields(error)
    except ValueError as error:  # not TOML, or not even text
        what = str(error)
    raise ShopFault(f"{FILE_NAME} (or a {PREFIX} variable) is wrong: {what}", f"mend {FILE_NAME}")


def without_shop() -> Settings:
    """Return the settings where there is no shop: what the environment says, and the defaults. Raise as `load` does."""
    try:
        return _with_environment({})
    except ValidationError as error:
        raise ShopFault(f"a {PREFIX} variable is wrong: {_wrong_fields(error)}", "mend the environment") from error


def _wrong_fields(error: ValidationError) -> str:
    return "; ".join(f"{'.'.join(map(str, p['loc']))}: {p['msg']}" for p in error.errors())


def _with_environment(values: dict[str, Any]) -> Settings:
    """Return the settings of the file's `values` and the environment. Raise `ValidationError` where they are wrong."""
    if not any(map(_is_setting, os.environ)):
        return Settings.model_validate(values)
    # imported only here: it takes as long as all that `keyturn status` does
    from pydantic_settings import BaseSettings, InitSettingsSource, PydanticBaseSettingsSource, SettingsConfigDict

    class InEnvironment(Settings, BaseSettings):
        model_config = SettingsConfigDict(env_prefix=PREFIX, env_nested_delimiter="__")

        @classmethod
        def settings_customise_sources(
            cls, settings_cls: type[BaseSettings], *sources: PydanticBaseSettingsSource, **named: Any
        ) -> tuple[PydanticBaseSettingsSource, ...]:
            return named["env_settings"], InitSettingsSource(settings_cls, values)

    return Settings.model_validate(dict(InEnvironment()))


def _is_setting(variable: str) -> bool:
    """Tell whether a variable of the environment is a setting: KEYTURN_ROOT, for example, is none."""
    name = variable.upper()
    return name.startswith(PREFIX) and name.removeprefix(PREFIX).partition("__")[0].lower() in Settings.model_fields


def _read(path: Path) -> dict[str, Any]:
    """Return the file's keys, none where it is missing.

    pydantic's own reader takes a file that cannot be read for one that is missing.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return {}
