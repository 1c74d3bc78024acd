"""Every word of the trade that a page says in a heading, a column head, a term or a label leads to the glossary.

Templates are read through `Loader`, which marks what they themselves say there; what people wrote is left alone. A word
is a link where it first stands on a page, in the page's language. A label and a head that sorts can't hold one, since
a click on them means something else: their words stand in a line at the end of the page.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from django.template.loaders.filesystem import Loader as FilesystemLoader
from django.urls import reverse
from django.utils.html import conditional_escape, format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from mill.words import Word, found_in, word_at

HEADS = re.compile(r"(<(h[1-3]|th|dt|caption|legend|label)\b(?:\{[%{].*?[%}]\}|[^>{])*>)(.*?)(</\2>)", re.DOTALL)
# What a head is made of: sentences with figures in them, which take no other tag, template tags and comments, tags of
# HTML, and what is left, the text.
SENTENCE = r"\{% blocktranslate\b.*?\{% endblocktranslate %\}"
PARTS = re.compile(rf"({SENTENCE}|\{{%.*?%\}}|\{{\{{.*?\}}\}}|\{{#.*?#\}}|<[^>]*>)", re.DOTALL)
# Names of what we say ourselves, and never of what somebody wrote.
OURS = re.compile(r"\{\{\s*((?:\w+\.)*(?:label|title)(?:\|said)?)\s*\}\}")
TRANSLATED = re.compile(r"""\{%\s*trans(?:late)?\s+((?:"[^"]*"|'[^']*')(?:\s+context\s+"[^"]*")?)\s*%\}""")
PRESSED = {"a", "button", "label", "summary", "svg", "select"}


class Terms:
    """The words of one page: those that are linked, and those only heard in labels."""

    def __init__(self) -> None:
        self.linked: dict[str, Word] = {}
        self.heard: dict[str, Word] = {}

    def link(self, word: Word, text: str) -> str:
        """The text as a link to the word, the first time; afterwards the text."""
        if word.anchor in self.linked:
            return conditional_escape(text)
        self.linked[word.anchor] = word
        return format_html('<a class="term" href="{}#{}">{}</a>', reverse("words"), word.anchor, text)

    def link_all(self, text: str) -> SafeString:
        parts = (self.link(word, part) if word else conditional_escape(part) for part, word in _found(text))
        return mark_safe("".join(parts))  # noqa: S308 - each part is escaped

    def link_alone(self, text: str) -> SafeString:
        """A title that is a word, or a word with a number: Warps, Beam B8. In any other somebody's words may stand."""
        first, *rest = _found(text)
        if first[1] and (not rest or re.fullmatch(r" \S*\d\S*", "".join(part for part, _ in rest))):
            return mark_safe(self.link(first[1], first[0]) + conditional_escape(text[len(first[0]) :]))  # noqa: S308 - both are escaped
        return conditional_escape(text)

    def hear(self, text: str) -> None:
        self.heard |= {word.anchor: word for _, word in _found(text) if word}

    def left(self) -> SafeString:
        """The words that a label or a sorting head said and nothing on the page links, as links."""
        words = sorted(self.heard.keys() - self.linked.keys())
        return format_html_join(
            " · ",
            '<a class="term" href="{}#{}">{}</a>',
            ((reverse("words"), anchor, word_at(anchor, get_language() or "").within) for anchor in words),
        )


def _found(text: str) -> Iterator[tuple[str, Word | None]]:
    return found_in(text, get_language() or "")


def terms_of(context: Any) -> Terms | None:
    """The page's words; None where nothing is linked: on paper, and before anybody has signed in."""
    found = context.get("terms")
    return found if isinstance(found, Terms) else None


def marked(source: str) -> str:
    """A template's source with the trade's words of its heads marked.

    >>> marked("<th>Ends a dent</th>")
    '<th>{% term "end" "Ends" %} a {% term "dent" "dent" %}</th>'
    >>> marked("<label for=x>Crimp <input></label>")
    '<label for=x>{% heard "Crimp" %}Crimp <input></label>'
    >>> marked("<h2>{% blocktranslate %}Warp {{ n }}{% endblocktranslate %}</h2>")
    '<h2>{% blocktranslate %}Warp {{ n }}{% endblocktranslate %}</h2>'
    """
    return HEADS.sub(lambda head: f"{head[1]}{_marked_head(head[3], head[2] == 'label')}{head[4]}", source)


def _marked_head(inner: str, is_pressed: bool) -> str:
    within: list[str] = []
    made = []
    for part in PARTS.split(inner):
        is_link = not is_pressed and not within
        if tag := re.match(r"<(/?)(\w+)", part):
            if tag[2] in PRESSED:
                within = within[:-1] if tag[1] else [*within, tag[2]]
        elif ours := OURS.fullmatch(part):
            name = ours[1]
            alone = "term_alone" if name.removesuffix("|said").endswith("title") else "term_in"
            part = f"{{% {alone} {name} %}}" if is_link else f"{{% heard {name} %}}{part}"
        elif translated := TRANSLATED.fullmatch(part):
            said = f"{{% translate {translated[1]} as head_said %}}"
            part = f"{said}{{% term_in head_said %}}" if is_link else f"{said}{{% heard head_said %}}{part}"
        elif part and not part.startswith("{"):
            words = [(text, word) for text, word in found_in(part)]
            if is_link:
                part = "".join(f'{{% term "{word.anchor}" "{text}" %}}' if word else text for text, word in words)
            elif said := ", ".join(text for text, word in words if word):
                part = f'{{% heard "{said}" %}}{part}'
        made.append(part)
    return "".join(made)


class Loader(FilesystemLoader):
    """Reads our own templates; the framework's come as they are, by the loader after this."""

    def get_contents(self, origin: Any) -> str:
        return marked(super().get_contents(origin))
