"""What is told of the configuration's keys is what the program takes."""

from __future__ import annotations

import tomllib

import pytest

from arraygauge.config import Configuration, parse_configuration
from arraygauge.config.load import SECTIONS
from arraygauge.config.meaning import MEANING
from arraygauge.config.reference import configuration_reference
from arraygauge.errors import ConfigurationError
from arraygauge.tell.configuration import (
    KeyWords,
    SectionWords,
    reference_markdown,
    reference_text,
)

REFERENCE = configuration_reference()
BY_NAME = {section.name: section for section in REFERENCE}
WHOLE = [section for section in REFERENCE if not any(key.required for key in section.keys)]
"""Those that a file may have with nothing in them."""


def key(section: str, name: str) -> KeyWords:
    [found] = [each for each in BY_NAME[section].keys if each.name == name]
    return found


def test_every_section_and_key_is_told_and_no_phrase_is_of_a_key_that_is_gone() -> None:
    assert list(BY_NAME) == list(Configuration.model_fields)
    for name, model in SECTIONS.items():
        if name:
            assert set(MEANING[name]) == set(model.model_fields), name
    assert set(MEANING) == set(SECTIONS) - {""}


def test_what_a_key_means_is_a_sentence() -> None:
    for section in REFERENCE:
        assert section.about.endswith("."), section.name
        for each in section.keys:
            assert each.meaning.endswith("."), (section.name, each.name)
            assert each.meaning[0].isupper() or each.meaning[0].isdigit()


@pytest.mark.parametrize("section", WHOLE, ids=lambda section: section.name)
def test_defaults_that_are_written_out_are_those_that_hold(section: SectionWords) -> None:
    """A file with all of a section's defaults in it is the same as one without."""
    lines = [f"{each.name} = {each.default}" for each in section.keys if each.default is not None]
    assert not section.repeated
    written = parse_configuration("\n".join([section.header, *lines]), "written out")
    assert getattr(written, section.name) == SECTIONS[section.name]()


@pytest.mark.parametrize(
    ("section", "name", "words"),
    [
        ("run", "listen_port", ("whole number", "at least 0, at most 65535", "9847")),
        ("probe", "max_bytes", ("bytes, or a text such as '256 MiB'", "more than 0", '"1 GiB"')),
        (
            "write_probe",
            "file_bytes",
            (
                "bytes, or a text such as '256 MiB'",
                "at least 16 MiB, at most 1024 GiB",
                '"256 MiB"',
            ),
        ),
        ("drive", "read_mb_per_second", ("number", "more than 0", None)),
        ("footage", "megabits_per_second", ("number", "more than 0, at most 10000000", None)),
        ("journal", "enabled", ("true or false", "", "true")),
        ("webhook", "secret_header", ("text", "", '"Authorization"')),
        ("budget", "quiet_hours", ("list of texts", "", "[]")),
    ],
)
def test_kinds_bounds_and_defaults_of_some(
    section: str, name: str, words: tuple[str, str, str | None]
) -> None:
    told = key(section, name)
    assert (told.kind, told.bounds, told.default) == words


def test_bounds_are_those_that_a_value_is_held_to() -> None:
    with pytest.raises(ConfigurationError, match="listen_port"):
        parse_configuration("[run]\nlisten_port = 65536", "a file")
    with pytest.raises(ConfigurationError, match="megabits_per_second"):
        parse_configuration("[[footage]]\narray = 'md0'\nmegabits_per_second = 10000001", "a file")


def test_choices_are_told_as_a_file_has_them() -> None:
    assert "'critical'" in key("journal", "least_severity").kind
    assert "'64b/66b'" in key("uplink", "encoding").kind


def test_required_keys_are_those_without_which_a_section_is_refused() -> None:
    assert key("drive", "match").required
    assert key("exposure", "username").required
    assert not key("webhook", "name").required


def test_the_file_of_all_keys_has_nothing_in_force() -> None:
    text = reference_text(REFERENCE)
    assert tomllib.loads(text) == {}
    for section in REFERENCE:
        assert f"# {section.header}\n" in text
        assert all(f"# {each.name} = " in text for each in section.keys)


def test_the_page_has_a_row_for_each_key_with_four_cells() -> None:
    rows = [line for line in reference_markdown(REFERENCE).splitlines() if line.startswith("| `")]
    assert len(rows) == sum(len(section.keys) for section in REFERENCE)
    assert all(row.count(" | ") == 3 for row in rows)
