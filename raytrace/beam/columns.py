"""Where the numbers of a pencil and of a filter stand in the rows that the beam's kernels take; needs no compiler."""

from __future__ import annotations

# Columns of a pencil: slope (2), plane of its pupil (2), convergence (2), 1 where the lens has such rays.
SLOPE, REFERENCE, CONVERGENCE, VALID, PENCIL_COLUMNS = 0, 2, 4, 6, 7
# Columns of a filter: rotation (9), centre (3), thickness, index, power in dioptre, 1 for a close-up lens.
CENTRE, THICKNESS, INDEX, POWER, CLOSE_UP, GLASS_COLUMNS = 9, 12, 13, 14, 15, 16
