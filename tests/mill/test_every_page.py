"""Every page has its place in the list of pages that are measured and looked at; what a page loads is small."""

import re
from pathlib import Path

from django.contrib.staticfiles import finders
from django.urls import get_resolver

from mill.bench.every_page import NO_PAGE, ONLY_POST, PAPERS, PARTS, page_names
from tests.mill.test_roles import addresses

# Our own style sheets and scripts, all of them together, as they leave the server before they are packed.
OWN_BYTES = 100_000


def test_every_named_address_is_a_page_or_is_said_to_be_none():
    named = {pattern.name for route, pattern in addresses(get_resolver()) if not route.startswith("api/")}
    assert named == set(page_names()) | ONLY_POST | NO_PAGE
    assert not ONLY_POST & NO_PAGE
    assert set(page_names()) >= PAPERS | PARTS


def test_own_style_and_script_are_under_100_kb_in_all():
    linked = set()
    for path in (Path(__file__).parents[2] / "templates").rglob("*.html"):
        linked |= set(re.findall(r"{% static '(mill/[\w./-]+\.(?:css|js))' %}", path.read_text()))
    # The floor's worker is fetched by its own address, beside those that templates link.
    linked.add("mill/floor_worker.js")
    assert {"mill/mill.css", "mill/book.js", "mill/board.js"} <= linked
    own = {
        path.name
        for path in (Path(__file__).parents[2] / "mill/static/mill").iterdir()
        if path.suffix in {".css", ".js"}
    }
    assert {name.removeprefix("mill/") for name in linked} == own, "a file of ours that no page links"
    sizes = {name: len(Path(finders.find(name)).read_bytes()) for name in sorted(linked)}
    assert sum(sizes.values()) < OWN_BYTES, sizes
