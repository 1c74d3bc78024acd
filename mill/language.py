"""In which language the book speaks, and to whom: one place says it for every page.

Whoever is signed in has a language of their own, else the mill's; at the door it is the one that this browser chose,
else one that it asks for, else the mill's. What goes between programs (the API, feeds, CSV) is English whatever
anybody speaks.
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

# Addresses of programs, beside those of the API: what they are told is English.
FOR_PROGRAMS = frozenset(
    {
        *("healthz", "readyz", "shed_feed", "loom_feed", "csv_feed", "import_template"),
        *("floor_worker", "paper_worker"),
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
    """The language that this address answers whoever asks: one's own on a page, English where a program is told."""
    if "csv" in request.GET or url_name in FOR_PROGRAMS:
        return ENGLISH
    if request.path.startswith("/api/"):
        is_a_page_s = url_name in ASKED_BY_A_PAGE and "Authorization" not in request.headers
        return of(request) if is_a_page_s else ENGLISH
    return of(request)


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
