"""How-tos say what they press, are offered on the pages where they are done, and words stand in the order of letters."""

import pytest
from django.conf import settings
from django.urls import reverse

from mill import roles
from mill.how_to import FIRST, TASKS
from mill.pictures import FOLDER, LIST, alt_of, has_picture, name_of, pictures, words_of
from mill.words import WORDS
from tests.browser.pressing import in_language


@pytest.mark.parametrize("task", TASKS, ids=lambda task: task.slug)
def test_whatever_a_step_does_it_says_in_the_words_of_the_page(task):
    for step in task.steps:
        for word in (step.press, *step.tick, *(label for label, _ in step.write)):
            assert word == FIRST or f"“{word}”" in " ".join(step.say.split()), (step.say, word)
    assert task.who in roles.ROLES
    assert set(task.at) <= roles.TABLE.keys()
    # Whoever's work it is may do it.
    assert any(roles.may({task.who}, name, "POST") for name in task.at)


def test_a_page_offers_its_tasks_and_each_has_a_page(desk):
    assert b"Print the floor\xe2\x80\x99s tickets for a day" in desk.get(reverse("tickets")).content
    every = desk.get(reverse("how_tos")).content.decode()
    assert every.count("<h2>") == len({task.who for task in TASKS}), "a role's tasks stand together"
    for task in TASKS:
        assert reverse("how_to", args=[task.slug]) in every
        assert desk.get(reverse("how_to", args=[task.slug])).status_code == 200
    assert desk.get(reverse("how_to", args=["something-else"])).status_code == 404


RENEW = "take the pictures anew: DJANGO_SETTINGS_MODULE=mill.settings .venv/bin/python -m tests.browser.pictures"
in_each_language = pytest.mark.parametrize("code", [code for code, _name in settings.LANGUAGES])


def pictured(code):
    """The steps that have a picture, in the words of a language, by the picture's name."""
    steps = [(task, n, step) for task in TASKS for n, step in enumerate(in_language(task, code), start=1)]
    return {name_of(task, n): step for task, n, step in steps if has_picture(n)}


@in_each_language
def test_each_step_has_its_picture_and_no_picture_is_of_words_that_are_gone(code):
    assert {name: picture.words for name, picture in pictures(code).items()} == {
        name: words_of(step) for name, step in pictured(code).items()
    }, RENEW
    assert {path.name for path in (FOLDER / code).iterdir()} == {*(f"{n}.webp" for n in pictured(code)), LIST}, RENEW


def size_px(webp):
    """Width and height of a simple lossy file: RFC 9649, the frame header of VP8 after its start code."""
    at = webp.index(b"\x9d\x01\x2a") + 3
    width, height = (int.from_bytes(webp[n : n + 2], "little") & 0x3FFF for n in (at, at + 2))
    return width, height


@in_each_language
def test_pictures_are_small_and_of_the_size_that_the_page_keeps_free_for_them(code):
    files = {name: (FOLDER / code / f"{name}.webp").read_bytes() for name in pictured(code)}
    assert {name: (p.width, p.height) for name, p in pictures(code).items()} == {
        n: size_px(f) for n, f in files.items()
    }
    assert max(map(len, files.values())) < 40_000
    assert sum(map(len, files.values())) < 1_200_000


def test_a_how_to_shows_its_pictures(desk):
    for task in TASKS:
        page = desk.get(reverse("how_to", args=[task.slug])).content.decode()
        for n, step in enumerate(task.steps, start=1):
            assert (f"how-to/en-gb/{name_of(task, n)}" in page) == has_picture(n)
            assert (f'alt="{alt_of(step)}" width="' in page) == has_picture(n)


def test_every_role_but_the_reader_finds_a_task_or_shares_one():
    assert {task.who for task in TASKS} >= {roles.OWNER, roles.PLANNER, roles.STOCK_KEEPER, roles.FINISHER}


def test_words_are_said_once_each_in_order(desk):
    words = [one.word.lower() for one in WORDS]
    assert words == sorted(set(words))
    page = desk.get(reverse("words")).content.decode()
    assert all(f'id="{one.anchor}"' in page for one in WORDS)
