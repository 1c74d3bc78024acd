"""How long each room's page takes on the server, in the example mill and in one ten times its size."""

import json
import time
from collections.abc import Callable
from statistics import median
from typing import Any

from django.test import Client

from mill.bench.history import bench_user
from mill.bench.scratch import in_the_book, scratch_book
from mill.desk import ROOMS
from planning.models import Cloth, JobTicket, Loom, Order, Warp

TIMES = 15


def addresses() -> list[str]:
    """The ten rooms, and one page of each thing in them."""
    from django.urls import reverse

    from inventory.models import YarnLot

    found = [reverse(key) for key, _ in ROOMS]
    found += [reverse("combine"), reverse("board"), reverse("lots"), reverse("lot_shares")]
    found.append(reverse("order", args=[Order.objects.latest("pk").number]))
    found.append(reverse("cloth", args=[Cloth.objects.earliest("pk").code]))
    found.append(reverse("warp", args=[Warp.objects.open().latest("pk").number]))
    found.append(reverse("loom", args=[Loom.objects.earliest("pk").code]))
    lot = YarnLot.objects.select_related("yarn").earliest("pk")
    found += [reverse("yarn_one", args=[lot.yarn.code]), reverse("lot", args=[lot.label])]
    ticket = JobTicket.objects.order_by("pk").last()
    if ticket:
        found.append(reverse("ticket", args=[ticket.number]))
    return found


def work_inside() -> str:
    """Milliseconds by address, the median of fifteen."""
    client = Client(SERVER_NAME="localhost")
    client.force_login(bench_user())
    taken: dict[str, float] = {}
    for address in addresses():
        rounds: list[float] = []
        for _ in range(TIMES + 1):
            began = time.perf_counter()
            answer = client.get(address)
            rounds.append(time.perf_counter() - began)
            assert answer.status_code == 200, f"{address} answered {answer.status_code}"
        taken[address] = round(median(rounds[1:]) * 1000, 1)
    return json.dumps(taken)


def run(write: Callable[[str], Any], *, inside: bool) -> None:
    """Every page in both books side by side; addresses of single things differ, their kinds don't."""
    if inside:
        write(work_inside())
        return
    taken: dict[int, dict[str, float]] = {}
    for size in (1, 10):
        with scratch_book(size=size) as env:
            taken[size] = json.loads(in_the_book(env, "pages"))
    write(f"{'page':40} {'ms':>7} {'ms x 10':>8} {'ratio':>6}")
    for (page, small), large in zip(taken[1].items(), taken[10].values(), strict=True):
        write(f"{page:40} {small:7.1f} {large:8.1f} {large / small:6.2f}")
    write(f"median {median(taken[1].values()):.1f} ms, with ten times the data {median(taken[10].values()):.1f} ms")
