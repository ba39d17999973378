"""Refractive indices that no optical glass has, alone or with its Abbe number: a digit or point in the wrong place.

Catalogues of optical glass run from 1.43 (calcium fluoride, fluor crown) to 2.1 (dense lanthanum flint), and of every index from one
Abbe number to another; plastics are softer glass in that. Values from memory; every row of the published lenses in tests/data and of
the patents that tests quote lies within.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from scenes.rig.box import stage_name
from scenes.scene_file.messages import plain
from scenes.scene_file.resources import GlassTable
from scenes.scene_file.tables.box import Box, Filter

FILTER_INDICES = (1.4, 1.95)
TABLE_INDICES = (1.4, 2.15)
"""
"""
