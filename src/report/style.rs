//! How the page looks: on a screen light or dark as the reader's, on paper black on white.

/// The whole sheet.
#[must_use]
pub fn sheet() -> String {
    [SCREEN, crate::picture::style(), PAPER].concat()
}

const SCREEN: &str = "
:root {
  color-scheme: light dark;
  --paper: #fcfcfa; --ink: #1c2326; --faint: #5a666b; --line: #c9d1d3; --stripe: #f1f4f3; --warn: #8a3b12;
  --critical: #a4161a; --warning: #c2701c; --notice: #3d6f8e;
}
@media (prefers-color-scheme: dark) {
  :root { --paper: #14191b; --ink: #e4e9ea; --faint: #9fabb0; --line: #3a4549; --stripe: #1b2225; --warn: #f0a878;
    --critical: #ff7b72; --warning: #e0a04a; --notice: #7db4d4; }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 system-ui, sans-serif; }
main { max-width: 62rem; margin: 0 auto; padding: 1.5rem 1rem 4rem; }
h1 { font-size: 1.9rem; line-height: 1.2; margin: 0; overflow-wrap: anywhere; }
h2 { font-size: 1.25rem; margin: 2.5rem 0 .5rem; padding-top: .6rem; border-top: 1px solid var(--line); }
.period { font-size: 1.1rem; margin: .3rem 0 0; }
.small, small { font-size: .85rem; color: var(--faint); }
.nothing { color: var(--faint); }
figure { margin: 1.6rem 0; }
.scroll { overflow-x: auto; margin: 1rem 0; }
table { border-collapse: collapse; width: 100%; font-size: .92rem; font-variant-numeric: tabular-nums; }
caption { text-align: left; font-weight: 600; padding: .3rem 0; }
th, td { text-align: left; vertical-align: top; padding: .28rem .7rem .28rem 0; overflow-wrap: break-word; }
tbody th { font-weight: 400; white-space: nowrap; }
thead th { border-bottom: 2px solid var(--line); font-weight: 600; }
tbody tr:nth-child(even) { background: var(--stripe); }
tfoot th, tfoot td { border-top: 2px solid var(--line); font-weight: 600; }
.number { text-align: right; }
td.number, .when { white-space: nowrap; }
.timeline text { fill: var(--ink); font-size: 13px; }
.timeline text.small { fill: var(--faint); font-size: 12px; }
.timeline figcaption { font-weight: 600; }
.timeline .grid { stroke: var(--line); stroke-width: .5; }
.timeline .base { stroke: var(--faint); }
.timeline rect.critical { fill: var(--critical); }
.timeline rect.warning { fill: var(--warning); }
.timeline rect.notice { fill: var(--notice); }
.timeline rect.gap { fill: var(--faint); }
dt { font-weight: 600; margin-top: .6rem; }
dd { margin: 0; }
.caution { border-left: 4px solid var(--warn); padding-left: .8rem; }
";

const PAPER: &str = "
@page { margin: 15mm 14mm 16mm; }
@media print {
  :root {
    color-scheme: light;
    --paper: #fff; --ink: #000; --faint: #333; --line: #888; --stripe: #fff; --warn: #000;
    --critical: #000; --warning: #444; --notice: #888;
  }
  body { font-size: 10pt; }
  main { max-width: none; padding: 0; }
  h1 { font-size: 18pt; }
  h2 { font-size: 13pt; margin-top: 14pt; break-after: avoid; }
  .scroll { overflow: visible; }
  table { font-size: 8.5pt; }
  thead { display: table-header-group; }
  tfoot { display: table-row-group; }
  caption { break-after: avoid; }
  tr, figure, svg, .caution, dl > dd { break-inside: avoid; }
  p { orphans: 3; widows: 3; }
  tbody tr { border-bottom: 1px solid #ccc; }
  a { color: inherit; text-decoration: none; }
}
";
