"""The tasks of the mill, step by step, as a person does them in the book. Knows words of pages, and no page.

Each step says what to press and what to write, in the words that stand on the page: a test takes every task its way
through a browser, so that what is said here is what can be done. A translation leaves those words in English, between
marks: they are said as the page itself says them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from django.utils.translation import gettext, pgettext

from mill.refusal import N_
from mill.retold import retold

FIRST = "the first"


@dataclass(frozen=True)
class Step:
    """One step.

    say      what to do, as it is read; what stands in “ ” is a word of the page
    write    labels of fields, each with what an example writes there; FIRST chooses the first of a list
    tick     labels of boxes to tick; FIRST ticks the first on the page
    press    the words of the button or link that ends the step; empty where nothing is pressed
    then     what stands on the page afterwards
    """

    say: str
    write: tuple[tuple[str, str], ...] = ()
    tick: tuple[str, ...] = ()
    press: str = ""
    then: str = ""


@dataclass(frozen=True)
class Task:
    """Something a person comes to the book for.

    slug    in its address
    who     the role whose work it is
    at      names of the pages that it is offered on
    so      what follows from it: what the book does by itself afterwards
    """

    slug: str
    title: str
    who: str
    at: tuple[str, ...]
    steps: tuple[Step, ...]
    so: str


TASKS: tuple[Task, ...] = (
    Task(
        "place-an-order",
        N_("Write an order down, and see when it can be ready"),
        "planner",
        ("orders", "order_new", "order"),
        (
            Step(N_("Open “Orders”."), press="Orders", then="Place an order"),
            Step(N_("Press “Place an order”."), press="Place an order", then="A new order"),
            Step(
                N_(
                    "Choose the “Customer”, the “Cloth and colourway”, how many “Pieces”, and the"
                    " “Finished length, each” of"
                    " one; say when it is “Due”. Press “Show what it takes” to see kilograms, hours and"
                    " the earliest safe day."
                ),
                write=(
                    ("Customer", FIRST),
                    ("Cloth and colourway", FIRST),
                    ("Pieces", "2"),
                    ("Finished length, each", "60"),
                    ("Due", "in 60 days"),
                ),
                press="Show what it takes",
                then="kg",
            ),
            Step(N_("When it is right, press “Place the order”."), press="Place the order", then="Order"),
        ),
        N_("The yarn’s outlook counts it from now on, and Today says when a line due in six weeks is on no warp."),
    ),
    Task(
        "combine-orders",
        N_("Put order lines together on warps"),
        "planner",
        ("warps", "combine"),
        (
            Step(N_("Open “Warps”."), press="Warps", then="Combine order lines"),
            Step(N_("Press “Combine order lines”."), press="Combine order lines", then="Order lines into warps"),
            Step(
                N_(
                    "Look at each group: which lines share a warp, what it saves, what it would take."
                    " Leave unticked what you"
                    " don’t want, and press “Make the ticked warps”."
                ),
                press="Make the ticked warps",
                then="Warp",
            ),
        ),
        N_("Each warp’s ends, length, beam and yarn are worked out at once; it waits for a place in a plan."),
    ),
    Task(
        "plan-the-looms",
        N_("Plan the looms, and put the plan in force"),
        "planner",
        ("looms", "plans", "plan", "plan_work", "board"),
        (
            Step(N_("Open “Looms”."), press="Looms", then="Plan the looms"),
            Step(
                N_(
                    "Press “Plan the looms” for a plan by the rule chosen beside it, there at once;"
                    " “Improve the plan” looks"
                    " for a better one in the time that you give it."
                ),
                press="Plan the looms",
                then="Put it in force",
            ),
            Step(
                N_(
                    "The plan says what is late in it and why, and how it differs from the one in force. Press “Put"
                    " it in"
                    " force”, or leave it."
                ),
                press="Put it in force",
                then="in force",
            ),
        ),
        N_(
            "Tickets, the draw-down and Today follow the plan in force; what hangs in a loom or is pinned"
            " has not moved."
        ),
    ),
    Task(
        "print-tickets",
        N_("Print the floor’s tickets for a day"),
        "planner",
        ("tickets", "tickets_next", "ticket"),
        (
            Step(N_("Open “Tickets”."), press="Tickets", then="Issue the tickets for"),
            Step(
                N_(
                    "Say the day in “Issue the tickets for” and press “Issue them”: each warp to be"
                    " wound or woven then gets"
                    " its ticket, and keeps the one that still holds."
                ),
                press="Issue them",
                then="Tickets",
            ),
            Step(
                N_("Say the day in “Print the tickets of” and press “Show them for printing”."),
                press="Show them for printing",
                then="Back",
            ),
        ),
        N_(
            "A ticket’s figures are frozen. When the cloth is revised later, the ticket is overtaken: Today"
            " says so, and so"
            " does whoever scans it."
        ),
    ),
    Task(
        "yarn-is-short",
        N_("A yarn runs short"),
        "planner",
        ("yarn", "yarn_one"),
        (
            Step(N_("Open “Yarn”."), press="Yarn", then="Runs short"),
            Step(
                N_("Choose yes in “Runs short” and press “Narrow”: what is left runs short, the soonest day first."),
                write=(("Runs short", "yes"),),
                press="Narrow",
                then="Yarn",
            ),
            Step(N_("Press “New delivery”."), press="New delivery", then="A new delivery"),
            Step(
                N_(
                    "Write its number in “Delivery”, the “Yarn”, how much is “Ordered” and when it is"
                    " “Expected on”. Below the form"
                    " stands what it would do to the yarn. Press “Write it down”."
                ),
                write=(
                    ("Delivery", "E990"),
                    ("Yarn", FIRST),
                    ("Ordered", "120 kg"),
                    ("Expected on", "in 14 days"),
                ),
                press="Write it down",
                then="E990",
            ),
        ),
        N_("The outlook of the yarn is worked out again: the day on which it runs short moves, or goes."),
    ),
    Task(
        "yarn-comes-in",
        N_("Yarn comes in"),
        "stock keeper",
        ("lots", "lot_receive", "deliveries", "delivery"),
        (
            Step(N_("Open “Yarn”."), press="Yarn", then="Yarn comes in"),
            Step(N_("Press “Yarn comes in”."), press="Yarn comes in", then="Yarn comes in"),
            Step(
                N_(
                    "Choose the “Yarn”, write the “Dye lot” from the label, what it weighs as “Net"
                    " mass”, without cones. Press"
                    " “Receive it”."
                ),
                write=(("Yarn", FIRST), ("Dye lot", "7741"), ("Net mass", "50 kg")),
                press="Receive it",
                then="7741",
            ),
        ),
        N_(
            "The lot has its label to print. No warp is given of it before somebody approves its shade,"
            " where the mill asks"
            " for that."
        ),
    ),
    Task(
        "loom-breaks-down",
        N_("A loom breaks down"),
        "planner",
        ("loom", "loom_breaks_down"),
        (
            Step(N_("Open “Looms”."), press="Looms", then="Loom board"),
            Step(N_("Press the loom, here “D1”."), press="D1", then="It stands until"),
            Step(
                N_(
                    "Say how long in “It stands until”, and “Why”. “What if? Only try it” shows what it does and"
                    " changes"
                    " nothing; “It stands: re-plan with few moves” writes it down."
                ),
                write=(("It stands until", "in 2 days"), ("Why", "Gear of the dobby")),
                press="What if? Only try it",
                then="plan",
            ),
        ),
        N_("The re-plan moves few warps and none that is frozen; it waits for your yes like any other plan."),
    ),
    Task(
        "count-a-place",
        N_("Count a place of the store"),
        "stock keeper",
        ("place", "place_count"),
        (
            Step(N_("Open “Store”."), press="Store", then="What lies where"),
            Step(N_("Press “Places”."), press="Places", then="New place"),
            Step(N_("Press the place, here “LOFT”."), press="LOFT", then="Count it"),
            Step(
                N_(
                    "Press “Count it”, weigh what lies there, lot by lot, and write it down; “Count sheet” on the page"
                    " before prints a sheet to walk round with."
                ),
                press="Count it",
                then="Count sheet for paper",
            ),
        ),
        N_("What differs is written into the ledger as a line with its reason; what was there before stays readable."),
    ),
    Task(
        "finish-a-piece",
        N_("Take pieces through the finishing"),
        "finisher",
        ("pieces", "piece", "finishing", "batch"),
        (
            Step(N_("Open “Pieces”."), press="Pieces", then="Finishing"),
            Step(
                N_("Press “Finishing”: what waits for the perch, the menders and each step, the most urgent first."),
                press="Finishing",
                then="Machines",
            ),
            Step(
                N_("Tick the pieces that go in together and press “Sew together, into scour”."),
                tick=(FIRST,),
                press="Sew together, into scour",
                then="It is out",
            ),
            Step(N_("When they are done, press “It is out”."), press="It is out", then="Finishing"),
        ),
        N_(
            "Each piece moves on to the next step of its cloth’s route; measured at the end, it teaches the cloth its"
            " shrinkage."
        ),
    ),
    Task(
        "send-pieces",
        N_("Send pieces to a customer"),
        "finisher",
        ("dispatches", "dispatch_new", "dispatch"),
        (
            Step(N_("Open “Pieces”."), press="Pieces", then="Dispatch"),
            Step(N_("Press “Dispatch”."), press="Dispatch", then="Ready to send"),
            Step(
                N_("Press the customer, here “Send to Pellitory House”."),
                press="Send to Pellitory House",
                then="Send them",
            ),
            Step(N_("Tick the pieces that go and press “Send them”."), press="Send them", then="Dispatch"),
        ),
        N_(
            "The order’s line knows what was sent of it, against its tolerance; the list to print goes with the pieces."
        ),
    ),
    Task(
        "take-somebody-in",
        N_("Let somebody work with the book"),
        "owner",
        ("people", "person_new", "roles"),
        (
            Step(N_("Open “Mill”."), press="Mill", then="People"),
            Step(N_("Press “People”."), press="People", then="Somebody new"),
            Step(N_("Press “Somebody new”."), press="Somebody new", then="Name to sign in by"),
            Step(
                N_(
                    "Write the “Name”, the “Name to sign in by”, and tick the roles, here “finisher”. A"
                    " password can be given"
                    " now or later. Press “Write it down”."
                ),
                write=(("Name", "Wren Askew"), ("Name to sign in by", "wren")),
                tick=("finisher",),
                press="Write it down",
                then="Wren Askew",
            ),
        ),
        N_("Pages, buttons and the API follow the roles; Today begins with the work of whoever looks."),
    ),
    Task(
        "keep-a-backup",
        N_("Write a backup, and know that it is whole"),
        "owner",
        ("backups",),
        (
            Step(N_("Open “Mill”."), press="Mill", then="Backups"),
            Step(N_("Press “Backups”."), press="Backups", then="Write one now"),
            Step(N_("Press “Write one now”. People may go on working."), press="Write one now", then="Backups"),
        ),
        N_("One is written every night as well. Copy them to another machine: a backup beside the book burns with it."),
    ),
)

BY_SLUG = {task.slug: task for task in TASKS}


def tasks_at(page: str) -> list[Task]:
    """The tasks that a page offers, by its name.

    >>> [task.slug for task in tasks_at("tickets")]
    ['print-tickets']
    """
    return [task for task in TASKS if page in task.at]


# Words of a page with a name in them, as the page has them.
WITH_A_NAME = (N_("Sew together, into %(step)s"), N_("Send to %(customer)s"))


def told(words: str) -> str:
    """A sentence of a how-to in the language of the page, and what stands between its marks as pages say it there.

    >>> told("Press “Receive it”.")
    'Press “Receive it”.'
    """
    # Translators: the marks round a word of a page.
    before, after = pgettext("a word of a page", "“ ”").split()
    return re.sub(r"[“„]([^“”„]+)[”“]", lambda word: f"{before}{on_the_page(word[1])}{after}", gettext(words))


def as_told(step: Step) -> Step:
    """A step in the language of the page: what it says, and the words of the page that it writes, ticks and presses."""
    return replace(
        step,
        say=told(step.say),
        write=tuple((on_the_page(label), on_the_page(value)) for label, value in step.write),
        tick=tuple(map(on_the_page, step.tick)),
        press=on_the_page(step.press),
        then=on_the_page(step.then),
    )


def on_the_page(word: str) -> str:
    """A label or a button as it stands on pages in the language of this one."""
    said = gettext(word)
    return retold(word, WITH_A_NAME) if said == word else said
