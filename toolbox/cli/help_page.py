"""The first page of help: every command under its step of the job, at any width, coloured or not.

Written with rich's console alone: the help of a single command may load what it likes, this page is what people
and scripts meet first and most often.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich.console import Console
from rich.text import Text

LEAST_WORDS = 24
"""Narrower than this beside the names, the words go under them."""

Rows = Sequence[tuple[str, str]]


def _lines(console: Console, words: str | Text, room: int) -> list[Text]:
    lines = list((words if isinstance(words, Text) else Text(words)).wrap(console, room))
    for line in lines:
        line.rstrip()
    return lines


def _section(console: Console, title: str, rows: Rows) -> None:
    for line in _lines(console, Text(title, style="bold"), console.width):
        console.print(line)
    left = max(len(name) for name, _ in rows) + 4
    room = console.width - left
    for name, words in rows:
        if room < LEAST_WORDS:
            console.print(Text(f"  {name}", style="cyan"))
            for line in _lines(console, words, max(console.width - 4, 8)):
                console.print(Text("    ").append_text(line))
            continue
        for number, line in enumerate(_lines(console, words, room) or [Text("")]):
            head = Text(f"  {name}".ljust(left), style="cyan") if number == 0 else Text(" " * left)
            console.print(head.append_text(line))
    console.print()


def print_page(
    usage: str, words: str, sections: Mapping[str, Rows], ending: str, console: Console | None = None
) -> None:
    """Print the page.

    Parameters
    ----------
    usage, words, ending
        How the command is called, what it is for, what stands at the end.
    sections
        Title -> rows of name and words; a title without rows is left out.
    console
        Where to print; standard output by default, whose colours follow ``NO_COLOR`` and whether it is a terminal.
    """
    console = console or Console(highlight=False, markup=False, emoji=False)
    for line in _lines(console, Text("Usage: ", style="bold").append(usage, style="not bold"), console.width):
        console.print(line)
    console.print()
    for line in _lines(console, words, console.width):
        console.print(line)
    console.print()
    for title, rows in sections.items():
        if rows:
            _section(console, title, rows)
    for line in _lines(console, ending, console.width):
        console.print(line)
