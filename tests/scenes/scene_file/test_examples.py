"""The scene that a newcomer starts from is read, small, and explains itself."""

from scenes.scene_file.examples import starter_text
from scenes.scene_file.parse import parse_scene


def test_the_starter_scene_is_read():
    scene = parse_scene(starter_text(), "starter.toml")
    assert len(scene.box.stage) == 2
    assert scene.box.mask
    assert scene.box.hood
    assert scene.box.flag


def test_its_commented_keys_can_be_used():
    text = starter_text()
    for row in ("# offset_mm = [0.0, 0.0]", "# front_glass_mm = 92", '# lenses = ["25"]', "# extension = {"):
        assert row in text
        text = text.replace(row, row[2:])
    start = text.index("# [[lens]]")
    block = text[start : text.index("# ---- the box")]
    text = text.replace(block, "\n".join(line.removeprefix("# ") for line in block.splitlines()) + "\n")
    scene = parse_scene(text, "starter.toml")
    assert [lens.name for lens in scene.lens] == ["25", "40 anamorphic"]
    assert scene.box.flag[0].extension.length_mm == 70


def test_its_last_filter_line_can_be_used():
    row = '# filter = { size = "4x5.65", kind = "density", density = 0.6 }'
    assert row in starter_text()
    scene = parse_scene(starter_text().replace(row, row[2:]), "starter.toml")
    assert scene.box.stage[1].filter.density == 0.6
