"""Every language has every word, with the same braces; names that other parts define have a word."""

import string
from typing import get_args

import pytest

from analysis.summary import Doing
from dashboard.languages import chosen, languages
from logger.record.causes import CAUSES
from logger.record.channels import CHANNELS

ENGLISH = languages()["en"]
OTHERS = [code for code in languages() if code != "en"]


def braces(text):
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def texts(words, key):
    value = words._flat[key]
    return value if isinstance(value, list) else [value]


def test_there_are_at_least_three():
    assert {"en", "fr", "pt"} <= set(languages())


@pytest.mark.parametrize("code", OTHERS)
def test_the_same_keys(code):
    assert languages()[code].keys() == ENGLISH.keys()


@pytest.mark.parametrize("code", OTHERS)
def test_the_same_braces(code):
    other = languages()[code]
    for key in ENGLISH.keys():  # noqa: SIM118 -- not a dict
        mine, theirs = ({b for text in texts(words, key) for b in braces(text)} for words in (ENGLISH, other))
        assert mine == theirs, key


@pytest.mark.parametrize("code", OTHERS)
def test_as_many_steps_and_months(code):
    other = languages()[code]
    for key in [*(f"cause.{name}.do" for name in CAUSES), "language.months"]:
        assert len(other.list(key)) == len(ENGLISH.list(key)), key


@pytest.mark.parametrize(
    "key",
    [
        *(f"cause.{name}.name" for name in CAUSES),
        *(f"cause.{name}.do" for name in CAUSES),
        *(f"part.{part}" for cause in CAUSES.values() for part in cause.parts),
        *(f"quantity.{cause.quantity.replace(' ', '-')}" for cause in CAUSES.values() if cause.quantity),
        *(f"unit.{cause.unit}" for cause in CAUSES.values() if cause.unit and cause.unit != "h"),
        *(f"channel.{name}" for name in CHANNELS),
        *(f"doing.{name}" for name in get_args(Doing)),
    ],
)
def test_names_of_other_parts_have_a_word(key):
    assert ENGLISH.has(key)


@pytest.mark.parametrize(
    ("code", "wishes", "spoken"),
    [
        (None, "", "en"),
        (None, "fr-CI,fr;q=0.9,en;q=0.5", "fr"),
        (None, "xh;q=0.9, pt;q=0.8, en;q=0.1", "pt"),
        (None, "en;q=0.1, fr;q=0.8", "fr"),
        (None, "zu, *;q=broken", "en"),
        ("pt", "fr", "pt"),
        ("tlh", "fr", "fr"),
    ],
)
def test_the_language_is_chosen_then_wished_then_english(code, wishes, spoken):
    assert chosen(code, wishes).code == spoken


def test_a_page_in_each_language(service):
    for code, words in languages().items():
        service.post("/language", data={"code": code, "back": "/fleet"})
        page = service.get("/sites/klip-fontein")
        assert f'<html lang="{code}">' in page.text
        assert words("sign.act") in page.text
        for finding in ("/sites/lang-vlei/findings/lang-vlei-20260228T1800Z-1", "/fleet"):
            assert service.get(finding).status_code == 200
