"""How the page looks: on a phone, a tablet, a laptop, and printed."""

from __future__ import annotations

from scenes.sheets.style import VERDICT_ORDER, badge_of
from scenes.sheets.web_style import PAGE_CSS

# Ticks and blanks stay on the device; where it keeps nothing the page works all the same.
SCRIPT = """
(function () {
  var key = "brimline-plan-" + document.body.dataset.plan, kept = {};
  try { kept = JSON.parse(localStorage.getItem(key) || "{}"); } catch (e) { kept = {}; }
  document.querySelectorAll("input, textarea").forEach(function (one) {
    var box = one.type === "checkbox";
    if (one.name in kept) { if (box) one.checked = kept[one.name]; else one.value = kept[one.name]; }
    one.addEventListener("change", function () {
      kept[one.name] = box ? one.checked : one.value;
      try { localStorage.setItem(key, JSON.stringify(kept)); } catch (e) { return; }
    });
  });
})();
"""


PLAN_CSS = """
.map { overflow: visible; }
.found { display: flex; flex-wrap: wrap; gap: 4px 10px; align-items: center; font-size: 0.88rem; color: #595959; }
.found input[type=text] { width: 9em; }
.read { margin: 0; font-size: 0.88rem; } .read th { font-weight: 400; color: #595959; border: 0; padding: 0 6px 2px 0; }
.read td { padding: 3px 6px 3px 0; color: #595959; border: 0 !important; vertical-align: middle; }
.read td + td { width: 5em; } .note { display: block; margin-top: 8px; font-size: 0.88rem; color: #595959; }
.stills { font-size: 0.88rem; color: #595959; margin: 8px 0 0; } .stills label { margin: 0 1em 0 0.3em; white-space: nowrap; }
.shot .body { grid-template-areas: "map told" "read told"; grid-template-rows: auto 1fr; }
.shot .map { grid-area: map; } .shot dl { grid-area: told; } .shot .read { grid-area: read; align-self: start; }
@media screen and (max-width: 760px) {
  .shot .body { grid-template-areas: "map" "told" "read"; grid-template-rows: none; } .read td + td { width: 4.6em; }
}
@media print { .read td + td { width: 13mm; } .read input[type=text] { padding: 0 3px; } }
"""


def css() -> str:
    """The page's style, with the badges of all verdicts."""
    badges = (
        f".{word.replace(' ', '-')} {{ background: {badge_of(word).ground}; color: {badge_of(word).letters}; }}"
        for word in VERDICT_ORDER
    )
    return PAGE_CSS + PLAN_CSS + "\n".join(badges)
