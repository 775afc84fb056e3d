"""The page of figures in the documents: written by the command, never by hand."""

from __future__ import annotations

from pathlib import Path

from coach.bench.driving import SLOWER
from coach.bench.figures import Figure, number
from coach.errors import StoreError

TOP = """\
# How fast it is

This page is written by `python3 run.py bench --write docs/explanation/performance.md`; nobody edits it. The figures
belong to one machine and one day. The same command says what another machine makes of it; `--json` is for programs.

No real adapter, no phone and no Raspberry Pi was at hand: the car is the virtual adapter, the phone a slowed browser.
"""
ASSUMED = ", ".join(f"{name} {times:g} times" for name, times in SLOWER.items())
HOW = {
    "Judging a stored drive": (
        "Made-up drives of ten signals at 10 Hz, a million instants, as arrays in memory; two holds and a sweep "
        "with a limit, of which each attempt has its end, its reason and what it lacked. All in turns, the fastest of "
        "five runs counts. pandas and DuckDB (one thread, its table loaded before the clock starts) answer only the "
        "holds, over the same arrays. The first query finds rows in the bands, parted where a signal of the bands is "
        "silent for 2 s or one of the ten that are recorded for half a second. The others look at the bands alone: "
        "over a silence they say that it was steady. Of a drive without any, as this one, all windows are the same; "
        "they are compared, and the run ends if one differs."
    ),
    "Judging while it happens": (
        "The same captures, fed instant by instant to the live judge. Sample to verdict is the call of the judge "
        "alone; the whole way stands under *While driving*. Memory is what the judge itself keeps."
    ),
    "Reading a CSV drive": (
        "A wide table on the disk, in the system's cache; pandas' `read_csv` alone is the floor. Both in turns, "
        "nine times, the fastest of each. Reading here also checks every line, tells units from the header, and "
        "finds gaps and values carried along."
    ),
    "Judging an archive": (
        "Copies of four bundled drives, read from CSV, gears estimated, judged by the bundled recipe through `coach "
        "archive judge`'s own pool. The start of its processes counts, about a second each: it is most of what a small "
        "archive takes. A pandas script that reads the same files and answers one hold stands beside."
    ),
    "Starting": (
        "Processes of their own, from start to end, or to the first page's last byte; the fastest of several. An "
        "interpreter that does nothing and one that only imports pandas are measured in the same run."
    ),
    "Polling a car": (
        "The virtual adapter answers after 40 ms, 10 ms more or less. python-obd's own loop asks the same adapter "
        "for the six signals one after the other. Real time, five seconds each."
    ),
    "While driving": (
        "The shipped server in a process of its own, the car in another. A stamp is taken when the link hands an "
        "answer over, and one when it is in the store's block, judged and published; each includes the wait for "
        "whatever the server does meanwhile. Meanwhile one page follows the stream; then two more callers load "
        "every file of the first page again and again, without a pause, and make bundles and reports of an earlier "
        "drive. Processor time and memory are what the system counts for the server; its child processes count for "
        "the time."
    ),
    "On a smaller machine": (
        "The same server goes on, kept on one core, and the system takes away what exceeds the given part of it. "
        "Raspberry Pi class machines: the share that it took here, times how much slower their core is for Python. "
        f"Assumed, from memory, unmeasured: {ASSUMED}. SQLite's syncing to a memory card is not in these figures."
    ),
    "The page on a browser": (
        "Chromium with its processor slowed four times, a phone's screen, nothing kept from before. Usable: the "
        "stop button and the instruction stand and are painted. Painted: from the server's publishing of an event "
        "to the frame after its paint."
    ),
    "A window of an hour": (
        "An hour of six signals, 25 samples a second each, replayed through the server flat out; one capture asks for "
        "all six and holds all the time. The page has never been here: loading it, the plot library and the samples, "
        "thinned for a screen with their peaks kept, is in the time."
    ),
    "A drive of eight hours": (
        "The loop, the store and the window files of the server in a process of its own, the clock moved by hand. "
        "Reading its blocks checks each; opening it also sorts every sample to its signal, in the process that has "
        "just recorded it. pandas reads as many rows and columns of CSV."
    ),
}


def page(machine: dict[str, str], figures: list[Figure]) -> str:
    """The page as Markdown: the machine, and by group how it was measured, the figures, and which promises are kept."""
    lines = [TOP, "| machine | |", "|---|---|", *(f"| {name} | {value} |" for name, value in machine.items())]
    broken = [f for f in figures if f.met is False]
    promised = sum(f.met is not None for f in figures)
    lines += ["", f"{promised - len(broken)} of {promised} promises are kept in this run."]
    group = ""
    for f in figures:
        if f.group != group:
            group = f.group
            how = next((text for start, text in HOW.items() if group.startswith(start)), "")
            lines += ["", f"## {group}", "", how, "", "| what | here | promised | |", "|---|--:|---|---|"]
        kept = {None: "", True: "kept", False: "**not kept**"}[f.met]
        lines.append(f"| {f.what} | {number(f.value)} {f.unit} | {f.target} | {kept} |")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def write(path: Path, machine: dict[str, str], figures: list[Figure]) -> None:
    """Writes the page. Raises StoreError when it cannot."""
    try:
        path.write_text(page(machine, figures), "utf-8")
    except OSError as error:
        raise StoreError(f"the figures cannot be written: {error.strerror}", where=str(path)) from error
