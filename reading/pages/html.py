"""One HTML page that prints well and needs no other file. Text in, text out; all of it escaped."""

from __future__ import annotations

import base64
import os
from collections.abc import Sequence
from html import escape
from pathlib import Path

from reading import saving
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
figcaption, footer { font-size: 9pt; color: #333 } .whole { break-inside: avoid }
.result { font-size: 14pt; margin: .6em 0 }
td, li, figcaption { overflow-wrap: anywhere } .warnings { border-left: 3px solid #b00020 }
pre { font: 9pt/1.45 monospace; white-space: pre-wrap; overflow-wrap: anywhere; margin: .3em 0 }
.gallery { display: grid; grid-template-columns: 1fr 1fr; gap: 4mm; align-items: start }
.gallery figure { margin: 0 } .gallery img { max-height: 105mm }
.beside { display: grid; grid-template-columns: 75mm 1fr; gap: 2mm 6mm; align-items: start;
  break-inside: avoid; margin: 0 0 4mm } .beside > * { min-width: 0 }
.beside h3, .beside p { margin: 0 0 .3em } .beside figure { margin: 0 0 2mm; cursor: zoom-in }
.beside > div:focus-within, .beside > div:focus-within + div { grid-column: 1 / -1 }
.beside figure:focus { outline: none } .beside table { line-height: 1.15 }
.beside td:not(:last-child) { white-space: nowrap }
.many { grid-template-columns: repeat(3, 1fr) }
.sign { display: flex; gap: 8mm; margin: 2em 0 1em; break-inside: avoid }
.sign span { flex: 1; border-bottom: 1px solid #000 }
"""
_FEW_PICTURES = 2  # more of them go three in a row: a sheet holds six and more


def page(title: str, parts: Sequence[str], footer: str = "", mark: str = "") -> str:
    """Put parts that are HTML already on one page; `mark` is printed on each sheet of it."""
    style = _STYLE + (_on_each_sheet(mark) if mark else "")
    end = f"<footer><hr>{escape(footer)}</footer>\n" if footer else ""
    return (
        '<!doctype html>\n<html lang="en">\n<head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(title)}</title>\n<style>{style}</style></head>\n<body>\n"
        f"<h1>{escape(title)}</h1>\n" + "\n".join(parts) + f"\n{end}</body>\n</html>\n"
    )


def _on_each_sheet(mark: str) -> str:
    """Write a mark and the sheet's number into the margin of every printed sheet."""
    # A string of CSS: what could end it, or the style it stands in, is written as its code
    # (the space after it belongs to the code).
    text = "".join(one if one.isalnum() or one in " .-_/" else f"\\{ord(one):06x} " for one in mark)
    return (
        f'@page {{ @bottom-left {{ content: "{text}"; font: 9pt serif }} @bottom-right {{ content: '
        '"sheet " counter(page) " of " counter(pages); font: 9pt serif } }\n'
    )


def heading(text: str, level: int = 2) -> str:
    """Write the heading of a section, or at level 3 of a part of one."""
    return f"<h{level}>{escape(text)}</h{level}>"


def sections(named: Sequence[tuple[str, Sequence[str]]]) -> list[str]:
    """Write sections of (heading, parts), led by one line of links to them."""
    links = (f'<a href="#s{n}">{escape(name)}</a>' for n, (name, _) in enumerate(named))
    parts = [f"<p>{' · '.join(links)}</p>"]
    for n, (name, own) in enumerate(named):
        parts += [f'<h2 id="s{n}">{escape(name)}</h2>', *own]
    return parts


def paragraph(text: str, kind: str = "") -> str:
    """Write a paragraph; `kind` is its class."""
    return f'<p class="{escape(kind)}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def items(texts: Sequence[str], kind: str = "") -> str:
    """Write a list; `kind` is its class. No texts, no list."""
    if not texts:
        return ""
    named = f' class="{escape(kind)}"' if kind else ""
    return f"<ul{named}>" + "".join(f"<li>{escape(text)}</li>" for text in texts) + "</ul>"


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


def working(lines: Sequence[str]) -> str:
    """Write lines one under another, their columns kept."""
    return f"<pre>{escape(chr(10).join(lines))}</pre>"


def gallery(pictures: Sequence[tuple[str, bytes]]) -> str:
    """Lay (caption, JPEG data) side by side; none, nothing."""
    if not pictures:
        return ""
    kind = "gallery many" if len(pictures) > _FEW_PICTURES else "gallery"
    return f'<div class="{kind}">' + "".join(jpeg(data, text) for text, data in pictures) + "</div>"


def together(parts: Sequence[str]) -> str:
    """Keep parts that are HTML already on one printed sheet."""
    return f'<div class="whole">{"".join(parts)}</div>'


def beside(pictures: Sequence[tuple[str, bytes]], parts: Sequence[str]) -> str:
    """Lay small (caption, JPEG data) beside parts; clicked, they are as wide as the page."""
    shown = "".join(jpeg(data, words) for words, data in pictures)
    shown = shown.replace("<figure>", '<figure tabindex="0">')
    return f'<div class="beside"><div>{shown}</div><div>{"".join(parts)}</div></div>'


def signature(who: str = "") -> str:
    """Leave a place to sign, and for the date."""
    name = f"{escape(who)}, signed:" if who else "Signed:"
    return f'<div class="sign">{name}<span></span>Date:<span></span></div>'


def drawing(svg: str, caption: str) -> str:
    """Embed an SVG drawing of ours with its caption."""
    return f"<figure>{svg}<figcaption>{escape(caption)}</figcaption></figure>"


def check_place(target: Path) -> None:
    """Problem if a page can't be written there, before any work is done for it."""
    folder = target.parent
    if target.is_dir():
        raise Problem(f"{target}: is a folder, name a file in it")
    if not folder.is_dir():
        raise Problem(f"{target}: there is no folder {folder}, choose another place")
    if not os.access(target if target.exists() else folder, os.W_OK):
        raise Problem(f"{target}: may not be written, choose another place")


def save(text: str, target: Path) -> None:
    """Write a page or drawing into a file, whole or not at all.

    Raises
    ------
    Problem
        Naming the file, if it can't be written.
    """
    with saving.whole(target) as part:
        part.write_text(text, encoding="utf-8")
