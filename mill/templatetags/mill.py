"""How figures are written on a page. Formats, never computes a figure of the trade."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Context, Decimal
from functools import cache
from gettext import translation
from typing import Any

from django import template
from django.conf import settings
from django.http import HttpRequest
from django.template.base import render_value_in_context
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join, json_script
from django.utils.safestring import SafeString
from django.utils.translation import get_language, gettext

from mill import said_working
from mill.fields import Asked, asked
from mill.glossing import terms_of
from mill.how_to import told as how_to_told
from mill.signs import NARROW_SPACE, written_now
from mill.words import word_at
from mill.working import Step

register = template.Library()

# A half is rounded up, as figures are where they are worked out.
NEAREST = Context(prec=60, rounding=ROUND_HALF_UP)


@register.inclusion_tag("mill/_changes.html")
def changes_of(record: Any) -> dict[str, Any]:
    """A quiet line that leads to all that became of a record."""
    return {"kind": record._meta.label_lower, "record": record}


@register.filter
def may_act_at(may: Any, url_name: str) -> bool:
    """`may.some_page` where the page's name is itself a value."""
    return bool(may[url_name])


def _kind_of(cell: Mapping[str, Any]) -> str:
    """A number stands to the right; a day is not broken over two lines."""
    return "number" if cell["column"].is_number else "nowrap" if cell["is_day"] else ""


@register.simple_tag(takes_context=True)
def cells_of(context: template.Context, cells: Iterable[Mapping[str, Any]]) -> SafeString:
    """The cells of a row of a list; written here and not in a page, where a thousand of them take ten times as long."""
    return format_html_join(
        "",
        "<td{}>{}</td>",
        (
            (
                format_html(' class="{}"', kind) if (kind := _kind_of(cell)) else "",
                format_html('<a href="{}">{}</a>', cell["link"], said) if cell["link"] else said,
            )
            for cell in cells
            for said in ["–" if cell["shown"] is None else render_value_in_context(cell["shown"], context)]
        ),
    )


@register.filter
def num(value: Any, places: int | None = None) -> str:
    """12345.60 as 12 345.6, in German 12 345,6: thousands apart, no idle zeros unless places are asked for.

    >>> num(Decimal("12345.60")).replace(NARROW_SPACE, "_"), num(Decimal("7"), 1), num(Decimal("6.25"), 1), num(None)
    ('12_345.6', '7.0', '6.3', '–')
    """
    if value is None or value == "":
        return "–"
    number = Decimal(str(value))
    if places is None:
        text = f"{number.normalize():,f}"
    else:
        text = f"{number.quantize(Decimal(1).scaleb(-places), context=NEAREST):,f}"
    text = text.replace(",", NARROW_SPACE)
    sign = written_now().decimal
    return text if sign == "." else text.replace(".", sign)


@register.filter
def signed(value: Any, places: int | None = None) -> str:
    """What is more or less than something else: with its sign, and none for nothing.

    >>> signed(Decimal("12.3"), 2), signed(Decimal("-0.5"), 2), signed(Decimal(0), 2), signed(None)
    ('+12.30', '−0.50', '0.00', '–')
    """
    if value is None or value == "":
        return "–"
    number = Decimal(str(value))
    sign = "+" if number > 0 else "−" if number < 0 else ""
    return f"{sign}{num(abs(number), places)}"


@register.filter
def kg(grams: Any, places: int = 1) -> str:
    """Grams as kilograms.

    >>> kg(12345)
    '12.3'
    """
    return "–" if grams is None or grams == "" else num(Decimal(str(grams)) / 1000, places)


@register.filter
def day(value: date | datetime | None) -> str:
    """Tue 24 Nov, in German Di., 24. Nov.; with the year when it is another year than this one."""
    if not value:
        return "–"
    if isinstance(value, datetime):
        value = timezone.localtime(value)
    on = value.date() if isinstance(value, datetime) else value
    return written_now().day_said(on, with_year=on.year != timezone.localdate().year)


@register.filter
def moment(value: datetime | None) -> str:
    """Tue 24 Nov, 14:05."""
    return f"{day(value)}, {timezone.localtime(value):%H:%M}" if value else "–"


def one_line(text: str) -> str:
    """What isn't broken in a narrow column; a day in a list's column is not anyway, see `cells_of`."""
    return text.replace(" ", "\u00a0")


@register.filter
def moment_folded(value: datetime | None) -> str:
    """The same for a narrow column: on two lines at most, the day on one of them."""
    return f"{one_line(day(value))}, {timezone.localtime(value):%H:%M}" if value else "–"


@register.filter
def hours(minutes: Any) -> str:
    """Minutes as hours and minutes.

    >>> hours(702), hours(45), hours(None)
    ('11 h 42 min', '45 min', '–')
    """
    if minutes is None or minutes == "":
        return "–"
    whole, rest = divmod(int(minutes), 60)
    return (f"{num(whole)} h {rest:02d} min" if rest else f"{num(whole)} h") if whole else f"{rest} min"


@register.filter
def days_late(minutes: Any) -> str:
    """Minutes of lateness as a person says them: hours under two days, else whole days, begun ones counted.

    >>> days_late(300), days_late(3000), days_late(0)
    ('5 h', '3 days', '0 min')
    """
    if minutes is None or minutes == "" or int(minutes) < 2 * 24 * 60:
        return hours(minutes)
    return gettext("%(n)s days") % {"n": num(-(-int(minutes) // (24 * 60)))}


@register.simple_tag(takes_context=True)
def asked_as(context: template.Context, field: Any) -> Asked:
    """A form's field in the units that the mill chose: `unit` for its label, and `control`."""
    return asked(field, getattr(context.get("the_mill"), "asks_in", ""))


@register.simple_tag(takes_context=True)
def term(context: template.Context, anchor: str, text: str = "") -> str:
    """A word of the trade, as a link to the glossary where the page says it first. KeyError for one unknown."""
    word = word_at(anchor, get_language() or "")
    terms = terms_of(context)
    return terms.link(word, text or word.within) if terms else text or word.within


@register.simple_tag(takes_context=True)
def term_in(context: template.Context, text: Any) -> str:
    """A text of ours with the trade's words in it as links."""
    terms = terms_of(context)
    return terms.link_all(str(text)) if terms and text is not None else text


@register.simple_tag(takes_context=True)
def term_alone(context: template.Context, text: Any) -> str:
    """A title, as a link where it is a word of the trade."""
    terms = terms_of(context)
    return terms.link_alone(str(text)) if terms and text else text


@register.simple_tag(takes_context=True)
def heard(context: template.Context, text: Any) -> str:
    """Nothing; but the trade's words in the text, which can't be links where they stand, are told at the page's end."""
    if terms := terms_of(context):
        terms.hear(str(text))
    return ""


@register.simple_tag(takes_context=True)
def terms_left(context: template.Context) -> str:
    terms = terms_of(context)
    return terms.left() if terms else ""


@register.filter
def said(word: Any) -> str:
    """A word that is stored, or stands in an address, as the page's language says it: a state, a role, a reason."""
    return gettext(str(word)) if word else ""


@register.filter
def step_said(step: Any) -> Step:
    """A step of a working, as the page's language says it."""
    return said_working.said(step)


@register.filter
def unit_said(unit: Any) -> str:
    """A unit that may be a word, beside its number."""
    return said_working.unit_said(str(unit)) if unit else ""


@register.filter
def told(words: str) -> str:
    """A sentence of a how-to, in the page's language."""
    return how_to_told(words)


@register.simple_tag
def today_in_words(with_year: bool = False) -> str:
    """29 November, or 29 November 2026; the order of day and month is the language's."""
    return date_format(timezone.localdate(), gettext("j F Y") if with_year else gettext("j F"))


@register.simple_tag
def script_words() -> SafeString | str:
    """What the page's scripts say, in its language, for them to read; nothing in English, which they speak."""
    words = _script_words(get_language() or settings.LANGUAGE_CODE)
    return json_script(words, "script-words") if words else ""


@cache
def _script_words(code: str) -> dict[str, str]:
    said = translation("djangojs", settings.LOCALE_PATHS[0], languages=[code], fallback=True)
    catalogue: dict[str, str] = getattr(said, "_catalog", {})
    return {english: words for english, words in catalogue.items() if english}


@register.filter
def attr(value: Any, name: str) -> Any:
    return value.get(name) if isinstance(value, dict) else getattr(value, name, None)


@register.simple_tag(takes_context=True)
def query(context: template.Context, **changes: Any) -> str:
    """The page's own query string with some of it changed; None takes a word out."""
    request: HttpRequest = context["request"]
    words = request.GET.copy()
    for name, value in changes.items():
        words.pop(name, None)
        if value is not None:
            words[name] = str(value)
    return f"?{words.urlencode()}" if words else "?"


@register.simple_tag
def swatch(colour: str, name: str = "") -> SafeString:
    """A dab of a yarn's colour as SVG (a style attribute would break the page's security policy)."""
    return format_html(
        '<svg class="swatch" viewBox="0 0 10 10" role="img" aria-label="{}">'
        '<rect width="10" height="10" fill="{}"/></svg>',
        name or colour,
        colour,
    )
