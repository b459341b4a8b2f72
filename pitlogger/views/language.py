"""The language people read: English by default, any other from one ``.po`` file.

English texts are the keys (GNU gettext). A process speaks one language; ``speak`` chooses it when
the process starts. A text that a catalogue lacks, or translates with other ``{fields}`` than the
English has, is shown in English.
"""

from __future__ import annotations

import logging
import string
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from gettext import GNUTranslations, NullTranslations
from importlib import resources
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from pitlogger.errors import ConfigError

if TYPE_CHECKING:
    from babel.messages.catalog import Message

log = logging.getLogger(__name__)

ENGLISH = "en"
PSEUDO = "en-XA"  # the pseudo-locale of Unicode CLDR: accented and longer English, made not written


@dataclass(frozen=True, slots=True)
class Language:
    """A catalogue of texts, with how its readers write numbers and days.

    Attributes:
        tag: BCP 47, such as ``en`` or ``de-AT``.
        numbers: The locale whose decimal mark and names of days are used.
        texts_of_fields: The English texts that have ``{fields}``.
    """

    tag: str
    texts: NullTranslations
    numbers: str = ENGLISH
    decimal: str = "."
    direction: str = "ltr"
    texts_of_fields: tuple[str, ...] = ()


_ENGLISH = Language(ENGLISH, NullTranslations())
# The decimal mark of the browser that is answered, where it named its language.
readers_decimal: ContextVar[str | None] = ContextVar("readers_decimal", default=None)
# The locale it writes days and dates in, likewise.
readers_locale: ContextVar[str | None] = ContextVar("readers_locale", default=None)


class _Voice:
    """What the process speaks; threads share it."""

    speaks: Language = _ENGLISH


def mark(message: str) -> str:
    """Mark a text for the catalogue where it is written; it is translated where it is shown."""
    return message


def tr(message: str, /, **fields: object) -> str:
    """Return a text in the language spoken, its ``{fields}`` filled in."""
    text = _Voice.speaks.texts.gettext(message) if message else ""
    return text.format(**_apart(fields)) if fields else text


def trn(one: str, many: str, count: int, /, **fields: object) -> str:
    """Return the form of a text that goes with a count, which fills in ``{count}``."""
    return _Voice.speaks.texts.ngettext(one, many, count).format(count=count, **_apart(fields))


def _apart(fields: Mapping[str, object]) -> Mapping[str, object]:
    """Return what is put into a text, kept together where it is written from right to left.

    Source: Unicode UAX 9, 2.4: isolates; else "6 lb 13 oz" would read "lb 13 oz 6" there.
    """
    if _Voice.speaks.direction != "rtl":
        return fields
    return {name: f"\u2068{value}\u2069" for name, value in fields.items()}


def figure(text: str) -> str:
    """Return a number, as Python writes it, with the decimal mark of who reads it."""
    mark = readers_decimal.get() or _Voice.speaks.decimal
    return text if mark == "." else text.replace(".", mark)


@lru_cache(maxsize=64)
def decimal_of(accept_language: str) -> str | None:
    """Return the decimal mark of the first language of a browser, ``None`` where it is not known.

    Args:
        accept_language: The header (RFC 9110, 12.5.4), such as ``de-AT,de;q=0.9,en;q=0.5``.
    """
    first = accept_language.partition(",")[0].partition(";")[0].strip()
    if first.partition("-")[0] in ("", "*", ENGLISH):  # nothing is loaded for most
        return "." if first.startswith(ENGLISH) else None
    from babel.core import Locale, UnknownLocaleError
    from babel.numbers import get_decimal_symbol

    with suppress(ValueError, UnknownLocaleError):
        return get_decimal_symbol(Locale.parse(first, sep="-"), numbering_system="latn")
    return None


@lru_cache(maxsize=64)
def locale_of(accept_language: str) -> str | None:
    """Return the locale of the first language of a browser, ``None`` where it is not known."""
    first = accept_language.partition(",")[0].partition(";")[0].strip()
    if first.partition("-")[0] in ("", "*"):
        return None
    if first in (ENGLISH, "en-US", "en-GB"):
        return first.replace("-", "_")  # nothing is loaded for most
    from babel.core import Locale, UnknownLocaleError

    with suppress(ValueError, UnknownLocaleError):
        return str(Locale.parse(first, sep="-"))
    return None


def direction() -> str:
    """Return the way the language is written: ``ltr`` or ``rtl``."""
    return _Voice.speaks.direction


def _dates_locale() -> str:
    return readers_locale.get() or _Voice.speaks.numbers


def day(at: datetime) -> str:
    """Return the short name of a weekday."""
    if (locale := _dates_locale()).startswith(ENGLISH):
        return f"{at:%a}"
    from babel.dates import format_date

    return format_date(at, "EEE", locale=locale)


def date(at: datetime, *, with_year: bool = False) -> str:
    """Return a weekday with its date as who reads it writes them (CLDR, ``MMMEd``)."""
    locale = _dates_locale()
    if locale == "en_US":
        return f"{at:%a}, {at:%b} {at.day}{f', {at:%Y}' if with_year else ''}"
    if locale in (ENGLISH, "en_GB"):
        return f"{at:%a %d %b %Y}" if with_year else f"{at:%a %d %b}"
    from babel.dates import format_skeleton

    return format_skeleton("yMMMEd" if with_year else "MMMEd", at, locale=locale)


def spoken_now() -> Language:
    """Return the language spoken, with its texts."""
    return _Voice.speaks


def language() -> str:
    """Return the tag of the language spoken."""
    return _Voice.speaks.tag


def speak(tag: str = ENGLISH, folder: Path | None = None) -> None:
    """Speak a language from now on, in this process.

    Args:
        tag: ``en``, ``en-XA`` or a language whose ``TAG.po`` is shipped or lies in ``folder``.

    Raises:
        ConfigError: There is no such file, or it cannot be read.
    """
    _Voice.speaks = _ENGLISH if tag == ENGLISH else _load(tag, folder)


@contextmanager
def speaking(tag: str, folder: Path | None = None) -> Iterator[None]:
    """Speak a language for a while."""
    before = _Voice.speaks
    speak(tag, folder)
    try:
        yield
    finally:
        _Voice.speaks = before


def _load(tag: str, folder: Path | None) -> Language:
    from babel.core import Locale, UnknownLocaleError
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import PoFileError, read_po
    from babel.numbers import get_decimal_symbol

    try:
        numbers = Locale.parse("de" if tag == PSEUDO else tag, sep="-")
        catalog = read_po(BytesIO(_text(tag, folder)), abort_invalid=True)
    except (ValueError, UnknownLocaleError, PoFileError) as fault:
        raise ConfigError(f"language '{tag}' cannot be read: {fault}") from None
    for message in list(catalog):
        if message.id and message.string and not _fields_agree(message):
            log.warning("%s.po: other {fields} than the English, left out: %r", tag, message.id)
            catalog.delete(message.id)
    compiled = BytesIO()
    write_mo(compiled, catalog)
    compiled.seek(0)
    return Language(
        tag, GNUTranslations(compiled), str(numbers),
        get_decimal_symbol(numbers, numbering_system="latn"), numbers.text_direction,
        tuple(one.id for one in catalog if isinstance(one.id, str) and "{" in one.id),
    )  # fmt: skip


def _text(tag: str, folder: Path | None) -> bytes:
    if tag == PSEUDO:
        from pitlogger.views.template import pseudo

        return pseudo()
    name = f"{tag}.po"
    shipped = resources.files("pitlogger.views") / "languages" / name
    for place in (*((folder / name,) if folder is not None else ()), shipped):
        if place.is_file():
            return bytes(place.read_bytes())
    where = f" in {folder}" if folder is not None else ""
    raise ConfigError(
        f"language '{tag}' is not there: {name} was expected{where}; "
        "'pitlogger config language' prints the texts to translate"
    )


def _fields_agree(message: Message) -> bool:
    """Return whether a translation fills in what the English does; a plural may leave some out."""
    english, told = (
        (texts,) if isinstance(texts, str) else tuple(texts or ())
        for texts in (message.id, message.string)
    )
    known = set().union(*map(_fields, english))
    try:
        return all(
            _fields(form) <= known and (message.pluralizable or _fields(form) == known)
            for form in told
        )
    except ValueError:
        return False


def _fields(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
