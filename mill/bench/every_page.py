"""An address of every page of the book, each of records that are there: what is measured, and what is looked at.

The example mill has no quote, no piece in a finishing machine, no plan being looked for, no feed and no token:
`write_the_rest()` writes one of each.
"""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.urls import URLPattern, URLResolver, get_resolver, reverse

# Names that answer no GET.
ONLY_POST = frozenset(
    {
        *("lay_example_aside", "board_move", "board_take_back", "cloth_new_figures"),
        *("cloth_revise_figures", "dispatch_back", "feed_withdraw", "batch_out", "batch_undo", "efficiency_take"),
        *("plan_new", "plan_improve", "plan_late_yarn", "plan_stop", "plan_decide", "loom_hold"),
        *("loom_breaks_down", "quote_place", "quote_drop", "order_figures", "line_take_up", "shrinkage_take"),
        *("tickets_issue_day", "ticket_withdraw", "ticket_issue", "warp_move", "warp_take_off"),
        *("warp_split", "warp_join", "warp_put_on", "warp_lock", "warp_take_apart", "warp_hold"),
        *("warp_hold_lot", "warp_let_go", "warp_draw", "warp_draw_weft", "warp_wind", "warp_gait", "warp_begin"),
        *("warp_out", "warp_back", "yarn_count", "hold_release", "delivery_new_foresight", "delivery_foresight"),
        *(
            "lot_write",
            "claim_sum",
            "fibres_of_table",
            "work_again",
            "token_withdraw",
            "lies_open",
            "sit_as",
            "sign_out",
        ),
    }
)
# What is read by programs, kept or sent on: files, feeds, scripts and the address of another page.
NO_PAGE = frozenset(
    {
        *("shed_feed", "loom_feed", "csv_feed", "floor_worker", "paper_worker", "import_template", "backup_file"),
        *("healthz", "readyz", "tickets_day_choose", "first_owner", "warp_note"),
    }
)
# Pages that other pages ask for, without a frame of their own.
PARTS = frozenset({"cloth_used", "yarn_outlook", "warp_worked", "plan_foresight", "plan_effects"})
# Laid out for paper.
PAPERS = frozenset(
    {
        *("dispatch_print", "quote_print", "ticket_print", "ticket_print_for", "tickets_of_day", "tickets_of_day_for"),
        "tickets_print",
        *("claim_print", "place_count_sheet", "piece_labels", "lot_labels", "cone_labels"),
    }
)


def named_addresses(resolver: URLResolver | None = None, before: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Every named address outside the API and the framework's back office."""
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLPattern):
            if not before.startswith("api/"):
                yield before + str(pattern.pattern), pattern
        elif str(pattern.pattern) != "desk/":
            yield from named_addresses(pattern, before + str(pattern.pattern))


def page_names() -> list[str]:
    """Every name that a page is opened by."""
    names = (pattern.name for route, pattern in named_addresses() if not route.startswith("api/"))
    return [name for name in names if name is not None and name not in ONLY_POST | NO_PAGE]


def every_page() -> dict[str, list[str]]:
    """Addresses by the page's name, of records in several states where a page looks different by it.

    Raises LookupError when the book has no record to open a page of.
    """
    of = _records()
    found: dict[str, list[str]] = {}
    for name in page_names():
        if name in of:
            addresses = [reverse(name, kwargs=one) for one in of[name]()]
            if not addresses:
                raise LookupError(f"the book has no record to open the page “{name}” of")
        else:
            addresses = [reverse(name)]
        found[name] = addresses
    for name, words in _questions().items():
        found[name] += [f"{found[name][0]}?{urlencode(asked, doseq=True)}" for asked in words]
    return found


Records = Callable[[], list[dict[str, Any]]]


def _one(field: str, rows: Any, name: str | None = None) -> Records:
    """The first of some rows, by a field of it; `name` is what the address calls it."""
    return lambda: [{name or field: value} for value in rows.values_list(field, flat=True)[:1]]


def _records() -> dict[str, Records]:
    """What the addresses that name a record are filled with."""
    from django.contrib.auth import get_user_model
    from django.db.models import Count

    from inventory.models import (
        Claim,
        Delivery,
        Fibre,
        Movement,
        Place,
        Supplier,
        Trap,
        Treatment,
        Yarn,
        YarnLot,
    )
    from mill.how_to import TASKS
    from mill.models import Change, Job
    from planning import models
    from planning.reckoner import REGISTRY

    of: dict[str, Records] = {}

    warps = models.Warp.objects.annotate(n=Count("parts")).order_by("-n", "-number")
    fullest = _one("number", warps.open())
    for name in ("warp_place", "warp_worked", "warp_beam", "warp_yarn", "warp_cost"):
        of[name] = fullest
    of["warp"] = lambda: [row for state, _ in models.Warp.STATES for row in _one("number", warps.filter(state=state))()]
    of["warp_cost"] = lambda: [
        *fullest(),
        *_one("number", warps.filter(state=models.Warp.WEAVING))(),
        *_one("number", warps.filter(state=models.Warp.WOVEN_OUT))(),
    ]

    orders = models.Order.objects.annotate(n=Count("lines")).order_by("-n", "-pk")
    open_orders = orders.filter(lines__state=models.OrderLine.ENTERED)
    for name in ("order_edit", "line_new"):
        of[name] = _one("number", open_orders)
    of["order"] = lambda: [*_one("number", orders)(), *_one("number", open_orders)()]
    lines = models.OrderLine.objects.select_related("order").order_by("-pk")

    def of_line(rows: Any) -> list[dict[str, Any]]:
        return [{"number": line.order.number, "position": line.position} for line in rows[:1]]

    waits = lines.filter(state=models.OrderLine.ENTERED)
    of["line_edit"] = of["line_call_off"] = lambda: of_line(waits)
    of["line_cost"] = lambda: [
        row
        for state in (models.OrderLine.ENTERED, models.OrderLine.ON_A_WARP, models.OrderLine.SENT)
        for row in of_line(lines.filter(state=state))
    ]
    customers = models.Customer.objects.annotate(n=Count("orders")).order_by("-n")
    for name in ("customer", "customer_edit"):
        of[name] = _one("code", customers)
    of["dispatch_new"] = lambda: (
        _one(
            "code", models.Customer.objects.filter(orders__lines__woven_pieces__state=models.Piece.READY).order_by("pk")
        )()
        or _one("code", customers)()
    )

    cloths = models.Cloth.objects.annotate(n=Count("specs__woven_pieces")).order_by("-n")
    for name in ("cloth", "cloth_used", "cloth_edit", "cloth_revise", "colourway_new", "cloth_shrinkage"):
        of[name] = _one("code", cloths)
    of["colourway_rename"] = lambda: [
        {"code": one.cloth.code, "pk": one.pk} for one in models.Colourway.objects.select_related("cloth")[:1]
    ]

    looms = models.Loom.objects.annotate(n=Count("slots")).order_by("-n")
    for name in ("loom", "loom_edit"):
        of[name] = _one("code", looms)
    of["plan"] = lambda: [
        row for state, _ in models.PlanRun.STATES for row in _one("pk", models.PlanRun.objects.filter(state=state))()
    ]
    of["plan_foresight"] = _one("pk", models.PlanRun.objects.order_by("-pk"))
    of["plan_effects"] = _one("pk", models.PlanRun.objects.filter(state=models.PlanRun.OFFERED))
    of["plan_work"] = _one("pk", Job.objects.filter(task="planning.improve_plan").order_by("-pk"))

    pieces = models.Piece.objects.order_by("-pk")
    of["piece"] = lambda: [
        row for state, _ in models.Piece.STATES for row in _one("number", pieces.filter(state=state))()
    ]
    of["piece_trace"] = _one("number", pieces.exclude(warp=None))
    of["piece_cost"] = lambda: [
        row
        for state in (models.Piece.GREY, models.Piece.SENT)
        for row in _one("number", pieces.exclude(warp=None).filter(state=state))()
    ]
    of["batch"] = _one("number", models.FinishingBatch.objects.order_by("-number"))
    of["dispatch"] = of["dispatch_print"] = _one(
        "number", models.Dispatch.objects.annotate(n=Count("pieces")).order_by("-n")
    )
    of["quote"] = of["quote_print"] = _one("number", models.Quote.objects.order_by("-number"))

    tickets = models.JobTicket.objects.order_by("-pk")
    for name in ("ticket", "ticket_print"):
        of[name] = _one("number", tickets)
    of["ticket_print_for"] = lambda: [
        {**row, "papers": papers} for row in of["ticket"]() for papers in ("warper", "weaver")
    ]
    of["scan"] = of["floor"] = _one("token", tickets)
    of["tickets_of_day"] = _one("day", tickets, "on")
    of["tickets_of_day_for"] = lambda: [{**row, "papers": "warper"} for row in of["tickets_of_day"]()]

    for name, model in (
        *(("reed", models.Reed), ("beam", models.Beam), ("shift_pattern", models.ShiftPattern)),
        *(("closure", models.Closure), ("worker", models.Worker), ("machine", models.Machine)),
        *(("rate", models.Rate), ("price", models.YarnPrice), ("claim_new", Delivery), ("trap", Trap)),
        *(("supplier", Supplier), ("fibre", Fibre), ("treatment", Treatment)),
        *(("person", get_user_model()), ("person_password", get_user_model())),
    ):
        of[name] = _one("pk", model.objects.order_by("pk"))

    yarns = Yarn.objects.annotate(n=Count("lots")).order_by("-n")
    for name in ("yarn_dye_lots", "yarn_edit", "yarn_outlook", "yarn_one"):
        of[name] = _one("code", yarns)
    lots = YarnLot.objects.annotate(n=Count("movements")).order_by("-n")
    for name in ("lot", "lot_trace"):
        of[name] = _one("label", lots)
    of["cone_labels"] = _one("pk", Movement.objects.filter(kind=Movement.RETURN).order_by("-pk"))
    of["line_reverse"] = _one("pk", Movement.objects.filter(kind=Movement.WASTE).order_by("-pk"))
    of["delivery"] = lambda: [
        *_one("pk", Delivery.objects.filter(lots=None).order_by("-expected_on"))(),
        *_one("pk", Delivery.objects.exclude(lots=None).order_by("-expected_on"))(),
    ]
    of["claim_new"] = _one("pk", Delivery.objects.exclude(lots=None).filter(claims=None).order_by("-expected_on"))
    of["claim"] = of["claim_print"] = _one("number", Claim.objects.order_by("number"))
    places = Place.objects.annotate(n=Count("lots")).order_by("-n")
    for name in ("place", "place_count", "place_count_sheet", "inspection_new", "place_edit"):
        of[name] = _one("pk", places)

    of["how_to"] = lambda: [{"slug": TASKS[0].slug}]
    of["import_csv_kind"] = lambda: [{"kind": "orders"}]
    of["reckoner_sum"] = lambda: [{"name": name} for name in REGISTRY]
    of["changes_of"] = lambda: [
        {"kind": change.kind, "pk": change.row_pk} for change in Change.objects.filter(kind="planning.loom")[:1]
    ]
    return of


def _questions() -> dict[str, list[dict[str, Any]]]:
    """Pages that show more when something is asked of them: by name, the words of the address."""
    from inventory.models import YarnLot
    from planning.models import JobTicket, Piece

    one = _quoted()
    return {
        "board": [{"view": "table"}, {"span": "quarter"}],
        "find": [{"q": "a"}, {"q": "K-10"}],
        "promise": [one],
        "quote_new": [{**one, "set_up": "gait-up"}],
        "piece_labels": [{"piece": list(Piece.objects.order_by("-pk").values_list("number", flat=True)[:3])}],
        "tickets_print": [{"ticket": list(JobTicket.objects.order_by("-pk").values_list("number", flat=True)[:3])}],
        "lot_labels": [{"lot": list(YarnLot.objects.order_by("-pk").values_list("label", flat=True)[:3])}],
    }


def _quoted() -> dict[str, Any]:
    from planning.models import OrderLine

    line = OrderLine.objects.select_related("colourway").latest("pk")
    return {"colourway": line.colourway_id, "pieces": 2, "length_m": 60}


def write_the_rest(by: Any) -> None:
    """What the example mill has none of, each by its own verb: once."""
    from mill import tokens
    from planning.models import Colourway, FeedLink, FinishingBatch, PlanRun, Quote
    from planning.services import feeds, finishing, improving, plans, quotes

    if not Quote.objects.exists():
        colourway = Colourway.objects.get(pk=_quoted()["colourway"])
        quotes.keep_quote(quotes.Asked(colourway, 2, Decimal(60)), by=by, key="every page")
    if not FinishingBatch.objects.exists():
        queue = next(queue for queue in finishing.queues() if queue.step in _machine_steps())
        finishing.put_in(queue.pieces[:3], step=queue.step, by=by, key="every page")
    if not PlanRun.objects.filter(state=PlanRun.OFFERED).exists():
        plans.make_plan(by=by)
    improving.ask(seconds=5, by=by)
    if not FeedLink.objects.exists():
        feeds.make_link(what=FeedLink.ORDERS, label="The office’s sheet", by=by)
        tokens.make_token(name="The office", may_write=False, by=by)


def _machine_steps() -> set[str]:
    from planning.models import Machine

    return set(Machine.objects.values_list("step", flat=True))
