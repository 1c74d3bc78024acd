"""Every verb that a page has, a program has: each address that a form is sent to, beside the API's that does the same."""

import pytest
from django.urls import URLPattern, get_resolver

from mill import roles
from planning.serializers import warps as serializers
from tests.make import make_warp
from tests.mill.test_roles import address_of, addresses, person, signed_in

__all__ = ["person", "signed_in"]

# By page: the addresses of the API that do all that its forms do.
OVER_THE_API = {
    # orders and customers
    "order_new": ["order-list"],
    "order_edit": ["order-detail"],
    "line_new": ["order-lines"],
    "line_edit": ["orderline-detail"],
    "line_call_off": ["orderline-call-off"],
    "line_take_up": ["orderline-take-up"],
    "customer_new": ["customer-list"],
    "customer_edit": ["customer-detail"],
    # cloths
    "cloth_new": ["cloth-list"],
    "cloth_edit": ["cloth-detail"],
    # the next revision, and the latest corrected
    "cloth_revise": ["cloth-revisions", "cloth-revision"],
    "colourway_new": ["cloth-colourways"],
    "colourway_rename": ["cloth-colourway"],
    "shrinkage_take": ["api_cloth_shrinkage"],
    # warps
    "combine": ["warp-proposals", "ruling-list", "ruling-detail"],
    "warp_beam": ["warp-beam"],
    "warp_move": ["warp-move"],
    "warp_take_off": ["warp-take-off"],
    "warp_split": ["warp-split"],
    "warp_join": ["warp-join"],
    "warp_put_on": ["warp-put-on"],
    "warp_lock": ["warp-lock"],
    "warp_note": ["warp-note"],
    "warp_take_apart": ["warp-take-apart"],
    # pinned, let loose, or tried by hand in a copy of the plan
    "warp_place": ["warp-pin", "planrun-move"],
    "warp_hold": ["warp-hold-yarn"],
    "warp_hold_lot": ["warp-hold-lot"],
    "warp_let_go": ["warp-let-go"],
    "warp_draw": ["warp-step"],
    "warp_draw_weft": ["warp-step"],
    "warp_wind": ["warp-step"],
    "warp_gait": ["warp-step"],
    "warp_begin": ["warp-step"],
    "warp_out": ["warp-step"],
    "warp_back": ["warp-step"],
    "lot_shares": ["lot-shares", "lot-shares-what-if"],
    # looms, board, plans
    "loom_new": ["loom-list"],
    "loom_edit": ["loom-detail"],
    "loom_hold": ["loom-hold", "loom-let-go"],
    "loom_breaks_down": ["loom-stands"],
    "efficiency_take": ["loom-efficiency"],
    "plan_new": ["planrun-list"],
    "plan_improve": ["plan-search-list"],
    "plan_late_yarn": ["plan-search-late-yarn"],
    "plan_stop": ["plan-search-stop"],
    "work_again": ["job-try-again"],
    "plan_decide": ["planrun-put-in-force", "planrun-put-aside", "planrun-bring-back"],
    "board_move": ["planrun-move"],
    "board_take_back": ["planrun-take-back"],
    "feeds": ["feedlink-list"],
    "feed_withdraw": ["feedlink-withdraw"],
    # the floor, tickets
    "floor": ["api_taps"],
    "tickets_issue_day": ["jobticket-of-day"],
    "tickets_next": ["jobticket-list"],
    "ticket_issue": ["jobticket-list"],
    "ticket_withdraw": ["jobticket-withdraw"],
    # pieces, finishing, dispatch
    "piece": [
        *("piece-perch", "piece-mend", "piece-final-perch", "piece-faults", "piece-measure", "piece-judge"),
        *("piece-allocate", "piece-correct-length"),
    ],
    "finishing": ["finishingbatch-list"],
    "batch_out": ["finishingbatch-out"],
    "batch_undo": ["finishingbatch-undo"],
    "dispatch_new": ["dispatch-list"],
    "dispatch_back": ["dispatch-take-back"],
    # yarn and its ledger
    "yarn_new": ["yarn-list"],
    "yarn_edit": ["yarn-detail"],
    "lot_receive": ["yarnlot-receive"],
    "lot_write": [
        *("yarnlot-draw", "yarnlot-give-back", "yarnlot-hold", "yarnlot-count", "yarnlot-move", "yarnlot-waste"),
        *("yarnlot-correct", "yarnlot-quarantine", "yarnlot-release", "yarnlot-approve", "yarnlot-reject"),
    ],
    "hold_release": ["yarnlot-let-go"],
    "line_reverse": ["movement-reverse"],
    # deliveries, claims, the small records of the store
    "delivery_new": ["delivery-list"],
    "delivery": ["delivery-detail"],
    "claim_new": ["claim-list"],
    "claim": ["claim-send", "claim-answer", "claim-drop"],
    "supplier_new": ["supplier-list"],
    "supplier": ["supplier-detail"],
    "fibre_new": ["fibre-list"],
    "fibres_of_table": ["fibre-of-table"],
    "fibre": ["fibre-detail"],
    "place_new": ["place-list"],
    "place_edit": ["place-detail"],
    "place_count": ["place-count", "place-count-look"],
    "trap_new": ["trap-list"],
    "trap": ["trap-detail"],
    "inspection_new": ["inspection-list"],
    "treatment_new": ["treatment-list"],
    "treatment": ["treatment-end", "treatment-release"],
    "store_triggers": ["api_store_triggers"],
    # money
    "rate_new": ["rate-list"],
    "rate": ["rate-detail"],
    "price_new": ["yarnprice-list"],
    "price": ["yarnprice-detail"],
    "quote_new": ["quote-list"],
    "quote_place": ["quote-place"],
    "quote_drop": ["quote-drop"],
    "tokens": ["token-list"],
    "token_withdraw": ["token-withdraw"],
    # the mill's own figures, small records, files, backups
    "mill": ["api_mill"],
    "reed_new": ["reed-list"],
    "reed": ["reed-detail"],
    "beam_new": ["beam-list"],
    "beam": ["beam-detail"],
    "shift_pattern_new": ["shiftpattern-list"],
    "shift_pattern": ["shiftpattern-detail"],
    "closure_new": ["closure-list"],
    "closure": ["closure-detail"],
    "public_days": ["closure-public-days"],
    "worker_new": ["worker-list"],
    "worker": ["worker-detail"],
    "machine_new": ["machine-list"],
    "machine": ["machine-detail"],
    "import_csv": ["api_import"],
    "import_csv_kind": ["api_import"],
    "backups": ["api_backups"],
}
AT_A_DESK = "who may come in is said by a person who is signed in, and by no program in that person's name"
NOT_OVER_THE_API = {
    "sign_in": "a program comes with a token",
    "sign_out": "a program comes with a token",
    "first_owner": "the book is nobody's yet: there is nobody whose token it could be",
    "own_password": AT_A_DESK,
    "own_language": "whom the book speaks to in which language; the API speaks English to every program",
    "lay_example_aside": "the books change places, and `manage.py start` with its page waits for that",
    "person_new": AT_A_DESK,
    "person": AT_A_DESK,
    "person_password": AT_A_DESK,
    "lies_open": AT_A_DESK,
    "sit_as": "the browser looks at an open book as another role; nothing is written",
    "keys": "the browser remembers whether keys are on; nothing is written",
}
SUMS = next(part for part in roles.PARTS if part.what == "sums that write nothing")


def taking_posts(desk) -> dict[str, URLPattern]:
    """Pages that a form can be sent to: those that somebody may act on, and that don't answer 405."""
    found = {}
    for route, pattern in addresses(get_resolver()):
        assert pattern.name is not None
        if route.startswith("api/") or not roles.who_may(pattern.name, "POST") or pattern.name in SUMS.names:
            continue
        # What these do to whoever asks would end the walk.
        if (
            pattern.name in {"sign_in", "sign_out", "first_owner"}
            or desk.post(address_of(route, pattern)).status_code != 405
        ):
            found[pattern.name] = pattern
    return found


def test_every_form_of_a_page_has_its_address_in_the_api(desk):
    desk.raise_request_exception = False
    pages = taking_posts(desk)
    assert len(pages) > 100
    missing = pages.keys() - OVER_THE_API.keys() - NOT_OVER_THE_API.keys()
    assert not missing, f"pages whose forms no program can send: {sorted(missing)}"
    gone = (OVER_THE_API.keys() | NOT_OVER_THE_API.keys()) - pages.keys()
    assert not gone, f"pages that take no form any more: {sorted(gone)}"
    assert not OVER_THE_API.keys() & NOT_OVER_THE_API.keys()


def test_the_api_has_the_addresses_that_are_named():
    there = {pattern.name for route, pattern in addresses(get_resolver()) if route.startswith("api/")}
    named = {name for names in OVER_THE_API.values() for name in names}
    assert named <= there, sorted(named - there)


@pytest.mark.parametrize("page", sorted(OVER_THE_API))
def test_the_same_roles_act_on_the_page_and_over_the_api(page):
    for name in OVER_THE_API[page]:
        over_the_api = roles.who_may(name, "POST")
        if name == "warp-step":
            # Each step asks for the roles of its own button: the test below.
            assert roles.who_may(page, "POST") <= over_the_api
        elif name != "lot-shares-what-if":
            assert roles.who_may(page, "POST") == over_the_api, name


STEPS = {
    "draw yarn": "warp_draw",
    "draw weft": "warp_draw_weft",
    "wind": "warp_wind",
    "gait": "warp_gait",
    "begin weaving": "warp_begin",
    "weave out": "warp_out",
    "back": "warp_back",
}


@pytest.mark.parametrize("role", roles.ROLES)
def test_a_step_over_the_api_is_for_whoever_has_its_button(signed_in, role):
    client, warp = signed_in(role), make_warp()
    for step, page in STEPS.items():
        said = {"step": step, "reason": "tried out", "loom": "none"}
        answer = client.post(f"/api/warps/{warp.number}/step/", said, content_type="application/json")
        # Whoever may is refused for another reason, or finds no such loom.
        assert (answer.status_code == 403) == (not roles.may({role}, page, "POST")), (step, answer.content)


def test_every_step_has_its_button():
    assert set(STEPS.values()) == {page for page, names in OVER_THE_API.items() if "warp-step" in names}
    assert list(STEPS) == serializers.STEPS
