"""How rays look in 3D by what becomes of them: the same in the drawing and in its key."""

from __future__ import annotations

from scenes.scene3d import Colour, RayFate

# Of Okabe and Ito's set: told apart with any kind of colour vision and on the heatmap's yellow; widths say the same. Dashes of
# many rays side by side would make a pattern that hides the rays.
RAY_COLOURS: dict[RayFate, Colour] = {
    RayFate.CLEAR: (0.0, 0.447, 0.698),
    RayFate.GLASS: (0.12, 0.12, 0.12),
    RayFate.BLOCKED: (0.835, 0.369, 0.0),
}
RAY_WIDTH_PX = {RayFate.CLEAR: 3.0, RayFate.GLASS: 1.6, RayFate.BLOCKED: 4.5}  # supersampling draws lines at half and less
