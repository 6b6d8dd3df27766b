"""SVG drawings: size and colours by closed form, and nothing of this machine in them."""

from __future__ import annotations

import base64
import gzip
import io
import sys
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import resvg_py
from PIL import Image

from keyturn.flatten.frame_source import Source
from keyturn.normalize import decode
from keyturn.normalize.fit import Fit
from keyturn.normalize.reading import drawings, stills
from keyturn.package.picture_tasks import Check, check
from keyturn.shop import rulebook
from keyturn.shop.reasons import Refused
from keyturn.workers.crew import LocalCrew

INTAKE = rulebook.load().intake
NAMES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
RED = '<rect width="1000" height="1000" fill="#ff0000"/>'


def drawing(path: Path, inside: str, about: str = 'viewBox="0 0 30 40"', head: str = "") -> Path:
    path.write_text(f"{head}<svg {NAMES} {about}>{inside}</svg>", encoding="utf-8")
    return path


def refusal(path: Path) -> str:
    with pytest.raises(Refused) as caught:
        stills.probe(path, INTAKE, name="lamp.svg")
        decode.still(path, INTAKE, name="lamp.svg", fit=Fit((30, 40)))
    (reason,) = caught.value.reasons
    assert reason.file == "lamp.svg" and reason.mend
    return reason.code


# -- size and colour --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("about", "shape"),
    [
        ('viewBox="0 0 30 40"', 3 / 4),
        ('width="300" height="200"', 3 / 2),
        ('width="25.4mm" height="0.5in" viewBox="0 0 1000 1000"', 2.0),
        ('width="72pt" height="6pc"', 1.0),
        ('width="100%" height="100%" viewBox="5 5 80 20"', 4.0),
        ('width="60" viewBox="0 0 30 40"', 3 / 4),
    ],
)
def test_a_drawing_has_its_shape_and_is_never_too_small(tmp_path: Path, about: str, shape: float) -> None:
    """SVG 1.1, 7.10 and CSS: 1in = 25.4mm = 72pt = 6pc."""
    found = stills.probe(drawing(tmp_path / "lamp.svg", RED, about), INTAKE, name="lamp.svg")
    wide, high = found.size
    assert wide / high == pytest.approx(shape, rel=1e-3)
    assert wide * high == pytest.approx(drawings.MPX * 1e6, rel=1e-3)
    assert found.format == "SVG" and not found.reasons


@pytest.mark.parametrize("size", [(48, 64), (768, 1024), (771, 1028), (333, 1000)])
def test_a_drawing_is_drawn_at_the_size_that_covers_the_panel(tmp_path: Path, size: tuple[int, int]) -> None:
    """A disc of radius 10 in 30 x 40: its area is pi/12 of the drawing's, whatever the scale; an enlarged raster of
    30 x 40 would be soft for 1/30 of the width, this edge is a pixel wide."""
    path = drawing(tmp_path / "lamp.svg", f'{RED}<circle cx="15" cy="20" r="10" fill="#0000ff"/>')
    made = np.asarray(decode.still(path, INTAKE, name="lamp.svg", fit=Fit(size)))
    scale = max(size[0] / 30, size[1] / 40)
    assert made.shape == (round(40 * scale), round(30 * scale), 4)
    assert (made[..., 3] == 255).all()
    blue = made[..., 2].sum() / 255 / made[..., 2].size
    assert blue == pytest.approx(np.pi / 12, rel=0.01)
    row = made[made.shape[0] // 2, :, 2]
    assert ((row > 8) & (row < 247)).sum() <= 4


def test_colours_are_those_that_are_written(tmp_path: Path) -> None:
    inside = '<rect width="15" height="40" fill="#123456"/><rect x="15" width="15" height="40" fill="#fedcba"/>'
    made = decode.still(drawing(tmp_path / "a.svg", inside), INTAKE, name="a.svg", fit=Fit((30, 40)))
    assert made.getpixel((5, 20)) == (0x12, 0x34, 0x56, 255) and made.getpixel((25, 20)) == (0xFE, 0xDC, 0xBA, 255)
    half = '<rect width="30" height="20" fill="#00ff00" fill-opacity="0.5"/>'
    made = decode.still(drawing(tmp_path / "b.svg", half), INTAKE, name="b.svg", fit=Fit((30, 40)))
    assert made.getpixel((5, 5)) in ((0, 255, 0, 127), (0, 255, 0, 128)) and made.getpixel((5, 30))[3] == 0


def test_lengths_in_millimetres_count_inside_too(tmp_path: Path) -> None:
    path = drawing(tmp_path / "a.svg", '<rect width="5mm" height="20mm" fill="#0f0"/>', 'width="10mm" height="20mm"')
    made = np.asarray(decode.still(path, INTAKE, name="a.svg", fit=Fit((100, 200))))
    assert (made[:, :49, 3] == 255).all() and (made[:, 51:, 3] == 0).all()


def test_an_embedded_picture_is_drawn(tmp_path: Path) -> None:
    png = io.BytesIO()
    Image.new("RGB", (4, 4), (9, 200, 30)).save(png, "PNG")
    link = "data:image/png;base64," + base64.b64encode(png.getvalue()).decode()
    path = drawing(tmp_path / "a.svg", f'<image width="30" height="40" preserveAspectRatio="none" href="{link}"/>')
    made = decode.still(path, INTAKE, name="a.svg", fit=Fit((30, 40)))
    assert made.getpixel((15, 20)) == (9, 200, 30, 255)


# -- what it may not do -----------------------------------------------------------------------------


@pytest.fixture
def canary(tmp_path: Path) -> Path:
    Image.new("RGB", (8, 8), (255, 0, 0)).save(tmp_path / "canary.png")
    (tmp_path / "canary.svg").write_text(f'<svg {NAMES} viewBox="0 0 9 9">{RED}</svg>')
    return tmp_path / "canary.png"


LEADING_OUT = (
    '<image href="{0}" width="30" height="40"/>',
    '<image xlink:href="{0}" width="30" height="40"/>',
    '<image href="file://{0}" width="30" height="40"/>',
    '<image href="canary.png" width="30" height="40"/>',
    '<image href="http://canary.invalid/a.png" width="30" height="40"/>',
    '<image href="data:image/svg+xml;base64,PHN2Zy8+" width="30" height="40"/>',
    '<filter id="f"><feImage href="{0}"/></filter><rect width="30" height="40" filter="url(#f)"/>',
    '<use href="canary.svg#a"/>',
    '<rect width="30" height="40" fill="url({0}#a)"/>',
    '<rect width="30" height="40" style="fill: url( \'{0}\' )"/>',
    '<style>@import url("{0}");</style><rect width="30" height="40"/>',
    "<style>rect {{ fill: url({0}); }}</style><rect width='30' height='40'/>",
)


@pytest.mark.parametrize("inside", LEADING_OUT)
def test_what_leads_out_of_the_drawing_is_refused(
    tmp_path: Path, canary: Path, inside: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert refusal(drawing(tmp_path / "a.svg", inside.format(canary))) == "drawing-outside"


@pytest.mark.parametrize("link", ["{0}", "canary.png", "{1}/canary.svg"])
def test_even_unchecked_a_drawing_reads_no_file(
    tmp_path: Path, canary: Path, link: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second lock: resvg reads the canary where it may open files, and shows nothing of it where it may not."""
    monkeypatch.chdir(tmp_path)
    inside = f'<image href="{link.format(canary, tmp_path)}" width="30" height="40"/>'
    svg = f'<svg {NAMES} width="30" height="40">{inside}</svg>'
    unlocked = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=svg, skip_system_fonts=True))))
    assert unlocked.getpixel((15, 20)) == (255, 0, 0, 255)
    assert drawings.drawn(svg, (30, 40)).getextrema() == ((0, 0),) * 4
    assert canary.read_bytes()  # files can be opened again


@pytest.mark.parametrize(
    ("head", "inside"),
    [
        ('<!DOCTYPE svg [<!ENTITY c SYSTEM "file://{0}">]>', "<desc>&c;</desc>"),
        ('<!DOCTYPE svg [<!ENTITY % c SYSTEM "file://{0}"> %c;]>', "<desc>&x;</desc>"),
        ("<!DOCTYPE svg [" + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 12}">' for n in range(1, 9)) + "]>", "&a8;"),
    ],
)
def test_entities_neither_open_files_nor_explode(tmp_path: Path, canary: Path, head: str, inside: str) -> None:
    if "a8" in inside:
        head = head.replace("<!DOCTYPE svg [", '<!DOCTYPE svg [<!ENTITY a0 "aaaaaaaaaaaa">')
    path = drawing(tmp_path / "a.svg", inside, head=head.replace("{0}", str(canary)))
    assert refusal(path) == "picture-broken"


def test_plain_entities_and_links_to_click_are_no_fault(tmp_path: Path) -> None:
    head = '<?xml version="1.0" encoding="UTF-8"?><!DOCTYPE svg [<!ENTITY green "#00ff00">]>'
    inside = '<a xlink:href="http://fern-hollow.invalid/"><rect width="30" height="40" fill="&green;"/></a>'
    path = drawing(tmp_path / "a.svg", inside, head=head)
    assert decode.still(path, INTAKE, name="a.svg", fit=Fit((30, 40))).getpixel((9, 9)) == (0, 255, 0, 255)


@pytest.mark.parametrize(
    "inside",
    [
        '<text x="2" y="20" font-family="Nobody Has This">Fern Hollow</text>',
        "<text><tspan>Fern</tspan> Hollow</text>",
        '<foreignObject width="30" height="40"><p xmlns="http://www.w3.org/1999/xhtml">Fern</p></foreignObject>',
        "<flowRoot><flowPara>Fern</flowPara></flowRoot>",
    ],
)
def test_words_in_type_are_refused_for_they_would_vanish(tmp_path: Path, inside: str) -> None:
    assert refusal(drawing(tmp_path / "a.svg", inside)) == "drawing-type"


def test_empty_type_and_titles_are_no_fault(tmp_path: Path) -> None:
    path = drawing(tmp_path / "a.svg", f"<title>Lamp</title><desc>by Ines</desc>{RED}<text> </text>")
    assert decode.still(path, INTAKE, name="a.svg", fit=Fit((30, 40))).getpixel((9, 9)) == (255, 0, 0, 255)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (f"<svg {NAMES}>{RED}</svg>", "drawing-size"),
        (f'<svg {NAMES} viewBox="0 0 0 0">{RED}</svg>', "drawing-size"),
        (f'<svg {NAMES} viewBox="0 0 30 40"><rect', "picture-broken"),
        (f'<svg {NAMES} viewBox="0 0 30 40">' + "<g>" * 50_000 + "</g>" * 50_000 + "</svg>", "picture-broken"),
    ],
)
def test_what_is_no_drawing_is_refused(tmp_path: Path, text: str, code: str) -> None:
    (tmp_path / "a.svg").write_text(text)
    assert refusal(tmp_path / "a.svg") == code


def test_a_drawing_that_multiplies_costs_a_worker_and_no_more(tmp_path: Path) -> None:
    """Ten to the eighth copies by <use>: the worker's limits on memory and time end it, and the next job is done."""
    rows = "".join(f'<g id="g{n}">' + f'<use href="#g{n - 1}"/>' * 10 + "</g>" for n in range(1, 9))
    bomb = drawing(tmp_path / "bomb.svg", f'<g id="g0"><path d="M0 0h1v1z"/></g>{rows}')
    sound = drawing(tmp_path / "lamp.svg", RED)
    limits = INTAKE.workers.model_copy(update={"memory_mib": 512, "wall_seconds": 20.0, "cpu_seconds": 10})
    crew = LocalCrew(1, limits)
    try:
        jobs = [Check(Source(path, path.name), INTAKE) for path in (bomb, sound)]
        first, second = crew.run(check, jobs, lambda job: job.source.name)
    finally:
        crew.close()
    assert isinstance(first, Refused) and first.reasons[0].code in ("picture-defeats-reader", "picture-broken")
    assert second is None


def test_without_the_extra_a_drawing_is_refused_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = drawing(tmp_path / "a.svg", RED)
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    with pytest.raises(Refused) as caught:
        stills.probe(path, INTAKE, name="a.svg")
    (reason,) = caught.value.reasons
    assert reason.code == "picture-kind" and "keyturn[drawings]" in reason.mend


def test_a_view_box_of_another_shape_keeps_its_margins() -> None:
    """SVG 1.1, 7.8: preserveAspectRatio is xMidYMid meet where it is not told; the drawing starts at 100 of 400."""
    root = ElementTree.fromstring(f'<svg {NAMES} width="40" height="20" viewBox="0 0 20 20">{RED}</svg>')
    made = np.asarray(drawings.drawn(drawings.at_size(root, (400, 200)), (400, 200)))
    assert (made[:, :99, 3] == 0).all() and (made[:, 101:, 3] == 255).all()


# -- packed (SVGZ) ----------------------------------------------------------------------------------


def test_a_packed_drawing_is_drawn_as_the_plain_one(tmp_path: Path) -> None:
    """gzip packs it, the standard library's."""
    text = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 3 4"><rect width="3" height="4" fill="#0a0"/></svg>'
    for name, data in (("a.svg", text), ("a.svgz", gzip.compress(text))):
        (tmp_path / name).write_bytes(data)
    plain, packed = (stills.load(tmp_path / name, INTAKE, name=name) for name in ("a.svg", "a.svgz"))
    assert plain.tobytes() == packed.tobytes()
    assert stills.probe(tmp_path / "a.svgz", INTAKE, name="a.svgz").reasons == ()


def test_a_packed_drawing_that_swells_is_refused_before_it_fills_the_memory(tmp_path: Path) -> None:
    swollen = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 3 4">' + b" " * (drawings.MOST_BYTES + 9)
    (tmp_path / "a.svgz").write_bytes(gzip.compress(swollen, 1))
    with pytest.raises(Refused) as caught:
        stills.probe(tmp_path / "a.svgz", INTAKE, name="a.svgz")
    assert [reason.code for reason in caught.value.reasons] == ["drawing-heavy"]


def test_a_drawing_with_rules_that_are_not_drawn_is_refused(tmp_path: Path) -> None:
    sheet = "<style>rect:last-child { fill: red }</style>"
    assert refusal(drawing(tmp_path / "lamp.svg", f"{sheet}<g>{RED}</g>")) == "drawing-rules"
