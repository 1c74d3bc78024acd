"""QR codes on paper: what they hold, and how they are drawn."""

import segno
from django.conf import settings
from django.http import HttpRequest
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _


def scanned_address(where: str, request: HttpRequest) -> str:
    """What a QR code holds: the mill's address as phones reach it, else the one that this page was asked by.

    where    the path that it leads to
    """
    return f"{settings.ADDRESS.rstrip('/')}{where}" if settings.ADDRESS else request.build_absolute_uri(where)


def qr_svg(text: str, *, label: str = "") -> SafeString:
    """A QR code with middling error correction, for a paper that gets oily.

    label    what is read out in its place; without one it is a ticket's
    """
    drawn = segno.make(text, error="m", micro=False).svg_inline(
        scale=4, border=4, dark="#000", light="#fff", omitsize=True
    )
    read_out = escape(label or _("QR code of this ticket"))
    return mark_safe(drawn.replace("<svg ", f'<svg role="img" aria-label="{read_out}" ', 1))  # noqa: S308
