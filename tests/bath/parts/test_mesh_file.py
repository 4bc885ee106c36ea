"""Files that are damaged, lie about themselves, or mean harm: one clear error each."""

import io
import re
import zipfile

import pytest
import trimesh

from daemon.bath.errors import PartError
from daemon.bath.parts.mesh_file import MOST_TRIANGLES, read

MODEL = """<?xml version="1.0" encoding="UTF-8"?>
{doctype}<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">
<resources>{objects}</resources><build><item objectid="{built}"/></build></model>"""
TRIANGLE = (
    '<object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/>'
    '<vertex x="9" y="0" z="0"/><vertex x="0" y="9" z="0"/></vertices>'
    '<triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>'
)


def packed(*, doctype="", objects=TRIANGLE, built=1, encoding="utf-8", more=()):
    """A 3MF file by hand."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        text = MODEL.format(doctype=doctype, objects=objects, built=built)
        archive.writestr("3D/3dmodel.model", text.replace("UTF-8", encoding).encode(encoding))
        for name, data in more:
            archive.writestr(name, data)
    return out.getvalue()


def refused(data, kind, said):
    with pytest.raises(PartError) as caught:
        read(data, kind)
    assert re.search(said, str(caught.value)), str(caught.value)


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda _: b"", "not an STL file: 0 bytes"),
        (lambda _: b"hello", "not an STL file: 5 bytes"),
        (lambda d: d[:80] + (0).to_bytes(4, "little"), "no triangle"),
        # A header that promises more than there is, and less.
        (lambda d: d[:80] + (10**9).to_bytes(4, "little") + d[84:], "promises 1000000000 .* 12"),
        (lambda d: d[:-75], "promises 12 triangles, the file has 10.5"),
        (lambda d: d + d[84:134], "promises 12 triangles, the file has 13"),
        (
            lambda d: d[:80] + (MOST_TRIANGLES + 1).to_bytes(4, "little") + b"\0" * 50_000_050,
            "1000001 triangles, at most 1000000",
        ),
        (lambda d: d[:96] + b"\0\0\xc0\x7f" + d[100:], "coordinate is not a number"),
        (lambda d: d[:96] + b"\0\0\x80\x7f" + d[100:], "coordinate is not a number"),
    ],
)
def test_a_damaged_binary_stl(by_hand, damage, said):
    refused(damage(by_hand.stl()), "stl", said)


def test_a_binary_stl_may_begin_as_a_text_one_does(by_hand):
    data = b"solid facet".ljust(80) + by_hand.stl()[80:]
    assert len(read(data, "stl").facets) == 12


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"vertex 0 0 0", b"vertex nan 0 0", "only|not a number"),
        (b"vertex 0 0 0", b"vertex 0 inf 0", "only|not a number"),
        (b"vertex 0 0 0", b"vertex 0,5 0 0", "cannot be read as STL"),
        (b"vertex 0 0 0", b"vertex here 0 0", "cannot be read as STL"),
        (b"vertex 0 0 0", b"", "facets with 3[0-9] corners"),
        (b"vertex 0 0 0", b"vertex 0 0", "damaged|incorrect"),
        (b"endsolid by hand", b"", "facets with 36 corners"),
    ],
)
def test_a_damaged_text_stl(by_hand, old, new, said):
    refused(by_hand.stl_text().replace(old, new, 1), "stl", said)


def test_an_empty_text_stl():
    refused(b"solid nothing\nendsolid nothing\n", "stl", "no triangle")


def test_a_text_stl_in_capitals(by_hand):
    assert len(read(by_hand.stl_text().upper(), "stl").facets) == 12


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"f 1 2 4", b"f 1 2 99", "cannot be read as OBJ|corner that is not there"),
        (b"v 0 0 0", b"v nan 0 0", "only|not a number"),
        (b"v 0 0 0", b"v 0 0", "three coordinates|cannot be read"),
        (b"v 0 0 0", b"v 0 2e9 0", "beyond ±1e"),
        (b"f ", b"g ", "no triangle"),
    ],
)
def test_a_damaged_obj(by_hand, old, new, said):
    refused(by_hand.obj().replace(old, new), "obj", said)


def test_an_obj_reaches_for_no_other_file(by_hand, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "secret.mtl").write_text("newmtl x\n", encoding="utf-8")
    opened = []
    monkeypatch.setattr("builtins.open", lambda *names, **_: opened.append(names))
    data = b"mtllib secret.mtl\nmtllib /etc/passwd\nusemtl x\n" + by_hand.obj()
    assert len(read(data, "obj").facets) == 12
    assert opened == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"ply", b"plx", "not a PLY file"),
        (b"end_header", b"end", "not a PLY file"),
        (b"vertex 8", b"vertex 4000000000", "promises 4000000000 vertices"),
        (b"face 12", b"face 40000000", "promises 8 vertices and 40000000 facets"),
        (b"face 12", b"face 0", "no triangle"),
        (b"face 12", b"face 13", "only|cannot"),
    ],
)
def test_a_damaged_ply(by_hand, old, new, said):
    refused(by_hand.ply().replace(old, new, 1), "ply", said)


def test_a_cut_binary_ply(written):
    data = written(trimesh.creation.icosphere(2, radius=40), "ply")
    refused(data[: len(data) // 2], "ply", "promises|cannot be read as PLY")


def test_a_3mf_by_hand():
    mesh = read(packed(), "3mf")
    assert (len(mesh.facets), mesh.unit) == (1, "mm")


def test_a_part_that_is_made_of_others_counts_all_of_them():
    twice = '<object id="2"><components><component objectid="1"/></components></object>'.replace(
        "<component ",
        '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 50 0 0"/><component ',
        1,
    )
    assert len(read(packed(objects=TRIANGLE + twice, built=2), "3mf").facets) == 2


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK not really", "not a 3MF file"),
        (packed()[:-40], "not a 3MF file"),
        (packed()[:50] + b"\xff" * 20 + packed()[70:], "not a 3MF file"),
        # Its directory is said to begin after its end.
        (packed()[:-6] + b"\xff\xff\x00\x00" + packed()[-2:], "not a 3MF file"),
        (packed(objects=""), "no triangle"),
        (packed(objects="<object"), "not XML"),
        (packed(built=7), "no triangle"),
        # Entities that grow, that read a file, that ask a server; in UTF-16 as well.
        *(
            (packed(doctype=f"<!DOCTYPE model [{entity}]>\n", encoding=encoding), "document type")
            for entity in (
                '<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">',
                '<!ENTITY a SYSTEM "file:///etc/passwd">',
                '<!ENTITY % a SYSTEM "http://127.0.0.1/a.dtd"> %a;',
            )
            for encoding in ("UTF-8", "UTF-16")
        ),
        (packed(more=[("3D/other.model", "<!DOCTYPE m [<!ENTITY a 'b'>]><m>&a;</m>")]), "document"),
        # 200 MB of nothing in 200 kB.
        (packed(more=[("bomb", b"\0" * 200_000_000)]), "unpacks to 191 MB in 2 files"),
        (packed(more=[(f"{n}", b"") for n in range(1000)]), "in 1001 files, at most .* in 1000"),
        # Each object is ten of the one before: 10^12 triangles in one kB.
        (
            packed(
                objects=TRIANGLE
                + "".join(
                    f'<object id="{n}"><components>'
                    + f'<component objectid="{n - 1}"/>' * 10
                    + "</components></object>"
                    for n in range(2, 14)
                ),
                built=13,
            ),
            "1000000000000 triangles",
        ),
        (
            packed(
                objects='<object id="1"><components><component objectid="1"/></components></object>'
            ),
            "object 1 is made of itself",
        ),
    ],
)
def test_a_3mf_that_is_damaged_or_means_harm(data, said):
    refused(data, "3mf", said)


def test_an_archive_without_a_model():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("readme.txt", "nothing")
    refused(out.getvalue(), "3mf", "no 3D/3dmodel.model")
