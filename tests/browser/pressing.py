"""A how-to taken its way through a browser: what its steps write, tick and press, on the page that is open."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.utils import timezone, translation

from mill.how_to import FIRST, Step, Task, as_told

DAYS = re.compile(r"in (\d+) days")


def speak(page: Any, code: str) -> None:
    """The book speaks a language to whoever sits at the page, from here on."""
    page.goto("/language/")
    page.locator(f"button[name=language][value={code}]").click()


def in_language(task: Task, code: str) -> list[Step]:
    """Its steps, in the words of the pages in a language."""
    if code == settings.LANGUAGE_CODE:
        return list(task.steps)
    with translation.override(code):
        return [as_told(step) for step in task.steps]


def begins_with(words: str) -> re.Pattern[str]:
    return re.compile(rf"^\s*{re.escape(words)}")


def write(page: Any, label: str, value: str) -> Any:
    """Fill a field in; returns it."""
    field = page.locator("main").get_by_label(begins_with(label)).first
    if value == FIRST:
        options = field.locator("option")
        value = next(o for n in range(options.count()) if (o := options.nth(n).get_attribute("value")))
        field.select_option(value)
    elif found := DAYS.fullmatch(value):
        day = timezone.localdate() + timedelta(days=int(found[1]))
        kind = field.get_attribute("type")
        field.fill(f"{day}T06:00" if kind == "datetime-local" else f"{day}")
    elif field.evaluate("field => field.tagName") == "SELECT":
        field.select_option(label=value)
    else:
        field.fill(value)
    return field


def what_is_pressed(page: Any, words: str) -> Any:
    """The button or link of these very words, else of a name that begins with them: a loom's link also says its kind."""
    for name in (words, begins_with(words)):
        there = [page.get_by_role(role, name=name, exact=True) for role in ("button", "link")]
        there = there[0].or_(there[1])
        if there.count():
            break
    return there.first


def take(page: Any, step: Step, *, before: Callable[[Any, list[Any]], None] | None = None) -> None:
    """Do a step. `before` is given the page and what it fills in, ticks and presses, when all but the pressing is done."""
    touched = [write(page, label, value) for label, value in step.write]
    for label in step.tick:
        boxes = page.locator("main input[type=checkbox]")
        box = (boxes if label == FIRST else page.get_by_label(begins_with(label))).first
        box.check()
        touched.append(box)
    if step.press:
        pressed = what_is_pressed(page, step.press)
        if before:
            before(page, [*touched, pressed])
        pressed.click()
    if step.then:
        page.locator("body").get_by_text(step.then).first.wait_for()
