"""When the book can't be reached, or its disk is full: said in our words, by page and API, with the way out.

A database that does not answer raises in every view, and before any view; nobody could catch it there. What comes of a
request that failed so is decided here, once: `handler500` of the whole book. A form that comes from a page of before a
sign-in, or after a sign-out, is answered here as well: what was typed stays on the page, to be sent again.
"""

import errno
import shutil
import sqlite3
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.exceptions import SuspiciousOperation
from django.db import InterfaceError, OperationalError, connection
from django.http import HttpRequest, HttpResponse
from django.http.request import UnreadablePostError
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.utils.translation import gettext_noop as _

from mill import language, logs


@dataclass(frozen=True)
class Trouble:
    """What stands in the way of a request, for whoever sent it; in English, which the page translates."""

    status: int
    title: str
    says: str
    retry_s: int = 0
    # What may be said of a form that was sent. Of a connection that broke while it confirmed, nobody knows.
    of_sent: str = _("What you sent is not confirmed.")
    again: str = _("It is kept on this page: wait a little, then send it again.")
    # Somebody signs in first.
    is_at_the_door: bool = False


GONE = Trouble(
    503,
    _("The book can’t be reached"),
    _(
        "The database does not answer at the moment. What was confirmed before is kept, and work in the background "
        "goes on by itself when it answers again."
    ),
    retry_s=15,
)
BUSY = Trouble(
    503,
    _("The book is being written in"),
    _("Somebody else’s long work keeps the book for so long that this had to be put aside."),
    retry_s=5,
)
FULL = Trouble(
    507,
    _("The disk is full"),
    _(
        "The disk of the machine that keeps the book has no room left. What was written before is kept and can be "
        "read. Make room there: old backups, or other files; then send it again."
    ),
    of_sent=_("Nothing of what you sent is written."),
)
STALE = Trouble(
    403,
    _("This page is from before"),
    _("Somebody has signed in or out in this browser since the page was opened, or the browser keeps no cookies."),
    of_sent=_("Nothing of what you sent is written."),
    again=_("It is kept on this page: send it again."),
)
SIGNED_OUT = Trouble(
    403,
    _("You are signed out"),
    _("A sign-in lasts fourteen hours, or until you sign out or get a new password."),
    of_sent=_("Nothing of what you sent is written."),
    again=_("It is kept on this page: sign in on another page, then come back to this one and send it again."),
    is_at_the_door=True,
)
OURS = Trouble(
    500,
    _("Something went wrong here"),
    _("It has been noted. Look whether what you sent is written before you send it again."),
    of_sent="",
)

# By the classes of SQLSTATE: connections (08), resources (53), an operator's hand or a crash (57P).
DISK_FULL, TOO_MANY = "53100", "53300"
WORDLESS = ""
LEAST_BYTES = 1_000_000


def of(error: BaseException | None) -> Trouble:
    """What kind of trouble an exception came of."""
    for one in _chain(error):
        if isinstance(one, OSError) and one.errno in {errno.ENOSPC, errno.EDQUOT}:
            return FULL
        if isinstance(one, sqlite3.Error):
            # The low byte is the kind; what is above it says more of the same.
            match getattr(one, "sqlite_errorcode", 0) & 0xFF:
                case sqlite3.SQLITE_FULL:
                    return FULL
                case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
                    return BUSY
                case sqlite3.SQLITE_CANTOPEN | sqlite3.SQLITE_IOERR:
                    # Opened on a full disk it complains of what it couldn't make beside its file.
                    return FULL if _has_no_room() else GONE
        elif isinstance(one, OperationalError | InterfaceError) and not isinstance(one.__cause__, sqlite3.Error):
            state = getattr(one.__cause__, "sqlstate", None) or WORDLESS
            if state == DISK_FULL:
                return FULL
            # A connection that broke, or was never made, has no state of its own.
            if state in {WORDLESS, TOO_MANY} or state.startswith(("08", "57P")):
                return GONE
    return OURS


def _has_no_room() -> bool:
    folder = Path(str(connection.settings_dict["NAME"])).parent
    return folder.exists() and shutil.disk_usage(folder).free < LEAST_BYTES


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ or error.__context__


def answer(request: HttpRequest) -> HttpResponse:
    """The page for what could not be answered; asks the database nothing. `handler500`."""
    # Whose language it is otherwise, the database alone knows.
    return _page(request, of(sys.exception()), language.of_browser(request) or language.ENGLISH)


def stale(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form whose mark is not this browser's any more. `CSRF_FAILURE_VIEW`.

    It is offered to be sent again where the browser says that it comes from a page of ours: of another's making it is
    not to be sent by anybody's hand.
    """
    ours = {f"{request.scheme}://{request.get_host()}", *settings.CSRF_TRUSTED_ORIGINS}
    is_ours = request.headers.get("Origin") in ours
    return _page(request, STALE, language.of(request), is_kept=is_ours)


def signed_out(request: HttpRequest) -> HttpResponse | None:
    """A form that was sent by somebody who is signed out meanwhile; None where nothing was typed into it."""
    if not any(value for name, value in _typed(request) if name != MARK):
        return None
    return _page(request, SIGNED_OUT, language.of(request))


# The field of a form that says from which browser it comes.
MARK = "csrfmiddlewaretoken"


def _page(request: HttpRequest, trouble: Trouble, code: str, *, is_kept: bool = True) -> HttpResponse:
    typed = _typed(request) if is_kept else []
    if trouble is STALE:
        typed = [(name, get_token(request) if name == MARK else value) for name, value in typed]
    with language.speaking(code):
        page = render_to_string(
            "mill/trouble.html",
            {
                "trouble": trouble,
                "lang": language.as_html(code),
                "request_id": logs.request_id(),
                "typed": typed,
                "address": request.get_full_path(),
                # Not by its name in the list of what was laid out: that may be what is wrong.
                "style": f"{settings.STATIC_URL}mill/mill.css",
            },
        )
    said = HttpResponse(page, status=trouble.status)
    if trouble.retry_s:
        said["Retry-After"] = str(trouble.retry_s)
    said["Cache-Control"] = "no-store"
    return said


def _typed(request: HttpRequest) -> list[tuple[str, str]]:
    """What was typed into the form, to be sent again from this page; nothing of a file or a password."""
    if request.method != "POST" or request.content_type != "application/x-www-form-urlencoded":
        return []
    try:
        sent = request.POST
    except (UnreadablePostError, SuspiciousOperation):
        return []
    if any("password" in name for name in sent):
        return []
    return [(name, value) for name, values in sent.lists() for value in values]
