"""A drawing as inline SVG."""

from __future__ import annotations

from base64 import b64encode
from html import escape

from scenes.questions.plan.drawings import Disc, Drawing, Line, Shape, Words


def svg_of(drawing: Drawing, css: str = "") -> str:
    """The drawing, sized by its class; no reference outside itself."""
    left, right, bottom, top = drawing.box
    box = f"{left:.4g} {-top:.4g} {right - left:.5g} {top - bottom:.5g}"
    picture = _image(drawing) if drawing.png else ""
    shapes = "".join(_shape(shape) for shape in drawing.shapes)
    says = escape(drawing.says, quote=True)
    return f'<svg class="{css}" viewBox="{box}" role="img" aria-label="{says}">{picture}{shapes}</svg>'


def _image(drawing: Drawing) -> str:
    left, right, bottom, top = drawing.box
    data = b64encode(drawing.png).decode()
    place = f'x="{left:.5g}" y="{-top:.5g}" width="{right - left:.5g}" height="{top - bottom:.5g}"'
    return f'<image {place} preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'


def _shape(shape: Shape) -> str:
    match shape:
        case Line():
            points = " ".join(f"{x:.2f},{-y:.2f}" for x, y in shape.points)
            dashes = ' stroke-dasharray="1.6 1.2"' if shape.dashed else ""
            fill = shape.fill or "none"
            return f'<polyline points="{points}" fill="{fill}" stroke="{shape.colour}" stroke-width="{shape.width:.3g}"{dashes}/>'
        case Disc():
            x, y = shape.centre
            circle = f'cx="{x:.2f}" cy="{-y:.2f}" r="{shape.radius:.3g}"'
            return f'<circle {circle} fill="{shape.fill or "none"}" stroke="{shape.colour}" stroke-width="{shape.width:.3g}"/>'
        case Words():
            place = f'x="{shape.at[0]:.2f}" y="{-shape.at[1]:.2f}" font-size="{shape.size:g}" text-anchor="{shape.anchor}"'
            return f'<text {place} fill="{shape.colour}">{escape(shape.text)}</text>'
