"""The small pictures of a refused drop."""

from __future__ import annotations

import base64
import io
from pathlib import Path

from PIL import Image

from keyturn.package.refused_pictures import MOST, exhibited, refused_pictures
from keyturn.shop import rulebook
from keyturn.shop.reasons import Exhibit, Refused, note, refuse
from keyturn.shop.records import RadioProof
from keyturn.workers.crew import InlineCrew
from samples import picture

INTAKE = rulebook.load().intake


def lay(root: Path, *names: str) -> Path:
    for number, name in enumerate(names):
        picture((80, 40), number).save(root / name)
    return root


def test_files_of_refusals_and_of_exhibits_are_shown_as_pictures_of_their_own_shape(tmp_path: Path) -> None:
    lay(tmp_path, "1.png", "1 (1).png", "wide.png", "other.png")
    doubled = refuse(
        "frames-doubled", "has the number 1", "keep one", file="1 (1).png", exhibits=(Exhibit(name="1.png"),)
    )
    cut = note("art-cut-off", "is cut off", exhibits=(Exhibit(name="wide.png", kept=(0.2, 0, 0.8, 1)),))
    found = refused_pictures(Refused([cut, doubled], root=tmp_path), INTAKE, InlineCrew())
    assert list(found) == ["1 (1).png", "1.png", "wide.png"]
    for uri in found.values():
        shown = Image.open(io.BytesIO(base64.b64decode(uri.partition(",")[2])))
        assert shown.width == 2 * shown.height


def test_broken_missing_and_linked_files_are_left_out_and_the_number_is_bounded(tmp_path: Path) -> None:
    lay(tmp_path, *(f"{n}.png" for n in range(30)))
    (tmp_path / "broken.png").write_bytes(b"no picture")
    (tmp_path / "link.png").symlink_to(tmp_path / "1.png")
    odd = [refuse("a", "b", "c", file=name) for name in ("broken.png", "link.png", "gone.png", "job.toml")]
    assert refused_pictures(Refused(odd, root=tmp_path), INTAKE, InlineCrew()) == {}
    many = [refuse("a", "b", "c", file=f"{n}.png") for n in range(30)]
    assert len(refused_pictures(Refused(many, root=tmp_path), INTAKE, InlineCrew())) == MOST


def test_pictures_of_made_frames_come_from_their_radio() -> None:
    proofs = [RadioProof(radio=radio, logo="l", frames=(f"{radio}-0", f"{radio}-1"), order=()) for radio in ("a", "b")]
    shown = (Exhibit(name="b: part 1, frame 2", radio="b", picture=1), Exhibit(name="x", radio="b", picture=7))
    reasons = [refuse("flashes", "4 flashes", "gentler", exhibits=shown)]
    pictures = exhibited(reasons, proofs)
    assert pictures == {"b: part 1, frame 2": "b-1"}
    assert refused_pictures(Refused(reasons, pictures=pictures), INTAKE, InlineCrew()) == pictures
