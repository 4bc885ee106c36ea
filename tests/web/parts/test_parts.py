"""Parts on the page: those that are kept, what weighings taught, one more by mesh or as a shape."""

import base64
import io
import re
import struct
from collections.abc import Callable, Iterator
from html import unescape
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest
import trimesh
from flask.testing import FlaskClient
from playwright.sync_api import Browser, Page, expect
from reading import token, words
from werkzeug.datastructures import FileStorage
from werkzeug.test import TestResponse

from daemon.bath.errors import PartError
from daemon.bath.parts.asked import Asked
from daemon.record.entries import Audited, BathEntered, PartKept
from daemon.record.writer import Writer
from web.parts.meshes import Meshes

Make = Callable[..., Any]

PNG = b"\x89PNG\r\n\x1a\n and so on"


def told(response: TestResponse) -> dict[str, str]:
    """The rows of the answer."""
    rows = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", response.text)
    return {name: unescape(text).replace("\u00a0", " ") for name, text in rows}


def stl(*, hollow: bool = False) -> bytes:
    """A box of 60 x 40 x 20 mm, 0.88 dm²; hollow with a wall of 2 mm, 0.64 dm² more."""
    mesh = trimesh.creation.box([60, 40, 20])
    if hollow:
        inner = trimesh.creation.box([56, 36, 16])
        inner.invert()
        mesh = trimesh.util.concatenate([mesh, inner])
    data: bytes = mesh.export(file_type="stl")
    return data


@pytest.fixture
def work(client: FlaskClient) -> Callable[..., TestResponse]:
    """Send the form, or that which keeps what came of it."""
    pass_ = token(client)

    def send(way: str = "work", **fields: Any) -> TestResponse:
        data = {key.replace("_", "-"): value for key, value in fields.items()}
        more = data.pop("more", {})
        return client.post(f"/parts/new/{way}", data={"csrf_token": pass_} | data | more)

    return send


def upload(data: bytes, name: str = "box.stl") -> tuple[io.BytesIO, str]:
    return io.BytesIO(data), name


@pytest.fixture
def parts_record(tmp_path: Path) -> Path:
    """A record with two parts, and three weighings of the bath."""
    path = tmp_path / "parts.db"
    writer = Writer(path, threaded=False)
    asked = Audited(0, "anna", "page", "keep a part")
    for made in (
        PartKept("lamp <foot>", 0, "anna", "foot.stl", 1.8, 0.09, 20.0, picture=PNG),
        PartKept("stick", 0, "ben", "rod 3 x 120 mm", 0.11321, 0.004),
    ):
        writer.keep_part(made, asked)
    for run, efficiency in enumerate((0.95, 0.97, 0.96), start=1):
        details = {
            "metal": "Cu(II)", "charge_ah": 2.0, "efficiency": efficiency, "u_own": 0.001,
            "u_common": 0.002, "counts": True,
        }  # fmt: skip
        facts = {"what": "part", "before_g": 50.0, "after_g": 52.3, "details": details}
        writer.keep_bath_entry(
            BathEntered(
                "Copper 1", "weighing", "anna", 0, 0, facts=facts, run_id=None, note=str(run)
            )
        )
    writer.close()
    return path


def test_parts_are_listed_with_their_pictures_and_areas(
    make_client: Make, parts_record: Path
) -> None:
    client = make_client(parts_record)
    page = client.get("/parts")
    said = words(page)
    assert "2 parts are kept." in said
    assert "lamp <foot> 1.80 ± 0.09 dm² (95 %) From foot.stl, 20 cm³ of matter. Part 1, " in said
    assert "stick 0.113 ± 0.004 dm² (95 %) From rod 3 x 120 mm. Part 2, " in said
    assert "<foot>" not in page.text
    (picture,) = re.findall(r'<img src="([^"]+)"', page.text)
    answer = client.get(picture)
    assert (answer.data, answer.content_type) == (PNG, "image/png")
    assert "immutable" in answer.headers["Cache-Control"]
    for number in ("2", "3", "0", "x"):
        assert client.get(f"/parts/picture/{number}.png").status_code == 404


def test_what_weighings_teach_is_told(make_client: Make, parts_record: Path) -> None:
    page = make_client(parts_record).get("/parts")
    # s = 1 %, Student's 4.303 and √(4/3) for the next run: ± 4.96 %.
    assert told(page)["Learned"].startswith("Cu(II): 96 ± 5 % (95 %) is to be expected, by 3")
    assert 'href="/parts/weighings"' in page.text


def test_of_another_bath_nothing_was_weighed(
    make_client: Make, parts_record: Path, peer: Any, make_status: Make
) -> None:
    peer.status = make_status(bath="Copper 2")
    assert "Nothing was weighed in Copper 2 yet." in words(make_client(parts_record).get("/parts"))


def test_without_a_daemon_the_parts_are_there(
    make_client: Make, parts_record: Path, peer: Any
) -> None:
    peer.stop()
    client = make_client(parts_record)
    page = client.get("/parts")
    assert page.status_code == 200
    assert "lamp <foot>" in words(page)
    assert "of which bath is not known" in words(page)
    assert client.get("/parts/new").status_code == 200


def test_without_a_record_there_are_none(make_client: Make, tmp_path: Path) -> None:
    page = make_client(tmp_path / "none.db").get("/parts")
    assert page.status_code == 503
    assert "The record cannot be read." in words(page)


def test_the_first_page_leads_there(client: FlaskClient) -> None:
    assert '<a href="/parts">Parts</a>' in client.get("/").text
    assert "No part is kept yet." in words(client.get("/parts"))


def test_a_shape_is_worked_out_and_kept(work: Callable[..., TestResponse], peer: Any) -> None:
    page = work(
        more={"parts[1]": "box 60 x 40 x 20 mm", "layers": "0 %"}, current_density="2 A/dm²"
    )
    assert page.status_code == 200
    # 2·(60·40 + 60·20 + 40·20) mm²; 2 A/dm² of it.
    assert told(page)["Area"].startswith("0.880 ± ")
    assert told(page)["Current"].startswith("1.76 A")
    hidden = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page.text))
    del hidden["csrf_token"]
    kept = work("keep", more=hidden | {"name": "lamp foot", "who": "Anna"})
    assert (kept.status_code, kept.headers["Location"]) == (303, "/parts")
    (asked,) = peer.kept_parts
    assert (asked.name, asked.made_from) == ("lamp foot", "box 60 x 40 x 20 mm")
    assert asked.area_dm2 == pytest.approx(0.88)
    assert asked.who == "Anna, the page at 127.0.0.1"
    assert asked.settings["layers"] == "0 %"
    assert asked.picture is None


def test_a_rack_takes_kept_parts(make_client: Make, parts_record: Path, peer: Any) -> None:
    client = make_client(parts_record)
    fields = {"csrf_token": token(client), "parts[2]": "2 x stick", "parts[4]": "lamp <foot>"}
    page = client.post("/parts/new/work", data=fields | {"current-density": "1 A/dm²"})
    # 2·0.11321 + 1.8 dm².
    assert told(page)["Current"].startswith("2.026 A")
    wrong = client.post("/parts/new/work", data=fields | {"parts[3]": "box 3 mm"})
    assert wrong.status_code == 422
    assert "Box: expected length x width x height" in words(wrong)
    assert re.search(r'name="parts\[3\]"[^>]*aria-invalid="true"', wrong.text)
    assert not re.search(r'name="parts\[[24]\]"[^>]*aria-invalid="true"', wrong.text)


@pytest.mark.parametrize(
    ("fields", "key", "said"),
    [
        ({}, "parts[1]", "Choose a mesh file, or write a shape."),
        ({"parts[1]": "knob"}, "parts[1]", "Is no mesh file that is there, no shape and no kept"),
        ({"parts[1]": "disc 40 x 3 mm", "masked": "120 %"}, "masked", "120 %"),
        ({"parts[1]": "disc 40 x 3 mm", "copies": "1.5"}, "copies", "must be a whole number"),
    ],
)
def test_what_cannot_be_worked_out_is_told_beside_its_field(
    work: Callable[..., TestResponse], fields: dict[str, str], key: str, said: str
) -> None:
    page = work(more=fields)
    assert page.status_code == 422
    assert said.lower() in words(page).lower()
    assert re.search(rf'name="{re.escape(key)}"[^>]*aria-invalid="true"', page.text)
    assert "Keep it" not in page.text


def test_inner_walls_are_asked_about_with_their_choices(
    work: Callable[..., TestResponse], peer: Any
) -> None:
    page = work(more={"parts[1]": "tube 20 x 16 x 50 mm", "masked": "10 %"})
    assert page.status_code == 422
    assert "Does copper grow on" in words(page)
    assert re.findall(r'<button name="inner" value="([^"]+)"', page.text) == [
        "include", "leave-out",
    ]  # fmt: skip
    hidden = re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page.text)
    assert ("masked", "10 %") in hidden
    assert "Keep it" not in page.text
    assert work("keep", more={"parts[1]": "tube 20 x 16 x 50 mm"}).status_code == 422
    assert peer.kept_parts == []


@pytest.mark.parametrize(
    ("name", "said"),
    [("box 3", "Must not begin with the name of a shape"), ("", "has to be said")],
)
def test_a_name_that_cannot_be_is_told(
    work: Callable[..., TestResponse], peer: Any, name: str, said: str
) -> None:
    page = work("keep", more={"parts[1]": "disc 40 x 3 mm", "name": name})
    assert page.status_code == 422
    assert said.lower() in words(page).lower()
    assert peer.kept_parts == []


def test_a_refusal_and_a_daemon_that_does_not_answer(
    work: Callable[..., TestResponse], peer: Any
) -> None:
    fields = {"parts[1]": "disc 40 x 3 mm", "name": "one disc"}
    peer.refusal = "the record does not take it: the disk is full"
    page = work("keep", more=fields)
    assert page.status_code == 422
    assert "Not kept: The record does not take it: the disk is full." in words(page)
    peer.stop()
    assert work("keep", more=fields).status_code == 503


def test_what_it_takes_the_place_of_is_told(
    work: Callable[..., TestResponse], client: FlaskClient, peer: Any
) -> None:
    peer.notes = ("takes the place of part 3",)
    work("keep", more={"parts[1]": "disc 40 x 3 mm", "name": "foot"})
    assert "Foot is kept as part 7; it takes the place of part 3." in words(client.get("/parts"))


def test_a_mesh_is_measured_asked_about_and_kept(
    work: Callable[..., TestResponse], client: FlaskClient, peer: Any
) -> None:
    page = work(mesh=upload(stl(hollow=True), "case.STL"))
    assert page.status_code == 422
    assert "Does copper grow on" in words(page)
    assert "case.STL is here" in words(page)
    # 0.88 dm² outside, and with the cavity of 56 x 36 x 16 mm 1.5776 dm².
    assert re.search(r"with it 1\.5776 dm², without 0\.88 dm²", told(page)["Inner"])
    (picture,) = re.findall(r'<img class="mesh" src="([^"]+)"', page.text)
    assert client.get(picture).data.startswith(PNG[:8])
    (held,) = set(re.findall(r'name="held" value="(\w+)"', page.text))
    page = work(held=held, inner="leave-out")
    assert page.status_code == 200
    assert told(page)["Area"].startswith("0.88")
    kept = work("keep", held=held, inner="leave-out", more={"name": "case"})
    assert kept.status_code == 303
    (asked,) = peer.kept_parts
    assert base64.b64decode(asked.picture).startswith(PNG[:8])
    assert (asked.sha256, asked.made_from) == (held, "case.STL")
    # Another file takes its place.
    work(mesh=upload(b"solid", "x.stl"))
    page = work(held=held, inner="leave-out")
    assert (page.status_code, client.get(picture).status_code) == (422, 404)
    assert "Is no longer here: choose it again." in words(page)


# A header of 80 bytes, a number of triangles, and nothing of them.
BROKEN = bytes(80) + struct.pack("<I", 1000)


@pytest.mark.parametrize(
    ("data", "name", "said"),
    [
        (BROKEN, "box.stl", "1000 triangles"),
        (b"", "box.stl", "box.stl is here"),
        (b"solid", "box.exe", "Expected a file that ends in .stl, .obj, .ply, .3mf, got 'box.exe'"),
    ],
)
def test_a_file_that_is_no_mesh_is_told_beside_it(
    work: Callable[..., TestResponse], data: bytes, name: str, said: str
) -> None:
    page = work(mesh=upload(data, name))
    assert page.status_code == 422
    assert said in words(page)
    assert re.search(r'name="mesh"[^>]*aria-invalid="true"', page.text)


def test_a_file_in_inches_is_asked_about(work: Callable[..., TestResponse]) -> None:
    data = trimesh.creation.box([2.0, 1.5, 1.0]).export(file_type="stl")
    page = work(mesh=upload(data))
    assert page.status_code == 422
    assert re.search(r'<button name="unit" value="in">in</button>', page.text)
    (held,) = set(re.findall(r'name="held" value="(\w+)"', page.text))
    page = work(held=held, unit="in", layers="0 %")
    # 13 in² are 0.8387 dm².
    assert told(page)["Area"].startswith("0.8387")


def test_a_mesh_of_many_triangles_is_taken(work: Callable[..., TestResponse]) -> None:
    """A ball of 5,120 triangles, 256 kB: 4·π·20² mm², and less by its facets."""
    data = trimesh.creation.icosphere(4, 20.0).export(file_type="stl")
    page = work(mesh=upload(data, "ball.stl"), layers="0 %")
    assert "5120 triangles" in told(page)["Part"]
    assert re.match(r"0\.50[12]\d* ± ", told(page)["Area"])


def test_a_form_without_a_file_stays_small(client: FlaskClient, peer: Any) -> None:
    data = {"csrf_token": token(client), "more": "x" * 70_000}
    assert client.post("/parts/new/keep", data=data).status_code == 413
    assert client.post("/parts/new/work", data=data).status_code == 413
    assert peer.kept_parts == []


def test_from_another_site_no_file_is_taken(client: FlaskClient) -> None:
    data = {"csrf_token": token(client), "mesh": upload(stl())}
    headers = {"Sec-Fetch-Site": "cross-site"}
    assert client.post("/parts/new/work", data=data, headers=headers).status_code == 403


@pytest.mark.parametrize(
    ("path", "own", "length", "status"),
    [
        ("/parts/new/work", True, 100_000, 400),  # the app's word: it lacks its token
        ("/parts/new/work", True, 300_000_000, 413),
        ("/parts/new/work", False, 100_000, 413),
        ("/parts/new/keep", True, 100_000, 413),
    ],
)
def test_only_our_own_form_of_a_mesh_may_be_large(
    address: str, path: str, own: bool, length: int, status: int
) -> None:
    """The server lays down on the disk what it takes: here is where that is bounded."""
    host = address.removeprefix("http://")
    head = b'--b\r\nContent-Disposition: form-data; name="mesh"; filename="x.stl"\r\n\r\n'
    body = head + bytes(length if status == 400 else 0) + b"\r\n--b--\r\n"
    connection = HTTPConnection(host, timeout=10)
    connection.putrequest("POST", path)
    connection.putheader("Content-Length", str(max(length, len(body))))
    connection.putheader("Content-Type", "multipart/form-data; boundary=b")
    connection.putheader("Origin", f"http://{host if own else 'elsewhere.example'}")
    connection.endheaders()
    if status == 400:
        connection.send(body)
    with connection.getresponse() as answer:
        assert answer.status == status
    connection.close()


def test_one_mesh_is_measured_at_a_time_and_each_question_once() -> None:
    asked = []

    def measure(data: bytes, of: Asked) -> Any:
        asked.append((data, of))
        if of.unit == "cm":
            with pytest.raises(PartError, match="another mesh is being measured"):
                meshes.measured(b"other", Asked("stl"))
        return len(asked)

    meshes = Meshes(measure)
    held = meshes.take(FileStorage(io.BytesIO(b"mesh"), "../a\x07b.stl"))
    assert held.name == "ab.stl"
    assert meshes.source(held).read() == b"mesh"
    first, second = Asked("stl", "cm"), Asked("stl", "mm")
    assert [meshes.measured(b"mesh", of) for of in (first, second, first)] == [1, 2, 1]
    for scale in range(2, 12):
        meshes.measured(b"mesh", Asked("stl", scale=scale))
    assert meshes.measured(b"mesh", first) == 13


@pytest.fixture
def plain_page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(java_script_enabled=False)
    yield context.new_page()
    context.close()


@pytest.mark.browser
def test_without_scripts_a_mesh_is_uploaded_answered_and_kept(
    plain_page: Page, address: str, peer: Any, tmp_path: Path
) -> None:
    """Over the server that runs in earnest, whose bodies are bounded."""
    path = tmp_path / "case.stl"
    path.write_bytes(stl(hollow=True))
    plain_page.goto(f"{address}/parts")
    plain_page.get_by_role("link", name="Add one").click()
    plain_page.get_by_label("Mesh file").set_input_files(path)
    plain_page.get_by_role("button", name="Work it out").click()
    expect(plain_page.get_by_role("alert")).to_contain_text("Does copper grow on", timeout=30_000)
    plain_page.get_by_role("button", name="Leave out").click()
    expect(plain_page.get_by_role("heading", level=1)).to_contain_text("0.88", timeout=30_000)
    picture = plain_page.get_by_role("img", name="The mesh")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.naturalWidth") == 240
    plain_page.get_by_label("By this name").fill("case")
    plain_page.get_by_role("button", name="Keep it").click()
    expect(plain_page.get_by_role("status")).to_contain_text("Case is kept as part 7.")
    assert peer.kept_parts[0].name == "case"


@pytest.mark.browser
def test_a_file_that_is_too_large_is_told_before_it_is_sent(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    path = tmp_path / "large.stl"
    with path.open("wb") as file:
        file.truncate(300_000_000)
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{address}/parts/new")
    field = page.get_by_label("Mesh file")
    field.set_input_files(path)
    said = field.evaluate("input => input.validationMessage")
    assert said.startswith("At most 64 MB are taken")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("The area of a part.")
    context.close()
