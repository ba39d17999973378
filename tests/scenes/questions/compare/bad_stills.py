"""Ways to hand in bad stills, made from a good pair by another renderer (tests/data/stills/medium-lowrods): 8-bit sRGB, and the
box 3 mm lower and 2 mm further left than the scene has it. "As predicted" is the wrong answer to every one.
"""

import io
import tomllib
from pathlib import Path

import imagecodecs
import numpy as np
import tifffile
from PIL import Image
from scipy.ndimage import zoom

GOOD = Path(__file__).parents[3] / "data" / "stills" / "medium-lowrods"


def light_of(codes):
    """IEC 61966-2-1."""
    v = codes / (255 if codes.dtype == np.uint8 else 65535)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def srgb16(light):
    x = np.clip(light, 0, 1)
    return np.floor(65535 * np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055) + 0.5).astype(np.uint16)


class Shoot:
    """A folder with scene, notes and two stills, to be spoilt: light (H, W) of each, and the notes as replacements of text."""

    def __init__(self, folder):
        self.folder = folder
        self.notes = (GOOD / "shoot.toml").read_text()
        self.scene = (GOOD / "scene.toml").read_text()
        names = tomllib.loads(self.notes)["picture"][0]
        self.files = {"with": names["with_box"], "without": names["without_box"]}
        codes = {key: imagecodecs.png_decode((GOOD / name).read_bytes()) for key, name in self.files.items()}
        self.light = {key: light_of(one).mean(axis=2) for key, one in codes.items()}
        self.bytes = {}

    def note(self, old, new):
        assert old in self.notes, old
        self.notes = self.notes.replace(old, new)

    def write(self):
        for key, light in self.light.items():
            data = self.bytes.get(key)
            if data is None:
                data = imagecodecs.png_encode(np.ascontiguousarray(srgb16(light)))
            (self.folder / self.files[key]).write_bytes(data)
        (self.folder / "scene.toml").write_text(self.scene)
        (self.folder / "shoot.toml").write_text(self.notes)
        return self.folder


def tiff(codes, **more):
    stream = io.BytesIO()
    tifffile.imwrite(stream, codes, **more)
    return stream.getvalue()


def both(change):
    def spoil(shoot):
        shoot.light = {key: change(light) for key, light in shoot.light.items()}

    return spoil


def box_on(change):
    def spoil(shoot):
        shoot.light["with"] = change(shoot.light["with"])

    return spoil


def reference(change):
    def spoil(shoot):
        shoot.light["without"] = change(shoot.light["without"])

    return spoil


def as_file(key, make):
    def spoil(shoot):
        shoot.bytes[key] = make(shoot.light[key])

    return spoil


def both_files(make):
    def spoil(shoot):
        shoot.bytes = {key: make(light) for key, light in shoot.light.items()}

    return spoil


def noted(*swaps):
    def spoil(shoot):
        for old, new in swaps:
            shoot.note(old, new)

    return spoil


def cropped(share, down=0.5, right=0.5):
    """The part of a picture that a punch-in leaves, on as many pixels."""

    def crop(light):
        rows, columns = light.shape
        height, width = round(rows * share), round(columns * share)
        top, left = round((rows - height) * down), round((columns - width) * right)
        part = light[top : top + height, left : left + width]
        return np.clip(zoom(part, (rows / height, columns / width), order=1), 0, None)[:rows, :columns]

    return crop


def shrunk(share):
    """The picture smaller, black round it."""

    def shrink(light):
        rows, columns = light.shape
        small = zoom(light, share, order=1)
        top, left = (rows - small.shape[0]) // 2, (columns - small.shape[1]) // 2
        found = np.zeros_like(light)
        found[top : top + small.shape[0], left : left + small.shape[1]] = small
        return found

    return shrink


def barred(light):
    """Black bars at top and bottom, as of a wider picture in this file."""
    found = light.copy()
    bar = round(light.shape[0] * 0.13)
    found[:bar] = found[-bar:] = 0
    return found


def tail(code):
    """The last fifth of the file's pixels lost: erased blocks of a flash card read as one and the same byte all over."""

    def make(light):
        codes = srgb16(light)
        codes.reshape(-1)[-codes.size // 5 :] = code
        return imagecodecs.png_encode(codes)

    return make


def noisy(light, seed=3):
    rng = np.random.default_rng(seed)
    return light + rng.normal(0, 1, light.shape) * np.sqrt(1.2e-4 * light + 2e-7)


def jpeg(quality):
    return lambda light: imagecodecs.jpeg8_encode((srgb16(light) >> 8).astype(np.uint8), level=quality)


def colour(light):
    return imagecodecs.png_encode(np.stack([srgb16(light * share) for share in (1.0, 0.7, 0.45)], axis=-1))


def lined(light):
    """Frame lines of 80 % burnt in, and a name in a corner."""
    codes = srgb16(light)
    rows, columns = codes.shape
    top, left = rows // 10, columns // 10
    for row in (top, rows - top):
        codes[row : row + 2, left : columns - left] = 60000
    for column in (left, columns - left):
        codes[top : rows - top, column : column + 2] = 60000
    for k in range(14):
        codes[rows - 40 : rows - 25, 30 + 9 * k : 33 + 9 * k] = 62000
    return imagecodecs.png_encode(codes)


def lined_and_cropped(shoot):
    """A guide of 80 % in the scene, its lines in the still, and a punch-in by a tenth after that."""
    shoot.scene = shoot.scene.replace("[[lens]]", '[[camera.guide]]\nname = "inner"\naspect = 1.7778\nscale = 0.8\n\n[[lens]]', 1)
    for key, light in shoot.light.items():
        codes = imagecodecs.png_decode(lined(light))
        shoot.light[key] = cropped(0.9)(light_of(codes))


def palette(light):
    stream = io.BytesIO()
    Image.fromarray((srgb16(light) >> 8).astype(np.uint8)).convert("P").save(stream, "png")
    return stream.getvalue()


def wide(_light):
    head = bytearray(imagecodecs.png_encode(np.zeros((96, 96), np.uint16)))
    head[16:24] = (50_000).to_bytes(4, "big") + (28_000).to_bytes(4, "big")
    return bytes(head)


def two_lenses(shoot):
    """The scene has a 40 too, and the notes name it."""
    lens = shoot.scene[shoot.scene.index("[[lens]]") : shoot.scene.index("[box]")]
    other = lens.replace('"24"', '"40"').replace("focal_mm = 24", "focal_mm = 40")
    shoot.scene = shoot.scene.replace("[box]", other + "\n[box]", 1)
    shoot.note('lens = "24"', 'lens = "40"')


def missing(shoot):
    shoot.note(shoot.files["without"], "witout.png")


def unpaired(shoot):
    shoot.note(f'without_box = "{shoot.files["without"]}"\n', "")


def exchanged(shoot):
    shoot.light = {"with": shoot.light["without"], "without": shoot.light["with"]}


def box_never_on(shoot):
    shoot.light["with"] = noisy(shoot.light["without"])


def copied(shoot):
    shoot.light["without"] = shoot.light["with"]


def nits(light):
    return tiff((1000 * light).astype(np.float32))


LINEAR = noted(('curve = "srgb"', 'curve = "linear"'))


def together(*spoils):
    def spoil(shoot):
        for one in spoils:
            one(shoot)

    return spoil


WAYS = {
    "half size": box_on(lambda light: zoom(light, 0.5, order=1)),
    "curve: linear instead of srgb": LINEAR,
    "curve: hlg instead of srgb": noted(('curve = "srgb"', 'curve = "hlg"')),
    "both clipped": both(lambda light: 4 * light),
    "reference clipped": reference(lambda light: 4 * light),
    "box on clipped": box_on(lambda light: 4 * light),
    "a little clipped": both(lambda light: 2.1 * light),
    "two lenses swapped": two_lenses,
    "reference missing": missing,
    "no reference": unpaired,
    "turned 180": both(lambda light: light[::-1, ::-1]),
    "box on alone turned 180": box_on(lambda light: light[::-1, ::-1]),
    "turned 90": both(lambda light: np.ascontiguousarray(light.T)),
    "a tint": both_files(colour),
    "frame lines and a name": as_file("with", lined),
    "JPEG of quality 30": both_files(jpeg(30)),
    "nits as floats": together(both_files(nits), LINEAR),
    "nits as floats on a curve": both_files(nits),
    "empty file": as_file("with", lambda _: b""),
    "cut short": as_file("with", lambda light: imagecodecs.png_encode(srgb16(light))[:30000]),
    "text": as_file("without", lambda _: b"see the other folder"),
    "50000 wide": as_file("with", wide),
    "palette": both_files(palette),
    "frame lines, then cropped to 90 %": lined_and_cropped,
    "cropped to 90 %": both(cropped(0.9)),
    "box on alone cropped to 90 %": box_on(cropped(0.9)),
    "shrunk, black round it": both(shrunk(0.9)),
    "black bars": both(barred),
    "the tail white": both_files(tail(0xFFFF)),
    "the tail of one white": as_file("with", tail(0xFFFF)),
    "the tail grey": both_files(tail(0x8080)),
    "black bars, no reference": together(both(barred), unpaired),
    "exchanged": exchanged,
    "copied": copied,
    "box never on": box_never_on,
    "black": box_on(lambda light: 0 * light),
    "white": as_file("without", lambda light: imagecodecs.png_encode(np.full(light.shape, 65535, np.uint16))),
    "a flat card": reference(lambda light: 0 * light + 0.3),
    "far too dark": both(lambda light: np.floor(255 * light / 90) / 255),
    "nothing left free": noted(('unknown = ["box.offset_mm.up", "box.offset_mm.right", "box.ahead_mm"]', "unknown = []")),
    "what differs not left free": noted(
        ('unknown = ["box.offset_mm.up", "box.offset_mm.right", "box.ahead_mm"]', 'unknown = ["box.ahead_mm"]')
    ),
}


def spoilt(way, folder):
    """The folder of a shoot, spoilt in one of the WAYS."""
    shoot = Shoot(folder)
    WAYS[way](shoot)
    return shoot.write()
