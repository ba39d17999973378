"""What is wrong with the words of a figure as it is printed, by matplotlib's own extents: too small, one over another, cut off."""

import itertools

from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

LEAST_PT = 8.0  # read at arm's length on paper: common practice for printed forms
TOUCH_PX = 1.0  # at 200 dots per inch: an eighth of a millimetre


def faults(figure):
    """A line for each fault of a figure; none where every word can be read."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    boxes = [(text, text.get_window_extent(renderer)) for text in shown_texts(figure)]
    sheet = figure.bbox.padded(TOUCH_PX)
    small = [f"{text.get_fontsize():.1f} pt: {words(text)}" for text, _ in boxes if text.get_fontsize() < LEAST_PT - 1e-9]
    cut = [f"cut off: {words(text)}" for text, box in boxes if not (sheet.contains(*box.min) and sheet.contains(*box.max))]
    cut += [f"shortened: {words(text)}" for text, _ in boxes if text.get_text().rstrip().endswith("…")]
    pairs = itertools.combinations(boxes, 2)
    over = [f"{words(a)} over {words(b)}" for (a, p), (b, q) in pairs if p.padded(-TOUCH_PX).overlaps(q.padded(-TOUCH_PX))]
    return small + cut + over


def shown_texts(figure):
    """Every text that is drawn: of an axis only what lies within its view."""
    hidden = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            hidden |= hidden_ticks(axis, drawn=axes.axison and axes.get_visible() and axis.get_visible())
    found = figure.findobj(Text)
    return [text for text in found if text not in hidden and text.get_visible() and text.get_text().strip()]


def hidden_ticks(axis: Axis, *, drawn):
    """Texts of an axis that are there but not drawn."""
    low, high = sorted(axis.get_view_interval())
    slack = 1e-9 * max(abs(low), abs(high), 1.0)
    ticks = [*axis.get_major_ticks(), *axis.get_minor_ticks()]
    away = [tick for tick in ticks if not drawn or not low - slack <= tick.get_loc() <= high + slack]
    unseen = {label for tick in away for label in (tick.label1, tick.label2)}
    return unseen | (set() if drawn else {axis.label, axis.offsetText})


def words(text):
    """A text as one short line."""
    return repr(" ".join(text.get_text().split())[:60])
