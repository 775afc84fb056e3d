"""The look of a report: the page's own type, space and colours, by day, by night and on paper."""

from __future__ import annotations

import base64

from coach.assets import vendor_root

DAY = (
    "--ground:#EEF3F1;--panel:#FFF;--ink:#08222A;--ink-2:#2F4A50;--rule:#6B8388;--hair:#C9D6D4;--lane:#C3DCDD;"
    "--held:#0B5567;--on-held:#FFF;--limit:#8E0F2F;--steer:#8A4B00"
)
NIGHT = (
    "--ground:#070C0E;--panel:#101A1D;--ink:#C4CFCB;--ink-2:#98A7A4;--rule:#5E7276;--hair:#1F2D31;--lane:#10242A;"
    "--held:#3F8A9C;--on-held:#02090B;--limit:#FF93A6;--steer:#E0A545"
)
CONTRAST = (
    "--ground:#FFF;--panel:#FFF;--ink:#000;--ink-2:#000;--rule:#000;--hair:#000;--lane:#FFF;--held:#003A4A;"
    "--on-held:#FFF;--limit:#5C0018;--steer:#5A2E00"
)
PAPER = DAY.replace("--ground:#EEF3F1", "--ground:#FFF").replace("--lane:#C3DCDD", "--lane:#DCEAEA")

RULES = """
*{box-sizing:border-box;margin:0}
html{background:var(--ground);color:var(--ink);color-scheme:light dark;-webkit-text-size-adjust:100%}
body{font:400 1rem/1.5 "B612",ui-sans-serif,system-ui,"Segoe UI",Roboto,"Noto Sans",sans-serif;
font-variant-numeric:tabular-nums;max-width:800px;margin:0 auto;padding:32px 24px 64px}
h1{font-size:2.25rem;line-height:1.15;letter-spacing:-.01em;margin-top:8px;text-wrap:balance}
h2{font-size:1.375rem;line-height:1.25;text-wrap:balance}
h3{font-size:1.0625rem;line-height:1.3;margin-top:28px}
p{max-width:62ch}
.kicker,.note,figcaption,caption small{font-size:.875rem;color:var(--ink-2)}
.kicker{max-width:none;display:flex;flex-wrap:wrap;gap:4px 24px;justify-content:space-between}
.lead{font-size:1.125rem;color:var(--ink-2);margin-top:8px}
header h2{margin-top:24px}
section{border-top:2px solid var(--hair);margin-top:40px;padding-top:24px}
.head{display:grid;grid-template-columns:repeat(auto-fit,minmax(15rem,1fr));gap:12px 32px;margin-top:12px}
.head dt{font-size:.875rem;color:var(--ink-2)}
.head dd{margin:0}
.capture{display:grid;grid-template-columns:28px minmax(0,1fr);gap:0 16px}
.capture>.mark{width:28px;height:28px;margin-top:2px}
.capture>div{grid-column:2}
.whole{grid-column:1/-1}
.mark{width:1.25em;height:1.25em;fill:currentColor;vertical-align:-.22em}
svg{display:block;width:100%;height:auto;overflow:visible}
svg.mark{display:inline-block}
.times{display:flex;justify-content:space-between;font-size:.875rem;color:var(--ink-2)}
figure.narrow{max-width:520px}
svg text{font-size:14px;fill:var(--ink-2)}
svg text.b{font-weight:700;fill:var(--ink)}
.bed{fill:var(--lane)}.won{fill:var(--held)}.edge{stroke:var(--rule);stroke-width:2;fill:none}
.th{stroke:var(--ink);stroke-width:2.5;fill:none;stroke-linejoin:round;stroke-linecap:round}
.th.w{stroke:var(--on-held)}.th.two{stroke:var(--held);stroke-dasharray:7 4}
.post{stroke:var(--ink);stroke-width:3.5;fill:none}
.hair{stroke:var(--hair);stroke-width:1.5;fill:none}
.limit{stroke:var(--limit);stroke-width:3;fill:none}
.hatch{stroke:var(--limit);stroke-width:2}
.range{fill:var(--lane)}
.out{stroke:var(--steer);stroke-width:4;fill:none;stroke-linecap:butt}
.gone{fill:var(--ground);stroke:var(--ink);stroke-width:2.5;stroke-dasharray:6 4}
.stopped{fill:var(--limit)}
.base{stroke:var(--rule);stroke-width:3;fill:none}
.want{fill:none;stroke:var(--steer);stroke-width:2;stroke-dasharray:5 3}
svg text.cell{font-size:11px;fill:var(--ink)}svg text.cell.on{fill:var(--on-held)}
.row{display:grid;grid-template-columns:124px minmax(0,1fr) 108px;gap:0 16px;align-items:center;
border-top:2px solid var(--hair);padding:10px 0;break-inside:avoid}
.row.big{padding:20px 0 14px}
.row b,.row strong{display:block;line-height:1.3}
.row small{font-size:.875rem;color:var(--ink-2);font-weight:400}
.row .v{text-align:right}.row .v b{font-size:1.25rem}
.rows{border-bottom:2px solid var(--hair);margin-top:16px}
figure{margin:20px 0 0;break-inside:avoid}figcaption{margin-bottom:6px}figcaption b{color:var(--ink);font-size:1rem}
.pair{display:grid;grid-template-columns:repeat(auto-fit,minmax(18rem,1fr));gap:8px 32px}
.scroll{overflow-x:auto}.scroll>svg{min-width:560px}
table{border-collapse:collapse;width:100%;margin-top:16px;font-size:.9375rem}
caption{text-align:left;font-weight:700;padding-bottom:4px}caption small{display:block;font-weight:400}
th,td{text-align:right;padding:7px 0 7px 14px;border-bottom:1.5px solid var(--hair);font-weight:400;vertical-align:top}
th:first-child,td:first-child{text-align:left;padding-left:0}
thead th{font-size:.8125rem;color:var(--ink-2);line-height:1.3;vertical-align:bottom}
td b{font-size:1.0625rem}
td.why{color:var(--ink-2);font-size:.875rem;text-align:left}
th small{display:block;color:var(--ink-2);font-size:.8125rem;line-height:1.4;max-width:46ch}
tr{break-inside:avoid}thead{display:table-header-group}
.l{text-align:left}
ul{padding-left:1.1em}li{margin-top:4px;max-width:62ch}
footer{margin-top:40px;border-top:2px solid var(--hair);padding-top:16px}
footer p{font-size:.875rem;color:var(--ink-2);overflow-wrap:anywhere;margin-top:4px}
@media (max-width:560px){body{padding:24px 20px 48px}h1{font-size:1.75rem}
.row{grid-template-columns:minmax(0,1fr) auto}.row .p{grid-column:1/-1;grid-row:2;margin-top:8px}
.capture{display:block}.capture>.mark{float:left;margin-right:12px}
.capture>div:not(.whole){overflow:hidden}svg text{font-size:17px}
.figures,.figures caption,.figures tbody,.figures tr,.figures th,.figures td{display:block}
.figures thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.figures tr{display:grid;grid-template-columns:minmax(0,1fr) auto;gap:0 12px;border-bottom:1.5px solid var(--hair);
padding:8px 0}.figures th,.figures td{border:0;padding:0}.figures td{text-align:right}
.figures td.why{grid-column:1/-1;text-align:left}.figures td:nth-child(n+3){font-size:.875rem;color:var(--ink-2)}
.figures td:nth-child(3){text-align:left}}
@page{margin:16mm 15mm 18mm}
@media print{html,body{background:#FFF}body{max-width:none;padding:0;font-size:9.5pt}
h1{font-size:22pt}h2{font-size:13pt;break-after:avoid}h3,h3+p,caption,thead{break-after:avoid}h3{margin-top:14pt}table,.head>div{break-inside:avoid}
section{break-inside:auto;margin-top:20pt;padding-top:12pt}.scroll{overflow:visible}.long{break-inside:auto}
.capture{display:block}.capture>.mark{float:left;margin:0 10pt 0 0}.capture>div:not(.whole){break-after:avoid}
.scroll>svg{min-width:0}
table{font-size:8.5pt;margin-top:8pt}th,td{padding-top:3.5pt;padding-bottom:3.5pt}td b,.row .v b{font-size:10.5pt}
thead th,th small,caption small,.head dt,figcaption,.note,.kicker,.times,td.why,.row small{font-size:7.5pt}
.wide{font-size:7pt}.wide th,.wide td{padding-left:5pt}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}
@media (forced-colors:active){.bed,.range{fill:Canvas;stroke:CanvasText}.won{fill:Highlight}.th{stroke:CanvasText}}
"""


def style(*, embed_font: bool) -> str:
    """The style sheet, with the typeface inside where the page's borrowed files are there."""
    face = _faces() if embed_font else ""
    return (
        f"{face}:root{{{DAY}}}@media (prefers-color-scheme:dark){{:root{{{NIGHT}}}}}"
        f"@media (prefers-contrast:more){{:root{{{CONTRAST}}}}}@media print{{:root{{{PAPER};color-scheme:light}}}}"
        f"{RULES.strip()}"
    )


def _faces() -> str:
    """B612 (SIL Open Font License) in both weights, or nothing where the build could not fetch it."""
    folder = vendor_root()
    if folder is None:
        return ""
    made = []
    for weight in (400, 700):
        file = folder / f"b612-{weight}.woff2"
        if not file.is_file():
            return ""
        data = base64.b64encode(file.read_bytes()).decode("ascii")
        made.append(
            f'@font-face{{font-family:"B612";font-weight:{weight};'
            f'src:url(data:font/woff2;base64,{data}) format("woff2")}}'
        )
    return "".join(made)
