"""The looks of the HTML report: light, dark and on paper."""

from __future__ import annotations

__all__ = ["STYLE"]

STYLE = """
:root { color-scheme: light dark; --ink: #1d1d1d; --paper: #ffffff; --line: #c8c8c8;
  --soft: #f3f3f0; --warn: #a33c00; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e6e6e6; --paper: #16181a; --line: #4a4d50; --soft: #23262a; --warn: #ff9d66; }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.5 system-ui, "DejaVu Sans", Arial, sans-serif; }
main { max-width: 62rem; margin: 0 auto; padding: 1rem 1.2rem 3rem; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0.8rem 0; }
h2 { font-size: 1.25rem; margin: 2rem 0 0.4rem; border-bottom: 1px solid var(--line); }
h3 { font-size: 1.05rem; margin: 1.2rem 0 0.3rem; }
ul { padding-left: 1.3rem; } li { margin: 0.2rem 0; }
.caution { border-left: 0.35rem solid var(--warn); padding: 0.1rem 1rem; background: var(--soft); }
.caution h2 { border: 0; margin-top: 0.6rem; color: var(--warn); }
pre { background: var(--soft); padding: 0.8rem 1rem; overflow-x: auto; white-space: pre-wrap;
  font: 0.85rem/1.45 ui-monospace, "DejaVu Sans Mono", monospace; }
figure { margin: 0.6rem 0; background: #ffffff; border: 1px solid var(--line); padding: 0.3rem; }
figure svg { display: block; width: 100%; height: auto; color: #000000; }
figure svg image { image-rendering: pixelated; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: 0.9rem; font-variant-numeric: tabular-nums;
  margin: 0.6rem 0; }
caption { text-align: left; font-style: italic; padding: 0.2rem 0; }
th, td { padding: 0.15rem 0.8rem 0.15rem 0; text-align: right; border-bottom: 1px solid var(--line);
  vertical-align: bottom; }
td { white-space: nowrap; } th:first-child { text-align: left; font-weight: normal; }
thead th { font-weight: 600; }
tr.group th { font-weight: 600; padding-top: 0.7rem; }
@media screen and (max-width: 40rem) {
  figure { overflow-x: auto; } figure svg { min-width: 45rem; } th[scope="row"] { min-width: 8rem; }
}
@media print {
  :root { --ink: #000000; --paper: #ffffff; --soft: #ffffff; --line: #999999; --warn: #000000; }
  body { font-size: 10pt; } main { max-width: none; padding: 0; }
  section, article { break-inside: auto; } figure, tr { break-inside: avoid; }
  h2, h3, caption, section > p { break-after: avoid; } section > p { break-inside: avoid; }
  figure { border: 0; }
  .wide { overflow: visible; } table { font-size: 8pt; } th, td { padding-right: 0.5em; }
}
"""
"""CSS; plots stay on white in every scheme."""
