from datetime import date, timedelta

from inventory.store_care import Course, Hung, Shelf, Stored, Triggers, long_unmoved, what_is_due

TODAY = date(2026, 11, 24)
TRIGGERS = Triggers(every_days=30, soon_days=14, unmoved_days=90, catch=1, lure_days=56)


def ago(days):
    return TODAY - timedelta(days)


def shelf(*stored, **changes):
    return Shelf(**{"code": "B2", "is_dark": False, "stored": stored, "inspected_on": ago(20), **changes})


def wool(days=10, label="A12"):
    return Stored(label, True, ago(days))


def due(*shelves, **changes):
    return what_is_due(shelves, Triggers(**{**vars_of(TRIGGERS), **changes}), today=TODAY)


def vars_of(triggers):
    return {name: getattr(triggers, name) for name in triggers.__dataclass_fields__}


def test_wool_is_looked_over_every_so_many_days():
    (one,) = due(shelf(wool()))
    assert one.on == ago(20) + timedelta(30)
    assert not one.is_due(TODAY)
    assert one.is_due(one.on)
    assert one.why == "It holds what moths eat: every 30 days."


def test_wool_long_unmoved_in_the_dark_is_due_sooner():
    (one,) = due(shelf(wool(days=90), is_dark=True))
    assert one.on == ago(20) + timedelta(14)
    assert one.is_due(TODAY)
    assert one.why == "Lot A12 has lain in the dark for 90 days: every 14 days."


def test_a_day_less_or_a_light_place_is_not():
    assert due(shelf(wool(days=89), is_dark=True))[0].on == ago(20) + timedelta(30)
    assert due(shelf(wool(days=400), is_dark=False))[0].on == ago(20) + timedelta(30)


def test_a_place_without_anything_moths_eat_is_due_nothing():
    assert due(shelf(Stored("L1", False, ago(500)), is_dark=True), shelf()) == []


def test_a_place_never_looked_over_counts_from_when_yarn_came_to_lie_there():
    (one,) = due(shelf(wool(days=40), inspected_on=None))
    assert one.on == ago(10)
    assert one.why.startswith("Never yet.")


def test_a_find_calls_for_action_at_once_until_the_next_inspection():
    (one,) = due(shelf(wool(), found=3))
    assert one.is_urgent
    assert one.on == ago(20)
    assert one.why == "3 found on 4 Nov, at or above the mill's trigger of 1: act, then look again."
    assert not due(shelf(wool(), found=3), catch=4)[0].is_urgent
    assert not due(shelf(wool(), found=3), catch=0)[0].is_urgent, "0 never calls"


def test_each_trap_is_due_a_lure_when_its_own_is_spent():
    found = due(shelf(wool(), traps=(Hung("T1", ago(56)), Hung("T2", ago(10)))))
    assert [(one.what, one.on, one.trap and one.trap.code) for one in found] == [
        ("lure", TODAY, "T1"),
        ("inspection", ago(20) + timedelta(30), None),
        ("lure", ago(10) + timedelta(56), "T2"),
    ]
    assert found[0].why == "The lure of trap T1 was renewed on 29 Sep and lasts 56 days."


def test_a_treatment_asks_for_its_probe_and_then_for_its_lots():
    under_way = Course("Treatment 7", "freezing of lot Q2", read_on=TODAY)
    over = Course("Treatment 6", "heat of all of B2", read_on=ago(9), done_on=ago(8))
    found = what_is_due([], TRIGGERS, today=TODAY, courses=[under_way, over])
    assert [(one.what, one.on, one.code) for one in found] == [
        ("release", ago(8), "Treatment 6"),
        ("probe", TODAY, "Treatment 7"),
    ]
    assert found[0].why.startswith("What the heat of all of B2 treated is still in quarantine since")
    assert found[1].why == "Read the core of the freezing of lot Q2, and write it down."


def test_the_soonest_comes_first():
    found = due(shelf(wool(), code="A1"), shelf(wool(), code="B2", inspected_on=ago(50)))
    assert [one.shelf.code for one in found] == ["B2", "A1"]


def test_what_nobody_has_touched_for_long_is_listed_longest_first():
    shelves = [shelf(wool(95, "A1"), wool(10, "A2")), shelf(wool(200, "A3"), Stored("A4", False, ago(300)))]
    assert [lot.label for _, lot in long_unmoved(shelves, TRIGGERS, today=TODAY)] == ["A3", "A1"]
