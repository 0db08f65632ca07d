"""One HTML page that prints well and needs no other file. Text in, text out; all of it escaped."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from pathlib import Path

from reading.problem import Problem

_STYLE = """
@page { size: A4; margin: 15mm }
body { font: 11pt/1.4 serif; max-width: 180mm; margin: 1em auto; color: #000; background: #fff }
h1 { font-size: 16pt } h2 { font-size: 12pt; margin: 1.2em 0 .3em }
h3 { font-size: 11pt; margin: 1.2em 0 .3em } h1, h2, h3 { break-after: avoid }
table { border-collapse: collapse; font-size: 10pt; font-variant-numeric: tabular-nums }
th, td { border-bottom: 1px solid #bbb; padding: .15em .8em .15em 0; text-align: left }
tr { break-inside: avoid } td img { max-width: none; width: 62mm; max-height: none }
.numbers { font-size: 8.5pt; width: 100% } .numbers th, .numbers td { padding: .15em 0 .15em .5em }
.numbers th + th, .numbers td + td { text-align: right }
figure { margin: .5em 0; break-inside: avoid } img, svg { max-width: 100%; max-height: 120mm }
figcaption, footer { font-size: 9pt; color: #333 } .result { font-size: 15pt }
"""


def page(title: str, parts: Sequence[str], footer: str = "") -> str:
    """Put parts that are HTML already on one page."""
    end = f"<footer><hr>{escape(footer)}</footer>\n" if footer else ""
    return (
        '<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(title)}</title>\n<style>{_STYLE}</style></head>\n<body>\n"
        f"<h1>{escape(title)}</h1>\n" + "\n".join(parts) + f"\n{end}</body>\n</html>\n"
    )


def heading(text: str, level: int = 2) -> str:
    """Write the heading of a section, or at level 3 of a part of one."""
    return f"<h{level}>{escape(text)}</h{level}>"


def paragraph(text: str, kind: str = "") -> str:
    """Write a paragraph; `kind` is its class."""
    return f'<p class="{escape(kind)}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def items(texts: Sequence[str]) -> str:
    """Write a list."""
    return "<ul>" + "".join(f"<li>{escape(text)}</li>" for text in texts) + "</ul>"


def table(header: Sequence[str], rows: Sequence[Sequence[object]], kind: str = "") -> str:
    """Write a table with a header; of the kind "numbers" small, all but the first column right."""
    return _table(header, [[escape(str(cell)) for cell in row] for row in rows], kind)


def picture_table(
    header: Sequence[str], rows: Sequence[Sequence[object]], pictures: Sequence[bytes]
) -> str:
    """Write a table with JPEG pictures as its first column; no data, no picture."""
    cells = [
        [_image(data, str(row[0])) if data else "", *(escape(str(cell)) for cell in row)]
        for data, row in zip(pictures, rows, strict=True)
    ]
    return _table(header, cells)


def _table(header: Sequence[str], rows: Sequence[Sequence[str]], kind: str = "") -> str:
    """Write a table of cells that are HTML already."""
    head = "".join(f"<th>{escape(cell)}</th>" for cell in header)
    body = "\n".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    named = f' class="{escape(kind)}"' if kind else ""
    return f"<table{named}><thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table>"


def jpeg(data: bytes, caption: str) -> str:
    """Embed a JPEG picture with its caption."""
    return f"<figure>{_image(data, caption)}<figcaption>{escape(caption)}</figcaption></figure>"


def _image(data: bytes, words: str) -> str:
    source = base64.b64encode(data).decode("ascii")
    return f'<img alt="{escape(words)}" src="data:image/jpeg;base64,{source}">'


def drawing(svg: str, caption: str) -> str:
    """Embed an SVG drawing of ours with its caption."""
    return f"<figure>{svg}<figcaption>{escape(caption)}</figcaption></figure>"


def save(text: str, target: Path) -> None:
    """Write a page or drawing into a file; Problem, naming it, if it can't be written."""
    try:
        target.write_text(text, encoding="utf-8")
    except OSError as error:
        raise Problem(
            f"{target}: can't be written ({error.strerror}), choose another place"
        ) from error
