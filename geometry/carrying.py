"""What a box clamped to a lens weighs and pulls. Estimates; the rental house and local rules decide."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from geometry.body import Kind, Part, Slab
from geometry.cantilever import GRAVITY_M_S2
from geometry.meshes import part_mesh, slab_mesh
from geometry.notes import Note, Severity

METAL_G_CM3 = 2.7  # aluminium, handbook value from memory
GLASS_G_CM3 = 2.5  # crown glass, from memory
CLAMP_KG = 0.5  # above this a clamped box is heavy: common practice, no standard; the rental house decides
WEIGHT_SAGITTA_MM = 0.05  # chords this close change no weight by a gram
_HANGING = (Kind.BACK, Kind.TRAY, Kind.MASK, Kind.HOOD, Kind.FLAG, Kind.EXTENSION, Kind.SOLID)


def mass_kg(parts: Sequence[Part], slabs: Sequence[Slab] = ()) -> tuple[float, NDArray[np.float64]]:
    """(mass [kg], centre of mass (3,) in the frame [mm]) of what hangs on the mount, as if all parts were solid aluminium."""
    bodies = [(part_mesh(p, WEIGHT_SAGITTA_MM), METAL_G_CM3) for p in parts if p.kind in _HANGING]
    bodies = [(m, density) for m, density in bodies if m.is_volume]
    bodies += [(slab_mesh(s, WEIGHT_SAGITTA_MM), GLASS_G_CM3) for s in slabs]
    masses = np.array([m.volume * density * 1e-6 for m, density in bodies])
    if not bodies:
        return 0.0, np.zeros(3)
    centres = np.array([m.center_mass for m, _ in bodies])
    return float(masses.sum()), np.asarray(masses @ centres / masses.sum())


def clamp_notes(parts: Sequence[Part], slabs: Sequence[Slab] = ()) -> tuple[Note, ...]:
    """What a box clamped to the lens front weighs and pulls; a caution where that is heavy (common practice)."""
    mass, centre = mass_kg(parts, slabs)
    torque = mass * GRAVITY_M_S2 * max(float(centre[2]), 0.0) / 1000
    text = f"hangs on the lens front with about {mass:.2f} kg and {torque:.2f} N m (as if of solid aluminium, glass included)"
    advice = "carry it on rods, and ask the rental house what this lens front may bear"
    return (Note("box", f"{text}; {advice}", Severity.CAUTION if mass > CLAMP_KG else Severity.FACT),)
