"""One file brings a language; what is wrong with it shows English, never nothing."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.errors import ConfigError
from pitlogger.model.alerts import KINDS, AlertState
from pitlogger.model.cooks import CUTS, WEIGHABLE, Stage
from pitlogger.model.readings import Quality, Site
from pitlogger.views import language, template, words
from pitlogger.views.language import speak, speaking, tr, trn
from pitlogger.views.shown import mass, percent, temperature

HEAD = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n'


@pytest.fixture(autouse=True)
def english_afterwards() -> Iterator[None]:
    yield
    speak()


def write(folder: Path, name: str, *pairs: tuple[str, str]) -> None:
    text = "".join(f'msgid "{english}"\nmsgstr "{told}"\n\n' for english, told in pairs)
    (folder / f"{name}.po").write_text(HEAD + text, encoding="utf-8")


def test_a_file_brings_a_language(tmp_path: Path) -> None:
    write(tmp_path, "de", ("on the pit", "im Smoker"), ("{names} and {last}", "{names} und {last}"))
    with speaking("de", tmp_path):
        assert words.stage("smoking") == "im Smoker"
        assert tr("{names} and {last}", names="a", last="b") == "a und b"
        assert words.stage("wrapped") == "wrapped"  # not translated yet
    assert words.stage("smoking") == "on the pit"


def test_numbers_are_written_as_in_the_language(tmp_path: Path) -> None:
    write(tmp_path, "de")
    with speaking("de", tmp_path):
        assert mass(4_321_000, "kg") == "4,321 kg"
        assert temperature(-1_500, "C", 1) == "−1,5 C"
        assert percent(0.5321) == "53,2 %"
    assert mass(4_321_000, "kg") == "4.321 kg"


@pytest.mark.parametrize("told", ["{stage} {nothing}", "in {wrap}", "{stage", "{} in {wrap}"])
def test_other_fields_than_the_english_show_english(
    told: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    write(tmp_path, "de", ("{stage} in {wrap}", told))
    with caplog.at_level(logging.WARNING), speaking("de", tmp_path):
        assert tr("{stage} in {wrap}", stage="wrapped", wrap="foil") == "wrapped in foil"
    assert "{stage} in {wrap}" in caplog.text


@pytest.mark.parametrize(
    ("tag", "content"), [("de", None), ("de", "msgid broken"), ("../de", ""), ("zz-zz-zz", "")]
)
def test_what_cannot_be_spoken_is_refused(tag: str, content: str | None, tmp_path: Path) -> None:
    if content is not None:
        (tmp_path / "de.po").write_text(content)
    with pytest.raises(ConfigError, match=f"language '{tag}'"):
        speak(tag, tmp_path)
    assert language.language() == "en"


def test_the_pseudo_locale_is_accented_longer_and_whole() -> None:
    told = template.accented("{piece}: no reading for {gap}")
    assert "{piece}" in told
    assert "{gap}" in told
    assert "reading" not in told
    assert len(told) >= 1.4 * len("{piece}: no reading for {gap}".replace("{piece}", ""))
    with speaking("en-XA"):
        assert words.stage("smoking") == template.accented("on the pit")
        assert trn("{count} alarm", "{count} alarms", 2).startswith("2 ")


@pytest.mark.parametrize(
    ("table", "ids"),
    [
        (words.STAGES, Stage), (words.CHECKPOINTS, WEIGHABLE), (words.CUTS, CUTS),
        (words.SITES, Site), (words.ALERTS, KINDS), (words.QUALITIES, Quality),
        (words.STATES, AlertState),
    ],
)  # fmt: skip
def test_each_id_has_its_word_and_no_other(table: dict[str, object], ids: object) -> None:
    assert set(table) == {str(each) for each in ids}  # type: ignore[attr-defined]


def test_each_word_is_among_the_texts_to_translate() -> None:
    texts = template.template().decode()
    for word in (*words.ALERTS.values(), *words.CUTS.values(), *words.STATES.values()):
        assert f'msgid "{word}"' in texts


@pytest.mark.parametrize(
    ("header", "mark"),
    [("de-AT,de;q=0.9,en;q=0.5", ","), ("en-GB", "."), ("fr", ","), ("ar-EG", "."), ("he", "."),
     ("", None), ("*", None), ("xx-broken", None), ("de;q=1", ","), ("../../etc", None)],
)  # fmt: skip
def test_a_browser_says_its_decimal_mark_by_its_language(header: str, mark: str | None) -> None:
    assert language.decimal_of(header) == mark


def test_the_readers_mark_goes_before_that_of_the_language(tmp_path: Path) -> None:
    write(tmp_path, "de")
    token = language.readers_decimal.set(",")
    assert mass(4_321_000, "kg") == "4,321 kg"
    language.readers_decimal.set(".")
    with speaking("de", tmp_path):
        assert mass(4_321_000, "kg") == "4.321 kg"
    language.readers_decimal.reset(token)


def test_a_language_knows_its_direction(tmp_path: Path) -> None:
    write(tmp_path, "ar")
    assert language.direction() == "ltr"
    with speaking("ar", tmp_path):
        assert language.direction() == "rtl"
        assert mass(4_321_000, "kg") == "4.321 kg"


def test_what_is_put_into_a_text_stays_together_where_one_reads_from_the_right(
    tmp_path: Path,
) -> None:
    write(tmp_path, "he")
    assert tr("{mass} of brisket", mass="6 lb 13 oz") == "6 lb 13 oz of brisket"
    with speaking("he", tmp_path):
        assert tr("{mass} of brisket", mass="6 lb 13 oz") == "\u20686 lb 13 oz\u2069 of brisket"
