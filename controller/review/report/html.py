"""Small pieces of HTML, every text of them escaped.

What may live here: tags, tables and the sheet's style. Nothing about benches.
"""

from collections.abc import Iterable, Sequence
from html import escape


def para(words: str, kind: str = "") -> str:
    """Return a paragraph."""
    name = f' class="{escape(kind)}"' if kind else ""
    return f"<p{name}>{escape(words)}</p>"


def heading(words: str, level: int = 2) -> str:
    """Return a heading."""
    return f"<h{level}>{escape(words)}</h{level}>"


def section(title: str, parts: Iterable[str], kind: str = "") -> str:
    """Return a section with its title."""
    name = f' class="{escape(kind)}"' if kind else ""
    return f"<section{name}>{heading(title)}{''.join(parts)}</section>"


def figure(picture: str, words: str = "") -> str:
    """Return a picture, which is SVG already, with words below."""
    caption = f"<figcaption>{escape(words)}</figcaption>" if words else ""
    return f"<figure>{picture}{caption}</figure>"


def table(
    head: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[int] = ()
) -> str:
    """Return a table; columns in numbers are set flush right."""
    right = set(numbers)

    def cells(row: Sequence[str], tag: str) -> str:
        return "".join(
            f"<{tag}{' class=n' if n in right else ''}>{escape(cell)}</{tag}>"
            for n, cell in enumerate(row)
        )

    body = "".join(f"<tr>{cells(row, 'td')}</tr>" for row in rows)
    return (
        f"<table><thead><tr>{cells(head, 'th')}</tr></thead><tbody>{body}</tbody>"
        "</table>"
    )


def facts(items: Iterable[tuple[str, str]]) -> str:
    """Return large figures with small words below them."""
    listed = "".join(
        f"<div><b>{escape(value)}</b><span>{escape(words)}</span></div>"
        for value, words in items
    )
    return f'<div class="facts">{listed}</div>'


STYLE = """
:root{--ink:#22302b;--soft:#5d6b64;--faint:#d8ddd4;--paper:#fdfdfa;--tone:#f3f4ec}
*{box-sizing:border-box}
body{margin:0;background:#e6e8e0;color:var(--ink);
font:15px/1.5 system-ui,sans-serif}
main{max-width:860px;margin:24px auto;background:var(--paper);padding:48px 56px;
box-shadow:0 1px 8px #0002}
header{border-bottom:3px solid var(--ink);padding-bottom:18px;margin-bottom:8px}
h1{font:600 34px/1.15 Georgia,serif;margin:0 0 6px}
h2{font:600 21px/1.25 Georgia,serif;margin:38px 0 8px}
h3{font-size:15px;margin:22px 0 4px}
p{margin:6px 0;max-width:66ch}
.lead{color:var(--soft);margin:0}
.note{color:var(--soft);font-size:13px}
.mark{background:#fff4d6;border-left:4px solid #c98f1d;padding:8px 12px;max-width:none}
.facts{display:grid;grid-template-columns:repeat(auto-fit,minmax(132px,1fr));
gap:14px 24px;margin:20px 0 6px}
.facts b{display:block;font:600 24px/1.2 Georgia,serif;
font-variant-numeric:tabular-nums}
.facts span{color:var(--soft);font-size:12.5px}
figure{margin:12px 0 4px;break-inside:avoid}
figcaption{color:var(--soft);font-size:12.5px;max-width:76ch}
.picture{width:100%;height:auto;display:block;font-family:inherit}
table{border-collapse:collapse;width:100%;margin:10px 0;font-size:13px;
font-variant-numeric:tabular-nums}
th{text-align:left;font-weight:600;border-bottom:1.5px solid var(--ink);
padding:3px 10px 3px 0;vertical-align:bottom;color:var(--soft)}
td{border-bottom:1px solid var(--faint);padding:4px 10px 4px 0;vertical-align:top}
th.n,td.n{text-align:right}td.n{white-space:nowrap}tr{break-inside:avoid}thead{display:table-header-group}
td:first-child{font-weight:600}
footer{margin-top:44px;border-top:1px solid var(--faint);padding-top:10px;
color:var(--soft);font-size:12px}
@media(max-width:640px){main{padding:24px 18px;margin:0}
.wide{overflow-x:auto}}
@media print{body{background:none;font-size:10pt}main{box-shadow:none;margin:0;
padding:0;max-width:none;background:none}h2,h3,h2+p{break-after:avoid}
h2{margin-top:22px}table{font-size:8.4pt}td,th{padding-right:7px}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}
@page{size:A4;margin:16mm 15mm 18mm}}
"""


def page(title: str, parts: Iterable[str]) -> str:
    """Return a whole page that needs nothing from elsewhere."""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head>"
        f"<body><main>{''.join(parts)}</main></body></html>\n"
    )
