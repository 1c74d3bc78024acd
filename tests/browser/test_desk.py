"""The desk itself: whatever room is open, the frame round it works in a real browser."""

import pytest

pytestmark = pytest.mark.browser


def test_the_first_page_breaks_no_rule_at_any_width(page, axe):
    page.goto("/")
    axe(page)
    wider_than_the_screen = page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    assert not wider_than_the_screen


def test_a_search_does_not_leave_what_is_typed_without_asking(desk_page):
    page = desk_page
    page.goto("/customers/new/")
    page.fill("input[name=name]", "Holm")
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.fill("#find", "fell")
    page.press("#find", "Enter")
    assert asked == ["beforeunload"]
    assert page.input_value("input[name=name]") == "Holm"


@pytest.mark.slow
def test_the_api_is_read_about_with_nothing_from_elsewhere(chromium, live_server, desk):
    context = chromium.new_context(base_url=live_server.url)
    context.add_cookies([{"name": "sessionid", "value": desk.cookies["sessionid"].value, "url": live_server.url}])
    page, fetched, wrong = context.new_page(), [], []
    page.on("requestfinished", lambda asked: fetched.append(asked.url))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto("/api/description/")
    page.get_by_text("The backups that are kept, and one to be written now.").first.wait_for()
    context.close()
    assert wrong == []
    assert [url for url in fetched if not url.startswith((live_server.url, "data:", "blob:"))] == []
