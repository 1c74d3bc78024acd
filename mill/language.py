"""In which language the book speaks, and to whom: one place says it for every page.

Whoever is signed in has a language of their own, else the mill's; at the door it is the one that this browser chose,
else one that it asks for, else the mill's. A page speaks another language than English only when all of it does: those
are named here. What goes between programs (the API, feeds, CSV) is English whatever anybody speaks.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.translation.trans_real import parse_accept_lang_header

from mill import signs
from mill.models import Mill, Person

ENGLISH = settings.LANGUAGE_CODE
CODES = frozenset(code for code, _ in settings.LANGUAGES)
COOKIE_AGE_S = 365 * 24 * 3600

# The names of all pages whose every word is translated. Another joins when it is whole: see DEVELOPERS.md.
WHOLE = frozenset(
    {
        *("sign_in", "sign_out", "first_owner", "own_password", "own_language", "keys"),
        *("floor", "floor_looms", "floor_empty"),
        *("tickets", "tickets_day_choose", "tickets_issue_day", "tickets_of_day", "tickets_of_day_for", "scan"),
        *("ticket", "ticket_print", "ticket_print_for", "ticket_withdraw", "ticket_issue", "tickets_next"),
        "tickets_print",
        *("orders", "order", "order_new", "order_edit", "order_figures", "line_new", "line_edit", "line_call_off"),
        *("quotes", "quote_new", "quote", "quote_print", "quote_place", "quote_drop"),
        *("warp_cost", "piece_cost", "line_cost", "combine"),
        *("rates", "rate_new", "rate", "prices", "price_new", "price"),
        *("line_take_up", "customers", "customer", "customer_new", "customer_edit"),
        *("changes", "changes_of"),
        *("today", "find", "promise"),
        *("store", "store_due", "store_triggers", "places", "place", "place_new", "place_edit", "inspection_new"),
        *("place_count", "place_count_sheet", "traps", "trap", "trap_new"),
        *("treatments", "treatment", "treatment_new"),
        *("pieces", "piece", "piece_labels", "piece_trace", "lot_trace"),
        *("finishing", "batch", "batch_out", "batch_undo"),
        *("how_tos", "how_to", "words"),
        *("cloth_shrinkage", "shrinkage_take"),
        *("dispatches", "dispatch_new", "dispatch", "dispatch_print", "dispatch_back"),
        *("orders", "order", "order_new", "order_edit", "order_figures", "line_new", "line_edit", "line_call_off"),
        *("quotes", "quote_new", "quote", "quote_print", "quote_place", "quote_drop"),
        *("warp_cost", "piece_cost", "line_cost", "combine"),
        *("line_take_up", "customers", "customer", "customer_new", "customer_edit"),
        *("warps", "warp", "warp_worked", "warp_beam", "warp_yarn", "warp_note", "warp_place", "lot_shares"),
        *("warp_move", "warp_take_off", "warp_split", "warp_join", "warp_put_on", "warp_lock", "warp_take_apart"),
        *("warp_hold", "warp_hold_lot", "warp_let_go", "warp_draw", "warp_draw_weft"),
        *("warp_wind", "warp_gait", "warp_begin", "warp_out", "warp_back"),
        *("cloths", "cloth", "cloth_used", "cloth_edit", "colourway_new", "colourway_rename"),
        *("cloth_new", "cloth_new_figures", "cloth_revise", "cloth_revise_figures"),
        *("looms", "loom", "loom_new", "loom_edit", "loom_hold", "loom_breaks_down", "plan_late_yarn"),
        *("plan_new", "plan_improve", "plan_work", "plan_stop", "plans", "plan", "plan_decide"),
        *("plan_foresight", "plan_effects", "board", "board_move", "board_take_back"),
        *("actuals", "efficiency_take", "public_days"),
        *("yarn", "yarn_new", "yarn_edit", "yarn_one", "yarn_outlook", "yarn_count", "yarn_dye_lots"),
        *("lots", "lot", "lot_receive", "lot_write", "hold_release", "line_reverse", "lot_labels", "cone_labels"),
        *("deliveries", "delivery", "delivery_new", "delivery_foresight", "delivery_new_foresight"),
        *("suppliers", "supplier", "supplier_new", "fibres", "fibre", "fibre_new", "fibres_of_table"),
        *("claims", "claim", "claim_new", "claim_sum", "claim_print"),
        *("reports", "report_deliveries", "report_load", "report_efficiency", "report_seconds", "report_thrums"),
        *("report_turnover", "import_csv", "import_csv_kind"),
        *("reckoner", "reckoner_sum"),
        *("mill", "beginning", "lay_example_aside", "floor_events"),
        *("reeds", "reed", "reed_new", "beams", "beam", "beam_new", "machines", "machine", "machine_new"),
        *("shift_patterns", "shift_pattern", "shift_pattern_new", "closures", "closure", "closure_new"),
        *("workers", "worker", "worker_new"),
        *("people", "person", "person_new", "person_password", "lies_open", "roles", "sit_as"),
        *("tokens", "token_withdraw", "feeds", "feed_withdraw", "backups", "backup_file"),
    }
)
# Sent by a script of a page and shown there: it speaks as that page does.
ASKED_BY_A_PAGE = frozenset({"api_taps"})


def as_html(code: str) -> str:
    """As a page's `lang` has it.

    >>> as_html("en-gb"), as_html("de")
    ('en-GB', 'de')
    """
    language, _, land = code.partition("-")
    return f"{language}-{land.upper()}" if land else language


def of_browser(request: HttpRequest) -> str:
    """What this browser chose here, else the first of its own languages that the book speaks; "" for neither."""
    if (chosen := request.COOKIES.get(settings.LANGUAGE_COOKIE_NAME)) in CODES:
        return str(chosen)
    for asked, _ in parse_accept_lang_header(request.headers.get("Accept-Language", "")):
        for code in (asked, asked.partition("-")[0]):
            found = next((one for one in sorted(CODES) if one == code or one.partition("-")[0] == code), "")
            if found:
                return found
    return ""


def of(request: HttpRequest) -> str:
    """The language of whoever asks: asked once a request, and only where somebody is spoken to."""
    if not hasattr(request, "_language"):
        request._language = _found(request)  # type: ignore[attr-defined]
    return str(request._language)  # type: ignore[attr-defined]


def _found(request: HttpRequest) -> str:
    user: Any = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        own = Person.objects.filter(user=user.pk).values_list("language", flat=True).first()
    else:
        own = of_browser(request)
    return own or Mill.objects.filter(pk=1).values_list("language", flat=True).first() or ENGLISH


def of_page(request: HttpRequest, url_name: str) -> str:
    """The language that the page of this name has for whoever asks; its table is English."""
    if url_name in WHOLE and "csv" not in request.GET:
        return of(request)
    if url_name in ASKED_BY_A_PAGE and "Authorization" not in request.headers:
        return of(request)
    return ENGLISH


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Words, numbers and days in one language until the block ends."""
    with translation.override(code), signs.written_as(code):
        yield


class LanguageMiddleware:
    """Every view speaks the language that its page has; the frame round a page, and a fault's page, one's own."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # So that nothing of it is left for the next request of this thread.
        with speaking(ENGLISH):
            return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        match = request.resolver_match
        if match is not None and not match.namespaces:
            code = of_page(request, match.url_name or "")
            translation.activate(code)
            signs.write_as(code)


def called(row: Any) -> str:
    """A record's name in the language of the page; `str()` of it is what is kept."""
    return str(getattr(row, "called", row))


def remember(answer: HttpResponse, code: str) -> None:
    """The door speaks it too, in this browser."""
    answer.set_cookie(settings.LANGUAGE_COOKIE_NAME, code, max_age=COOKIE_AGE_S, samesite="Lax", httponly=True)
