"""Bodies of a 3MF package where its reader does not look: other members, words, extensions. One there would be missing unsaid."""

import io
import zipfile

import numpy as np
import pytest
import trimesh

from scenes.io.meshes.arrays import mesh_arrays
from scenes.scene_file.errors import SceneError

CORNERS = np.array([[0, 0, 0], [10, 0, 0], [0, 20, 0], [0, 0, 30]], dtype="<f4")
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], dtype="<u2")


def refusal_of(data):
    """The one sentence; empty where the mesh is read."""
    try:
        mesh_arrays(data, "3mf", "m.3mf")
    except SceneError as error:
        return str(error)
    return ""


# 3MF: core specification 1.3, chapters 2 to 4; extensions as their specifications name elements (from memory)

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
MODEL_TYPE = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
OPC = "http://schemas.openxmlformats.org/package/2006"
RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
VERTICES = "".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in CORNERS)
TRIANGLES = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in FACES)
MESH = f"<mesh><vertices>{VERTICES}</vertices><triangles>{TRIANGLES}</triangles></mesh>"
LOST = f'<object id="2" type="model">{MESH}</object>'
ESCAPED = LOST.replace("<", "&lt;")
SPACES = (
    f'xmlns="{CORE}" xmlns:x="http://example.org/x" xmlns:t="http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"'
)


def model(*, head="", resources="", mesh="", item="", after=""):
    own = MESH.replace("</mesh>", f"{mesh}</mesh>")
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" {SPACES}>\n{head}<resources>\n'
        f'<object id="1" type="model">{own}</object>{resources}\n</resources>\n'
        f'<build>\n<item objectid="1"/>{item}</build>{after}\n</model>\n'
    )


def package(text=None, members=()):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (("3D/3dmodel.model", text or model()), *members):
            archive.writestr(name, content)
    return stream.getvalue()


def relations(target):
    return f'<Relationships xmlns="{OPC}/relationships"><Relationship Target="{target}" Id="r" Type="{RELATION}"/></Relationships>'


def types(more=""):
    return (
        f'<Types xmlns="{OPC}/content-types"><Default Extension="model" ContentType="{MODEL_TYPE}"/>'
        f'<Default Extension="png" ContentType="image/png"/>{more}</Types>'
    )


STL = trimesh.creation.box((1, 1, 1)).export(file_type="stl")
OTHER_MEMBERS = {
    "a model that nothing refers to": ("3D/Objects/object_2.model", model()),
    "a model with capitals": ("3D/OTHER.MODEL", model()),
    "a model under another ending": ("3D/Objects/object_2.xml", model()),
    "a model under no ending, in another encoding": ("backup/object_2", model().replace("UTF-8", "UTF-16").encode("utf-16")),
    "a mesh of another format": ("Attachments/rod.stl", STL),
}
LOST_MEMBERS = {
    "a relation of the model": ("3D/_rels/3dmodel.model.rels", relations("/3D/Objects/object_2.model")),
    "a relation from its own folder": ("3D/_rels/3dmodel.model.rels", relations("Objects/object_2.model")),
    "a type of content": (
        "[Content_Types].xml",
        types(f'<Override PartName="/3D/Objects/object_2.model" ContentType="{MODEL_TYPE}"/>'),
    ),
}


@pytest.mark.parametrize("member", OTHER_MEMBERS.values(), ids=OTHER_MEMBERS.keys())
def test_a_package_with_a_second_model_that_its_own_does_not_refer_to_is_refused(member):
    assert "holds more than one model" in refusal_of(package(members=[member]))


@pytest.mark.parametrize("member", LOST_MEMBERS.values(), ids=LOST_MEMBERS.keys())
def test_a_package_that_names_another_model_which_is_lost_is_refused(member):
    assert 'names "3D/Objects/object_2.model" as its model' in refusal_of(package(members=[member]))


def test_two_packages_joined_into_one_file_are_refused_for_only_the_last_is_read():
    assert "its own list does not name" in refusal_of(package() + package())


USUAL_MEMBERS = [
    ("[Content_Types].xml", types('<Override PartName="/3D/3dmodel.model" ContentType="' + MODEL_TYPE + '"/>')),
    ("_rels/.rels", relations("/3D/3dmodel.model")),
    ("3D/_rels/3dmodel.model.rels", relations("3dmodel.model").replace(RELATION, f"{OPC}/relationships/metadata/thumbnail")),
    ("3D/Textures/", ""),
    ("3D/Textures/wood.png", b"\x89PNG\r\n\x1a\n" + bytes(100)),
    ("Metadata/thumbnail.png", b"\x89PNG\r\n\x1a\n" + bytes(100)),
    ("Metadata/model_settings.config", '<?xml version="1.0"?><config><object id="1"><part id="1" subtype="a"/></object></config>'),
    ("Metadata/slice_info.config", "; layer_height = 0.2\n; support = 0\n"),
    ("Metadata/plate_1.gcode", "G1 X10 Y10 E1\n"),
    ("Metadata/plate_1.json", '{"bbox_all": [0, 0, 10, 10]}'),
    ("docProps/core.xml", '<?xml version="1.0"?><coreProperties/>'),
    ("__MACOSX/3D/._3dmodel.model", b"\x00\x05\x16\x07\x00\x02\x00\x00Mac OS X" + bytes(100)),
    ("__MACOSX/_rels/._.rels", b"\x00\x05\x16\x07\x00\x02\x00\x00Mac OS X" + bytes(100)),
]  # fmt: skip


def test_pictures_settings_and_notes_beside_the_model_are_no_shapes():
    assert not refusal_of(package(members=USUAL_MEMBERS))


IN_WORDS = {
    "escaped a second time": (model(resources=ESCAPED), "words stand between its parts"),
    "in a stretch of plain text": (model(resources=f"<![CDATA[{LOST}]]>"), "words stand between its parts"),
    "a letter in the list of corners": (model().replace("<vertex ", "x<vertex ", 1), "words stand between its parts"),
    "in a remark": (model(resources=f"<!-- {LOST} -->"), "a remark or note of it holds a body as words"),
    "an item in a remark": (model(item='<!-- <item objectid="1"/> -->'), "a remark or note of it holds a body as words"),
    "in an instruction": (model(head=f"<?more {LOST}?>"), "a remark or note of it holds a body as words"),
    "in metadata": (model(head=f'<metadata name="Description">{ESCAPED}</metadata>'), "a remark or note of it holds a body"),
    "in an element of a program's own": (model(head=f"<x:kept>{ESCAPED}</x:kept>"), "a remark or note of it holds a body"),
}


@pytest.mark.parametrize(("text", "words"), IN_WORDS.values(), ids=IN_WORDS.keys())
def test_a_body_of_a_3mf_that_has_become_words_is_refused(text, words):
    assert words in refusal_of(package(text))


OF_EXTENSIONS = {
    "balls of a lattice": model(mesh='<x:balls><x:ball vindex="0" r="9"/></x:balls>'),
    "displaced triangles": model(resources='<object id="2"><x:displacementmesh/></object>'),
    "another body in its place": model(resources='<object id="2"><x:alternatives/></object>'),
    "levels of a function": model(resources='<object id="2"><x:levelset functionid="1"/></object>'),
    "an element of nobody's in a mesh": model(mesh='<x:more from="0"/>'),
    "slices that are drawn": model(resources='<x:slice><x:vertices><x:vertex x="0" y="0"/></x:vertices></x:slice>'),
    "an item of an extension's": model(item='<x:item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 9 0"/>'),
}  # fmt: skip


@pytest.mark.parametrize("text", OF_EXTENSIONS.values(), ids=OF_EXTENSIONS.keys())
def test_bodies_of_a_3mf_that_extensions_make_are_refused(text):
    assert "made of more than triangles" in refusal_of(package(text))


def test_a_3mf_with_a_body_out_of_its_place_is_refused():
    assert 'it holds a "object" where 3MF has none' in refusal_of(package(model(after=LOST)))
    assert 'it holds a "item" where 3MF has none' in refusal_of(package(model(after='<item objectid="1"/>')))


USUAL_MODELS = {
    "remarks": model(head="<!-- made by hand, 3 objects of id=4 -->"),
    "metadata": model(head='<metadata name="Title">a &amp; b</metadata><metadata name="Description">&lt;p&gt;a hood</metadata>'),
    "metadata of an item and a body": model().replace(
        '<item objectid="1"/>', '<item objectid="1"><metadatagroup><metadata name="x:n">one</metadata></metadatagroup></item>'
    ),
    "colours": model(resources='<basematerials id="5"><base name="black" displaycolor="#000"/></basematerials>'),
    "colours of an extension": model(resources='<x:colorgroup id="6"><x:color color="#FFF"/></x:colorgroup>'),
    "sets of triangles": model(mesh='<t:trianglesets><t:triangleset name="a"><t:ref index="0"/></t:triangleset></t:trianglesets>'),
    "a program's own settings": model(head='<x:settings infill="20">fine; 3 walls</x:settings>'),
    "settings for printing a body": model().replace("</mesh>", '</mesh><x:settings><x:setting>1</x:setting></x:settings>', 1),
    "painted triangles": model().replace("<triangle ", '<triangle x:paint="4" ', 1),
    "the address of the format's first years": model().replace(CORE, "http://schemas.microsoft.com/3dmanufacturing/2013/01"),
}  # fmt: skip


@pytest.mark.parametrize("text", USUAL_MODELS.values(), ids=USUAL_MODELS.keys())
def test_remarks_metadata_and_settings_of_a_3mf_leave_it_readable(text):
    assert not refusal_of(package(text))


def test_a_3mf_with_picture_colours_and_attachment_is_read_as_its_own_library_writes_it():
    lib3mf = pytest.importorskip("lib3mf")
    whole = lib3mf.get_wrapper().CreateModel()
    for name in ("bracket", "rod"):
        body = whole.AddMeshObject()
        body.SetName(name)
        corners = [lib3mf.Position((float(x), float(y), float(z))) for x, y, z in CORNERS]
        body.SetGeometry(corners, [lib3mf.Triangle(tuple(map(int, face))) for face in FACES])
        whole.AddBuildItem(body, lib3mf.get_wrapper().GetIdentityTransform())
    whole.GetMetaDataGroup().AddMetaData("", "Title", "bracket <and> rod", "xs:string", True)
    whole.AddBaseMaterialGroup().AddMaterial("black", lib3mf.Color(0, 0, 0, 255))
    whole.CreatePackageThumbnailAttachment().ReadFromBuffer(list(b"\x89PNG\r\n\x1a\n" + bytes(50)))
    settings = whole.AddAttachment("/Metadata/settings.config", "http://example.org/settings")
    settings.ReadFromBuffer(list(b"<config/>"))
    data = bytes(whole.QueryWriter("3mf").WriteToBuffer())
    assert len(mesh_arrays(data, "3mf", "m.3mf").faces) == 8
