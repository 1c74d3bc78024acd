"""Today: what is late, short, standing, overtaken or due, the one thing to do about each, and what that changes.

First what is the work of whoever looks, by their roles; then how much of the rest there is, and where.
"""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from inventory.services import notice_the_day
from mill import roles
from mill.desk import room
from mill.roles import FINISHER, OWNER, PLANNER, STOCK_KEEPER, WARPER, WEAVER
from planning.models import PlanRun
from planning.services import actuals, beginning, finishing, retiming
from planning.views.today import office, pieces, shed, yarn
from planning.views.today.entry import Chapter, chapter


def chapters() -> list[Chapter]:
    """All of the day-book, in the order of a planner's morning."""
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    woven = actuals.run_outs()
    to_finish = list(finishing.to_finish())
    return [
        chapter(
            "Overdue", office.overdue_lines(), all_well="Nothing is overdue.", at=reverse("orders"), roles=[PLANNER]
        ),
        chapter(
            "Late by the plan",
            shed.late_warps(run),
            all_well="Nothing is late.",
            at=reverse("looms"),
            roles=[PLANNER],
        ),
        chapter(
            "On the looms now",
            shed.late_as_woven(woven),
            all_well="Every warp in a loom runs, and comes off in time.",
            at=reverse("actuals"),
            roles=[PLANNER, WEAVER],
        ),
        chapter(
            "Woven out within a day",
            shed.running_out(woven, run),
            all_well="No loom runs out of warp before tomorrow.",
            at=reverse("floor_looms"),
            roles=[WEAVER],
            is_routine=True,
        ),
        chapter(
            "Waiting for a decision",
            [*office.plans_offered(), *office.holidays_to_write()],
            all_well="No plan waits for a yes or no.",
            at=reverse("plans"),
            roles=[PLANNER],
            is_routine=True,
        ),
        chapter(
            "Short of yarn",
            yarn.short_yarns(),
            all_well="No yarn runs short.",
            at=reverse("yarn"),
            roles=[PLANNER, STOCK_KEEPER],
        ),
        chapter(
            "On no warp yet",
            office.waiting_lines(),
            all_well="Nothing due in six weeks waits.",
            at=reverse("combine"),
            roles=[PLANNER],
        ),
        chapter(
            "Looms that stand",
            shed.standing_looms(run),
            all_well="Every loom has a warp.",
            at=reverse("looms"),
            roles=[PLANNER],
        ),
        chapter(
            "Tickets to issue",
            office.tickets_to_issue(),
            all_well="Every warp to be wound by tomorrow has its ticket.",
            at=reverse("tickets_next"),
            roles=[PLANNER],
            is_routine=True,
        ),
        chapter(
            "Overtaken tickets",
            office.overtaken_tickets(),
            all_well="Every ticket on the floor holds.",
            at=reverse("tickets"),
            roles=[PLANNER],
        ),
        chapter(
            "Can’t be woven as it stands",
            office.troubled_warps(),
            all_well="Every warp works out.",
            at=reverse("warps"),
            roles=[PLANNER],
        ),
        chapter(
            "Yarn to draw",
            shed.yarn_to_draw(run),
            all_well="No warp to be wound by tomorrow waits for its yarn.",
            at=reverse("warps"),
            roles=[STOCK_KEEPER, WARPER],
            is_routine=True,
        ),
        chapter(
            "To wind",
            shed.to_wind(run),
            all_well="No drawn yarn waits for winding.",
            at=reverse("warps"),
            roles=[WARPER],
            is_routine=True,
        ),
        chapter(
            "To gait and begin",
            shed.to_gait(run),
            all_well="No warp goes into a loom before tomorrow.",
            at=reverse("looms"),
            roles=[WEAVER],
            is_routine=True,
        ),
        chapter(
            "Waiting to be finished",
            pieces.waiting_pieces(to_finish),
            all_well="No piece waits.",
            at=reverse("finishing"),
            roles=[FINISHER],
            is_routine=True,
        ),
        chapter(
            "In the finishing",
            pieces.batches_in(),
            all_well="No batch is in.",
            at=reverse("finishing"),
            roles=[FINISHER],
            is_routine=True,
        ),
        chapter(
            "Ready to send",
            pieces.ready_to_send(),
            all_well="Nothing ready waits to be sent.",
            at=reverse("dispatches"),
            roles=[FINISHER],
            is_routine=True,
        ),
        chapter(
            "Yarn expected",
            yarn.due_deliveries(),
            all_well="No delivery is overdue.",
            at=reverse("deliveries"),
            roles=[PLANNER, STOCK_KEEPER],
        ),
        chapter(
            "Shades to compare",
            yarn.unapproved_shades(),
            all_well="Every lot’s shade is approved.",
            at=f"{reverse('lots')}?shade=false",
            roles=[STOCK_KEEPER],
        ),
        chapter(
            "Due in the store",
            yarn.store_care_due(),
            all_well="Every place is looked over, and every lure fresh.",
            at=reverse("store_due"),
            roles=[STOCK_KEEPER],
        ),
        chapter(
            "In quarantine",
            yarn.quarantined_lots(),
            all_well="No lot is in quarantine.",
            at=reverse("store"),
            roles=[STOCK_KEEPER],
        ),
        chapter(
            "Claims",
            yarn.claims_open(),
            all_well="No claim waits to be sent or answered.",
            at=reverse("claims"),
            roles=[STOCK_KEEPER],
        ),
        chapter(
            "The book itself",
            [*office.book_kept(), *office.given_up()],
            all_well="It is backed up, and all work in the background is done.",
            at=reverse("work"),
            roles=[OWNER],
        ),
    ]


@dataclass(frozen=True)
class DayBook:
    """The day-book as one person opens it.

    own         chapters of their roles
    elsewhere   the others that are not empty
    next        of a book that is being begun, what is written down next
    """

    own: list[Chapter]
    elsewhere: list[Chapter]
    next: beginning.Step | None


def day_book(user: Any) -> DayBook:
    """Looks first whether a new day has begun, and whether the plan's times still hold."""
    notice_the_day()
    retiming.look(PlanRun.objects.filter(state=PlanRun.IN_FORCE).first())
    held = roles.roles_of(user)
    rows = chapters()
    # An owner who does nothing else keeps an eye on all of it.
    own = rows if held <= {OWNER, roles.READER} else [row for row in rows if row.roles & held]
    return DayBook(
        own=own,
        elsewhere=[row for row in rows if row not in own and row.n],
        next=beginning.next_step() if beginning.is_under_way() else None,
    )


@require_GET
@room("today")
def today(request: HttpRequest) -> HttpResponse:
    book = day_book(request.user)
    return render(
        request,
        "planning/today.html",
        {
            "title": "Today",
            "pressing": [row for row in book.own if row.n],
            "well": [row for row in book.own if not row.n],
            "elsewhere": book.elsewhere,
            "next": book.next,
            "on": timezone.localtime(),
        },
    )


urlpatterns = [path("", today, name="today")]
