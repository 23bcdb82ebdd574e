"""The style of a job sheet: one column on a phone, two pages of A4 on paper, black on white with nothing lost."""

from __future__ import annotations

from typing import Final

# A machine without desktop fonts falls back to a face a tenth wider than any other: set smaller, it fits the page.
STYLE: Final = """
@font-face{font-family:"Narrowed";src:local("DejaVu Sans"),local("DejaVuSans"),local("Verdana");size-adjust:86%;\
font-weight:100 550}
@font-face{font-family:"Narrowed";src:local("DejaVu Sans Bold"),local("DejaVuSans-Bold"),local("Verdana Bold");\
size-adjust:82%;font-weight:551 900}
:root{color-scheme:light;--face:"Atkinson Hyperlegible Next",-apple-system,"Segoe UI",Roboto,"Noto Sans",\
"Liberation Sans",Arial,"Narrowed",system-ui,sans-serif;
--ground:#f4f5f8;--sheet:#fff;--well:#eceef3;--ink:#171a24;--ink-2:#464c5e;--ink-3:#646a7d;--hair:#dde0e8;--rule:#7b8297;
--accent:#332288;--over:#882255;--due-text:#9c3b50;--watch-text:#5a4f9a;--within-text:#464c5e;--none-text:#646a7d}
*,*::before,*::after{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:var(--ground);color:var(--ink);font:400 15.5px/1.45 var(--face);\
font-feature-settings:"tnum" 1;\
font-variant-numeric:tabular-nums}
h1,h2,h3,p,dl,dd,ul{margin:0}ul{padding:0;list-style:none}
h1{font-size:30px;line-height:1.15;font-weight:560;letter-spacing:-.012em;overflow-wrap:anywhere}
.num{white-space:nowrap}h2{font-weight:600;line-height:1.25}h3{font-size:15.5px;font-weight:600}b{font-weight:640}
p,li,td,th{overflow-wrap:break-word}
.note{font-size:14px;line-height:1.4;color:var(--ink-2)}.dim{color:var(--ink-2)}.crumb{font-size:14px;color:var(--ink-2);\
margin-bottom:8px}
.job{max-width:860px;margin:32px auto 0;padding:32px 36px;background:var(--sheet);border:1px solid var(--hair);\
border-radius:3px}
.jh{display:flex;gap:24px;justify-content:space-between;align-items:flex-start}.jh>div{min-width:0}
.qr{width:84px;height:84px;flex:none}.noqr{width:150px;flex:none;font-size:12.5px;line-height:1.3;color:var(--ink-2)}
.sti{display:inline-flex;align-items:center;gap:7px;font-weight:600;white-space:nowrap}.sti svg{flex:none}
.sti.over{color:var(--over)}.sti.due{color:var(--due-text)}.sti.watch{color:var(--watch-text)}
.sti.within{color:var(--within-text);font-weight:450}.sti.none{color:var(--none-text);font-weight:450}
.jst{font-size:22px;margin-left:12px;vertical-align:-5px}
.caut{margin:20px 0;padding:12px 16px;border:1.5px solid var(--ink);border-left-width:10px;font-size:15px}
.caut ul{columns:2;column-gap:28px}.caut li{padding:1px 0 1px 13px;text-indent:-13px;break-inside:avoid}
.caut li::before{content:"–";display:inline-block;width:13px;text-indent:0}.caut>p{margin-top:6px}
.caut.tap{display:none}.caut summary{list-style:none;cursor:pointer}.caut summary::-webkit-details-marker{display:none}
.caut .more{display:flex;align-items:center;justify-content:space-between;min-height:48px;margin-top:6px;\
border-top:1px solid var(--rule)}
.caut.tap[open] .more{border-bottom:1px solid var(--rule);margin-bottom:8px}
.caut.tap[open] .more svg{transform:scaleY(-1)}
.facts{display:grid;grid-template-columns:1.2fr 1fr 1fr;gap:24px;font-size:14.5px;border-bottom:1px solid var(--rule);\
padding-bottom:18px}.facts h2{font-size:15px}.facts>*{min-width:0}
.know{margin-top:12px}.know li{padding-left:13px;text-indent:-13px}
.know li::before{content:"–";display:inline-block;width:13px;text-indent:0}
.jt{margin-top:22px}.jt h2{font-size:19px}
table{width:100%;border-collapse:collapse}.tbl{table-layout:fixed;font-size:14px}
.tbl th{text-align:left;font-weight:500;font-size:12.5px;color:var(--ink-2);vertical-align:bottom;\
padding:10px 12px 8px 0;border-bottom:1px solid var(--rule);line-height:1.3}
.tbl td,.tbl tbody th{padding:7px 12px 7px 0;border-bottom:1px solid var(--hair);vertical-align:middle;line-height:1.3;\
font-size:14px;color:inherit}
.tbl tbody tr:last-child>*{border-bottom:0}.tbl b{font-size:17px;white-space:nowrap}
.tbl .u{font-size:13.5px;color:var(--ink-2)}
.tbl small{margin-left:4px;font-size:12.5px;color:var(--ink-3)}
.cs{width:17%}.cv{width:49%}
.po,.w,.sign{display:none!important}
.jf{display:grid;grid-template-columns:auto 1fr;gap:10px 20px;align-items:center;margin-top:18px}
.axes{color:var(--ink);\
max-width:100%}
.acts{display:flex;gap:8px;justify-content:center;margin:20px 0 48px}
.btn{min-height:48px;padding:0 20px;\
border:1px solid var(--accent);border-radius:3px;background:var(--accent);color:#fff;\
font:600 15.5px var(--face);cursor:pointer}
:focus-visible{outline:3px solid var(--accent);outline-offset:2px}
@media screen and (max-width:700px){
body{font-size:16.5px;background:var(--sheet)}h1{font-size:25px}h3{font-size:16.5px}
.job{margin:0;border:0;padding:18px 16px}.qr,.noqr{display:none}
.caut.full{display:none}.caut.tap{display:block;padding-bottom:0}.caut.tap[open]{padding-bottom:12px}.caut ul{columns:1}
.caut li{padding-top:3px;padding-bottom:3px}
.caut{margin:14px -16px;border-width:0 0 0 10px;background:var(--well);font-size:15.5px;line-height:1.4}
.facts{grid-template-columns:1fr;gap:12px;font-size:16px}.facts h2{font-size:17px}.jt .note{font-size:14.5px}
.tbl small{display:block;margin:0;font-size:13px}.tbl b{font-size:19px;display:block}
.tbl .u{display:block;font-size:13.2px;line-height:1.3}
.tbl td,.tbl tbody th{padding:8px 8px 8px 0;vertical-align:top}.tbl th{font-size:13.5px;padding-right:8px}
.cs{width:23%}.cv{width:38%}.jf{grid-template-columns:1fr}
.acts{border-top:1px solid var(--rule);padding:10px 16px;margin:0}.btn{flex:1;min-height:56px;font-size:17px}}
@page{size:A4;margin:9mm 13mm 8mm}
@media print{
:root{--ground:#fff;--sheet:#fff;--well:#fff;--ink:#000;--ink-2:#000;--ink-3:#000;--hair:#777;--rule:#000;--accent:#000;\
--over:#000;--due-text:#000;--watch-text:#000;--within-text:#000;--none-text:#000}
.noprint,.caut.tap{display:none!important}body{background:#fff;line-height:1.3}
span.po{display:inline!important}div.po,section.po{display:block!important}.w{display:table-cell!important}
.sign{display:grid!important}.newpage{break-before:page}
.job{max-width:none;margin:0;padding:0;border:0;font-size:9.4pt}h1{font-size:21pt}.jst{font-size:14pt}
.crumb{margin:0;font-size:8.8pt}.jh .dim{font-size:9.2pt}.jh .why{font-size:8.6pt}
.qr{width:20mm;height:20mm}.noqr{width:34mm;font-size:7.8pt}
.caut.full{display:block;font-size:8.3pt;line-height:1.28;margin:2mm 0;padding:1.2mm 3mm;border:1.2pt solid #000;\
border-left-width:3mm;break-inside:avoid}
.caut h3{font-size:9.6pt}.caut ul{column-gap:6mm}.caut>p{margin-top:1mm;font-size:8.8pt}
.facts{font-size:8.2pt;line-height:1.3;gap:4mm;padding-bottom:2mm}.facts h2{font-size:9.2pt}
.know{margin-top:1mm;font-size:8.2pt;line-height:1.3}
.jt{margin-top:2.2mm}.jt h2{font-size:11.5pt}.note,.jt .note{font-size:8.4pt;line-height:1.25}
.tbl{font-size:9.2pt}.tbl th{padding:.6mm 1mm .6mm 0;font-size:8.4pt}
.tbl td,.tbl tbody th{padding:.35mm 1mm .35mm 0;font-size:9.2pt;line-height:1.1}
.tbl tr{break-inside:avoid}.tbl b{font-size:10.2pt}.tbl .u{font-size:7.8pt}.tbl small{font-size:8pt;margin-left:0}
.cs{width:24mm}.cv{width:54mm}.ch{width:auto}.cw{width:27.5mm}
.tbl td>div{display:flex;align-items:center;gap:1.2mm}.tbl td .u{flex:1;min-width:0;font-size:7.4pt;line-height:1.12}
.p1{display:flex;flex-direction:column}.p1.whole{min-height:278mm}.p1.whole .jt,.p1.whole .tbl{flex:1 0 auto}
.p1 .jt{display:flex;flex-direction:column;max-height:calc(var(--n)*9.5mm + 25mm)}.p1.whole .jf{margin-top:auto}
.bx{display:inline-block;flex:none;width:17mm;height:var(--box);border:1pt solid #000;\
border-radius:.4mm;vertical-align:middle}
.bx.s{width:15mm;height:6mm}
.cir{display:inline-block;font-size:7.4pt;line-height:1.12;vertical-align:middle}
.fill{margin-top:2mm;border-top:1pt solid #000;padding-top:1.4mm;font-size:8.4pt;break-inside:avoid}
.cd{display:grid;grid-template-columns:24mm 22mm 20mm 20mm 20mm 1fr;gap:3mm;align-items:end}.cd dt{font-size:7.8pt}
.cd dd{border:1pt solid #000;border-radius:.4mm;height:6.4mm;display:flex;justify-content:flex-end;align-items:center;\
padding-right:1mm;font-size:7.8pt}
.rgs p{line-height:1.34}.rg{font-weight:640;margin-left:1mm}
.sps{margin-top:1.4mm;display:grid;gap:.7mm}.sh{font-size:7.8pt}
.sp{display:grid;grid-template-columns:minmax(6mm,auto) 15mm 26mm 33mm 15mm 22mm 1fr;gap:2mm;align-items:center}
.sp b{font-size:10pt}
.jf{margin-top:1.4mm;gap:3mm;break-inside:avoid;grid-template-columns:31mm 60mm 1fr;align-items:end}
.jf .note{font-size:7.8pt;line-height:1.22}.axes{width:31mm;height:auto}
.sign{grid-template-columns:22mm 1fr;gap:3mm}.sign dt{font-size:7.8pt}.sign dd{border-bottom:1pt solid #000;height:8mm}
.jh2{display:flex;justify-content:space-between;align-items:flex-end;gap:6mm}.unit{font-size:10.5pt;white-space:nowrap}
.unit b{margin-left:4mm}.rd h2{font-size:11.5pt;margin:2.5mm 0 .8mm}.rd .note{margin-top:1mm}
.rem{font-size:9pt;margin-top:3mm}.ln{border-bottom:.8pt solid #000;height:8.5mm}
.bt,.rt{font-size:8.8pt}.bt th,.rt th{font-weight:500;font-size:8pt;text-align:left;padding:.6mm .6mm .8mm;\
vertical-align:bottom;line-height:1.15}
.bt td,.rt td,.bt tbody th,.rt tbody th{padding:.7mm .6mm}
.bt i,.rt i{display:block;border:1pt solid #000;border-radius:.4mm;height:6.6mm}
.bt th:first-child{padding-left:0}.bt tbody th{vertical-align:middle;font-size:8.8pt;font-weight:400}.bt td{width:22mm}
.rt{margin-top:3mm;table-layout:fixed}.rt tr{break-inside:avoid}
.rt .f>*{border-top:.8pt solid #000;padding-top:1.2mm}.rt thead .top th{font-size:10pt;font-weight:600}
.rt th:first-child{padding-left:0}.rt .sn{vertical-align:top;font-weight:400}
.sn b{font-size:11pt;display:block;line-height:1.1;overflow-wrap:anywhere}
.sn small{font-size:8pt}.ro{white-space:nowrap}
.rt .gap{border:0!important}.rt i{height:var(--read)}.rt td{padding-top:.7mm;padding-bottom:.7mm}
.rt i.sg{width:7mm}
}
"""
