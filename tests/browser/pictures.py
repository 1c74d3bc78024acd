"""The pictures of the README and of the how-to's, taken anew: python3 -m tests.browser.pictures

For each language opens an example mill in a folder that is thrown away and takes each how-to its way, with a picture of
each step just before its button is pressed; in English the tour's pages before, as they stand. A minute or so; Chromium
has to be there.
DJANGO_SETTINGS_MODULE=mill.settings stands in its environment.
"""

import base64
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import django
from django.conf import settings
from playwright.sync_api import sync_playwright

from mill.how_to import TASKS, Step
from mill.pictures import FOLDER, LIST, has_picture, name_of, words_of
from tests.browser.pressing import in_language, speak, take
from tests.conftest import CHROMIUM, CHROMIUM_FLAGS
from tests.started import Started, free_port

TOUR = Path(__file__).resolve().parent.parent.parent / ".tour"
WIDTH, HEIGHT = 1280, 860
# Narrower, so that what stands in a picture is still read where the page shows it smaller.
STEP_WIDTH = 1100
ROUND, LEAST_HEIGHT = 64, 300
# The first that makes a small enough file.
MOST_HEIGHTS = (1250, 700, 500)
MOST_BYTES = 40_000
MARK = "one => { document.activeElement.blur(); one.style.outline = '3px solid #b5651d'; one.style.outlineOffset = '3px'; }"
AS_WEBP = """async png => {
  const image = new Image();
  image.src = "data:image/png;base64," + png;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = image.width;
  canvas.height = image.height;
  canvas.getContext("2d").drawImage(image, 0, 0);
  return [canvas.toDataURL("image/webp", 0.75).split(",")[1], image.width, image.height];
}"""
# Each by the first link of its kind on the page before.
TOUR_PAGES = {
    "today": ["/"],
    "cloth": ["/cloths/HOU/"],
    "combine": ["/warps/combine/"],
    "warp": ["/warps/", "main tbody a"],
    "board": ["/looms/board/"],
    "yarn": ["/yarn/?short=true", "main tbody a"],
    "ticket": ["/tickets/", "main tbody a"],
}


def take_tour(browser: Any, address: str) -> None:
    """A picture of each page's first screen."""
    TOUR.mkdir(exist_ok=True)
    page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, base_url=address)
    for name, (path, *links) in TOUR_PAGES.items():
        page.goto(path)
        for link in links:
            page.locator(link).first.click()
        page.wait_for_load_state("networkidle")
        page.screenshot(path=TOUR / f"{name}.png")
    page.close()


def around(page: Any, touched: list[Any], most_height: int) -> dict[str, float]:
    """The part of the page that a step is about, over its whole width; what is pressed is always in it."""
    rises = page.evaluate("window.scrollY")
    boxes = [box for one in touched if (box := one.bounding_box())]
    top = min(box["y"] for box in boxes) + rises - ROUND
    foot = max(box["y"] + box["height"] for box in boxes) + rises + ROUND
    if foot - top > most_height:
        foot = boxes[-1]["y"] + boxes[-1]["height"] + rises + ROUND
        top = max(top, foot - most_height)
    top = max(min(top, foot - LEAST_HEIGHT), 0)
    foot = min(max(foot, top + LEAST_HEIGHT), page.evaluate("document.documentElement.scrollHeight"))
    return {"x": 0, "y": top, "width": STEP_WIDTH, "height": round(foot - top)}


def take_how_tos(browser: Any, address: str, code: str) -> None:
    """A picture of each step in a language, and the list of them; what was there before goes."""
    folder = FOLDER / code
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("*.webp"):
        old.unlink()
    told = {}
    darkroom = browser.new_page()
    for task in TASKS:
        page = browser.new_page(viewport={"width": STEP_WIDTH, "height": 800}, base_url=address)
        speak(page, code)
        page.goto("/")
        for n, step in enumerate(in_language(task, code), start=1):

            def keep(page: Any, touched: list[Any], name: str = name_of(task, n), of: Step = step) -> None:
                touched[-1].evaluate(MARK)
                for most_height in MOST_HEIGHTS:
                    shot = page.screenshot(full_page=True, clip=around(page, touched, most_height))
                    webp, width, height = darkroom.evaluate(AS_WEBP, base64.b64encode(shot).decode())
                    picture = base64.b64decode(webp)
                    if len(picture) < MOST_BYTES:
                        break
                (folder / f"{name}.webp").write_bytes(picture)
                told[name] = {"width": width, "height": height, "words": words_of(of)}

            take(page, step, before=keep if has_picture(n) else None)
        page.close()
    darkroom.close()
    (folder / LIST).write_text(json.dumps(told, indent=1) + "\n")


def main() -> None:
    django.setup()
    for code, _name in settings.LANGUAGES:
        with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
            started = Started(Path(folder) / "book", free_port())
            try:
                print(started.line().strip(), file=sys.stderr)
                browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=CHROMIUM_FLAGS)
                address = f"http://127.0.0.1:{started.port}"
                if code == settings.LANGUAGE_CODE:
                    take_tour(browser, address)
                take_how_tos(browser, address, code)
                browser.close()
            finally:
                started.process.terminate()
                started.process.communicate(timeout=30)


if __name__ == "__main__":
    main()
