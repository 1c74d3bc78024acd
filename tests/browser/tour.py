"""The README's pictures, taken anew from a running book: python3 -m tests.browser.tour ADDRESS today=/ cloth=/cloths/HOU/ ...

DJANGO_SETTINGS_MODULE=mill.settings stands in its environment.
"""

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.conftest import CHROMIUM, CHROMIUM_FLAGS

FOLDER = Path(__file__).resolve().parent.parent.parent / ".tour"
WIDTH, HEIGHT = 1280, 860


def take(address: str, pages: dict[str, str]) -> None:
    """A picture of each page's first screen, named as the page is in `pages`."""
    FOLDER.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=CHROMIUM_FLAGS)
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, base_url=address)
        for name, path in pages.items():
            page.goto(path)
            page.screenshot(path=FOLDER / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    _, address, *rest = sys.argv
    take(address, dict(word.split("=", 1) for word in rest))
