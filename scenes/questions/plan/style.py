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


def css() -> str:
    """The page's style, with the badges of all verdicts."""
    badges = (
        f".{word.replace(' ', '-')} {{ background: {badge_of(word).ground}; color: {badge_of(word).letters}; }}"
        for word in VERDICT_ORDER
    )
    return PAGE_CSS + "\n".join(badges)
