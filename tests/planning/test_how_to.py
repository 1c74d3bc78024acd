"""How-tos say what they press, are offered on the pages where they are done, and words stand in the order of letters."""

import pytest
from django.urls import reverse

from mill import roles
from mill.how_to import FIRST, TASKS
from mill.words import WORDS


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


def test_every_role_but_the_reader_finds_a_task_or_shares_one():
    assert {task.who for task in TASKS} >= {roles.OWNER, roles.PLANNER, roles.STOCK_KEEPER, roles.FINISHER}


def test_words_are_said_once_each_in_order(desk):
    words = [one.word.lower() for one in WORDS]
    assert words == sorted(set(words))
    page = desk.get(reverse("words")).content.decode()
    assert all(f'id="{one.anchor}"' in page for one in WORDS)
