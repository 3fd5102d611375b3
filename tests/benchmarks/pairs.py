"""Costs beside a yardstick: processor time, taken in turn, and the median of the ratios."""

from __future__ import annotations

import resource
import statistics
import subprocess
import time
from collections.abc import Callable

HEADER = "| what | here | yardstick | ratio | at most |\n|---|---|---|---|---|"
Cost = Callable[[], float]


def process(*command: str) -> Cost:
    """Processor time of a whole process [s]."""

    def cost() -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    return cost


def call(function: Callable[[], object]) -> Cost:
    """Processor time of a call in this process [s]."""

    def cost() -> float:
        before = time.process_time()
        function()
        return time.process_time() - before

    return cost


def compare(what: str, ours: Cost, yardstick: Cost, limit: str, *, runs: int = 7) -> None:
    """One row: both medians and the median ratio, once each has warmed up."""
    ours(), yardstick()
    pairs = [(ours(), yardstick()) for _ in range(runs)]
    ratio = statistics.median(a / b for a, b in pairs)
    mine, other = (statistics.median(values) for values in zip(*pairs, strict=True))
    said = f"{ratio:.2f}" if ratio > 0.1 else f"1/{1 / ratio:.0f}"
    print(f"| {what} | {mine:.3f} s | {other:.3f} s | {said} | {limit} |", flush=True)
