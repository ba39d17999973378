"""Lights of a scene as plain values. The sun is worked out here."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometry.frame import light_direction, right_up_to_frame
from raytrace.lights import LightPlace
from raytrace.sun import Site, camera_angles, sun_in_sky
from scenes.scene_file.tables.light import Light, Sun
from scenes.scene_file.tables.scene import Scene


def lights_of(scene: Scene) -> tuple[LightPlace, ...]:
    """Every light of the scene, in its order."""
    return tuple(light_place(light) for light in scene.light)


def light_place(light: Light) -> LightPlace:
    """One light of a scene file as plain values."""
    if light.position_mm is not None:
        return _in_the_set(light.name, light.position_mm, light.size_mm or 0.0)
    if light.sun is not None:
        return _sun(light, light.sun)
    direction = light_direction(light.azimuth_deg or 0.0, light.elevation_deg or 0.0)
    return LightPlace(name=light.name, direction=direction, width_deg=light.width_deg)


def _in_the_set(name: str, position_mm: tuple[float, float, float], size_mm: float) -> LightPlace:
    x, y = right_up_to_frame(position_mm[:2])
    place = np.array([x, y, position_mm[2]])
    distance = max(float(np.linalg.norm(place)), 1e-9)
    width = float(np.degrees(2.0 * np.arctan(size_mm / 2.0 / distance)))
    return LightPlace(name=name, direction=place / distance, width_deg=width, place_mm=place, size_mm=size_mm)


def _sun(light: Light, sun: Sun) -> LightPlace:
    site = site_of(sun)
    sky = sun_in_sky([sun.time], site)
    azimuth, elevation = camera_angles(sky.compass_deg, sky.height_deg, site.camera_heading_deg, site.camera_tilt_deg)
    width = light.width_deg if "width_deg" in light.model_fields_set else float(sky.width_deg[0])
    return LightPlace(
        name=light.name,
        direction=light_direction(float(azimuth[0]), float(elevation[0])),
        width_deg=width,
        is_up=bool(sky.height_deg[0] + width / 2 > 0),
    )


def site_of(sun: Sun) -> Site:
    """Where the camera stands and looks, as the sun's formulas want it."""
    return Site(
        latitude_deg=sun.latitude_deg,
        longitude_deg=sun.longitude_deg,
        camera_heading_deg=sun.camera_heading_deg,
        camera_tilt_deg=sun.camera_tilt_deg,
    )


def suns_of(scene: Scene) -> Iterator[tuple[str, Sun]]:
    """Names and suns of the lights that are the sun by place and time."""
    return ((light.name, light.sun) for light in scene.light if light.sun is not None)
