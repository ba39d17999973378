"""Half fields of a setting, from a pinhole's focal length and the picture without distortion, or as measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scenes.lens_data.distortion import NO_TERMS, SMALL_SHARE, FittedDistortion, Terms, fitted, undistorted_mm, widening
from scenes.lens_data.given import Given, Told
from scenes.lens_data.reading import Picture, Polynomial, Reading, refusal
from scenes.lens_data.settings import Setting
from scenes.scene_file.messages import plain

MOST_APART = 0.15  # of a half field's tangent against the one that the focal length gives
WIDEST_DEG = 89.0  # of a scene


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCase:
    """What the fields of all settings share: the picture's size [mm] as far as it is known, squeeze, the scene's distortion."""

    width_mm: float | None
    height_mm: float | None
    squeeze: float
    terms: Terms | None
    given: Given
    told: Told

    @property
    def picture(self) -> Picture | None:
        """The picture, where both sides are known."""
        if self.width_mm is None or self.height_mm is None:
            return None
        return Picture(width_mm=self.width_mm, height_mm=self.height_mm)


def scene_distortion(readings: Sequence[Reading], picture: Picture | None, squeeze: float, told: Told) -> FittedDistortion | None:
    """The samples' distortion as a scene has it: that which puts the corner farthest out, where they differ."""
    polynomials = list(dict.fromkeys(reading.polynomial for reading in readings if reading.polynomial is not None))
    if not polynomials:
        return None
    if picture is None:
        raise refusal(readings[0].source, "lens.distortion", "needs the picture's size; give --width-mm and --height-mm")
    fits = {polynomial: _fit(polynomial, picture, readings[0].source) for polynomial in polynomials}
    fit = fits[max(polynomials, key=lambda one: _corner_share(one, picture))]
    if fit.residual_share > SMALL_SHARE:
        told.say(
            f"two terms follow the distortion to {fit.residual_share * picture.half_diagonal_mm:.2f} mm in the picture; fields are "
            "widened for it"
        )
    if len(polynomials) > 1:
        told.say("distortion changes from sample to sample: the one that puts the corner farthest out is used for all")
    if squeeze != 1.0:
        told.say("no standard says yet how squeeze and distortion go together: the wider field is used; measure it to be sure")
    return fit


def _fit(polynomial: Polynomial, picture: Picture, source: str) -> FittedDistortion:
    fit = fitted(polynomial, picture.half_diagonal_mm)
    if fit is None:
        raise refusal(
            source,
            "lens.distortion",
            f"must turn every point of a picture of {plain(2 * picture.half_diagonal_mm)} mm across corners into another, but "
            "its terms fold the picture over; radii are in mm: check the terms' units",
        )
    return fit


def _corner_share(polynomial: Polynomial, picture: Picture) -> float:
    return undistorted_mm(polynomial, picture.half_diagonal_mm) / undistorted_mm(polynomial, picture.width_mm / 2)


def half_field(setting: Setting, focal_mm: float | None, case: FieldCase) -> float | dict[str, float] | None:
    """Half field at the edge of the picture's width [deg], and of its height where that was measured; the widest of a setting."""
    across, upright = setting.values("half_field_deg"), setting.values("half_field_vertical_deg")
    if upright and not across:
        raise refusal(setting.readings[0].source, "half_field_vertical_deg", "needs half_field_deg beside it; add that column")
    _insist_on_likely_measures(setting, focal_mm, case)
    pinholes = [reading for reading in setting.readings if reading.pinhole_mm is not None]
    across += [_pinhole_deg(reading, setting, case.width_mm, "width", case.squeeze, focal_mm, case) for reading in pinholes]
    if not upright:
        return rounded_up(max(across)) if across else None
    upright += [_pinhole_deg(reading, setting, case.height_mm, "height", 1.0, None, case) for reading in pinholes]
    return {"horizontal": rounded_up(max(across)), "vertical": rounded_up(max(upright))}


def rounded_up(value: float) -> float:
    """A length or angle to a thousandth, never less than it is."""
    return math.ceil(value * 1000.0 - 1e-6) / 1000.0


def _pinhole_deg(
    reading: Reading,
    setting: Setting,
    side_mm: float | None,
    name: str,
    squeeze: float,
    focal_mm: float | None,
    case: FieldCase,
) -> float:
    """Atan of the edge without distortion over the pinhole's focal length. Source: OpenLensIO 1.0.0, 1.1 and equations 2 to 5."""
    key, pinhole_mm = reading.keys["pinhole_mm"], reading.pinhole_mm or 0.0
    if side_mm is None:
        raise refusal(reading.source, key, f"says the field only with the picture's {name}; give --{name}-mm")
    if not pinhole_mm > 0.0:
        raise refusal(reading.source, key, f"must be more than 0, got {plain(pinhole_mm)}")
    _insist_on_distortion(reading, setting, case)
    edge_mm = undistorted_mm(reading.polynomial, side_mm / 2)
    if squeeze != 1.0:  # the wider of the two ways to put them together
        edge_mm = max(edge_mm, side_mm / 2)
    tangent = squeeze * edge_mm / pinhole_mm
    _insist_on_likely_field(reading, "pinhole_mm", tangent, focal_mm, case)
    return math.degrees(math.atan(tangent * _widened(reading, case)))


def _insist_on_distortion(reading: Reading, setting: Setting, case: FieldCase) -> None:
    """A pinhole's field without its distortion would be too narrow for a lens with barrel."""
    if reading.polynomial is None and not case.given.no_distortion and not setting.values("half_field_deg"):
        raise refusal(
            reading.source,
            reading.keys["pinhole_mm"],
            "says the field only with the distortion, whose radial terms are not in the file, and barrel makes the field wider; "
            "give half_field_deg in a table, measured at the edge of the frame, or --no-distortion if you know that the lens has "
            "none",
        )


def _widened(reading: Reading, case: FieldCase) -> float:
    """By how much the tangent grows for what a scene cannot say of this reading's picture."""
    if reading.polynomial is None and case.terms is None and not any(reading.off_axis_mm):
        return 1.0
    if case.picture is None:
        raise refusal(
            reading.source,
            reading.keys.get("projection_mm", "lens.distortion"),
            "needs the picture's size; give --width-mm and --height-mm",
        )
    centre_mm = math.hypot(*reading.distortion_mm) if reading.distortion_mm else 0.0
    grown = widening(reading.polynomial, case.terms or NO_TERMS, case.picture, reading.off_axis_mm, centre_mm)
    if math.isnan(grown):
        raise refusal(
            reading.source, "lens.distortion", "folds the picture over before its corner; radii are in mm: check the terms' units"
        )
    _say_why_wider(reading, grown, case)
    return max(1.0, grown)


def _say_why_wider(reading: Reading, grown: float, case: FieldCase) -> None:
    if grown <= 1.0 + SMALL_SHARE:
        return
    off = max(reading.off_axis_mm)
    why = [
        *([f"the lens's axis is {off:.2f} mm off the picture's middle"] if off else []),
        *(["its distortion has a centre of its own"] if reading.distortion_mm and any(reading.distortion_mm) else []),
        *(["its distortion has tangential terms"] if reading.polynomial and any(reading.polynomial.tangential) else []),
    ] or ["the scene's distortion has two terms, one centre, and one shape for all settings"]
    case.told.say(f"fields are taken up to {(grown - 1.0) * 100.0:.1f} % wider, since {' and '.join(why)}")


def _insist_on_likely_measures(setting: Setting, focal_mm: float | None, case: FieldCase) -> None:
    for reading in setting.readings:
        for name in ("half_field_deg", "half_field_vertical_deg"):
            angle = getattr(reading, name)
            if angle is not None and not 0.0 < angle <= WIDEST_DEG:
                raise refusal(reading.source, name, f"must be more than 0 and at most {WIDEST_DEG:g} deg, got {plain(angle)}")
        if reading.half_field_deg is not None:
            _insist_on_likely_field(reading, "half_field_deg", math.tan(math.radians(reading.half_field_deg)), focal_mm, case)


def _insist_on_likely_field(reading: Reading, name: str, tangent: float, focal_mm: float | None, case: FieldCase) -> None:
    if focal_mm is None or case.width_mm is None or "half_field_deg" in case.given.confirmed:
        return
    expected = case.squeeze * case.width_mm / 2 / focal_mm
    if abs(tangent / expected - 1.0) > MOST_APART:
        raise refusal(
            reading.source,
            reading.keys[name],
            f"gives a half field of {math.degrees(math.atan(tangent)):.1f} deg, where {plain(focal_mm)} mm and a picture "
            f"{plain(case.width_mm)} mm wide give {math.degrees(math.atan(expected)):.1f}; one of the three is likely wrong: if "
            "you have checked them, say so with --confirmed half_field_deg",
        )
