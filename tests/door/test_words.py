"""Words are apart from code: each language has every text, with the same values in it; none is asked for that is not there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from panelward.door.words import LANGUAGES, texts, wanted, words

ROOM = Path(__file__).parents[2] / "agent" / "panelward" / "door"
PLACE = re.compile(r"{(\w+)}")


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_each_language_says_all_of_it(language: str) -> None:
    own, english = texts(language), texts("en")
    assert own.keys() == english.keys()
    for key, text in english.items():
        assert sorted(PLACE.findall(own[key])) == sorted(PLACE.findall(text)), key
        assert own[key].strip() == own[key] != "", key


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_it_is_another_language(language: str) -> None:
    """A text that was left in English would be found: only what speaks when a page fails is the same, and one verb."""
    own, english = texts(language), texts("en")
    same = {key for key, text in english.items() if own[key] == text and re.search("[a-z]{4}", PLACE.sub("", text))}
    assert same - {"page.went_wrong"} == ({"first.ring_name"} & same if language == "nb" else set())


def test_every_text_that_a_page_asks_for_is_there_and_none_is_left_over() -> None:
    asked: set[str] = set()
    made: list[str] = []  # keys put together: their beginning
    for path in (*ROOM.glob("*.py"), *(ROOM / "templates").glob("*.html")):
        text = path.read_text("utf-8")
        asked |= set(re.findall(r'"([a-z]+\.[a-z0-9_-]+)"', text)) | set(re.findall(r"'([a-z]+\.[a-z0-9_-]+)'", text))
        made += (
            re.findall(r't\("([a-z]+\.)" ~', text)
            + re.findall(r't\(f"([a-z]+\.)\{', text)
            + re.findall(r't\(request, f"([a-z]+\.)\{', text)
        )
    known = texts("en").keys()
    pages = {key.partition(".")[0] for key in known}
    assert (
        sorted(
            key
            for key in asked
            if key.partition(".")[0] in pages
            and key not in known
            and key != "page.name"
            and not key.endswith((".html", ".css", ".js"))
        )
        == []
    )
    # What nobody asks for is no word of a page.
    left = [key for key in known if key not in asked and not key.startswith(tuple(made))]
    assert left == []


def test_the_longest_texts_of_a_language_are_known() -> None:
    """Other languages run longer: a key of the page must still be a key. Measured, not guessed."""
    for language in LANGUAGES:
        for key in ("first.seen", "first.meant", "first.ring", "meant.hour", "meant.morning", "behind.note_do"):
            assert len(texts(language)[key]) <= 40, (language, key)


@pytest.mark.parametrize(
    ("accepts", "chosen", "language"),
    [
        ("", None, "en"),
        ("de-CH, en;q=0.8", None, "de"),
        ("fr, nn;q=0.9, en;q=0.1", None, "nb"),
        ("no", None, "nb"),
        ("de;q=0, en", None, "en"),
        ("xx;q=frog, de;q=0.2", None, "de"),
        ("de", "nb", "nb"),
        ("de", "../en", "de"),
        ("*" * 5000, None, "en"),
    ],
)
def test_the_language_of_an_answer(accepts: str, chosen: str | None, language: str) -> None:
    assert wanted(accepts, chosen) == language


def test_a_text_takes_its_values_as_they_are() -> None:
    """Nothing in a value is taken for a placeholder."""
    assert words("en")("answer.seen", who="{at} {0}") == "Seen, by {at} {0}."
