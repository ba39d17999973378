"""The papers of a small show: read back with pypdf and an HTML parser, and held against what check says."""

import io
import json
import re
from base64 import b64decode
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from click.testing import CliRunner
from pypdf import PdfReader, PdfWriter

from scenes.answers.answer import answer_data
from scenes.answers.options import Wanted
from scenes.cli import brimline
from scenes.questions.plan.answer import answer
from scenes.questions.plan.labels import KNOWN, label_sheet, labels_of, labels_pdf
from scenes.questions.plan.looked_at import LookedAt, asked_of
from scenes.questions.plan.page import page_html
from scenes.questions.plan.paper import plan_pdf
from scenes.questions.plan.words import how_lines
from scenes.scene_file.errors import SceneError
from scenes.states.clear_rule import RANK, Limits
from scenes.states.load import load_scene, plans_of
from scenes.verdicts.check import CheckResult, FailedState

SCENE = """
brimline = 1
title = "Pier <A> & B"
camera = { width_mm = 36, height_mm = 24 }
check = { f_numbers = [2.8, 8], focus_mm = ["infinity"] }
plan = { curve = "srgb", minutes = { lens = 10, mask = 3 } }

[[lens]]
name = "wide"
focal_mm = 24
f_number = 2.0
front_diameter_mm = 90
front_to_sensor_mm = 150
pupil_behind_front_mm = [28, 34]

[[lens]]
name = "long"
focal_mm = 85
f_number = 2.0
front_diameter_mm = 90
front_to_sensor_mm = 150
pupil_behind_front_mm = 40
box = { ahead_mm = 6 }

[box]
mount = "clamp"
ahead_mm = 2
back = { width_mm = 180, height_mm = 150, thickness_mm = 4, bore_mm = 100 }

[[box.stage]]
name = "tray"
at_mm = 6
depth_mm = 8
opening_mm = [150, 120]
filter = { name = "grad", width_mm = 170, height_mm = 170, kind = "graduated", density = 0.6, edge_mm = 10 }

[[box.mask]]
name = "wide mask"
at_mm = 20
opening_mm = [140, 100]
lenses = ["wide"]

[[box.mask]]
name = "long mask"
at_mm = 20
opening_mm = [90, 70]
lenses = ["long"]

[[box.flag]]
name = "left flag"
side = "left"
angle_deg = 10
length_mm = 60
width_mm = 120
hinge_mm = 60
at_mm = 24
lenses = ["wide"]
"""


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    path = tmp_path_factory.mktemp("pier") / "pier.toml"
    path.write_text(SCENE)
    return path


@pytest.fixture(scope="module")
def made(scene):
    return answer(load_scene(scene))


@pytest.fixture(scope="module")
def papers(made):
    return dict(made.files("out"))


@pytest.fixture(scope="module")
def data(made, scene):
    return answer_data(made, load_scene(scene))


@pytest.fixture(scope="module")
def checked(scene):
    return json.loads(CliRunner().invoke(brimline, ["check", str(scene), "--json", "--no-range"]).stdout)


class Seen(HTMLParser):
    """Every tag with what it has, and every word."""

    def __init__(self):
        super().__init__()
        self.tags, self.words = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)


def seen(page):
    parser = Seen()
    parser.feed(page.decode())
    return parser


def test_what_stills_tell_is_on_the_page_on_paper_and_in_the_json(papers, data):
    lenses = [one["lens"] for one in data["stills_tell"]]
    assert sorted(lenses) == ["long", "wide"]
    assert {"box.ahead_mm", "lens[wide].pupil_behind_front_mm"} <= {
        one["of"] for one in data["stills_tell"][lenses.index("wide")]["values"]
    }
    page = " ".join(seen(papers["plan.html"]).words)
    paper = " ".join(" ".join(one.extract_text() for one in PdfReader(io.BytesIO(papers["plan.pdf"])).pages).split())
    for words in ("What stills of these shots tell", "box off and box on, over the prediction"):
        assert words in page
        assert words in paper


def test_with_filters_in_the_box_the_middle_is_brought_back_before_a_place_is_read(made, papers):
    """Density 0.6 takes two stops from the whole picture, which a reading against the bare lens would put down to the box."""
    words = " ".join(how_lines(made.plan))
    assert "bring the middle of the picture back" in words
    assert "touch nothing else" not in words
    assert words in " ".join(seen(papers["plan.html"]).words)
    bare = [
        replace(one, setup=replace(one.setup, pieces=tuple(piece for piece in one.setup.pieces if piece.kind != "filter")))
        for one in made.plan.stations
    ]
    assert "touch nothing else" in " ".join(how_lines(replace(made.plan, stations=tuple(bare))))


def test_the_minutes_of_the_set_ups_add_up_to_those_of_the_plan(made):
    """Where each shot takes 4 minutes to set, beside the changes of its set-up: on the page and in the terminal."""
    slow = [replace(one, shots=tuple(replace(shot, minutes=4.0) for shot in one.shots)) for one in made.plan.stations]
    plan = replace(made.plan, stations=tuple(slow))
    page = " ".join(seen(page_html(plan, made.sheet).encode()).words)
    listed = " ".join(str(block) for block in replace(made, plan=plan).blocks(written=False))
    assert plan.minutes >= sum(one.change.minutes for one in plan.stations) + 8.0
    for found in (re.findall(r"Set-up \d+: .*?, ([\d.]+) min", page), re.findall(r"Set-up \d+: .*?\(([\d.]+) min\)", listed)):
        assert sum(map(float, found)) == pytest.approx(plan.minutes)


def test_no_still_is_asked_for_of_a_state_that_could_not_be_computed(scene):
    states = plans_of(load_scene(scene))
    failed = tuple(FailedState(key=state.key, lens_name=state.lens_name, why="out of memory") for state in states)
    check = CheckResult(states=(), failed=failed, limits=Limits(visible_loss_stops=0.1))
    assert asked_of(states, LookedAt(check=check, maps={}, tellings={})) == []


def test_every_state_is_shot_or_spoken_for_by_a_shot_of_its_lens_that_is_no_better(made):
    plan = made.plan
    shots = {shot.number: shot for shot in plan.shots}
    told = {shot.key for shot in shots.values()} | {one.key for one in plan.covered}
    assert told == {state.key for state in plan.check.states}
    for one in plan.covered:
        by = shots[one.by]
        assert by.lens_name == one.lens_name
        assert RANK[by.result.word] >= RANK[one.word]


def test_verdicts_and_losses_are_those_of_check(data, checked):
    known = {state["key"]: state for state in checked["states"]}
    assert data["shots"]
    for shot in data["shots"]:
        state = known[shot["key"]]
        guide = next(guide for guide in state["guides"] if guide["guide"] == shot["guide"])
        assert shot["verdict"] == guide["verdict"]
        assert shot["box_on_least_loss"]["percent"] >= shot["box_on_most_loss"]["percent"]
    assert all(known[one["key"]]["verdict"] == one["verdict"] for one in data["covered"])
    assert data["exit_status"] == checked["exit_status"]


def test_the_list_as_text_is_check_s_own(papers, scene, tmp_path):
    out = tmp_path / "out"
    assert CliRunner().invoke(brimline, ["check", str(scene), "--out", str(out), "--no-pictures", "--no-range"]).exit_code in {0, 1}
    assert papers["plan.txt"] == (out / "test-plan.txt").read_bytes()


def test_boxes_to_tick_and_blanks_are_read_back(made, papers):
    reader = PdfReader(io.BytesIO(papers["plan.pdf"]))
    fields = reader.get_fields()
    for shot in made.plan.shots:
        box = fields[f"shot_{shot.number:02}_done"]
        assert (box["/FT"], box["/V"]) == ("/Btn", "/Off")
        assert set(box["/_States_"]) == {"/Off", "/Yes"}
        assert fields[f"shot_{shot.number:02}_note"]["/FT"] == "/Tx"
    assert all(name.split("_")[0] in {"shot", "setup", "change", "bring", "measure", "failed"} for name in fields)


def test_what_is_ticked_and_written_stays(papers):
    writer = PdfWriter(clone_from=io.BytesIO(papers["plan.pdf"]))
    for page in writer.pages:
        writer.update_page_form_field_values(page, {"shot_01_done": "/Yes", "shot_01_reads": "31.5"})
    stream = io.BytesIO()
    writer.write(stream)
    fields = PdfReader(stream).get_fields()
    assert (fields["shot_01_done"]["/V"], fields["shot_01_reads"]["/V"]) == ("/Yes", "31.5")
    assert fields["shot_02_done"]["/V"] == "/Off"


def horizontal_lines_mm(page):
    """Lengths [mm] of the level lines of a page, in its own units: one after another `x y m x y l`."""
    found = []
    at = [0.0, 0.0]
    for operands, operator in page.get_contents().operations:
        if operator == b"m":
            at = [float(value) for value in operands]
        elif operator == b"l":
            to = [float(value) for value in operands]
            if to[1] == at[1]:
                found.append(abs(to[0] - at[0]) * 25.4 / 72)  # 72 pt to the inch, ISO 32000-1 8.3.2.3
            at = to
    return found


@pytest.mark.parametrize("name", ["plan.pdf", "labels.pdf"])
def test_the_bar_to_measure_is_100_mm(papers, name):
    page = PdfReader(io.BytesIO(papers[name])).pages[0]
    assert any(length == pytest.approx(100.0, abs=0.01) for length in horizontal_lines_mm(page))
    assert PdfReader(io.BytesIO(papers[name])).root_object["/ViewerPreferences"]["/PrintScaling"] == "/None"


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_pages_are_of_the_paper_asked_for(made, paper, size_mm):
    box = PdfReader(io.BytesIO(plan_pdf(made.plan, paper))).pages[0].mediabox
    assert [float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72] == pytest.approx(size_mm, abs=0.01)


def test_the_page_needs_nothing_but_itself(papers):
    page = seen(papers["plan.html"])
    outside = [(tag, attrs) for tag, attrs in page.tags for key in ("src", "href", "xlink:href", "action") if key in attrs]
    assert outside
    assert all(attrs["href"].startswith(("#", "data:image/png;base64,")) for _, attrs in outside)
    assert not {"link", "iframe", "object", "embed", "base"} & {tag for tag, _ in page.tags}
    text = papers["plan.html"].decode()
    assert not any(word in text for word in ("http:", "https:", "url(", "@import", "//cdn"))


def test_the_page_s_anchors_and_names_are_there_once(papers):
    page = seen(papers["plan.html"])
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    names = [attrs["name"] for tag, attrs in page.tags if tag in {"input", "textarea"}]
    assert len(set(ids)) == len(ids)
    assert len(set(names)) == len(names)
    assert {attrs["href"][1:] for tag, attrs in page.tags if tag == "a"} <= set(ids)


def test_names_of_a_scene_never_become_markup(papers):
    assert "Pier <A> & B" in "".join(seen(papers["plan.html"]).words)
    assert "<A>" not in papers["plan.html"].decode()


def test_heatmaps_are_pictures_of_the_map(papers, made):
    pictures = [attrs["href"] for tag, attrs in seen(papers["plan.html"]).tags if tag == "image"]
    assert len(pictures) == len(made.plan.shots)
    assert all(b64decode(picture.split(",")[1])[:8] == b"\x89PNG\r\n\x1a\n" for picture in pictures)


def test_a_flag_on_the_left_is_looked_for_on_the_left(made):
    wide = next(shot for shot in made.plan.shots if shot.lens_name == "wide")
    assert "left" in wide.shot.where
    assert all(spot.mark_mm[0] < 0 for spot in wide.map.spots)
    columns = wide.map.loss_stops.shape[1]
    assert wide.map.loss_stops[:, : columns // 4].mean() > wide.map.loss_stops[:, -columns // 4 :].mean()


def test_the_same_show_gives_the_same_bytes(papers, scene):
    again = dict(answer(load_scene(scene), threads=2).files("elsewhere"))
    assert again == papers


def test_from_one_lens_to_the_next_only_what_differs_is_changed(data):
    first, second = data["setups"]
    assert first["lens"] != second["lens"]
    assert {*second["off"], *second["on"]} == {"wide mask", "long mask", "left flag"}
    # lens 10, box slid 2, two masks 3 each, a flag 1, by [plan.minutes] and its defaults
    assert second["minutes"] == 10 + 2 + 3 + 3 + 1


def test_each_filter_mask_and_lens_has_a_sticker_that_says_which_way_it_goes(made):
    stickers = {label.title: label for label in labels_of(made.plan)}
    assert {"Lens wide", "Lens long", "Filter: grad", "Mask: wide mask", "Mask: long mask"} == set(stickers)
    assert "dark" in stickers["Filter: grad"].way
    assert "label to the lens" in stickers["Mask: wide mask"].way


# Side margins of usual sheets, common practice, sizes from memory: the page less stickers and gaps, halved.
@pytest.mark.parametrize(
    ("paper", "size", "side_mm", "top_mm"),
    [
        ("a4", "99.1x38.1", 4.65, 15.15),
        ("a4", "63.5x38.1", 7.25, 15.15),
        ("a4", "38.1x21.2", 4.75, 10.7),
        ("a4", "70x37", 0.0, 0.5),
        ("letter", "66.675x25.4", 4.763, 12.7),
    ],
)
def test_usual_sheets_have_their_margins(paper, size, side_mm, top_mm):
    sheet = label_sheet(paper, size)
    assert sheet.known
    assert (sheet.left_mm, sheet.top_mm) == pytest.approx((side_mm, top_mm), abs=0.01)


@pytest.mark.parametrize("paper", KNOWN)
def test_every_sticker_lies_on_its_page_and_on_no_other(paper):
    for size in KNOWN[paper]:
        sheet = label_sheet(paper, f"{size[0]}x{size[1]}")
        corners = [sheet.corner_mm(place) for place in range(sheet.columns * sheet.rows)]
        assert all(x >= -1e-9 and x + size[0] <= sheet.page_mm[0] + 1e-9 for x, _ in corners)
        assert all(y >= -1e-9 and y + size[1] <= sheet.page_mm[1] + 1e-9 for _, y in corners)
        assert len({(round(x, 6), round(y, 6)) for x, y in corners}) == len(corners)


@pytest.mark.parametrize("size", ["30x15", "38.1x21.2", "63.5x38.1"])
def test_a_sticker_however_small_has_its_name_and_the_whole_of_which_way_it_goes(made, size):
    words = " ".join(PdfReader(io.BytesIO(labels_pdf(made.plan, label_sheet("a4", size)))).pages[1].extract_text().split())
    for label in labels_of(made.plan):
        assert label.title in words
        assert label.way in words


@pytest.mark.parametrize("size", ["wide", "63.5", "5x5", "400x400", "-63x38"])
def test_a_sticker_that_cannot_be_is_refused_in_a_sentence(size):
    with pytest.raises(SceneError, match="--labels"):
        label_sheet("a4", size)


def test_a_part_of_the_show_is_planned_alone(scene):
    only = answer(load_scene(scene), wanted=Wanted(lenses=("long",)))
    assert {shot.lens_name for shot in only.plan.shots} == {"long"}
    assert len(only.plan.stations) == 1
