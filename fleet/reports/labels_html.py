"""A sheet of labels on A4: eight to a page, to be cut along the thin lines."""

from __future__ import annotations

from html import escape
from typing import Final

import segno

from fleet.reports.labels import SET_BASE_URL, Label, LabelSheet
from fleet.words import day

_STYLE: Final = """
:root{color-scheme:light;--face:"Atkinson Hyperlegible Next",-apple-system,"Segoe UI",Roboto,"Noto Sans",\
"Liberation Sans",Arial,"DejaVu Sans",system-ui,sans-serif}
*,*::before,*::after{box-sizing:border-box}
body{margin:0;background:#f4f5f8;color:#171a24;font:400 15.5px/1.4 var(--face);font-feature-settings:"tnum" 1}
h1,h2,p,ul{margin:0}ul{padding:0;list-style:none}
h1{font-size:25px;font-weight:560}.top{max-width:184mm;margin:24px auto 16px;padding:0 16px}
.top p{margin-top:6px;color:#464c5e}
.say{border-left:6px solid #171a24;padding:8px 14px;background:#fff}.top .say{color:#171a24}
.sheet{width:184mm;max-width:100%;margin:0 auto;background:#fff}
.row{display:table;table-layout:fixed;width:100%;border-collapse:collapse}
.lab{display:table-cell;vertical-align:top;width:92mm;height:66mm;padding:6mm;\
border:.3pt solid #7b8297}
.in{position:relative;height:54mm;overflow:hidden}
.lab h2{font-size:30pt;line-height:1.02;font-weight:640;letter-spacing:-.01em;overflow-wrap:anywhere}
.lab.long h2{font-size:19pt}.lab.longer h2{font-size:12pt}
.lab.qr-on h2,.lab.qr-on p{margin-right:37mm}
.lab p{font-size:10.5pt;line-height:1.25;margin-top:1.5mm}.lab .do{font-size:9pt}
.lab svg{position:absolute;right:0;top:0;width:34mm;height:34mm}
.lab .no{position:absolute;left:0;right:0;bottom:0;font-size:7.6pt;margin:0!important}
.acts{display:flex;gap:8px;justify-content:center;margin:20px 0 48px}
.btn{min-height:48px;padding:0 20px;border:1px solid #332288;border-radius:3px;background:#332288;color:#fff;\
font:600 15.5px var(--face);cursor:pointer}
:focus-visible{outline:3px solid #332288;outline-offset:2px}
@media screen and (max-width:700px){.row,.lab{display:block}.lab{width:100%;min-height:66mm}}
@page{size:A4;margin:12mm 13mm 10mm}
@media print{body{background:#fff;color:#000}.noprint{display:none!important}.sheet{margin:0}
.row{break-inside:avoid}.lab{border-color:#000}.top{margin:0 0 3mm;padding:0;max-width:none}
.top.codes{display:none}.top p{color:#000}.say{border-color:#000}}
"""
_ACROSS: Final = 2
_LONG: Final = 9
_LONGER: Final = 18
NO_LINES: Final = "No line matches what was asked for. Choose another site, or leave the choice away for every line."
NO_PERMISSION: Final = "This label is no permission to work."


def render(sheet: LabelSheet) -> str:
    """Return labels as a full HTML document that needs nothing beside itself.

    Parameters
    ----------
    sheet : LabelSheet
        The labels; without a base address they carry no code, and the sheet says what to set.
    """
    coded = any(label.address for label in sheet.labels)
    note = (
        f'<p class="say">{escape(NO_LINES)}</p>'
        if not sheet.labels
        else ""
        if coded
        else f'<p class="say">{escape(SET_BASE_URL)}</p>'
    )
    rows = "".join(
        f'<div class="row">{"".join(_label(label) for label in sheet.labels[start : start + _ACROSS])}</div>'
        for start in range(0, len(sheet.labels), _ACROSS)
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Labels, {escape(sheet.chosen)}</title><style>{_STYLE}</style></head>\n"
        f'<body><main><header class="top{" codes" if coded else ""}"><h1>Labels for the machines</h1>'
        f"<p>{escape(sheet.chosen)}; record of {day(sheet.as_of)}. Scanned, a label opens its line’s job sheet.</p>"
        f'{note}</header><div class="sheet">{rows}</div>'
        '<div class="acts noprint"><button type="button" class="btn" onclick="window.print()">Print</button>'
        "</div></main></body></html>\n"
    )


def _label(label: Label) -> str:
    size = " longer" if len(label.line) > _LONGER else " long" if len(label.line) > _LONG else ""
    code = ""
    if label.address:
        drawn = segno.make_qr(label.address, error="m")
        svg = drawn.svg_inline(border=0, omitsize=True, svgclass=None, lineclass=None)
        code = svg.replace(
            "<svg", f'<svg role="img" aria-label="QR code: opens the job sheet of {escape(label.line)}"', 1
        )
    about = "".join(f"<p>{escape(text)}</p>" for text in (label.site, label.description) if text)
    do = '<p class="do">Scan: job sheet, what was set, what to expect.</p>' if label.address else ""
    return (
        f'<section class="lab{size}{" qr-on" if code else ""}"><div class="in">{code}'
        f"<h2>{escape(label.line)}</h2>{about}{do}"
        f'<p class="no">{NO_PERMISSION}{f" {escape(label.address)}" if label.address else ""}</p></div></section>'
    )
