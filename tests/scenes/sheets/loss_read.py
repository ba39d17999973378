"""The loss that a picture's colours stand for, read back as a person would: off the scale."""

import numpy as np

from scenes.sheets.colours import BLACK, DARK_STOPS, loss_ramp, rgb_of

STEP_STOPS = DARK_STOPS / (len(loss_ramp()) - 1)


def loss_read(image):
    """Loss in stops (H, W) of an image in colours, to a step of the scale: inf where it is black, masked where it is clear."""
    rgba = np.asarray(image.get_array())
    scale = np.vstack([np.round(255 * loss_ramp()), np.multiply(rgb_of(BLACK), 255)])
    values = np.append(np.linspace(0.0, DARK_STOPS, len(loss_ramp())), np.inf)
    away = np.abs(rgba[..., None, :3].astype(int) - scale).max(axis=-1)
    return np.ma.masked_where(rgba[..., 3] == 0, values[away.argmin(axis=-1)])
