"""How web pages look that need nothing but themselves: on a phone, a tablet, a laptop, and printed."""

PAGE_CSS = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 0 16px 64px; max-width: 1060px; color: #1b1b1b; background: #fff;
  font: 16px/1.45 system-ui, "Segoe UI", Roboto, "DejaVu Sans", sans-serif; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 20px 0 4px; }
h2 { font-size: 1.25rem; margin: 36px 0 8px; padding-bottom: 4px; border-bottom: 2px solid #1b1b1b; }
h3 { font-size: 1.05rem; margin: 0 0 6px; }
p { margin: 6px 0; } ul, ol { margin: 6px 0; padding-left: 1.3em; } li { margin: 3px 0; }
.soft { color: #595959; } .answer { font-size: 1.15rem; font-weight: 600; margin: 10px 0; }
nav { display: flex; flex-wrap: wrap; gap: 6px 16px; margin: 8px 0; } nav a { color: #0057a0; padding: 6px 0; }
table { border-collapse: collapse; width: 100%; margin: 8px 0; font-size: 0.94rem; }
th { text-align: left; font-weight: 600; border-bottom: 1px solid #1b1b1b; }
th, td { padding: 5px 10px 5px 0; vertical-align: top; }
.states td:nth-child(2) { width: 34%; } .fill td:last-child { width: 11.5em; } .fill input + input { margin-top: 5px; }
tr + tr td { border-top: 1px solid #d9d9d9; } .wide { overflow-x: auto; }
.two { display: grid; grid-template-columns: 1fr 1fr; gap: 8px 32px; } .two > * { min-width: 0; }
.badge { display: inline-block; padding: 1px 9px; border-radius: 3px; font-weight: 600; font-size: 0.9rem; white-space: nowrap;
  }
label.tick { display: flex; gap: 10px; align-items: flex-start; padding: 4px 0; }
input[type=checkbox] { width: 22px; height: 22px; margin: 1px 0 0; flex: none; accent-color: #1b1b1b; }
input[type=text], textarea { font: inherit; width: 100%; padding: 5px 8px; border: 1px solid #767676; border-radius: 3px;
  background: #fff; }
textarea { height: 3.6em; resize: vertical; }
.drawing { width: 100%; max-width: 460px; height: auto; border: 1px solid #d9d9d9; }
.setup { border-left: 4px solid #1b1b1b; padding: 2px 0 2px 14px; margin: 26px 0 10px; }
.setup ul { list-style: none; padding: 0; }
.chain { margin: 6px 0; } .chain b { font-weight: 600; }
.shot { border: 1px solid #bdbdbd; border-radius: 4px; padding: 12px 14px; margin: 12px 0; }
.shot header { display: flex; flex-wrap: wrap; gap: 4px 12px; align-items: center; margin-bottom: 8px; }
.shot header label { display: flex; gap: 10px; align-items: center; font-weight: 600; font-size: 1.08rem; }
.shot .body { display: grid; grid-template-columns: minmax(0, 380px) minmax(0, 1fr); gap: 14px 20px; }
.map { width: 100%; height: auto; display: block; border: 1px solid #bdbdbd; }
dl { display: grid; grid-template-columns: 7.5em minmax(0, 1fr); gap: 4px 10px; margin: 0; font-size: 0.96rem; }
dt { color: #595959; } dd { margin: 0; } dd.main { font-weight: 600; }
.notes { display: grid; grid-template-columns: 12em minmax(0, 1fr); gap: 8px 14px; margin-top: 10px; }
.notes label { font-size: 0.88rem; color: #595959; }
.scale { width: 260px; max-width: 100%; height: auto; }
.labels { display: flex; flex-wrap: wrap; gap: 3mm; }
.sticker { border: 1px dashed #767676; padding: 2.5mm; font-size: 8.5pt; line-height: 1.2; overflow: hidden; }
.sticker b { font-size: 12pt; display: block; } .sticker div:last-child { font-weight: 600; }
footer { margin-top: 40px; font-size: 0.88rem; color: #595959; }
@media screen and (max-width: 760px) {
  .two, .shot .body, .notes { grid-template-columns: minmax(0, 1fr); } dl { grid-template-columns: 6.2em minmax(0, 1fr); }
  body { padding: 0 12px 48px; } h1 { font-size: 1.35rem; }
  .fill tr:first-child { display: none; }
  .fill tr { display: grid; grid-template-columns: 34px minmax(0, 1fr); border-top: 1px solid #d9d9d9; }
  .fill td { border: 0; padding: 4px 0; } .fill td:first-child { grid-row: span 3; }
  .fill td:last-child { width: auto; padding-bottom: 10px; }
  .states tr { display: grid; grid-template-columns: minmax(0, 1fr); border-top: 1px solid #d9d9d9; padding: 6px 0; }
  .states td { border: 0; padding: 1px 0; } .states td:nth-child(2) { width: auto; }
}
@media print {
  html { font-size: 9.5pt; }
  @page { margin: 12mm 12mm 14mm 16mm; }
  body { font-size: 1rem; line-height: 1.3; max-width: none; padding: 0; }
  label.tick { padding: 2px 0; } nav, .screen { display: none; }
  .shot, .setup, tr, .sticker, .measure { break-inside: avoid; } .setup, h2, h3 { break-after: avoid; }
  .sheet { break-before: page; }
  .two { grid-template-columns: 1fr 1fr; } .shot .body { grid-template-columns: 68mm minmax(0, 1fr); }
  .notes { grid-template-columns: 40mm 1fr; }
  .drawing { max-width: 82mm; } textarea { height: 12mm; } input, textarea { border-color: #1b1b1b; } h2 { margin-top: 18pt; }
  input[type=checkbox] { width: 5mm; height: 5mm; } input[type=text] { height: 8mm; } .shot { margin: 8pt 0; padding: 8pt 10pt; }
  dl { font-size: 0.95rem; gap: 2px 8px; grid-template-columns: 22mm minmax(0, 1fr); }
  th, td { padding: 3px 8px 3px 0; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""
