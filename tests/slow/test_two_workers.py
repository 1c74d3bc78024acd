"""Two Celery workers plan and work figures out side by side: each job is done once, and it comes to what one comes to."""

import json
from collections import Counter

import pytest

from tests.slow.conftest import Book, wait_until
from tests.slow.test_jobs_crash import ask, marks

pytestmark = pytest.mark.slow

N_MARKS = 60
SEARCHES = (1, 2, 3)

# Every yarn's count is looked at again, so that every warp and then every yarn's outlook is; three searches for a plan
# beside that.
WORK = f"""
from django.db import transaction
from inventory.models import Yarn
from inventory.services import YARN_CHANGED
from mill import jobs
from planning.models import Warp, WarpFigures
from planning.services import improving
# So that figures which nobody worked out again would be seen. What yarn is drawn for keeps the figures it was drawn by.
WarpFigures.objects.filter(warp__state=Warp.PLANNED).update(worked_from="", ends=0, picks=0)
for yarn in Yarn.objects.order_by("pk"):
    with transaction.atomic():
        jobs.ask(YARN_CHANGED, {{"yarn": yarn.pk}}, same_as=f"{{YARN_CHANGED}}:{{yarn.pk}}")
for seconds in {SEARCHES!r}:
    improving.ask(seconds=seconds)
"""
# What is worked out, by what it is worked from; without the moment at which it was.
FIGURES = """
import json
from inventory.models import YarnDemand, YarnOutlook
from planning.models import WarpFigures, WarpYarn
def rows(model, *order):
    names = [f.attname for f in model._meta.fields if f.name not in ("id", "worked_at")]
    return [[str(value) for value in row] for row in model.objects.order_by(*order).values_list(*names)]
print(json.dumps({
    "warps": rows(WarpFigures, "warp"),
    "needs": rows(WarpYarn, "warp", "yarn", "use"),
    "demands": rows(YarnDemand, "source", "yarn", "use", "on", "grams"),
    "outlooks": rows(YarnOutlook, "yarn"),
}))
"""


def all_done(book: Book) -> bool:
    return {state for (state,) in book.rows("SELECT DISTINCT state FROM mill_job")} == {"done"}


def worked_by(book: Book, n_workers: int) -> dict[str, list]:
    """The figures of a mill, all of them worked out afresh by so many workers."""
    book.python(WORK)
    ask(book, "tests.leave_mark", [{"mark": f"mark{n}"} for n in range(N_MARKS)])
    for n in range(n_workers):
        book.celery(name=f"worker{n + 1}@mill")
    book.jobrelay()
    wait_until(lambda: all_done(book), within_s=240, what="all work is done")
    book.close()
    return json.loads(book.python(FIGURES))


def test_two_workers_side_by_side_come_to_what_one_comes_to(make_book):
    one, two = make_book("postgresql", redis=True), make_book("postgresql", redis=True)
    for book in (one, two):
        # The search compiled for one serves the other.
        book.env["NUMBA_CACHE_DIR"] = str(one.folder / "numba")
        book.run("example_mill", "--on", "2026-11-24")
    alone = worked_by(one, 1)
    together = worked_by(two, 2)

    for what, rows in alone.items():
        assert rows, what
        assert together[what] == rows, what
    assert not two.rows("SELECT 1 FROM planning_warpfigures WHERE worked_from = '' OR is_stale")
    assert marks(two) == {f"mark{n}": 1 for n in range(N_MARKS)}
    # Nobody was thought dead, nothing was tried twice, and both had a hand in it.
    assert two.rows("SELECT sum(deaths), sum(attempts) FROM mill_job") == [(0, 0)]
    hands = Counter(worker for (worker,) in two.rows("SELECT worker FROM mill_job WHERE worker <> ''"))
    assert len({worker.split()[1] for worker in hands}) > 2, hands
    found = two.rows("SELECT rule FROM planning_planrun WHERE rule = 'improved'")
    assert len(found) == len(SEARCHES)
    assert two.run("audit").stdout.startswith("Nothing differs: ")
