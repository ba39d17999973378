"""Figures and layers as files, read by other libraries."""

import io
import warnings
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import tifffile
from matplotlib.figure import Figure

from scenes.io.pictures import exr_trouble, figure_files, layers_exr, layers_tiff


def figure():
    drawn = Figure(figsize=(4.0, 2.0))
    drawn.text(0.5, 0.5, "right flag")
    drawn.add_axes((0.1, 0.1, 0.3, 0.3)).plot([0, 1], [1, 0])
    return drawn


def test_a_figure_comes_in_each_format_asked_for():
    files = dict(figure_files("map", figure(), ("png", "svg", "pdf")))
    assert list(files) == ["map.png", "map.svg", "map.pdf"]
    assert files["map.png"].startswith(b"\x89PNG\r\n\x1a\n")  # ISO/IEC 15948, section 5.2
    assert files["map.pdf"].startswith(b"%PDF-")  # ISO 32000-1, section 7.5.2
    root = ET.fromstring(files["map.svg"])
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert (root.get("width"), root.get("height")) == ("288pt", "144pt")  # 4 x 2 inches


@pytest.mark.parametrize("form", ["png", "svg", "pdf"])
def test_a_letter_that_the_typeface_lacks_costs_no_warning_and_others_are_still_heard(form):
    """Warnings are errors here; DejaVu Sans has no Chinese letters and no pictures of film."""
    drawn = figure()
    drawn.text(0.2, 0.2, "夜の旗 🎬")
    assert list(dict(figure_files("map", drawn, (form,)))) == [f"map.{form}"]
    with pytest.raises(UserWarning, match="heard"):
        warnings.warn("heard", UserWarning, stacklevel=1)


def test_the_same_figure_gives_the_same_bytes():
    one, other = (dict(figure_files("map", figure(), ("png", "svg", "pdf"))) for _ in range(2))
    assert one == other


def test_a_tiff_holds_every_layer_to_the_bit():
    layers = {"loss_stops": np.array([[0.0, 0.1], [np.inf, 3.0]], np.float32), "lens": np.ones((2, 2), np.float32)}
    with tifffile.TiffFile(io.BytesIO(layers_tiff(layers))) as file:
        assert [page.description for page in file.pages] == list(layers)
        for page, layer in zip(file.pages, layers.values(), strict=True):
            assert page.dtype == np.float32
            np.testing.assert_array_equal(page.asarray(), layer)


def test_an_exr_holds_every_layer_to_the_bit_under_its_name(tmp_path):
    OpenEXR = pytest.importorskip("OpenEXR", reason="the library comes with the extra exr")
    rng = np.random.default_rng(4)
    layers = {name: rng.random((5, 7), dtype=np.float32) for name in ("loss_stops", "glass")}
    layers["loss_stops"][0, 0] = np.inf
    (tmp_path / "map.exr").write_bytes(layers_exr(layers))
    with OpenEXR.File(str(tmp_path / "map.exr"), separate_channels=True) as frame:
        found = {name: channel.pixels for name, channel in frame.channels().items()}
    assert set(found) == set(layers)
    for name, layer in layers.items():
        assert found[name].dtype == np.float32
        np.testing.assert_array_equal(found[name], layer)
    assert layers_exr(layers) == (tmp_path / "map.exr").read_bytes()


def test_without_its_library_exr_is_refused_before_anything_is_computed(monkeypatch):
    monkeypatch.setattr("scenes.io.pictures.find_spec", lambda _: None)
    assert exr_trouble(("png", "tiff")) == ""
    assert exr_trouble(("png", "exr")) == "--format exr needs one more library; install brimline[exr], or use --format tiff"
