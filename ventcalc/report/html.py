"""The frame of the HTML reports: page, table, list."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from ventcalc.report.style import STYLE

__all__ = ["escaped", "html_list", "html_page", "html_table"]


def html_page(title: str, parts: Iterable[str]) -> str:
    """One self-contained page of sections, nothing fetched from elsewhere."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escaped(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escaped(title)}</h1>\n" + "\n".join(parts) + "\n</main>\n</body>\n</html>\n"
    )


def escaped(words: str) -> str:
    """Words as they may stand in HTML."""
    return html.escape(words)


def html_list(lines: Iterable[str]) -> str:
    """A list with a point for each line."""
    return "<ul>" + "".join(f"<li>{escaped(line)}</li>" for line in lines) + "</ul>"


def html_table(head: Sequence[str], rows: Iterable[Sequence[str]], caption: str) -> str:
    """A table whose first column names its rows."""
    cells = "".join(f'<th scope="col">{escaped(cell)}</th>' for cell in head)
    body = "".join(_row(row) for row in rows)
    return (
        f'<div class="wide"><table><caption>{escaped(caption)}</caption>'
        f"<thead><tr>{cells}</tr></thead>\n<tbody>{body}</tbody></table></div>"
    )


def _row(row: Sequence[str]) -> str:
    """A row whose first cell names it; one with nothing else heads a group."""
    kind = "" if any(row[1:]) else ' class="group"'
    cells = "".join(f"<td>{escaped(cell)}</td>" for cell in row[1:])
    return f'<tr{kind}><th scope="row">{escaped(row[0])}</th>{cells}</tr>\n'
