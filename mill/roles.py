"""Who may do what: the mill's roles, and one table of every address of the book.

A person holds one role or several. To read is GET and HEAD; to act is everything
else. Sums that write nothing are read by POST as well.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_noop as N_

OWNER = N_("owner")
PLANNER = N_("planner")
STOCK_KEEPER = N_("stock keeper")
WARPER = N_("warper")
WEAVER = N_("weaver or tuner")
FINISHER = N_("finisher")
READER = N_("reader")

# In the order of the page that shows them, each with what it is for.
ROLES: dict[str, str] = {
    OWNER: N_("keeps the book: people, the mill's own figures, and everything else"),
    PLANNER: N_("orders, cloths, warps, looms, plans and tickets"),
    STOCK_KEEPER: N_("yarn, deliveries, the store and its care"),
    WARPER: N_("draws yarn for a warp and winds it"),
    WEAVER: N_("gaits, starts and stops looms, takes pieces off"),
    FINISHER: N_("mends, finishes, measures and sends pieces"),
    READER: N_("reads, and changes nothing"),
}
EVERYBODY = frozenset(ROLES)
NOBODY: frozenset[str] = frozenset()
READING = frozenset({"GET", "HEAD", "OPTIONS"})


@dataclass(frozen=True)
class Part:
    """Addresses that the same roles read and act on, and what they are together.

    is_open    to whoever comes, with a role, without one, or before anybody knows who it is
    """

    what: str
    names: tuple[str, ...]
    readers: frozenset[str] = EVERYBODY
    actors: frozenset[str] = NOBODY
    is_open: bool = False


def by(*roles: str) -> frozenset[str]:
    """These roles, and the owner, who may do everything."""
    return frozenset({OWNER, *roles})


PARTS = [
    Part(
        N_("signing in and out, one's own language"),
        ("sign_in", "sign_out", "first_owner", "own_language"),
        actors=EVERYBODY,
        is_open=True,
    ),
    Part(
        N_("one's own password, tokens and feeds"),
        (
            *("own_password", "sit_as", "tokens", "token_withdraw"),
            *("token-list", "token-detail", "token-withdraw", "feeds", "feed_withdraw"),
            *("feedlink-list", "feedlink-detail", "feedlink-withdraw"),
        ),
        actors=EVERYBODY,
    ),
    Part(
        N_("what works without a sign-in: feeds by secret address, the floor's scripts, the book's health"),
        ("healthz", "readyz", "shed_feed", "loom_feed", "csv_feed", "floor_worker", "paper_worker", "floor_empty"),
        is_open=True,
    ),
    Part(
        N_("people and their roles"),
        ("people", "person_new", "person", "person_password", "lies_open"),
        readers=by(),
        actors=by(),
    ),
    Part(N_("laying the example mill aside"), ("lay_example_aside",), actors=by()),
    Part(N_("backups of the whole book"), ("backups", "backup_file", "api_backups"), readers=by(), actors=by()),
    Part(
        N_("what each role may do; how things are done, and the words for them"),
        ("roles", "how_tos", "how_to", "words"),
    ),
    Part(
        N_("sums that write nothing"),
        (
            *("reckoner", "reckoner_sum", "api_reckoner", "api_reckoner_sum", "promise", "api_promise"),
            *("cloth_new_figures", "cloth_revise_figures", "order_figures", "yarn_count"),
            *("plan_foresight", "plan_effects"),
            *("delivery_new_foresight", "delivery_foresight", "claim_sum"),
            *("cloth-preview", "cloth-preview-new", "lot-shares-what-if", "order-line-figures"),
            *("order-line-foresight", "orderline-foresee", "planrun-foresight", "delivery-foresee-new"),
            *("delivery-foresee", "orderline-effects", "planrun-effects", "loom-stands-effects"),
            "plan-search-late-yarn-effects",
        ),
        actors=EVERYBODY,
    ),
    Part(N_("today, the API's description"), ("today", "api_today", "api_description", "api_schema")),
    Part(N_("finding"), ("find", "api_find")),
    Part(N_("the keys of one's own desk"), ("keys",), actors=EVERYBODY),
    Part(
        N_("orders and customers"),
        (
            *("orders", "order_new", "order", "order_edit", "line_new", "line_edit", "line_call_off", "line_take_up"),
            *("customers", "customer_new", "customer", "customer_edit"),
            *("customer-list", "customer-detail", "order-list", "order-detail", "order-lines", "orderline-list"),
            *("orderline-detail", "orderline-call-off", "orderline-take-up"),
        ),
        actors=by(PLANNER),
    ),
    Part(
        N_("cloths and their revisions"),
        (
            *("cloths", "cloth_new", "cloth", "cloth_used", "cloth_edit", "cloth_revise", "colourway_new"),
            *("colourway_rename", "cloth_shrinkage", "shrinkage_take"),
            *("cloth-list", "cloth-detail", "cloth-revision", "cloth-revisions", "cloth-colourways"),
            *("cloth-colourway", "api_cloth_shrinkage"),
        ),
        actors=by(PLANNER),
    ),
    Part(
        N_("warps as planned"),
        (
            *("warps", "warp", "warp_worked", "combine", "warp_beam", "warp_yarn", "warp_move", "warp_take_off"),
            *("warp_split", "warp_join", "warp_put_on", "warp_lock", "warp_take_apart", "warp_place"),
            *("warp-list", "warp-detail", "warp-beam", "warp-join", "warp-split", "warp-take-apart"),
            *("warp-move", "warp-take-off", "warp-put-on", "warp-lock", "warp-pin"),
            *("ruling-list", "ruling-detail", "warp-proposals"),
        ),
        actors=by(PLANNER),
    ),
    Part(N_("a note on a warp"), ("warp_note", "warp-note"), actors=by(PLANNER, STOCK_KEEPER, WARPER, WEAVER)),
    Part(
        N_("yarn for warps: hold, let go, draw"),
        (
            *("lot_shares", "warp_hold", "warp_hold_lot", "warp_let_go", "warp_draw", "warp_draw_weft"),
            *("warp-hold-yarn", "warp-hold-lot", "warp-let-go", "lot-shares"),
        ),
        actors=by(PLANNER, STOCK_KEEPER, WARPER),
    ),
    Part(N_("winding"), ("warp_wind",), actors=by(PLANNER, WARPER)),
    Part(N_("gaiting, weaving, warp out"), ("warp_gait", "warp_begin", "warp_out"), actors=by(PLANNER, WEAVER)),
    Part(
        N_("a step of a warp taken back"),
        ("warp_back",),
        actors=by(PLANNER, WARPER, WEAVER),
    ),
    # Each step asks again for the button of the page that takes it.
    Part(
        N_("steps of a warp over the API, each for whoever takes it on the page"),
        ("warp-step",),
        actors=by(PLANNER, STOCK_KEEPER, WARPER, WEAVER),
    ),
    Part(
        N_("looms, their board and plans"),
        (
            *("looms", "loom", "loom_new", "loom_edit", "plans", "plan", "plan_new", "plan_improve", "plan_work"),
            *("plan_late_yarn", "plan_stop", "plan_decide", "board", "board_move", "board_take_back"),
            *("actuals", "efficiency_take", "api_woven", "api_run_outs"),
            *("loom-list", "loom-detail", "planrun-list", "planrun-detail", "planrun-bring-back", "planrun-move"),
            *("planrun-put-in-force", "planrun-put-aside", "planrun-take-back", "plan-search-list"),
            *("plan-search-detail", "plan-search-late-yarn", "plan-search-stop", "loom-efficiency"),
        ),
        actors=by(PLANNER),
    ),
    Part(
        N_("a loom held, or stands"),
        ("loom_hold", "loom_breaks_down", "loom-hold", "loom-let-go", "loom-stands"),
        actors=by(PLANNER, WEAVER),
    ),
    Part(
        N_("the floor's page and what is told there"),
        ("floor", "floor_looms", "floor_events", "api_taps", "floorevent-list", "floorevent-detail"),
        actors=by(PLANNER, STOCK_KEEPER, WARPER, WEAVER, FINISHER),
    ),
    Part(
        N_("tickets"),
        (
            *("tickets", "tickets_day_choose", "tickets_issue_day", "tickets_of_day", "tickets_of_day_for", "ticket"),
            *(
                "tickets_next",
                "tickets_print",
                "ticket_print",
                "ticket_print_for",
                "ticket_withdraw",
                "ticket_issue",
                "scan",
            ),
            *("jobticket-list", "jobticket-detail", "jobticket-of-day", "jobticket-withdraw"),
        ),
        actors=by(PLANNER),
    ),
    Part(
        N_("pieces, finishing, dispatch"),
        (
            *("pieces", "piece", "piece_labels", "piece_trace", "lot_trace", "finishing", "batch", "batch_out"),
            *("batch_undo", "dispatches", "dispatch_new", "dispatch", "dispatch_print", "dispatch_back"),
            *("piece-list", "piece-detail", "piece-measure", "piece-perch", "piece-mend", "piece-faults"),
            *("piece-final-perch", "piece-judge", "piece-allocate", "piece-correct-length"),
            *("finishingbatch-list", "finishingbatch-detail", "finishingbatch-out", "finishingbatch-undo"),
            *("dispatch-list", "dispatch-detail", "dispatch-take-back"),
        ),
        actors=by(PLANNER, FINISHER),
    ),
    Part(
        N_("yarn, lots and their ledger"),
        (
            *("yarn", "yarn_new", "yarn_edit", "yarn_outlook", "yarn_one", "lot_labels", "cone_labels", "lots"),
            *("yarn_dye_lots", "api_dye_lots"),
            *("lot_receive", "lot_write", "lot", "hold_release", "line_reverse"),
            *("yarn-list", "yarn-detail", "yarn-outlook", "yarnlot-list", "yarnlot-receive", "yarnlot-detail"),
            *("yarnlot-correct", "yarnlot-draw", "yarnlot-give-back", "yarnlot-hold", "yarnlot-let-go", "yarnlot-move"),
            *("yarnlot-waste", "movement-list", "movement-detail", "movement-reverse", "yarnlot-count"),
            *("yarnlot-quarantine", "yarnlot-release", "yarnlot-approve", "yarnlot-reject"),
        ),
        actors=by(PLANNER, STOCK_KEEPER),
    ),
    Part(
        N_("deliveries, suppliers, fibres and claims"),
        (
            *("deliveries", "delivery_new", "delivery", "claims", "claim_new", "claim", "claim_print"),
            *("suppliers", "supplier_new", "supplier", "fibres", "fibre_new", "fibre", "fibres_of_table"),
            *("delivery-list", "delivery-detail", "claim-list", "claim-detail", "claim-answer", "claim-drop"),
            *("claim-send", "supplier-list", "supplier-detail", "fibre-list", "fibre-detail", "fibre-of-table"),
        ),
        actors=by(PLANNER, STOCK_KEEPER),
    ),
    Part(
        N_("the store and its care"),
        (
            *("store", "store_due", "store_triggers", "place", "place_count", "place_count_sheet", "inspection_new"),
            *("treatments", "treatment_new", "treatment", "places", "place_new", "place_edit", "traps", "trap_new"),
            *("trap", "trap-list", "trap-detail", "inspection-list", "inspection-detail", "treatment-list"),
            *("treatment-detail", "treatment-end", "treatment-release", "place-list", "place-detail"),
            *("api_store_triggers", "place-count", "place-count-look"),
        ),
        actors=by(STOCK_KEEPER),
    ),
    Part(
        N_("files brought in"),
        ("import_csv", "import_csv_kind", "import_template", "api_import_kinds", "api_import"),
        actors=by(PLANNER, STOCK_KEEPER),
    ),
    Part(
        N_("the mill's own figures and small records"),
        (
            *("mill", "beginning", "work", "work_again"),
            *("reeds", "reed_new", "reed", "beams", "beam_new", "beam", "shift_patterns"),
            *(
                "shift_pattern_new",
                "shift_pattern",
                "closures",
                "closure_new",
                "closure",
                "public_days",
                "machines",
                "machine_new",
            ),
            *("machine", "workers", "worker_new", "worker", "api_mill", "job-list", "job-detail", "job-stop"),
            *("job-try-again", "reed-list", "reed-detail", "beam-list", "beam-detail"),
            *("shiftpattern-list", "shiftpattern-detail"),
            *(
                "closure-list",
                "closure-detail",
                "closure-public-days",
                "worker-list",
                "worker-detail",
                "machine-list",
                "machine-detail",
            ),
        ),
        actors=by(PLANNER),
    ),
    Part(
        N_("reports"),
        (
            *("reports", "report_deliveries", "report_load", "report_efficiency", "report_seconds", "report_thrums"),
            "report_turnover",
            *("api_report_deliveries", "api_report_load", "api_report_efficiency", "api_report_seconds"),
            *("api_report_thrums", "api_report_turnover"),
        ),
    ),
    Part(N_("the account of changes"), ("changes", "changes_of", "api_changes")),
    Part(
        N_("money: prices, rates, what things cost"),
        (
            *("rates", "rate_new", "rate", "prices", "price_new", "price"),
            *("rate-list", "rate-detail", "yarnprice-list", "yarnprice-detail"),
            *("warp_cost", "piece_cost", "line_cost", "api_warp_cost", "api_piece_cost", "api_line_cost"),
            *("quotes", "quote_new", "quote", "quote_print", "quote_place", "quote_drop", "api_quote_figures"),
            *("quote-list", "quote-detail", "quote-place", "quote-drop"),
        ),
        readers=by(PLANNER),
        actors=by(PLANNER),
    ),
]

# Pages that are a form and nothing else: only who may send it opens it, so that nothing is typed in vain.
FORMS = frozenset(
    {
        *("order_new", "order_edit", "line_new", "line_edit", "line_call_off", "customer_new"),
        *("customer_edit", "cloth_new", "cloth_edit", "cloth_revise", "colourway_new", "colourway_rename"),
        *("loom_new", "loom_edit", "yarn_new", "yarn_edit", "delivery_new", "lot_receive", "lot_write"),
        *("line_reverse", "place_new", "place_edit", "place_count", "inspection_new", "treatment_new"),
        *("trap_new", "supplier_new", "fibre_new", "claim_new", "dispatch_new", "reed_new", "beam_new"),
        *("shift_pattern_new", "closure_new", "worker_new", "machine_new", "warp_beam", "warp_place"),
        *("store_triggers", "rate_new", "price_new"),
    }
)

# What lets a program in is made by somebody who signed in: a token in the wrong hands makes no other.
BY_HAND = frozenset({"token-list", "feedlink-list"})

TABLE: dict[str, Part] = {name: part for part in PARTS for name in part.names}
assert TABLE.keys() >= FORMS | BY_HAND, "an address is not in the table"
assert len(TABLE) == sum(len(part.names) for part in PARTS), "an address stands in the table twice"


def may(roles: Iterable[str], url_name: str, method: str = "GET") -> bool:
    """Whether somebody with these roles may read, or act on, an address. What is not in the table nobody may.

    >>> may({WARPER}, "warp_wind", "POST"), may({WARPER}, "warp_split", "POST"), may({WARPER}, "warp_split")
    (True, False, True)
    >>> may({OWNER}, "no such address")
    False
    """
    part = TABLE.get(url_name)
    return (part is not None and part.is_open) or not who_may(url_name, method).isdisjoint(roles)


def may_act(user: Any, match: Any) -> bool:
    """Whether somebody may act on the address that was found for a request; on none, when none was found."""
    return match is not None and may(roles_of(user), match.url_name or "", "POST")


def who_may(url_name: str, method: str = "GET") -> frozenset[str]:
    """The roles that may."""
    part = TABLE.get(url_name)
    if part is None:
        return NOBODY
    return part.readers if method in READING and url_name not in FORMS else part.actors


def can(part: Part, role: str) -> str:
    """What a role may do there, in the words of the table."""
    if role in part.actors:
        return N_("acts")
    return N_("reads") if role in part.readers else "–"


def narrowed(held: frozenset[str], named: frozenset[str]) -> frozenset[str]:
    """What comes of roles that somebody holds when they are narrowed to some; an owner does what each of them may.

    >>> sorted(narrowed(frozenset({WARPER, FINISHER}), frozenset({WARPER, PLANNER})))
    ['warper']
    >>> sorted(narrowed(frozenset({OWNER}), frozenset({READER})))
    ['reader']
    """
    if not named:
        return held
    return named if OWNER in held else named & held


# Files that these roles alone bring in; any other is brought in by whoever may bring in files.
BRINGERS = {"prices": by(PLANNER)}


def may_bring_in(roles: Iterable[str], kind: str) -> bool:
    """Whether somebody with these roles may bring in files of a kind, or see what they hold."""
    return not BRINGERS.get(kind, EVERYBODY).isdisjoint(roles)


def roles_of(user: Any) -> frozenset[str]:
    """The roles a person holds: the groups of those names. A superuser is an owner."""
    if not user.is_authenticated or not user.is_active:
        return NOBODY
    held = getattr(user, "_roles", None)
    if held is None:
        held = frozenset({OWNER}) if user.is_superuser else EVERYBODY & {g.name for g in user.groups.all()}
        user._roles = held
    return held
