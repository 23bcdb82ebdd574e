"""The style of a session report: A4 in black on white with a running head, one column on a phone."""

from __future__ import annotations

from typing import Final

_STYLE: Final = """
:root{color-scheme:light;--face:"Atkinson Hyperlegible Next",-apple-system,"Segoe UI",Roboto,"Noto Sans",\
"Liberation Sans",Arial,"DejaVu Sans",system-ui,sans-serif}
*,*::before,*::after{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:#f4f5f8;color:#171a24;font:400 15.5px/1.45 var(--face);font-feature-settings:"tnum" 1;\
font-variant-numeric:tabular-nums}
h1,h2,h3,p,dl,dd,ul{margin:0}ul{padding:0;list-style:none}b{font-weight:640}
h1{font-size:30px;line-height:1.15;font-weight:560;letter-spacing:-.012em;overflow-wrap:anywhere}
h2{font-size:19px;line-height:1.25;font-weight:600}h3{font-size:15.5px;font-weight:600}
p,li,td,th{overflow-wrap:break-word}dd{overflow-wrap:anywhere}
.crumb,.dim{color:#464c5e}.crumb{font-size:14px;margin-bottom:8px}
.note{font-size:13.5px;line-height:1.4;color:#464c5e;margin-top:6px}.lead{margin-top:8px;font-size:17px}
.rep{max-width:920px;margin:32px auto 0;padding:32px 36px;background:#fff;border:1px solid #dde0e8;border-radius:3px}
.rep>section{margin-top:26px}.blk{margin-top:14px}
.say{border-left:6px solid #171a24;padding:8px 14px;margin-top:16px}
.caut{margin-top:16px;padding:12px 16px;border:1.5px solid #171a24;border-left-width:10px;font-size:14.5px}
.caut ul{columns:2;column-gap:28px}.caut li{padding:1px 0 1px 13px;text-indent:-13px;break-inside:avoid}
.caut li::before,.sl li::before{content:"–";display:inline-block;width:13px;text-indent:0}.caut>p{margin-top:6px}
.sl li{padding:2px 0 2px 13px;text-indent:-13px}
table{width:100%;border-collapse:collapse;margin-top:6px;font-size:13.5px}
th{text-align:left;font-weight:500;font-size:12.5px;color:#464c5e;vertical-align:bottom;padding:6px 8px 5px 0;\
border-bottom:1px solid #7b8297;line-height:1.3}
td{padding:5px 8px 5px 0;border-bottom:1px solid #dde0e8;vertical-align:top;line-height:1.3}
td:first-child{font-weight:600}.fx td:first-child{font-weight:400}
.fx th{width:17%;font-weight:400;font-size:13.5px;vertical-align:top;\
border-bottom:1px solid #dde0e8;padding:5px 8px 5px 0}
.fx td{width:33%;overflow-wrap:anywhere}
.prof{display:block;width:100%;height:auto;margin-top:8px}
.key{display:flex;flex-wrap:wrap;gap:4px 18px;font-size:13px;margin-top:4px}
.key svg{vertical-align:-2px;margin-right:5px}
.rf{display:grid;grid-template-columns:auto 1fr;gap:10px 20px;align-items:center;margin-top:26px}
.axes{max-width:100%}
.acts{display:flex;gap:8px;justify-content:center;margin:20px 0 48px}
.btn{display:inline-flex;align-items:center;min-height:48px;padding:0 20px;border:1px solid #332288;border-radius:3px;\
background:#332288;color:#fff;font:600 15.5px var(--face);cursor:pointer;text-decoration:none}
.btn.plain{background:#fff;color:#332288}
:focus-visible{outline:3px solid #332288;outline-offset:2px}
@media screen and (max-width:700px){
body{font-size:16px;background:#fff}h1{font-size:25px}.rep{margin:0;border:0;padding:18px 16px}
.caut ul{columns:1}.fx tr{display:grid;grid-template-columns:112px 1fr}
.fx th,.fx td{width:auto}.rf{grid-template-columns:1fr}
.stk thead{display:none}.stk tr{display:block;padding:8px 0;border-bottom:1px solid #7b8297}
.stk td{display:grid;grid-template-columns:112px 1fr;gap:10px;border:0;padding:2px 0}
.stk td::before{content:attr(data-label);color:#464c5e;font-weight:400}
.acts{margin:16px;flex-wrap:wrap}.btn{flex:1;justify-content:center}}
@page{size:A4;margin:17mm 13mm 13mm;\
@top-left{content:"RUNNING_HEAD";font:8pt "Atkinson Hyperlegible Next","Liberation Sans",Arial,sans-serif;\
vertical-align:bottom;padding-bottom:2.5mm;width:88%}\
@top-right{content:"page " counter(page) " of " counter(pages);\
font:8pt "Atkinson Hyperlegible Next","Liberation Sans",Arial,sans-serif;vertical-align:bottom;padding-bottom:2.5mm;\
white-space:nowrap;width:12%}}
@media print{
body,.crumb,.dim,.note,th,.stk td::before{background:#fff;color:#000}
.noprint{display:none!important}
.rep{max-width:none;margin:0;padding:0;border:0}.rep>section{margin-top:4mm}
body{font-size:9.2pt;line-height:1.3}h1{font-size:19pt}h2{font-size:12.5pt}h3{font-size:10pt}
h1,h2,h3{break-after:avoid}.crumb{font-size:8.8pt;margin:0}.lead{font-size:10pt;margin-top:1mm}
.say{border-left:2mm solid #000;padding:1mm 3mm;margin-top:2mm}
.caut{font-size:8.3pt;line-height:1.28;margin-top:2mm;padding:1.2mm 3mm;border:1.2pt solid #000;border-left-width:3mm;\
break-inside:avoid}.caut ul{column-gap:6mm}.caut>p{margin-top:1mm}
.fx{break-inside:avoid}.fx th{font-size:8.4pt;padding:.55mm 2mm .55mm 0;border-color:#777}.fx td{font-weight:400}
.blk{margin-top:2.5mm}.blk>h3,.blk>.keep{break-after:avoid}
table{font-size:8.4pt;margin-top:.5mm}thead{display:table-header-group}tr{break-inside:avoid}
th{font-size:7.8pt;padding:.6mm 2mm .6mm 0;border-color:#000}
td{padding:.55mm 2mm .55mm 0;border-color:#777;line-height:1.2}
.note{font-size:8pt;line-height:1.25;margin-top:.8mm;break-before:avoid}
.fig{break-inside:avoid}.prof{width:170mm;height:auto;margin-top:1mm}.key{font-size:8.2pt;gap:1mm 5mm}
.rf{gap:3mm;margin-top:4mm;break-inside:avoid;grid-template-columns:31mm 1fr}.axes{width:31mm;height:auto}
}
"""


def _css_text(text: str) -> str:
    """Return a text as it may stand between quotes in a style sheet inside an HTML document."""
    return "".join(
        f"\\{ord(letter):x} " if letter in "\\\"<>&'" or ord(letter) < ord(" ") else letter for letter in text
    )


def style(running_head: str) -> str:
    """Return the style sheet with the words that stand at the head of every printed page.

    Parameters
    ----------
    running_head
        What the paper is about, its unit, its time zone, and as of when.
    """
    return _STYLE.replace("RUNNING_HEAD", _css_text(running_head))
