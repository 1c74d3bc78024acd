"""Today: what is late, short, standing, overtaken or due, the one thing to do about each, and what that changes.

First what is the work of whoever looks, by their roles; then how much of the rest there is, and where.
"""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
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
            _("Overdue"),
            office.overdue_lines(),
            all_well=_("Nothing is overdue."),
            at=reverse("orders"),
            roles=[PLANNER],
        ),
        chapter(
            _("Late by the plan"),
            shed.late_warps(run),
            all_well=_("Nothing is late."),
            at=reverse("looms"),
            roles=[PLANNER],
        ),
        chapter(
            _("On the looms now"),
            shed.late_as_woven(woven),
            all_well=_("Every warp in a loom runs, and comes off in time."),
            at=reverse("actuals"),
            roles=[PLANNER, WEAVER],
        ),
        chapter(
            _("Woven out within a day"),
            shed.running_out(woven, run),
            all_well=_("No loom runs out of warp before tomorrow."),
            at=reverse("floor_looms"),
            roles=[WEAVER],
            is_routine=True,
        ),
        chapter(
            _("Waiting for a decision"),
            [*office.plans_offered(), *office.holidays_to_write()],
            all_well=_("No plan waits for a yes or no."),
            at=reverse("plans"),
            roles=[PLANNER],
            is_routine=True,
        ),
        chapter(
            _("Short of yarn"),
            yarn.short_yarns(),
            all_well=_("No yarn runs short."),
            at=reverse("yarn"),
            roles=[PLANNER, STOCK_KEEPER],
        ),
        chapter(
            _("On no warp yet"),
            office.waiting_lines(),
            all_well=_("Nothing due in six weeks waits."),
            at=reverse("combine"),
            roles=[PLANNER],
        ),
        chapter(
            _("Looms that stand"),
            shed.standing_looms(run),
            all_well=_("Every loom has a warp."),
            at=reverse("looms"),
            roles=[PLANNER],
        ),
        chapter(
            _("Tickets to issue"),
            office.tickets_to_issue(),
            all_well=_("Every warp to be wound by tomorrow has its ticket."),
            at=reverse("tickets_next"),
            roles=[PLANNER],
            is_routine=True,
        ),
        chapter(
            _("Overtaken tickets"),
            office.overtaken_tickets(),
            all_well=_("Every ticket on the floor holds."),
            at=reverse("tickets"),
            roles=[PLANNER],
        ),
        chapter(
            _("Can’t be woven as it stands"),
            office.troubled_warps(),
            all_well=_("Every warp works out."),
            at=reverse("warps"),
            roles=[PLANNER],
        ),
        chapter(
            _("Yarn to draw"),
            shed.yarn_to_draw(run),
            all_well=_("No warp to be wound by tomorrow waits for its yarn."),
            at=reverse("warps"),
            roles=[STOCK_KEEPER, WARPER],
            is_routine=True,
        ),
        chapter(
            _("To wind"),
            shed.to_wind(run),
            all_well=_("No drawn yarn waits for winding."),
            at=reverse("warps"),
            roles=[WARPER],
            is_routine=True,
        ),
        chapter(
            _("To gait and begin"),
            shed.to_gait(run),
            all_well=_("No warp goes into a loom before tomorrow."),
            at=reverse("looms"),
            roles=[WEAVER],
            is_routine=True,
        ),
        chapter(
            _("Waiting to be finished"),
            pieces.waiting_pieces(to_finish),
            all_well=_("No piece waits."),
            at=reverse("finishing"),
            roles=[FINISHER],
            is_routine=True,
        ),
        chapter(
            _("In the finishing"),
            pieces.batches_in(),
            all_well=_("No batch is in."),
            at=reverse("finishing"),
            roles=[FINISHER],
            is_routine=True,
        ),
        chapter(
            _("Ready to send"),
            pieces.ready_to_send(),
            all_well=_("Nothing ready waits to be sent."),
            at=reverse("dispatches"),
            roles=[FINISHER],
            is_routine=True,
        ),
        chapter(
            _("Yarn expected"),
            yarn.due_deliveries(),
            all_well=_("No delivery is due today or overdue."),
            at=reverse("deliveries"),
            roles=[PLANNER, STOCK_KEEPER],
        ),
        chapter(
            _("Shades to compare"),
            yarn.unapproved_shades(),
            all_well=_("Every lot’s shade is approved."),
            at=f"{reverse('lots')}?shade=false",
            roles=[STOCK_KEEPER],
        ),
        chapter(
            _("Due in the store"),
            yarn.store_care_due(),
            all_well=_("Every place is looked over, and every lure fresh."),
            at=reverse("store_due"),
            roles=[STOCK_KEEPER],
        ),
        chapter(
            _("In quarantine"),
            yarn.quarantined_lots(),
            all_well=_("No lot is in quarantine."),
            at=reverse("store"),
            roles=[STOCK_KEEPER],
        ),
        chapter(
            _("Claims"),
            yarn.claims_open(),
            all_well=_("No claim waits to be sent or answered."),
            at=reverse("claims"),
            roles=[STOCK_KEEPER],
        ),
        chapter(
            _("The book itself"),
            [*office.book_kept(), *office.given_up()],
            all_well=_("It is backed up, and all work in the background is done."),
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
            "title": _("Today"),
            "pressing": [row for row in book.own if row.n],
            "well": [row for row in book.own if not row.n],
            "elsewhere": book.elsewhere,
            "next": book.next,
            # Others' acts are told to whoever only reads, and are not theirs to do.
            "acts": not roles.roles_of(request.user) <= {roles.READER},
            "on": timezone.localtime(),
        },
    )


urlpatterns = [path("", today, name="today")]
