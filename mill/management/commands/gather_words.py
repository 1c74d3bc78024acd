"""The words of code, pages and scripts into the catalogues of `mill/locale`, and those into what the program reads."""

from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils.translation.template import templatize

ROOT = Path(settings.BASE_DIR)
LOCALE = Path(settings.LOCALE_PATHS[0])
# Scripts have a catalogue of their own: a page carries it whole, see `script_words`.
DOMAINS = ("django", "djangojs")
KEYWORDS: dict[str, Any] = {
    **dict.fromkeys(("_", "N_", "W_", "gettext", "gettext_lazy", "gettext_noop"), None),
    **dict.fromkeys(("ngettext", "ngettext_lazy"), (1, 2)),
    **dict.fromkeys(("pgettext", "pgettext_lazy"), ((1, "c"), 2)),
}
Words = dict[tuple[Any, str | None], list[str]]


def catalogue(code: str, domain: str) -> Path:
    return LOCALE / code / "LC_MESSAGES" / f"{domain}.po"


def codes() -> list[str]:
    """The languages that are translated into."""
    return [code for code, _ in settings.LANGUAGES if code != settings.LANGUAGE_CODE]


def _sources(domain: str) -> Iterator[tuple[Path, str, bytes]]:
    """Each file that may hold words, how it is read, and what is in it."""
    if domain == "djangojs":
        for path in sorted((ROOT / "mill" / "static" / "mill").glob("*.js")):
            yield path, "javascript", path.read_bytes()
        return
    for app in ("mill", "planning", "inventory"):
        for path in sorted((ROOT / app).rglob("*.py")):
            if "migrations" not in path.parts:
                yield path, "python", path.read_bytes()
    for path in sorted((ROOT / "templates").rglob("*.html")):
        code = templatize(path.read_text(), origin=str(path))
        # The lines' indentation is a page's, and none of Python's.
        yield path, "python", "\n".join(line.strip() for line in code.splitlines()).encode()


def gathered(domain: str) -> Words:
    """All that is said, one and several of it together, with the files that say it."""
    words: Words = {}
    for path, how, content in _sources(domain):
        options = {"encoding": "utf-8"}
        for _line, said, _comments, context in extract(how, BytesIO(content), KEYWORDS, options=options):
            words.setdefault((said, context), []).append(str(path.relative_to(ROOT)))
    return words


def merged(old: Catalog, words: Words) -> Catalog:
    """The catalogue with what is said now: what was translated keeps its translation, what is gone is left out."""
    # No day of writing stands in it: two people's catalogues would differ in nothing else.
    day = datetime(2026, 11, 29, tzinfo=UTC)
    new = Catalog(
        locale=old.locale,
        project="Shedbook",
        version="1",
        creation_date=day,
        revision_date=day,
        **dict.fromkeys(("msgid_bugs_address", "last_translator", "language_team"), ""),
        fuzzy=False,
    )
    new.header_comment = "# The words of Shedbook. `manage.py gather_words` writes this file; see DEVELOPERS.md."
    for (said, context), files in words.items():
        before = old.get(said, context=context)
        string = _as_many(said, before.string) if before is not None else None
        new.add(said, string, [(name, 0) for name in sorted(set(files))], context=context)
    return new


def _as_many(said: Any, string: Any) -> Any:
    """A translation in as many forms as what is said: a word that is counted from now on lacks the form for several."""
    was_counted, is_counted = isinstance(string, tuple | list), isinstance(said, tuple | list)
    if is_counted and not was_counted:
        return (string, "")
    return string[0] if was_counted and not is_counted else string


def read(code: str, domain: str) -> Catalog:
    path = catalogue(code, domain)
    if not path.exists():
        return Catalog(locale=code)
    with path.open("rb") as file:
        return read_po(file, locale=code)


class Command(BaseCommand):
    help = "Gathers what the book says into its catalogues of words, and makes of them what the program reads."

    def handle(self, *args: Any, **options: Any) -> None:
        for code in codes():
            for domain in DOMAINS:
                path = catalogue(code, domain)
                path.parent.mkdir(parents=True, exist_ok=True)
                new = merged(read(code, domain), gathered(domain))
                with path.open("wb") as file:
                    write_po(file, new, width=0, include_lineno=False)
                with path.with_suffix(".mo").open("wb") as file:
                    write_mo(file, new)
                missing = [message.id for message in new if message.id and not _is_said(message.string)]
                self.stdout.write(f"{path.relative_to(ROOT)}: {len(new)} words, {len(missing)} without a translation")


def _is_said(string: Any) -> bool:
    return all(string) if isinstance(string, tuple | list) else bool(string)
