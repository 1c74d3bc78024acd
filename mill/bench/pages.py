"""How long every page takes on the server, in the example mill and in one ten times its size, as its owner sees it."""

import json
import time
from collections.abc import Callable
from statistics import median
from typing import Any

from django.test import Client

from mill.bench.every_page import every_page, write_the_rest
from mill.bench.history import bench_user
from mill.bench.scratch import in_the_book, scratch_book

TIMES = 5
# What a page may take to its first byte; reckoned in CPU, so that a machine with other work doesn't make it slow.
FIRST_BYTE_MS = 150
SLOWEST = 20


def work_inside() -> str:
    """Milliseconds by page: CPU and clock, the middle of five rounds, of the slowest record that it is opened of."""
    client = Client(SERVER_NAME="localhost")
    by = bench_user()
    write_the_rest(by)
    client.force_login(by)
    taken: dict[str, tuple[float, float]] = {}
    for name, addresses in every_page().items():
        taken[name] = max(_middle(client, address) for address in addresses)
    return json.dumps(taken)


def _middle(client: Client, address: str) -> tuple[float, float]:
    cpu_ms, clock_ms = [], []
    for _ in range(TIMES + 1):
        cpu, clock = time.process_time(), time.perf_counter()
        answer = client.get(address)
        cpu_ms.append((time.process_time() - cpu) * 1000)
        clock_ms.append((time.perf_counter() - clock) * 1000)
        assert answer.status_code == 200, f"{address} answered {answer.status_code}"
    return round(median(cpu_ms[1:]), 1), round(median(clock_ms[1:]), 1)


def run(write: Callable[[str], Any], *, inside: bool) -> None:
    """Every page in both books side by side, the slowest first."""
    if inside:
        write(work_inside())
        return
    taken: dict[int, dict[str, tuple[float, float]]] = {}
    for size in (1, 10):
        with scratch_book(size=size) as env:
            taken[size] = json.loads(in_the_book(env, "pages"))
    write(f"{'page':24}{'CPU ms':>9}{'CPU ms x 10':>13}{'ratio':>7}{'ms':>9}{'ms x 10':>9}")
    by_large = sorted(taken[10], key=lambda name: -taken[10][name][0])
    for name in by_large[:SLOWEST]:
        (small, small_clock), (large, large_clock) = taken[1][name], taken[10][name]
        write(f"{name:24}{small:9.1f}{large:13.1f}{large / small:7.2f}{small_clock:9.1f}{large_clock:9.1f}")
    for size, pages in taken.items():
        cpu = [one for one, _ in pages.values()]
        slow = [name for name, (one, _) in pages.items() if one > FIRST_BYTE_MS]
        write(
            f"{len(pages)} pages of {size} x the example mill: median {median(cpu):.1f} ms of CPU, "
            f"most {max(cpu):.1f}; over {FIRST_BYTE_MS} ms: {', '.join(slow) or 'none'}"
        )
